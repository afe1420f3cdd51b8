"""Holes, slots, tabs, keep-outs and thermistor in a design file: what is taken and what is refused, in which words."""

import pytest

from pcbstator.errors import DesignError

HOLE = {"diameter_mm": 3.0, "circle_diameter_mm": 88.0}
SLOT = {"width_mm": 2.0, "length_mm": 6.0, "circle_diameter_mm": 88.0}
TAB = {"width_mm": 8.0, "reach_mm": 8.0}
SECTOR = {"inner_diameter_mm": 80.0, "outer_diameter_mm": 90.0, "from_deg": -10.0, "to_deg": 10.0}
CHIP = {"circle_diameter_mm": 88.0, "angle_deg": 30.0}


def test_values_become_si_and_defaults_are_there(design_of):
    board = design_of({"board.holes": [HOLE, {**HOLE, "plated": True, "pad_mm": 6.0}], "board.thermistor": CHIP}).board
    first, second = board.holes
    assert (first.diameter, first.circle_diameter, first.count, first.plated) == (3e-3, 88e-3, 1, False)
    assert second.pad == 6e-3 and board.thermistor.angle == pytest.approx(0.5235987755982988, rel=1e-15)
    assert board.slots == () and board.tabs == () and board.keepouts == ()


@pytest.mark.parametrize(
    ("table", "value", "text"),
    [
        ("holes", [{**HOLE, "plated": True}], "board.holes[1].pad_mm: is required where plated = true"),
        ("holes", [HOLE, {**HOLE, "plated": True, "pad_mm": 3.0}],
         "board.holes[2].pad_mm: must be larger than diameter_mm = 3; got 3.0"),
        ("holes", [{**HOLE, "pad_mm": 6.0}], "board.holes[1].pad_mm: goes with plated = true only"),
        ("holes", [{**HOLE, "plated": True, "pad_mm": 10.0}], "must be at most 9.9 mm"),
        ("holes", [{**HOLE, "plated": 1}], "board.holes[1].plated: must be true or false; got 1"),
        ("holes", [{**HOLE, "circle_diameter_mm": 0, "count": 3}], "holes[1].count: must be 1 in the board's middle"),
        ("holes", [{**HOLE, "diametre_mm": 3.0}], "did you mean board.holes.diameter_mm?"),
        ("holes", [{"diameter_mm": 3.0}], "board.holes[1].circle_diameter_mm: is required"),
        ("holes", [{**HOLE, "diameter_mm": float("nan")}], "board.holes[1].diameter_mm: must be a number"),
        ("holes", HOLE, "board.holes: must be a list of tables"),
        ("holes", [3], "board.holes[1]: must be a table of keys; got 3"),
        ("holes", [HOLE] * 25, "board.holes: must be at most 24 tables; got 25"),
        ("slots", [{**SLOT, "length_mm": 2.0}], "board.slots[1].length_mm: must be larger than width_mm = 2"),
        ("tabs", [{**TAB, "reach_mm": 4.0}], "board.tabs[1].reach_mm: must be at least 5 mm"),
        ("tabs", [{**TAB, "hole_mm": 8.0}], "board.tabs[1].hole_mm: must be smaller than width_mm = 8"),
        ("keepouts", [{"shape": "disc", "circle_diameter_mm": 80.0}], "diameter_mm: is required where shape"),
        ("keepouts", [{**SECTOR, "diameter_mm": 3.0}], 'diameter_mm: does not belong to shape = "sector"'),
        ("keepouts", [{**SECTOR, "to_deg": -10.0}], "board.keepouts[1].to_deg: must be up to 360 degrees beyond"),
        ("keepouts", [{**SECTOR, "outer_diameter_mm": 80.0}], "must be larger than inner_diameter_mm = 80"),
        ("keepouts", [{**SECTOR, "layers": [1, 9]}], "board.keepouts[1].layers: must be layers of the board, 1 to 4"),
        ("keepouts", [{**SECTOR, "layers": [1, 1]}], "a list of different whole numbers"),
        ("keepouts", [{**SECTOR, "shape": "star"}], 'board.keepouts[1].shape: must be "sector"'),
        ("thermistor", {**CHIP, "land_width_mm": 1.0}, "board.thermistor.land_width_mm: go together"),
        ("thermistor", [CHIP], "board.thermistor: must be a table of keys"),
        ("thermistor", {**CHIP, "size": "0201"}, "board.thermistor.size: must be"),
    ],
)  # fmt: skip
def test_what_is_refused(design_of, table, value, text):
    with pytest.raises(DesignError) as error:
        design_of({"board.layers": 4, f"board.{table}": value})
    assert text in str(error.value)


def test_all_tables_complain_at_once(design_of):
    holes, slots = [{**HOLE, "count": 0}, {**HOLE, "plated": True}], [{**SLOT, "width_mm": 9}]
    with pytest.raises(DesignError) as error:
        design_of({"board.holes": holes, "board.slots": slots})
    assert [complaint.key for complaint in error.value.complaints] == [
        "board.holes[1].count", "board.holes[2].pad_mm", "board.slots[1].length_mm",
    ]  # fmt: skip


def test_changed_copy_takes_a_list_and_takes_it_away(design_of):
    design = design_of({}).with_values({"board.holes": [HOLE]})
    assert len(design.board.holes) == 1
    assert design.with_values({"board.holes": None}).board.holes == ()
    with pytest.raises(DesignError, match=r"set board\.holes to a list of tables"):
        design.with_values({"board.holes.diameter_mm": 3.0})
