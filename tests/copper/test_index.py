"""The index of copper against the distances of every pair."""

import numpy as np
import pytest
import shapely

from pcbstator.copper import Track
from pcbstator.copper.geometry.index import CHUNK, CopperIndex, cuts, track_areas

MM = 1e-3


def test_near_pairs_are_those_of_every_pair():
    """Lines, points and areas of three half widths; one reach for all, and one for each shape."""
    dice = np.random.default_rng(3)
    ends = dice.uniform(0, 20 * MM, (60, 2, 2))
    pieces = np.array([*shapely.linestrings(ends), *shapely.points(ends[:, 0]), *shapely.points(ends[:, 1]).tolist()])
    half = dice.choice([0.0, 0.2 * MM, 1.0 * MM], len(pieces))
    asked = shapely.points(dice.uniform(0, 20 * MM, (25, 2)))
    index = CopperIndex(pieces, half)
    distance = shapely.distance(asked[:, None], pieces) - half
    for reach in (0.5 * MM, dice.uniform(0, 2 * MM, 25)):
        shape, piece = index.near(asked, reach)
        found = set(zip(shape.tolist(), piece.tolist(), strict=True))
        assert found == set(zip(*(each.tolist() for each in np.nonzero(reach >= distance.T)[::-1]), strict=True))
        assert 0 < len(found) < distance.size
        assert index.distances(asked[shape], piece) == pytest.approx(distance[shape, piece], abs=1e-15)


@pytest.mark.parametrize("points", [2, CHUNK, CHUNK + 1, CHUNK + 2, 3 * CHUNK + 5])
def test_cuts_share_their_ends_and_leave_nothing_out(points):
    first, final = cuts(points)
    assert first[0] == 0 and final[-1] == points - 1
    assert np.array_equal(first[1:], final[:-1])
    assert np.all(final > first) and np.all(final - first <= CHUNK)


def test_areas_of_a_straight_track_that_widens():
    """By hand: trapezoids of the mean width, 30 mm long and 1 to 3 mm wide, in all 60 mm2, wherever it is turned."""
    line = np.stack([np.linspace(10 * MM, 40 * MM, 31), np.zeros(31)], axis=1)
    track = Track(1, line, 3 * MM, "X", "A", "coil", np.linspace(1 * MM, 3 * MM, 31))
    areas = track_areas(track, 0.7)
    assert len(areas) == 3
    assert sum(area.area for area in areas) == pytest.approx(60 * MM**2, rel=1e-12)
    assert shapely.union_all(areas).distance(shapely.Point(25 * MM * np.cos(0.7), 25 * MM * np.sin(0.7))) == 0
