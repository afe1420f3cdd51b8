"""Inductance of a whole machine against a sum over all pairs of filaments."""

from dataclasses import replace

import numpy as np
import pytest
import shapely

from pcbstator.copper import Track, lay_copper
from pcbstator.physics.neumann_inductance import neumann_track_inductance_matrix
from pcbstator.physics.strips import cell_for, iron_images
from pcbstator.physics.track_inductance import track_inductance_matrix
from pcbstator.predict import inductance
from pcbstator.predict.current_paths import conductors_of
from pcbstator.predict.inductance import (
    all_copper,
    coil_inductance,
    inductance_matrix,
    iron_faces,
    strips_of,
    synchronous_inductance,
)


def sketched(copper):
    """The copper with fewer vertices, so that the sum over all pairs ends."""

    def fewer(track):
        line = shapely.LineString(track.points).simplify(1e-4)
        return replace(track, shape=np.array(line.coords), turn=0.0)

    def along(path):
        return replace(path, steps=tuple(fewer(step) if isinstance(step, Track) else step for step in path.steps))

    phases = tuple(replace(phase, paths=tuple(map(along, phase.paths))) for phase in copper.phases)
    return replace(copper, coil=replace(copper.coil, tracks=tuple(map(fewer, copper.coil.tracks))), phases=phases)


@pytest.mark.parametrize("iron", [0.0, 2.0])
def test_against_pair_sums(small, iron):
    """Within 1 % of the self inductance: the second method adds up every pair of pieces of the same copper."""
    design = small.with_values({"rotor.back_iron_mm": iron, "winding.turns": 2, "winding.coils": 3, "rotor.poles": 4})
    copper = sketched(lay_copper(design))
    ours = inductance_matrix(design, copper)
    strips, currents = all_copper(conductors_of(design, copper))
    pairs = neumann_track_inductance_matrix(strips, currents, filaments=2, images=iron_faces(design))
    assert ours == pytest.approx(pairs, abs=1e-2 * pairs[0, 0])


def test_iron_raises_inductance(small):
    copper = lay_copper(small)
    with_iron = inductance_matrix(small.with_values({"rotor.back_iron_mm": 2.0}), copper)
    assert with_iron[0, 0] > 1.02 * inductance_matrix(small, copper)[0, 0]


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


DRAWN = {
    "many turns": {"winding.turns": 7, "board.track_width_mm": 0.3, "board.layers": 4},
    "one turn": {"winding.turns": 1},
    "one wide turn": {"winding.turns": 1, "board.track_width_mm": 1.2},
    "two irons": {"winding.turns": 3, "rotor.arrangement": "double", "rotor.back_iron_mm": 2.0},
    "two boards": {"winding.turns": 2, "stack.boards": 2},
    "in parallel": {"winding.parallel_paths": 2, "winding.turns": 2},
    "wave": {
        "winding.kind": "wave", "winding.coils": None, "winding.turns": 2, "rotor.poles": 16,
        "board.track_width_mm": 0.35, "board.copper_outer_diameter_mm": 100.0,
    },
    "wave of few poles": {"winding.kind": "wave", "winding.coils": None, "winding.turns": 1, "rotor.poles": 6},
}  # fmt: skip


@pytest.mark.parametrize("wave", [False, True])
def test_what_is_left_open_counts_no_reflections(small, monkeypatch, wave):
    """Between two irons the figure does not depend on how many reflections are kept, though phases are not closed."""
    changes = {"rotor.arrangement": "double", "rotor.back_iron_mm": 2.0, "rotor.poles": 8}
    design = small.with_values((DRAWN["wave"] if wave else {}) | changes)
    copper = lay_copper(design)
    few = inductance_matrix(design, copper)
    monkeypatch.setattr(inductance, "FEWEST_REFLECTIONS", 64)
    many = inductance_matrix(design, copper)
    assert many == pytest.approx(few, abs=4e-3 * few[0, 0])
    monkeypatch.setattr(inductance, "MOST_REFLECTIONS", 256)
    monkeypatch.setattr(inductance, "FEWEST_REFLECTIONS", 256)
    assert inductance_matrix(design, copper) == pytest.approx(many, abs=1e-3 * few[0, 0])


@pytest.mark.slow
@pytest.mark.parametrize("name", DRAWN)
def test_against_one_fine_grid(small, name):
    """Waves around the axis and one unit on a finer grid, against one fine grid over all copper.

    Tracks lie four cells of that grid and more from each other, so that it is right to 0.2 %.
    """
    design = small.with_values(DRAWN[name])
    copper = lay_copper(design)
    ours = inductance_matrix(design, copper)
    cell = (design.board.track_width + design.board.track_gap) / 4
    one_grid = track_inductance_matrix(*all_copper(conductors_of(design, copper)), cell, iron_faces(design))
    assert ours == pytest.approx(one_grid, abs=8e-3 * one_grid[0, 0])
    assert synchronous_inductance(ours) == pytest.approx(synchronous_inductance(one_grid), rel=8e-3)


@pytest.mark.slow
def test_converged(small, monkeypatch):
    """More rings, a finer grid: the result moves by less than 0.5 %."""
    from pcbstator.physics import ring_inductance, strips

    copper = lay_copper(small)
    usual = inductance_matrix(small, copper)
    monkeypatch.setattr(inductance, "cell_for", lambda *where: strips.cell_for(*where) / 2)
    finer = inductance_matrix(small, copper)
    assert abs(finer - usual).max() > 1e-5 * usual[0, 0]  # the knob is a knob
    monkeypatch.setattr(ring_inductance, "RINGS", 160)
    monkeypatch.setattr(ring_inductance, "FEW_RINGS", 160)
    assert inductance_matrix(small, copper) == pytest.approx(usual, abs=5e-3 * usual[0, 0])
