"""Boards in a stack: resistances and linkages by those of single boards."""

from dataclasses import replace
from itertools import pairwise
from math import pi
from pathlib import Path

import numpy as np
import pytest

import pcbstator
from pcbstator.analysis.electrical.conductors import conductors_of
from pcbstator.analysis.magnetic.rotor_field import path_linkages, phase_linkages, rotor_field
from pcbstator.copper.connections.stack import PIN_PLAY
from pcbstator.errors import DesignError

STAGE = pcbstator.load_design(Path(__file__).parents[2] / "designs" / "photogrammetry-stage.toml")
BARE = {"rotor.back_iron_mm": 0.0, "envelope": None, "requirement": None, "build": None, "winding.turns": 6}
WAVE = BARE | {
    "winding.kind": "wave", "winding.coils": None, "winding.turns": 2, "rotor.poles": 16,
    "board.track_width_mm": 0.2, "board.copper_inner_diameter_mm": 64.0, "board.copper_outer_diameter_mm": 130.0,
    "board.layers": 2,
}  # fmt: skip


def stack(changes, boards, connection):
    section = None if boards == 1 else {"boards": boards, "connection": connection, "spacing_mm": 0.4}
    return STAGE.with_values(changes | {"winding.connection": "open", "stack": section})


def psi(design):
    copper = pcbstator.lay_copper(design)
    linkages = phase_linkages(conductors_of(design, copper), path_linkages(copper, rotor_field(design)))
    return np.abs(linkages[:, 0])


@pytest.mark.parametrize("changes", [BARE, WAVE], ids=["spiral", "wave"])
@pytest.mark.parametrize("boards", [2, 3])
def test_boards_in_series(changes, boards):
    """psi: the sum over single boards whose gap is wider by their depth; resistance: boards and pins.

    The boards of a stack have their terminals elsewhere than single ones, so that interconnects differ: 1 % of the
    whole.
    """
    design = stack(changes, boards, "series")
    singles = [stack(changes, 1, "").with_values({"rotor.air_gap_mm": 0.8 + 2.0 * number}) for number in range(boards)]
    assert psi(design) == pytest.approx(sum(map(psi, singles)), rel=0.01)
    whole, copper = pcbstator.predict(design), pcbstator.lay_copper(design)
    board = copper.board
    alone = pcbstator.predict(singles[0].with_values({}), copper=replace(board)).electrical.phase_resistance
    # A pin of copper from the last layer of a board's lead to the next board's: one board pitch, give or take a board.
    section = pi / 4 * (design.board.terminal_drill - PIN_PLAY) ** 2
    most = (boards - 1) * 1.7241e-8 * (2.0e-3 + 1.6e-3) / section
    assert boards * alone < whole.electrical.phase_resistance <= (boards * alone + most) * (1 + 1e-9)


@pytest.mark.parametrize("changes", [BARE, WAVE], ids=["spiral", "wave"])
@pytest.mark.parametrize("boards", [2, 4])
def test_boards_in_parallel(changes, boards):
    """R over n but for the pins, less than 1 %; psi is the mean over single boards at their depths."""
    design, single = stack(changes, boards, "parallel"), stack(changes, 1, "")
    singles = [single.with_values({"rotor.air_gap_mm": 0.8 + 2.0 * number}) for number in range(boards)]
    assert psi(design) == pytest.approx(sum(map(psi, singles)) / boards, rel=2e-3)
    alone = pcbstator.predict(single).electrical.phase_resistance
    together = pcbstator.predict(design).electrical.phase_resistance
    assert alone / boards < together < 1.01 * alone / boards


def test_pins_meet_terminals():
    """The pin of each phase goes through A2 of one board and A of the next, at one place."""
    copper = pcbstator.lay_copper(stack(BARE, 3, "series"))
    per_board = len(copper.terminals) // 3
    boards = [copper.terminals[k * per_board : (k + 1) * per_board] for k in range(3)]
    for above, below in pairwise(boards):
        ends = {t.name[:-1]: (t.x, t.y) for t in above if t.name.endswith("2")}
        starts = {t.name: (t.x, t.y) for t in below if not t.name.endswith("2")}
        assert ends.keys() == starts.keys()
        for name, place in ends.items():
            assert place == pytest.approx(starts[name], abs=1e-9)


@pytest.mark.parametrize("boards", [0, 9, 2.5])
def test_counts_that_are_no_stack(boards):
    with pytest.raises(DesignError, match="boards"):
        STAGE.with_values({"stack": {"boards": boards}})
