"""Sections that may be left out: whichever of them a design has, every command does its work."""

from __future__ import annotations

import copy
import itertools
import json
import random
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from pcbstator.design.keys import sections
from tests.command import run, write_design

BASE: dict[str, Any] = {
    "title": "Sections",
    "winding": {"coils": 6, "turns": 3},
    "board": {
        "layers": 2, "track_width_mm": 0.4, "track_gap_mm": 0.25, "copper_inner_diameter_mm": 26.0,
        "copper_outer_diameter_mm": 66.0, "outer_diameter_mm": 76.0,
    },
    "rotor": {
        "poles": 8, "air_gap_mm": 0.8, "back_iron_mm": 2.0,
        "magnet": {
            "shape": "sector", "inner_diameter_mm": 32.0, "outer_diameter_mm": 60.0, "arc_ratio": 0.8,
            "thickness_mm": 3.0, "remanence_t": 1.3,
        },
    },
}  # fmt: skip
DRIVE = {"supply_v": 24.0, "current_limit_peak_a": 1.0, "pwm_khz": 50.0, "sensor_counts": 16384}
MOVE = {"speed_rpm": 20.0, "acceleration_deg_s2": 360.0}
PAUSES = {"dwell_s": 1.0, "hold_n_m": 0.01}
RINGS = {"rings": 2, "inner_diameter_mm": 20.0, "outer_diameter_mm": 60.0, "current_rms_a": 1.0, "voltage_v": 24.0}
LIMITS = {
    "track_width_mm": 0.1, "track_gap_mm": 0.1, "drill_mm": 0.2, "annular_ring_mm": 0.1, "edge_mm": 0.2,
    "drill_to_copper_mm": 0.15, "aspect_ratio": 10.0, "mask_web_mm": 0.1, "hole_web_mm": 0.2, "slot_mm": 0.5,
}  # fmt: skip
SWINGING = {"unbalance_n_m": 0.01, "coupling_n_m_per_rad": 50.0, "play_deg": 0.1}
SPOT = {"angle_deg": 40.0, "width_deg": 10.0, "extra_n_m": 0.002}
PLATE = {"material": "aluminium", "thickness_mm": 3.0, "outer_diameter_mm": 70.0, "inner_diameter_mm": 12.0}
PRESENT: dict[str, list[Any]] = {
    "envelope": [{"height_mm": 20.0, "bore_diameter_mm": 5.0}, {}],
    "board.rules": [LIMITS],
    "board.holes": [
        [{"diameter_mm": 2.2, "circle_diameter_mm": 71.5, "count": 3}],
        [{"diameter_mm": 2.2, "circle_diameter_mm": 71.5, "count": 3, "material": "steel", "nut": True}],
    ],
    "board.slots": [[{"width_mm": 1.5, "length_mm": 4.0, "circle_diameter_mm": 71.5}]],
    "board.tabs": [[{"width_mm": 8.0, "reach_mm": 6.0}]],
    "board.keepouts": [[{"shape": "disc", "circle_diameter_mm": 72.0, "diameter_mm": 2.0}]],
    "board.thermistor": [{"size": "0603", "circle_diameter_mm": 70.0, "angle_deg": 20.0}],
    "stack": [{"boards": 2, "connection": "series"}, {"boards": 2, "connection": "parallel"}],
    "rotor.plate": [PLATE, PLATE | {"material": "acrylic", "pocket_depth_mm": 1.0}],
    "rotor.plate.holes": [[{"diameter_mm": 2.2, "circle_diameter_mm": 18.0, "count": 3}]],
    "operation": [{"speeds_rpm": [60.0], "phase_currents_peak_a": [0.5]}],
    "cooling": [{}, {"speed_rpm": 600.0}, {"duty": "on-off", "on_s": 1.0, "off_s": 2.0}, {"duty": "motion"}],
    "tolerance": [{}],
    "slip_ring": [RINGS, RINGS | {"contact": "balls", "preload_n": 2.0, "spacing_mm": 4.0}],
    "slip_ring.holes": [[{"diameter_mm": 2.2, "circle_diameter_mm": 54.0, "count": 3}]],
    "load": [{"inertia_kg_m2": 1e-4}, {}, SWINGING],
    "bearing": [{"friction_n_m": 0.002, "radial_play_mm": 0.1, "axial_play_mm": 0.05}, {"friction_spots": [SPOT]}],
    "motion": [
        {**MOVE, "move_deg": 90.0}, {**MOVE, **PAUSES, "stops_deg": [0.0, 90.0]}, {"speed_rpm": 60.0}, {},
        {"table_csv": "angles.csv"}, {"table_csv": "torques.csv"}, {"hold_n_m": 0.1},
    ],
    "drive": [DRIVE, {**DRIVE, "gear_ratio": 5.0}],
    "build": [{"draws": 100}],
    "requirement": [{}],
    "prices": [{"board_setup": 12.0}, {}],
}  # fmt: skip
JOB = ("load", "motion", "drive")
Choice = dict[str, int]  # section: 0 absent, 1 and more: the first, second … way of having it


