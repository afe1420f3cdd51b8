"""What meets the terminal, the disk and the names that a user really has."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from pcbstator.output.terminal import wrapped
from tests.command import DESIGNS, run

HERE = Path(__file__).parents[1]
FAN = HERE / "designs" / "small-fan.toml"
ODD = "fan\udcff\n.toml"  # a byte that is no UTF-8, and a line end


def own_process(*words: str | Path, out=subprocess.PIPE, err=subprocess.PIPE, **more: str):
    """The command in a process of its own, with a strict UTF-8 output unless ``more`` says otherwise."""
    environment = os.environ | {"PYTHONPATH": str(HERE), "PYTHONIOENCODING": "utf-8:strict"} | more
    command = [sys.executable, "-m", "pcbstator", *map(str, words)]
    return subprocess.run(command, stdout=out, stderr=err, env=environment, check=False)


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no full device")
@pytest.mark.parametrize(
    "words",
    [
        ["--help"],
        ["predict", FAN, "--json"],
        *(
            pytest.param(words, marks=pytest.mark.slow)
            for words in (["windings"], ["check", FAN], ["centrelines", FAN])
        ),
    ],
    ids=lambda words: str(words[0]),
)
def test_a_full_device_is_told_in_a_line(words):
    with Path("/dev/full").open("wb") as full:
        told = own_process(*words, out=full)
        assert (told.returncode, told.stderr) == (2, b"the output: No space left on device\n")
        assert own_process(*words, out=full, err=full).returncode == 2


@pytest.mark.slow
def test_a_design_whose_name_is_no_utf8(tmp_path):
    """Every command, and every file that names the design."""
    odd = tmp_path / ODD
    odd.write_bytes(FAN.read_bytes())
    told = own_process("predict", odd, "--json")
    assert (told.returncode, told.stderr) == (0, b"")
    assert json.loads(told.stdout)["design_file"] == "fan??.toml"
    for words in (["draw", "-o", tmp_path / "a\udcff.svg"], ["make", "-o", tmp_path / "m\udcff"]):
        told = own_process(words[0], odd, *words[1:])
        assert (told.returncode, told.stderr) == (0, b"")
    assert "fan??.toml" in (tmp_path / "m\udcff" / "report.html").read_text(encoding="utf-8")
    odd.write_text("winding = 3")
    told = own_process("predict", odd)
    assert told.returncode == 2 and told.stderr.startswith(b"fan??.toml: ")
    assert own_process("predict", tmp_path / "none\udcff.toml").returncode == 2


@pytest.mark.slow
def test_letters_that_the_terminal_lacks():
    """Signs beyond its alphabet are shown as question marks; JSON stays JSON."""
    stage = DESIGNS[1]
    for words in (["predict", stage], ["predict", stage, "--json"], ["simulate", stage, "--scenario", "hold"]):
        told = own_process(*words, PYTHONIOENCODING="ascii")
        assert (told.returncode, told.stderr) == (0, b"")
        assert "--json" not in words or json.loads(told.stdout)["winding"]


@pytest.mark.usefixtures("predicted_once")
@pytest.mark.parametrize("width", [20, *(pytest.param(w, marks=pytest.mark.slow) for w in (33, 60, 80, 132))])
def test_lines_keep_to_the_width_and_no_word_is_lost(tmp_path, monkeypatch, width):
    unbuildable = tmp_path / "unbuildable.toml"
    unbuildable.write_text(DESIGNS[1].read_text().replace("height_mm = 12.0", "height_mm = 5.0"))
    wrong = tmp_path / "wrong.toml"
    wrong.write_text(FAN.read_text().replace("turns", "tuns"))
    commands = [
        ["predict", DESIGNS[1]], ["check", unbuildable], ["windings"], ["make", unbuildable, "-o", "x"],
        ["check", wrong], ["simulate", DESIGNS[1], "--scenario", "hold"],
    ]  # fmt: skip
    for words in commands:
        monkeypatch.delenv("COLUMNS", raising=False)
        usual = run(*words)
        monkeypatch.setenv("COLUMNS", str(width))
        narrow = run(*words)
        for there, here in ((usual.out, narrow.out), (usual.err, narrow.err)):
            assert max(map(len, here.splitlines()), default=0) <= width
            assert "".join(there.split()) == "".join(here.split())
    assert run("predict", DESIGNS[1], "--json").out.startswith("{\n")


@pytest.mark.usefixtures("predicted_once")
def test_data_are_never_wrapped(monkeypatch):
    usual = run("predict", FAN, "--json").out, run("centrelines", FAN).out, run("windings", "--json").out
    monkeypatch.setenv("COLUMNS", "20")
    assert (run("predict", FAN, "--json").out, run("centrelines", FAN).out, run("windings", "--json").out) == usual


def test_what_is_continued_stands_under_its_column():
    row = "  key_of_a_result                     1.234   what it means in many words that go on and on"
    first, *others = wrapped(row, 70).split("\n")
    column = row.index("what")
    assert first.startswith(row[:column]) and others
    assert all(line[:column].isspace() and line[column] != " " for line in others)
    assert wrapped(row, 40).count("\n") >= 2 and wrapped(row, len(row)) == row
