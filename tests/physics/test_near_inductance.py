"""Coarse grid plus what is near against one fine grid over everything, and what makes the near part quick."""

import numpy as np
import pytest

from pcbstator.errors import LawRangeError
from pcbstator.physics.inductance.strips import iron_images, joined_strips, merged_strips, strips_along
from pcbstator.physics.inductance.tracks import near_inductance_matrix, track_inductance_matrix


def spirals(levels, turns=4, first=4e-3, pitch=0.5e-3, centre=(12e-3, 0.0)):
    """Spirals above each other."""
    around = np.linspace(0, 2 * np.pi * turns, 48 * turns + 1)
    radius = first - pitch * around / (2 * np.pi)
    points = np.column_stack([radius * np.cos(around), radius * np.sin(around)]) + centre
    return joined_strips([strips_along(points, z, 0.3e-3, 35e-6) for z in levels])


@pytest.mark.parametrize("images", [(), iron_images([1e-3])])
def test_coarse_and_near_are_the_fine_grid(images):
    """Two coils side by side; the coarse grid alone would be off."""
    one, other = spirals((0.0, -0.4e-3)), spirals((0.0, -0.4e-3), centre=(20.5e-3, 0.0))
    strips = joined_strips([one, other])
    currents = np.repeat(np.eye(2), len(one.width), axis=1)
    fine = track_inductance_matrix(strips, currents, 0.15e-3, images)
    coarse = track_inductance_matrix(strips, currents, 0.75e-3, images)
    near = near_inductance_matrix(strips, currents, 0.15e-3, 0.75e-3, images)
    assert abs(coarse - fine).max() > 0.02 * fine[0, 0]
    assert coarse + near == pytest.approx(fine, abs=4e-3 * fine[0, 0])
    assert np.array_equal(near, near.T)


def test_far_copper_adds_nothing_near():
    one = spirals((0.0,))
    far = spirals((0.0,), centre=(40e-3, 0.0))
    both = near_inductance_matrix(
        joined_strips([one, far]), np.repeat(np.eye(2), len(one.width), axis=1), 0.2e-3, 0.6e-3
    )
    assert abs(both[0, 1]) < 1e-5 * both[0, 0]
    alone = near_inductance_matrix(one, np.ones((1, len(one.width))), 0.2e-3, 0.6e-3)
    assert both[0, 0] == pytest.approx(alone[0, 0], rel=2e-3)


def test_merged_strips_carry_the_same_current():
    strips = spirals((0.0, -0.4e-3))
    merged, currents = merged_strips(strips, np.ones((1, len(strips.width))), 0.75e-3)
    assert len(merged.width) < 0.7 * len(strips.width)
    assert currents.shape == (1, len(merged.width))
    moments = [(part.ends - part.starts).sum(axis=0) for part in (strips, merged)]
    assert moments[1] == pytest.approx(moments[0], abs=1e-12)
    values = [track_inductance_matrix(part, np.ones((1, len(part.width))), 0.75e-3)[0, 0] for part in (strips, merged)]
    assert values[1] == pytest.approx(values[0], rel=5e-3)


def test_strips_of_different_currents_are_not_merged():
    strips = spirals((0.0,))
    currents = np.zeros((2, len(strips.width)))
    currents[0, :100], currents[1, 100:] = 1.0, 2.0
    merged, carried = merged_strips(strips, currents, 0.75e-3)
    lengths = [carried @ merged.lengths, currents @ strips.lengths]
    assert lengths[0] == pytest.approx(lengths[1], rel=5e-3)
    assert set(carried[0].tolist()) == {0.0, 1.0}


def test_the_finer_cell_must_be_finer():
    with pytest.raises(LawRangeError):
        near_inductance_matrix(spirals((0.0,)), np.ones((1, 192)), 0.5e-3, 0.5e-3)


def test_some_rows_are_those_of_the_whole():
    strips, count = joined_strips([spirals((0.0, -0.4e-3)), spirals((0.0, -0.4e-3), centre=(20.5e-3, 0.0))]), 192
    currents = np.repeat(np.eye(4), count, axis=1)
    whole = near_inductance_matrix(strips, currents, 0.2e-3, 0.7e-3)
    for rows in (1, 3):
        some = near_inductance_matrix(strips, currents, 0.2e-3, 0.7e-3, rows=rows)
        assert some.shape == (rows, 4)
        assert some == pytest.approx(whole[:rows], rel=1e-6)
