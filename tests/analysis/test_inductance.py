"""Inductance of a whole machine against a sum over all pairs of pieces of the copper that is drawn."""

from dataclasses import replace

import numpy as np
import pytest

from pcbstator.analysis.electrical import inductance
from pcbstator.analysis.electrical.conductors import conductors_of
from pcbstator.analysis.electrical.inductance import (
    coil_inductance,
    inductance_matrix,
    iron_faces,
    strips_of,
    synchronous_inductance,
    zero_sequence_inductance,
)
from pcbstator.copper import Copper, Track, lay_copper
from pcbstator.physics.inductance.strips import cell_for, iron_images
from pcbstator.physics.inductance.tracks import track_inductance_matrix
from tests.analysis.pair_sums import drawn_pieces, pair_sum_matrix, walked_currents

SIX_PATHS = {"winding.coils": 18, "winding.turns": 1, "winding.parallel_paths": 6, "rotor.poles": 12}
WAVE = {
    "winding.kind": "wave", "winding.coils": None, "winding.turns": 1, "rotor.poles": 12, "board.track_width_mm": 0.35,
    "board.track_gap_mm": 0.2, "board.copper_inner_diameter_mm": 40.0, "board.copper_outer_diameter_mm": 100.0,
}  # fmt: skip
DELTA = {"winding.connection": "delta"}


def matrix_of(design, copper):
    return inductance_matrix(design, conductors_of(design, copper))


def near_pair_sums(design):
    """Holds every inductance to within 1 % of the mean self inductance, and what a drive and the loop of a delta see to
    within 1 % of themselves.
    """
    copper = lay_copper(design)
    ours = matrix_of(design, copper)
    pairs = pair_sum_matrix(drawn_pieces(copper, conductors_of(design, copper).network.shares), iron_faces(design))
    assert ours == pytest.approx(pairs, abs=1e-2 * np.trace(pairs) / len(pairs))
    assert synchronous_inductance(ours) == pytest.approx(synchronous_inductance(pairs), rel=1e-2)
    assert zero_sequence_inductance(ours) == pytest.approx(zero_sequence_inductance(pairs), rel=1e-2)


@pytest.mark.parametrize("iron", [0.0, 2.0])
def test_against_pair_sums(small, iron):
    few = {"winding.turns": 2, "winding.coils": 3, "rotor.poles": 4}
    near_pair_sums(small.with_values(few | {"rotor.back_iron_mm": iron}))


def test_six_paths_of_single_turns(small):
    """Inter-coil connections are most of the copper and up to six paths share one."""
    near_pair_sums(small.with_values(SIX_PATHS))


def test_shared_link_carries_all_its_currents(small):
    """The lead of a terminal carries the whole phase; at the corner of a delta two phases meet."""
    for values, whole in ((SIX_PATHS, 1), (SIX_PATHS | DELTA, 2)):
        design = small.with_values(values)
        copper = lay_copper(design)
        in_interconnects, _ = walked_currents(copper, conductors_of(design, copper).network.shares)
        leads = [index for index, interconnect in enumerate(copper.interconnects) if interconnect.role == "lead"]
        found = np.abs(in_interconnects[:, leads]).round(9).T.tolist()
        assert [sum(currents) for currents in found if any(currents)] == [whole] * 3


def test_links_are_alike_wherever_the_board_is_cut_open(small):
    """Turned about the axis, the copper is the same, though it lies elsewhere on the unrolled connection rings."""
    design = small.with_values(SIX_PATHS)
    copper = lay_copper(design)
    usual = matrix_of(design, copper)
    for angle in (1.0, 2.0, 3.0, 4.0):
        moved = turned(copper, angle)
        assert matrix_of(design, moved) == pytest.approx(usual, abs=3e-4 * usual[0, 0])


def turned(copper: Copper, angle: float) -> Copper:
    def along(path):
        steps = (step.turned(angle) if isinstance(step, Track) else step for step in path.steps)
        return replace(path, steps=tuple(steps))

    phases = tuple(replace(phase, paths=tuple(map(along, phase.paths))) for phase in copper.phases)
    interconnects = tuple(interconnect.turned(angle) for interconnect in copper.interconnects)
    return replace(copper, coil_angles=copper.coil_angles + angle, interconnects=interconnects, phases=phases)


def test_iron_raises_inductance(small):
    copper = lay_copper(small)
    with_iron = matrix_of(small.with_values({"rotor.back_iron_mm": 2.0}), copper)
    assert with_iron[0, 0] > 1.02 * matrix_of(small, copper)[0, 0]


def test_iron_beyond_the_board_raises_inductance(small):
    """The plate on the far side is a mirror as the one behind the magnets: a coil of two equal layers, turned over,
    sees the same.
    """
    copper, height_mm = lay_copper(small), 1e3 * (small.rotor.air_gap + small.rotor.magnet.thickness)
    above = small.with_values({"rotor.back_iron_mm": 2.0})
    below = small.with_values({"rotor.stator_iron_mm": 1.5, "rotor.stator_iron_gap_mm": height_mm})
    plain, over, under = (coil_inductance(design, copper, 0.25e-3) for design in (small, above, below))
    assert over > 1.1 * plain
    assert under == pytest.approx(over, rel=1e-3)
    both = iron_faces(below.with_values({"rotor.back_iron_mm": 2.0}))
    assert both == iron_images([height_mm / 1e3, -small.stator_thickness - height_mm / 1e3])


