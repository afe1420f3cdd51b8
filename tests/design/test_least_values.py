"""Numbers that are nearly 0: refused at the door in words, and from the least value on every one is worked with."""

from __future__ import annotations

import copy
from typing import Any

import pytest

import pcbstator
from pcbstator.design import load_design
from pcbstator.design.keys import record_keys
from pcbstator.design.quantities import Quantity, QuantityList
from pcbstator.design.recorded_motion import MOST_ROWS, read_recording
from pcbstator.design.sections.bearing import FrictionSpot
from pcbstator.design.sections.bodies import Ring
from pcbstator.design.validation.complaints import unnumbered
from pcbstator.errors import Complaint, DesignError
from tests.command import write_design
from tests.test_mutations import KINDS, put
from tests.test_sections import BASE, DRIVE, MOVE, PAUSES, RINGS, SPOT

RING = {"shape": "ring", "mass_g": 60.0, "inner_diameter_mm": 36.0, "outer_diameter_mm": 90.0, "offset_mm": 1.0}
FULL: dict[str, Any] = {
    **BASE, "envelope": {}, "cooling": {}, "tolerance": {},
    "operation": {"speeds_rpm": [60.0], "phase_currents_peak_a": [0.5]},
    "slip_ring": RINGS, "drive": {**DRIVE, "cable_section_mm2": 0.5, "driver_area_mm2": 2000.0},
    "motion": {**MOVE, **PAUSES, "move_deg": 90.0},
    "load": {"inertia_kg_m2": 1e-4, "bodies": [RING]},
    "bearing": {"friction_n_m": 0.002, "friction_spots": [SPOT]},
}  # fmt: skip


def with_value(path: str, value: float) -> dict[str, Any]:
    """The full design with one number, alone in its list if it is a list."""
    document = copy.deepcopy(FULL)
    if path == "motion.stops_deg":
        del document["motion"]["move_deg"]
        put(document, path, [0.0, value, 90.0])
    elif path == "board.layer_depths_mm":
        put(document, path, [0.0, value])
    elif path.startswith(("load.bodies.", "bearing.friction_spots.")):
        section, table, name = path.split(".")
        document[section][table][0][name] = value
    else:
        put(document, path, [value] if isinstance(KINDS[path], QuantityList) else value)
    return document


def near_zero() -> dict[str, Quantity]:
    """Every number of a design file that may be 0 or lie near it, by its key."""
    found: dict[str, Quantity] = {}
    for path, kind in KINDS.items():
        each = kind.each if isinstance(kind, QuantityList) else kind
        if isinstance(each, Quantity) and each.low <= 0:
            found[path] = each
    for name, record in (("load.bodies", Ring), ("bearing.friction_spots", FrictionSpot)):
        kinds = {key.path: key.kind for key in record_keys(name, record)}
        found |= {path: kind for path, kind in kinds.items() if isinstance(kind, Quantity) and kind.low <= 0}
    return found


NEAR_ZERO = near_zero()
RULED = (  # refused beside the other keys of the full design
    "board.layer_depths_mm", "cooling.board_max_c", "cooling.magnet_max_c", "bearing.standstill_friction_n_m",
    "motion.stops_deg",
)  # fmt: skip
LOADS = {
    "friction": {"bearing": {"friction_n_m": 1e-9}}, "standstill": {"bearing": {"standstill_friction_n_m": 1e-9}},
    "viscous": {"bearing": {"viscous_n_m_s_per_rad": 1e-12}}, "unbalance": {"load": {"unbalance_n_m": 1e-9}},
    "inertia": {"load": {"inertia_kg_m2": 1e-12, "coupling_n_m_per_rad": 50.0}},
    "body": {"load": {"bodies": [{"shape": "point", "mass_g": 1e-6, "radius_mm": 1e-3}], "coupling_n_m_per_rad": 50.0}},
}  # fmt: skip
MOTIONS = {
    "turn": {"speed_rpm": 60.0}, "creep": {"speed_rpm": 1e-6}, "move": {**MOVE, "move_deg": 0.001, "dwell_s": 1e-6},
}  # fmt: skip


