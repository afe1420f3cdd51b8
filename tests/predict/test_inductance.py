"""Inductance of a whole machine against a sum over all pairs of filaments."""

from dataclasses import replace

import numpy as np
import pytest
import shapely

from pcbstator.copper import Track, lay_copper
from pcbstator.physics.neumann_inductance import neumann_track_inductance_matrix
from pcbstator.predict.inductance import _all_copper, inductance_matrix, iron_faces, synchronous_inductance


def sketched(copper):
    """The copper with fewer vertices, so that the sum over all pairs ends."""

    def fewer(track):
        line = shapely.LineString(track.points).simplify(1e-4)
        return replace(track, points=np.array(line.coords))

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
    strips, currents = _all_copper(copper)
    pairs = neumann_track_inductance_matrix(strips, currents, filaments=2, images=iron_faces(design))
    assert ours == pytest.approx(pairs, abs=1e-2 * pairs[0, 0])


def test_iron_raises_inductance(small):
    copper = lay_copper(small)
    with_iron = inductance_matrix(small.with_values({"rotor.back_iron_mm": 2.0}), copper)
    assert with_iron[0, 0] > 1.02 * inductance_matrix(small, copper)[0, 0]


def test_synchronous_is_self_minus_mutual_for_three_phases():
    matrix = np.full((3, 3), -2.0) + np.diag([12.0, 12.0, 12.0])
    assert synchronous_inductance(matrix) == pytest.approx(10.0 - -2.0, rel=1e-12)


@pytest.mark.slow
def test_converged(small):
    """Halving both grids moves the result by less than 0.5 %."""
    from pcbstator.predict import inductance

    copper = lay_copper(small)
    usual = inductance_matrix(small, copper)
    coarse, fine = inductance.COARSE, inductance.cell_for
    try:
        inductance.COARSE, inductance.cell_for = coarse / 2, lambda strips: fine(strips) / 2
        assert inductance_matrix(small, copper) == pytest.approx(usual, abs=5e-3 * usual[0, 0])
    finally:
        inductance.COARSE, inductance.cell_for = coarse, fine
