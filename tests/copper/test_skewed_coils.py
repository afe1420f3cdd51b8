"""A skewed coil is the straight one, sheared: its axis turns by the skew from its inner to its outer radius."""

from math import hypot, radians

import numpy as np
import pytest
import shapely

from pcbstator.copper import lay_copper
from tests.copper.stators import design_of


@pytest.mark.parametrize("skew", [4.0, -3.0])
def test_axis_of_a_coil_turns_by_the_skew(skew: float) -> None:
    """The middle between both sides of the outermost turn, near its inner and its outer end."""
    design = design_of(winding__skew_deg=skew, winding__turns=4)
    coil = lay_copper(design).coil
    straight = lay_copper(design_of(winding__turns=4)).coil
    middles = []
    radii = np.array([0.0, 0.0])
    for tracks in (straight.tracks, coil.tracks):
        places = np.hypot(*tracks[0].points.T)
        radii = places.min() + np.array([0.25, 0.75]) * (places.max() - places.min())
        line = shapely.LineString(tracks[0].points)
        found = []
        for radius in radii:
            crossings = shapely.get_coordinates(line.intersection(shapely.Point(0, 0).buffer(radius, 512).exterior))
            angles = np.arctan2(crossings[:, 1], crossings[:, 0])
            found.append((angles.max() + angles.min()) / 2)
        middles.append(found[1] - found[0])
    assert middles[1] - middles[0] == pytest.approx(radians(skew) / 2, rel=0.15)  # over half of the radial length


def test_vias_of_a_skewed_coil_stand_at_the_ends_of_its_tracks() -> None:
    coil = lay_copper(design_of(winding__skew_deg=4.0, winding__turns=4)).coil
    for first, second in zip(coil.tracks[:-1], coil.tracks[1:], strict=True):
        end = first.points[-1]
        assert hypot(*(second.points[0] - end)) < 1e-9
        assert min(hypot(via.x - end[0], via.y - end[1]) for via in coil.vias) < 1e-9