@pytest.mark.parametrize("value", [5e-324, -5e-324, 1e-300, 1e-13])
@pytest.mark.parametrize("path", NEAR_ZERO)
def test_what_means_nothing_is_refused(tmp_path, path, value):
    with pytest.raises(DesignError) as caught:
        load_design(write_design(tmp_path / "a.toml", with_value(path, value)))
    (told,) = caught.value.complaints
    assert unnumbered(told.key) == path and told.rule.count("must be") == 1 and told.remedy


@pytest.mark.parametrize(
    "path", [pytest.param(path, marks=() if at % 5 == 0 else pytest.mark.slow) for at, path in enumerate(NEAR_ZERO)]
)
def test_from_the_least_value_on_all_are_worked_with(tmp_path, path):
    """The program's warnings are errors here."""
    for value in (0.0, NEAR_ZERO[path].least):
        try:
            design = load_design(write_design(tmp_path / "a.toml", with_value(path, value)))
        except DesignError:
            assert path in RULED
            continue
        found = pcbstator.predict(design).to_dict()
        assert found["electrical"] and found["motion"]


@pytest.mark.parametrize("load", LOADS)
@pytest.mark.parametrize(
    "motion", [pytest.param(name, marks=() if name == "move" else pytest.mark.slow) for name in MOTIONS]
)
def test_least_loads_alone(tmp_path, load, motion):
    document = FULL | {"load": {}, "bearing": {}} | LOADS[load] | {"motion": MOTIONS[motion]}
    design = load_design(write_design(tmp_path / "a.toml", document))
    found = pcbstator.simulate(design, ("hold",)).to_dict()
    assert found["scenarios"]["hold"]["duration_s"] > 0


def recorded(folder, text: str | bytes):
    (folder / "r.csv").write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_recording(folder, "r.csv")


ROWS = "time_s,angle_deg\n0,0\n1,10\n2,30\n3,30\n"


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r", "\n\n", "\r\r\n"])
def test_lines_end_as_any_system_ends_them(tmp_path, end):
    found = recorded(tmp_path, "# of a controller" + end + ROWS.replace("\n", end))
    assert not isinstance(found, Complaint)
    assert found.times == (0.0, 1.0, 2.0, 3.0)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (ROWS + "4," + "9" * 200_000 + "\n", "short numbers"),
        (ROWS + '4,"' + "9\n" * 100_000, "short numbers"),
        ("x" * 200_000, "short numbers"),
        (ROWS + "3.0000001,1\n", "1e-06 s"),
        (ROWS.replace("1,10", "5e-324,10"), "1e-06 s"),
        (ROWS.replace("1,10", "1,1e400"), "sensible"),
        (ROWS.replace("1,10", "1,\x00"), "must"),
        (ROWS.encode("utf-16"), "UTF-8"),
        ("time_s,angle_deg\n" + "\n".join(f"{n},0" for n in range(MOST_ROWS + 1)), "rows"),
    ],
)
def test_recordings_refused_in_words(tmp_path, text, words):
    told = recorded(tmp_path, text)
    assert isinstance(told, Complaint) and words in str(told) and len(str(told)) < 300


@pytest.mark.parametrize("column", ["angle_deg", "torque_n_m"])
@pytest.mark.parametrize("size", [5e-324, 1e-300, 1e-13, 1e-12, 1e-9])
@pytest.mark.parametrize("load", [None, {}, {"unbalance_n_m": 1e-9}])
def test_tiny_numbers_in_a_recording_are_worked_with(tmp_path, column, size, load):
    """Traces of other programs end in such remainders; they count as 0."""
    (tmp_path / "r.csv").write_text(f"time_s,{column}\n0,0\n1e-6,{size}\n2,{-size}\n3,0\n")
    document = FULL | {"motion": {"table_csv": "r.csv"}, "load": load}
    document = {name: table for name, table in document.items() if table is not None}
    assert pcbstator.predict(load_design(write_design(tmp_path / "a.toml", document))).motion.top_speed >= 0
