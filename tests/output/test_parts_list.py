"""The parts list and the zip of a board, against the design and the files beside them."""

from __future__ import annotations

import csv
import io
import json
import zipfile
from functools import cache

import pytest

import pcbstator
from pcbstator.output.fabrication.package import drawn_board, ordered_files, package_files
from pcbstator.output.parts_list.rotor_parts import rotor_parts
from pcbstator.output.parts_list.table import COLUMNS, parts_csv
from tests.command import DESIGNS
from tests.copper.stators import design_of

QUICK = "filter-wheel"
SMALL = {
    "winding__coils": 3, "winding__turns": 1, "rotor__poles": 4, "board__layers": 2,
    "board__copper_outer_diameter_mm": 50.0,
}  # fmt: skip


def parts(design) -> list[dict[str, str]]:
    sized = pcbstator.project.size_design(design)
    prediction = pcbstator.predict(sized)
    text = parts_csv(sized, prediction.laid or pcbstator.lay_copper(sized), prediction)
    return list(csv.DictReader(io.StringIO(text)))


def count(rows: list[dict[str, str]], start: str, end: str = "") -> int:
    return sum(int(row["count"]) for row in rows if row["part"].startswith(start) and row["part"].endswith(end))


@cache
def parts_of_file(path):
    """A design that is there, and its list."""
    design = pcbstator.load_design(path)
    return design, parts(design)


SLOW = [pytest.mark.slow]
EVERY = [pytest.param(path, id=path.stem, marks=SLOW * (path.stem != QUICK)) for path in DESIGNS]


@pytest.mark.parametrize("path", EVERY)
def test_parts_of_the_designs(path):
    """Half of the magnets of each plate face the board with north; every terminal has its place."""
    design, rows = parts_of_file(path)
    assert all(list(row) == list(COLUMNS) for row in rows)
    assert count(rows, "board") == 1
    sides = 2 if design.rotor.arrangement == "double" else 1
    for pole in ("north", "south"):
        assert count(rows, f"magnet, {pole}") == sides * design.rotor.poles // 2
    assert count(rows, "magnet, spare") >= max(2, 0.1 * sides * design.rotor.poles)
    assert count(rows, "steel ring") == sides * (design.rotor.back_iron > 0)
    assert count(rows, "screw") == sum(hole.count for hole in design.board.holes if not hole.plated)
    places = {row["part"].partition(", ")[2]: row["place"] for row in rows if row["part"].startswith("pad J1.")}
    for terminal in pcbstator.lay_copper(design).board.terminals:
        x, y = 1e3 * terminal.x, 1e3 * terminal.y
        assert places.pop(terminal.name) == f"x {x:.3f} mm, y {y:.3f} mm"
    assert places == {}
    assert [row["part"] for row in rows if row["part"].startswith("wire")][:1] == ["wire"]
    assert ("price of boards" in {row["part"] for row in rows}) == (design.prices is not None)


def test_equal_magnets_face_each_other_in_a_double_rotor():
    """A place with north above has south below (docs/conventions.md: facing magnets attract)."""
    design = pcbstator.project.size_design(pcbstator.load_design(DESIGNS[3]))
    rows = [part for part in rotor_parts(design) if part.name.startswith("magnet, n")]
    assert [part.place for part in rows] == [
        "upper rotor plate, places 1 to 9 in steps of 2", "lower rotor plate, places 2 to 10 in steps of 2",
    ]  # fmt: skip


def test_parts_of_a_halbach_ring():
    """A kind for each direction, as many of each; those that lie along the ring say which way."""
    magnet = {"shape": "sector", "inner_diameter_mm": 34.0, "outer_diameter_mm": 60.0, "arc_ratio": 0.98,
              "thickness_mm": 3.0, "remanence_t": 1.3, "array": "halbach", "segments_per_pole": 2}  # fmt: skip
    rows = parts(design_of(**SMALL, rotor__magnet=magnet))
    found = {row["part"]: int(row["count"]) for row in rows if row["part"].startswith("magnet")}
    assert found.pop("magnet a, spare") == found.pop("magnet b, spare") == 2
    assert set(found.values()) == {2} and sum(found.values()) == 8
    assert "magnet a, north towards the board" in found
    assert "magnet b, north clockwise along the ring, magnets up" in found


def test_stack_screws_and_thermistor():
    """Boards of a stack with their pins; screws of the stated material with their nuts."""
    holes = [{"diameter_mm": 3.2, "circle_diameter_mm": 60.0, "count": 3, "material": "brass", "nut": True,
              "screw_length_mm": 10.0}]  # fmt: skip
    single = design_of(**SMALL, board__holes=holes, board__outer_diameter_mm=68.0)
    rows = parts(single.with_values({"stack.boards": 2, "stack.connection": "series"}))
    assert count(rows, "board") == 2 and count(rows, "pin") == 3
    assert next(row["note"] for row in rows if row["part"] == "board").startswith("turned by 0°, ")
    screw = next(row for row in rows if row["part"] == "screw")
    assert (screw["size"], screw["material"], screw["count"]) == ("M3 × 10 mm", "brass", "3")
    assert count(rows, "nut") == 3


def test_equal_tiles_are_one_line_with_a_count():
    design = design_of(
        winding__coils=12, winding__turns=1, rotor__poles=16, board__tiles=4, board__track_width_mm=0.3,
        board__layers=2, board__copper_inner_diameter_mm=90.0, board__copper_outer_diameter_mm=146.0,
    )  # fmt: skip
    rows = parts(design)
    boards = {row["part"]: (row["count"], row["file"]) for row in rows if row["part"].startswith("board")}
    assert boards == {
        "board tile-1": ("1", "tile-1/board.zip"), "board tile-2": ("2", "tile-2/board.zip"),
        "board tile-4": ("1", "tile-4/board.zip"),
    }  # fmt: skip
    copper = pcbstator.lay_copper(design)
    assert count(rows, "tile jumper") == len(copper.jumper_holes) // 2


def test_zip_holds_the_files_of_the_board_and_no_time():
    """Read by the standard library: what lies beside it, byte for byte, dated as no file can be."""
    design = pcbstator.project.size_design(design_of(**SMALL))
    copper, prediction = pcbstator.lay_copper(design), pcbstator.predict(design)
    files = package_files(design, copper, prediction)
    again = ordered_files(design, drawn_board(design, copper))[0]
    assert next(file.content for file in again if file.name == "board.zip") == files["board.zip"]
    with zipfile.ZipFile(io.BytesIO(files["board.zip"])) as book:
        assert book.testzip() is None
        assert {entry.date_time for entry in book.infolist()} == {(1980, 1, 1, 0, 0, 0)}
        inside = {name: book.read(name) for name in book.namelist()}
    roles = {entry["name"]: entry["role"] for entry in json.loads(files["manifest.json"])["files"]}
    board = {"copper", "mask", "legend", "profile", "drill-plated", "drill-unplated", "netlist", "job"}
    assert set(inside) == {name for name, role in roles.items() if role in board}
    for name, content in inside.items():
        assert content == files[name].encode()
    assert (roles["board.zip"], roles["parts.csv"]) == ("upload", "parts")
    named = {row["file"] for row in csv.DictReader(io.StringIO(files["parts.csv"]))} - {""}
    assert named <= set(files)
