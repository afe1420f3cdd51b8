"""Words that stand only where what they name is there."""

from types import SimpleNamespace

import pytest

import pcbstator
from pcbstator.copper import size_design
from pcbstator.output.drawing.board import non_winding_signs
from pcbstator.output.rotor.magnet_list import magnet_list
from tests.output.test_marks_of_drawings import HALBACH


@pytest.mark.parametrize("holes", [(), (False,), (True,), (True, True), (False, True)])
def test_legend_explains_the_holes_that_are_there(holes):
    """holes: whether each is plated."""
    copper = SimpleNamespace(
        shape=SimpleNamespace(drilled=[SimpleNamespace(plated=plated) for plated in holes]),
        non_winding=SimpleNamespace(lands=()), jumper_holes=(),
    )  # fmt: skip
    design = SimpleNamespace(board=SimpleNamespace(keepouts=()))
    words = {sign.words for sign in non_winding_signs(SimpleNamespace(unit=1.0), design, copper)}
    names = {False: "H hole, unplated", True: "plated hole"}
    assert words == {names[plated] for plated in holes}


@pytest.mark.parametrize(("changes", "each"), [({}, False), (HALBACH, True)])
def test_spare_magnets_are_of_each_kind_where_there_are_kinds(changes, each):
    design = size_design(pcbstator.load_design("designs/small-fan.toml").with_values({"envelope": None} | changes))
    (spares,) = [row.value for row in magnet_list(design) if row.name == "Spares"]
    assert spares.endswith("more of each kind" if each else "more")
