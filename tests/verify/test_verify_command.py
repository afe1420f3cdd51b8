"""``verify`` and ``make`` as their user meets them."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.command import run, write_design
from tests.copper.stators import design_of

SMALL = {"winding__turns": 2, "winding__coils": 3, "rotor__poles": 4, "board__layers": 2}


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """A folder that make wrote and read back."""
    home = tmp_path_factory.mktemp("made")
    design = write_design(home / "small.toml", design_of(**SMALL).document)
    told = run("make", design, "-o", home / "out")
    assert told.code == 0 and "out: verified: " in told.out, "the files are read back before they are written"
    return home / "out"


def test_text_page_and_json(made, tmp_path):
    """One run writes the folder; the words stand on standard output."""
    told = run("verify", made, "-o", tmp_path / "checked")
    assert told.code == 0 and "the files are as predicted" in told.out
    assert "resistance A-B" in told.out and "torque constant" in told.out and "hottest narrow place" in told.out
    names = {path.name for path in (tmp_path / "checked").iterdir()}
    assert names == {"verify.html", "verify.txt", "verify.json", "manifest.json"}
    plain = json.loads((tmp_path / "checked" / "verify.json").read_text())
    assert {"nets", "line_resistances_ohm", "flux_linkage_peak_wb", "torque_constant_n_m_per_a", "findings"} <= set(plain)
    assert set(plain["line_resistances_ohm"]) >= {"AB", "AC", "BC"} and plain["findings"] == []
    page = (tmp_path / "checked" / "verify.html").read_text()
    assert page.count("<svg") == 3 and "http" not in page.replace("http://www.w3.org", "")
    assert run("verify", made, "-o", tmp_path / "checked").code == 0  # its own folder is replaced


def test_without_a_design(made, tmp_path):
    """Nets and distances only, and it says so; json is one object and nothing else."""
    alone = tmp_path / "alone"
    alone.mkdir()
    for path in made.iterdir():
        if path.suffix in (".gbr", ".drl", ".ipc", ".gbrjob"):
            (alone / path.name).write_bytes(path.read_bytes())
    told = run("verify", alone, "--json")
    plain = json.loads(told.out)
    assert told.code == 0 and "line_resistances_ohm" not in plain and plain["nets"]
    assert "no design" in plain["left_out"][0]


def test_mistakes(tmp_path):
    """Exit 2 with words; no traceback."""
    for words in ((tmp_path / "nothing",), (tmp_path,), (tmp_path, "--design", tmp_path / "no.toml")):
        told = run("verify", *words)
        assert told.code == 2 and told.err and not told.out


def test_make_writes_nothing_that_does_not_read_back(tmp_path, monkeypatch):
    """A writer that loses a layer's copper: told, exit 1, no folder; without reading back it would be there."""
    from pcbstator.output.fabrication import package

    design = write_design(tmp_path / "small.toml", design_of(**SMALL).document)
    whole = package.copper_gerber

    def broken(board, layer, title):
        text = whole(board, layer, title)
        lines = text.split("\n")
        drawn = [number for number, line in enumerate(lines) if line.endswith("D01*")]
        gone = set(drawn[len(drawn) // 2 :])
        return text if layer == 1 else "\n".join(line for n, line in enumerate(lines) if n not in gone)

    monkeypatch.setattr(package, "copper_gerber", broken)
    told = run("make", design, "-o", tmp_path / "out")
    assert told.code == 1 and "not written" in told.err and not Path(tmp_path / "out").exists()
