"""What is not a sound store of the study is told in words, whether it is taken from or gone on with."""

from __future__ import annotations

import os
import shutil
import sqlite3
from contextlib import closing
from dataclasses import replace

import pytest

import pcbstator
from pcbstator.errors import OutputError
from pcbstator.study import store as store_module
from pcbstator.study.store import open_store
from pcbstator.study.take import taken_design
from tests.command import run, toml_text
from tests.study.studies import TURNS, WHEEL, wheel_study
from tests.study.test_run import told


@pytest.fixture(scope="module")
def finished(tmp_path_factory):
    """A study's file and the folder in which it was finished."""
    folder = tmp_path_factory.mktemp("finished")
    place = folder / "study.toml"
    tables = {"title": "whole", "design": str(WHEEL), "workers": 1, "variables": [TURNS], "budget": 10}
    place.write_text(toml_text(tables), encoding="utf-8")
    assert run("explore", place, "-o", folder / "out").code == 0
    return place, folder / "out"


@pytest.fixture
def kept(finished, tmp_path):
    """The study's file and a copy of its folder, to damage."""
    shutil.copytree(finished[1], tmp_path / "out")
    return finished[0], tmp_path / "out"


def change(folder, *statements):
    """Does something to the database behind the program's back."""
    with closing(sqlite3.connect(folder / "designs.sqlite")) as base, base:
        for statement in statements:
            base.execute(statement)


def refused(place, folder, tmp_path, *, number="3", take_too=True):
    """That explore, and take where it reads what is damaged, refuse in a clear line and write nothing."""
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    shown = [run("explore", place, "-o", folder)]
    if take_too:
        shown.append(run("take", folder, number, "-o", tmp_path / "taken.toml"))
    for each in shown:
        assert each.code == 2 and each.out == ""
        assert len(each.err.splitlines()) == 1 and "Traceback" not in each.err
        assert "choose another folder" in each.err
    assert not (tmp_path / "taken.toml").exists()
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == before


ROW = "UPDATE designs SET {} WHERE id = 3"


@pytest.mark.parametrize(
    "statement",
    [
        ROW.format("results = substr(results, 1, length(results) - 1)"),  # a cut byte
        ROW.format("results = replace(results, '1', '2')"),
        ROW.format("results = '[1, 2]'"),
        ROW.format("results = x'ff00'"),
        ROW.format("""results = '{"copper.mass_g": NaN}'"""),
        ROW.format("point = '[3'"),
        ROW.format("point = '[99]'"),
        ROW.format("point = '[1, 2, 3]'"),
        ROW.format("shortage = 'much'"),
        ROW.format("shortage = 9e999"),
        ROW.format("ruled_out = 7"),
        ROW.format("detail = x'c328'"),
        "UPDATE about SET value = replace(value, 'whole', 'w\nhole = 1') WHERE name = 'study'",
        "UPDATE about SET value = replace(value, 'turns', 'coils') WHERE name = 'study'",
        "UPDATE about SET value = '{}' WHERE name = 'study'",
        "UPDATE about SET value = '[1e400]' WHERE name = 'budgets'",
        "UPDATE about SET value = 'many' WHERE name = 'budgets'",
        "DELETE FROM about",
        "DROP TABLE about",
        "DROP TABLE designs",
    ],
)
def test_damage(kept, tmp_path, statement):
    place, folder = kept
    change(folder, statement)
    refused(place, folder, tmp_path)


@pytest.mark.parametrize("number", [-4, 0, 11, 2**62])
def test_rows_that_nobody_asked_for(kept, tmp_path, number):
    place, folder = kept
    columns = "point, ruled_out, detail, shortage, results, seal FROM designs WHERE id = 3"
    change(folder, f"INSERT INTO designs SELECT {number}, {columns}")
    refused(place, folder, tmp_path, number=str(max(number, 1)), take_too=number > 0)


def test_sealed_rows_beyond_the_budget(tmp_path):
    study = wheel_study(variables=[TURNS], budget=4)
    told(study, tmp_path)
    with open_store(tmp_path) as store:
        store.add(50, [store.known(1)[0]], [store.known(1)[1]])
    with (
        pytest.raises(OutputError, match="holds a design 50, which nobody asked for"),
        open_store(tmp_path, study, "test"),
    ):
        pass