def test_irons_near_each_other_take_more_reflections(small):
    """A coil that is much longer than the irons are apart, against hundreds of reflections."""
    thin = {"rotor.arrangement": "double", "rotor.back_iron_mm": 2.0, "rotor.magnet.thickness_mm": 0.3,
            "rotor.air_gap_mm": 0.05, "board.thickness_mm": 0.4}  # fmt: skip
    design = small.with_values(thin)
    copper, height = lay_copper(design), 0.35e-3
    coil, planes = strips_of(copper, copper.coil.tracks), (height, -design.stator_thickness - height)
    ones = np.ones((1, len(coil.width)))
    exact = track_inductance_matrix(coil, ones, cell_for(coil), iron_images(planes, 300))[0, 0]
    few = track_inductance_matrix(coil, ones, cell_for(coil), iron_images(planes))[0, 0]
    assert coil_inductance(design, copper, cell_for(coil)) == pytest.approx(exact, rel=5e-3)
    assert few != pytest.approx(exact, rel=5e-3)


def test_synchronous_is_self_minus_mutual_for_three_phases():
    matrix = np.full((3, 3), -2.0) + np.diag([12.0, 12.0, 12.0])
    assert synchronous_inductance(matrix) == pytest.approx(10.0 - -2.0, rel=1e-12)


def test_zero_sequence_is_self_plus_both_mutuals_for_three_phases():
    matrix = np.array([[10.0, -2.0, -1.0], [-2.0, 11.0, -3.0], [-1.0, -3.0, 12.0]])
    assert zero_sequence_inductance(matrix) == pytest.approx(11.0 + 2 * -2.0, rel=1e-12)


DRAWN = {
    "many turns": {"winding.turns": 7, "board.track_width_mm": 0.3, "board.layers": 4},
    "one turn": {"winding.turns": 1},
    "one wide turn": {"winding.turns": 1, "board.track_width_mm": 1.2},
    "two irons": {"winding.turns": 3, "rotor.arrangement": "double", "rotor.back_iron_mm": 2.0},
    "two boards": {"winding.turns": 2, "stack.boards": 2},
    "in parallel": {"winding.parallel_paths": 2, "winding.turns": 2},
    "in parallel, delta": {"winding.parallel_paths": 2, "winding.turns": 2, **DELTA},
    "three paths": SIX_PATHS | {"winding.parallel_paths": 3, "winding.turns": 2},
    "four paths, delta": {
        "winding.coils": 12, "winding.turns": 2, "winding.parallel_paths": 4, "rotor.poles": 8, **DELTA,
    },
    "six paths, delta": SIX_PATHS | DELTA,
    "six paths, four layers": SIX_PATHS | {"board.layers": 4},
    "wave": WAVE | {"winding.turns": 2, "rotor.poles": 16},
    "wave of few poles": WAVE | {"rotor.poles": 6},
    "wave of two phases and paths": WAVE | {
        "winding.phases": 2, "winding.parallel_paths": 2, "rotor.poles": 8, "board.layers": 4,
    },
    "tapered wave in parallel": WAVE | {
        "winding.layer_connection": "parallel", "rotor.poles": 16, "board.layers": 4, "board.track_profile": "tapered",
    },
}  # fmt: skip


@pytest.mark.parametrize("wave", [False, True])
def test_what_is_left_open_counts_no_reflections(small, monkeypatch, wave):
    """Between two irons the figure does not depend on how many reflections are kept, though phases are not closed."""
    changes = {"rotor.arrangement": "double", "rotor.back_iron_mm": 2.0, "rotor.poles": 8}
    design = small.with_values((DRAWN["wave"] if wave else {}) | changes)
    copper = lay_copper(design)
    few = matrix_of(design, copper)
    monkeypatch.setattr(inductance, "FEWEST_REFLECTIONS", 64)
    many = matrix_of(design, copper)
    assert many == pytest.approx(few, abs=4e-3 * few[0, 0])
    monkeypatch.setattr(inductance, "MOST_REFLECTIONS", 256)
    monkeypatch.setattr(inductance, "FEWEST_REFLECTIONS", 256)
    assert matrix_of(design, copper) == pytest.approx(many, abs=1e-3 * few[0, 0])


@pytest.mark.slow
@pytest.mark.parametrize("name", DRAWN)
def test_drawn_against_pair_sums(small, name):
    """Waves around the axis and what finer grids add, against all pairs of pieces."""
    near_pair_sums(small.with_values(DRAWN[name]))


@pytest.mark.slow
def test_converged(small, monkeypatch):
    """More rings, a finer grid: the result moves by less than 0.5 %."""
    from pcbstator.physics.inductance import rings, strips

    copper = lay_copper(small)
    usual = matrix_of(small, copper)
    monkeypatch.setattr(inductance, "cell_for", lambda *where: strips.cell_for(*where) / 2)
    finer = matrix_of(small, copper)
    assert abs(finer - usual).max() > 1e-5 * usual[0, 0]  # the knob is a knob
    monkeypatch.setattr(rings, "RINGS", 160)
    monkeypatch.setattr(rings, "FEW_RINGS", 160)
    assert matrix_of(small, copper) == pytest.approx(usual, abs=5e-3 * usual[0, 0])
