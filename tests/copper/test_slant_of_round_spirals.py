"""The slant of a spiral between its turns, measured on the spiral itself."""

import numpy as np
import pytest

from pcbstator.copper.spiral.outlines import outline_points, round_family

MM = 1e-3


@pytest.mark.parametrize("depth", [0.0, 2.0])
def test_steepest_slant_of_a_round_spiral(depth: float) -> None:
    """Radius falling by a step a turn: tan of the slant is step/(2 pi r), steepest at the least radius."""
    step = 0.5 * MM
    family = round_family(36 * MM, 20 * MM, 9, 0.25 * MM).with_ramp(depth * MM)
    vertex = np.arange(2 * family.half_vertices + 1)
    middle = depth * MM + step * (vertex / (2 * family.half_vertices) - 0.5)
    points = outline_points(family, middle, vertex)
    steps = np.diff(points, axis=0)
    radii = np.hypot(points[:, 0] - family.centre, points[:, 1])
    slants = -np.diff(radii) / np.hypot(*steps.T)
    assert slants.max() == pytest.approx(family.slant(step), rel=0.05)