def test_rows_of_another_study(kept, tmp_path):
    """Numbers and places that would do, but the results are those of another base design."""
    place, folder = kept
    other = wheel_study(variables=[TURNS, {"key": "rotor.air_gap_mm", "values": [0.9, 1.3]}], budget=4)
    told(other, tmp_path / "other")
    change(
        folder,
        f"ATTACH '{tmp_path / 'other' / 'designs.sqlite'}' AS other",
        "INSERT OR REPLACE INTO designs SELECT * FROM other.designs WHERE id = 3",
    )
    refused(place, folder, tmp_path)


@pytest.mark.parametrize("table", ["CREATE TABLE birds (name TEXT)", "CREATE TABLE about (name TEXT, value TEXT)"])
def test_somebody_elses_database(finished, tmp_path, table):
    folder = tmp_path / "out"
    folder.mkdir()
    change(folder, table)
    refused(finished[0], folder, tmp_path)


@pytest.mark.parametrize("keep", [0.6, 0.999])
def test_a_file_that_is_cut_short(kept, tmp_path, keep):
    place, folder = kept
    whole = (folder / "designs.sqlite").read_bytes()
    (folder / "designs.sqlite").write_bytes(whole[: int(keep * len(whole))])
    refused(place, folder, tmp_path, take_too=False)
    assert run("take", folder, "3", "-o", tmp_path / "taken.toml").code in (0, 2)  # its row may be whole


def test_every_byte_that_changes_is_told_or_does_no_harm(kept, tmp_path):
    """A row that can be read is as it was written."""
    _, folder = kept
    with open_store(folder) as store:
        expected = list(store.rows())
    whole = (folder / "designs.sqlite").read_bytes()
    for place in range(100, len(whole), 97):
        (folder / "designs.sqlite").write_bytes(whole[:place] + bytes([whole[place] ^ 0x41]) + whole[place + 1 :])
        try:
            with open_store(folder) as store:
                found = [row for row in store.rows() if row in expected]
                assert len(found) == len(list(store.rows()))
        except OutputError:
            continue


def test_numbers_that_are_not_there(finished, tmp_path):
    for number in ("11", str(2**63), str(10**40)):
        shown = run("take", finished[1], number, "-o", tmp_path / "taken.toml")
        assert shown.code == 2 and "numbers go from 1 to 10" in shown.err


@pytest.mark.parametrize("title", ["two\nlines = 1", 'quote "', "\x1b[2J", "x" * 500, ""])
def test_what_take_writes_can_be_loaded(tmp_path, title):
    """Whatever title a study from Python carries, the file is a design file or there is none."""
    study = replace(wheel_study(variables=[TURNS], budget=2), title=title)
    told(study, tmp_path)
    with open_store(tmp_path) as store:
        taken = taken_design(store, 1)
    (tmp_path / "taken.toml").write_text(taken.text, encoding="utf-8")
    assert pcbstator.load_design(tmp_path / "taken.toml").title == "Filter wheel, design 1"


def test_taking_where_nothing_can_be_written(kept, tmp_path, monkeypatch):
    """An archived folder stays as it is, also one that a killed run has left a log in."""
    _, folder = kept
    expected = run("take", folder, "3", "-o", tmp_path / "first.toml")
    monkeypatch.setattr(store_module.os, "access", lambda place, mode: mode != os.W_OK)  # root may write
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    shown = run("take", folder, "3", "-o", tmp_path / "second.toml")
    assert shown.code == 0 and shown.out == expected.out.replace("first", "second")
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == before
    with closing(sqlite3.connect(folder / "designs.sqlite")) as base:  # still open: the log stays
        base.execute("DELETE FROM designs WHERE id = 3")
        base.commit()
        assert (folder / "designs.sqlite-wal").stat().st_size
        (tmp_path / "archive").mkdir()
        for name in ("designs.sqlite", "designs.sqlite-wal"):
            shutil.copyfile(folder / name, tmp_path / "archive" / name)
    shown = run("take", tmp_path / "archive", "3", "-o", tmp_path / "third.toml")
    assert shown.code == 2 and "holds no design 3" in shown.err
    assert {path.name for path in (tmp_path / "archive").iterdir()} == {"designs.sqlite", "designs.sqlite-wal"}
