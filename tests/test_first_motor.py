"""docs/first-motor.md by the letter: its commands, its edits, and what it quotes of their output."""

import re
import shutil
from pathlib import Path

import pytest

from tests.command import run

PAGE = Path(__file__).parents[1] / "docs" / "first-motor.md"
PIECES = re.compile(
    r"^```\n\$ pcbstator (?P<command>.*?)\n(?P<quoted>.*?)^```$|^    (?P<key>\w+) = (?P<value>[^\n]*)$", re.M | re.S
)


def figures(line):
    """What a line of output says but for its wording: name and value, numbers of a table, severity and code."""
    words = line.split()
    if words[0] in ("error", "warning", "note"):
        return tuple(words[:2])
    return tuple(words) if words[0].isdigit() else tuple(re.split(r"\s{2,}", line.strip())[:2])


def follow(commands, folder, monkeypatch):
    """Runs the page's commands of these names in turn, with its edits in between, and compares what it quotes."""
    shutil.copy(PAGE.with_suffix(".toml"), folder / "stage.toml")
    monkeypatch.chdir(folder)
    done = []
    for piece in PIECES.finditer(PAGE.read_text(encoding="utf-8")):
        if piece["key"]:
            file = folder / "stage.toml"
            line = re.compile(rf"^{piece['key']} = [^#\n]*", re.M)
            text, count = line.subn(f"{piece['key']} = {piece['value']} ", file.read_text(encoding="utf-8"))
            assert count == 1, piece["key"]
            file.write_text(text, encoding="utf-8")
        elif piece["command"].split()[0] in commands:
            outcome = run(*piece["command"].split())
            assert outcome.code == 0, outcome
            printed = {figures(line) for line in (outcome.out + outcome.err).splitlines() if line.strip()}
            quoted = [line for line in piece["quoted"].splitlines() if line != "..."]
            assert quoted
            assert [line for line in quoted if figures(line) not in printed] == [], piece["command"]
            done.append(piece["command"].split()[0])
    return done


def test_quoted_predictions_are_the_programs(tmp_path, monkeypatch):
    done = follow({"windings", "predict"}, tmp_path, monkeypatch)
    assert done == ["windings", "predict", "predict"]


@pytest.mark.slow
def test_the_page_leads_to_the_folder(tmp_path, monkeypatch):
    assert follow({"simulate", "make"}, tmp_path, monkeypatch) == ["simulate", "make"]
    assert (tmp_path / "order" / "report.html").is_file()


def test_pictures_and_pages_are_there():
    text = PAGE.read_text(encoding="utf-8")
    named = re.findall(r"\]\(([^)]+)\)", text)
    assert len(named) >= 3
    assert [name for name in named if not (PAGE.parent / name).is_file()] == []
    assert "(docs/first-motor.md)" in (PAGE.parents[1] / "README.md").read_text(encoding="utf-8")