def rows(levels: dict[str, int], together: list[tuple[str, ...]], seed: int = 1) -> Iterator[Choice]:
    """Few choices among so many levels in which every combination within each group of ``together`` comes."""
    dice = random.Random(seed)
    names = list(levels)
    todo = [
        frozenset(zip(group, combo, strict=True))
        for group in together
        for combo in itertools.product(*(range(levels[name]) for name in group))
    ]
    while todo:
        drawn = []
        for _ in range(200):
            wanted = dice.choice(todo)
            row = {name: dice.randrange(levels[name]) for name in names} | dict(wanted)
            drawn.append((sum(map(row.items().__ge__, todo)), len(drawn), row))
        best = max(drawn)[2]
        todo = [each for each in todo if not each <= best.items()]
        yield best


def document(row: Choice) -> dict[str, Any]:
    """The design that has the chosen sections."""
    whole = copy.deepcopy(BASE)
    for path, level in row.items():
        if level:
            *tables, name = path.split(".")
            owner = whole
            for step in tables:  # holes come with a plate, or with rings
                owner = owner.setdefault(step, copy.deepcopy(RINGS if step == "slip_ring" else PLATE))
            owner[name] = copy.deepcopy(PRESENT[path][level - 1])
    if row["requirement"] and row["prices"]:  # each of its keys needs another section
        whole["requirement"] = {"price": 500.0}
    return whole


def judge(row: Choice, folder: Path, boards: bool = True) -> None:
    """Every command on this design: results or a refusal in words, and results say nothing of what is absent.

    boards: also the commands that write boards and pages.
    """
    (folder / "angles.csv").write_text("time_s,angle_deg\n0,0\n1,10\n2,30\n3,30\n4,0\n")
    (folder / "torques.csv").write_text("time_s,torque_n_m\n0,0\n1,0.01\n2,0.02\n3,0\n")
    file = write_design(folder / "sections.toml", document(row))
    predicted = run("predict", file, "--json")
    assert predicted.code in (0, 1), predicted.err
    result = json.loads(predicted.out)
    groups = [group for group in result.values() if isinstance(group, dict)]
    assert not any(value in (None, []) for group in groups for value in group.values())
    assert ("drive" in result) == bool(row["drive"])
    assert ("motion" in result) == any(row[name] for name in JOB)
    for command in ("predict", "check"):
        assert run(command, file).code == predicted.code
    if boards:
        judge_boards(file, folder, predicted.code)
    told = run("simulate", file, "--scenario", "hold", "--json")
    assert told.code == (predicted.code if row["drive"] else 2)
    assert row["drive"] or "[drive]" in told.err


def judge_boards(file: Path, folder: Path, code: int) -> None:
    """The commands that write boards and pages."""
    assert run("check", file, "--json").code == run("make", "--no-verify", file, "-o", folder / "made").code == code
    assert (folder / "made" / "report.html").is_file() == (code == 0)
    if code:  # else `make` has just written the report
        assert run("report", file, "-o", folder / "a.html").code == 1 and (folder / "a.html").is_file()
    for command in (["centrelines"], ["draw", "-o", folder / "a.svg"]):
        assert run(command[0], file, *command[1:]).code == 0


PAIRS = [*itertools.combinations(PRESENT, 2)]
FEW = list(rows(dict.fromkeys(PRESENT, 2), [*PAIRS, JOB]))


def test_every_section_that_may_be_left_out_is_here():
    assert set(PRESENT) == {section.path for section in sections().values() if not section.required}


@pytest.mark.usefixtures("unrendered", "predicted_once")
@pytest.mark.parametrize("row", FEW, ids=lambda row: "+".join(name for name, level in row.items() if level) or "none")
def test_every_pair_of_sections_present_or_absent(row, tmp_path):
    judge(row, tmp_path)


@pytest.mark.slow
@pytest.mark.usefixtures("unrendered", "predicted_once")
def test_every_pair_of_ways_to_have_them(tmp_path_factory):
    for number, row in enumerate(rows({path: 1 + len(ways) for path, ways in PRESENT.items()}, PAIRS)):
        judge(row, tmp_path_factory.mktemp("ways"), boards=number % 4 == 0)


@pytest.mark.slow
@pytest.mark.usefixtures("unrendered", "predicted_once")
def test_every_way_to_have_a_job(tmp_path_factory):
    for levels in itertools.product(*(range(1 + len(PRESENT[name])) for name in JOB)):
        row = dict.fromkeys(PRESENT, 0) | dict(zip(JOB, levels, strict=True))
        judge(row, tmp_path_factory.mktemp("job"), boards=not any(levels[1:]))


@pytest.mark.usefixtures("unrendered", "predicted_once")
def test_balls_between_two_boards_go_through_every_command(tmp_path):
    row = dict.fromkeys(PRESENT, 0) | {"slip_ring": 2, "load": 1, "motion": 1, "drive": 1, "cooling": 1}
    judge(row, tmp_path)
    made = tmp_path / "made" / "slip-ring"
    assert (made / "still" / "profile.gbr").is_file() and (made / "turning" / "profile.gbr").is_file()
