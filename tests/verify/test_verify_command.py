"""``verify`` and ``make`` as their user meets them."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from pcbstator.output.verify_report.words import verification_text
from pcbstator.project import verify
from tests.command import run, write_design
from tests.copper.stators import design_of
from tests.verify.designs import ordered_texts

SMALL = {"winding__turns": 2, "winding__coils": 3, "rotor__poles": 4, "board__layers": 2}


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """A folder with the files to order, and the design, as make writes them."""
    folder = tmp_path_factory.mktemp("made")
    design = design_of(**SMALL)
    for name, text in ordered_texts(design).items():
        (folder / name).write_text(text, encoding="utf-8")
    write_design(folder / "design.toml", design.document)
    return folder


def test_words_and_json(made):
    """Beside the prediction, as lines and as one object."""
    found = verify(made)
    told, plain = verification_text(found), found.to_dict()
    assert "the files are as predicted" in told and "hottest narrow place: layer" in told
    assert {"resistance A-B", "resistance A-N", "flux linkage C", "torque constant"} <= {
        line[:24].strip() for line in told.splitlines()
    }
    assert {"nets", "line_resistances_ohm", "flux_linkage_peak_wb", "torque_constant_n_m_per_a", "findings"} <= set(
        plain
    )
    assert set(plain["line_resistances_ohm"]) >= {"AB", "AC", "BC"} and plain["findings"] == []
    assert json.loads(json.dumps(plain, allow_nan=False)) == plain


@pytest.mark.slow
def test_page(made, tmp_path):
    """One run writes the folder with a picture for each layer and one of the vias; the next one replaces it."""
    for _ in range(2):
        told = run("verify", made, "-o", tmp_path / "checked")
        assert told.code == 0 and "the files are as predicted" in told.out
    names = {path.name for path in (tmp_path / "checked").iterdir()}
    assert names == {"verify.html", "verify.txt", "verify.json", "manifest.json"}
    page = (tmp_path / "checked" / "verify.html").read_text()
    assert page.count("<svg") == 3 and "http" not in page.replace("http://www.w3.org", "")
    assert (tmp_path / "checked" / "verify.txt").read_text() in told.out


def test_without_a_design(made, tmp_path):
    """Nets and distances only, and it says so; json is one object and nothing else."""
    for path in made.iterdir():
        if path.name != "design.toml":
            (tmp_path / path.name).write_bytes(path.read_bytes())
    told = run("verify", tmp_path, "--json")
    plain = json.loads(told.out)
    assert told.code == 0 and "line_resistances_ohm" not in plain and plain["nets"]
    assert "no design" in plain["left_out"][0]


def test_mistakes(tmp_path):
    """Exit 2 with words; no traceback."""
    for words in ((tmp_path / "nothing",), (tmp_path,), (tmp_path, "--design", tmp_path / "no.toml")):
        told = run("verify", *words)
        assert told.code == 2 and told.err and not told.out


@pytest.mark.slow
def test_make_reads_back(tmp_path):
    """What it writes is verified, and verify says the same of the folder; it can be left out."""
    design = write_design(tmp_path / "small.toml", design_of(**SMALL).document)
    told = run("make", design, "-o", tmp_path / "out")
    assert told.code == 0 and "out: verified: " in told.out
    assert run("verify", tmp_path / "out").code == 0
    again = run("make", "--no-verify", design, "-o", tmp_path / "out")
    assert again.code == 0 and "verified" not in again.out


@pytest.mark.slow
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
