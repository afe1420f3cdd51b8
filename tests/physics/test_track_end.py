"""Ends of tracks on plated holes against the current in the drawn copper."""

import numpy as np
import pytest
import shapely

from pcbstator.errors import LawRangeError
from pcbstator.physics.conductors.track_end import hole_end_squares
from tests.agreement.sheet import Hole, squares

LENGTH = 6.0  # mm, so that the current is even where the track is cut


def drawn(width, pad, hole):
    """Squares from the cut to the hole's wall, less the length to its middle over the width [mm]."""
    place = Hole(LENGTH, 0, hole)
    disc = shapely.Point(LENGTH, 0).buffer(max(width, pad) / 2, quad_segs=32)
    sheet = shapely.union_all([shapely.box(0, -width / 2, LENGTH, width / 2), disc]).difference(place.outline)
    ends = [lambda p: p[:, 0] < 1e-6, lambda p: np.hypot(p[:, 0] - LENGTH, p[:, 1]) < 0.51 * hole]
    return squares(sheet, ends, min(width, 0.3) / 3) - LENGTH / width


@pytest.mark.parametrize(
    "sizes",
    [(0.2, 0.6, 0.3), (0.3, 0.6, 0.3), (0.5, 0.6, 0.3), (0.6, 0.6, 0.3), (1.0, 0.6, 0.3), (2.0, 0.6, 0.3),
     (0.5, 1.6, 1.0), (0.8, 1.6, 1.0), (1.5, 1.6, 1.0), (0.3, 2.0, 1.0), (1.0, 2.0, 1.0)],
    ids=str,
)  # fmt: skip
def test_within_a_fortieth_of_a_square(sizes):
    """Tracks on vias and on terminals, from a seventh of the pad to three times the pad."""
    assert float(hole_end_squares(*sizes)) == pytest.approx(drawn(*sizes), abs=0.025)


def test_both_laws_meet():
    """At a track as wide as its pad the two agree within a twentieth of a square, and units do not matter."""
    narrow, wide = hole_end_squares([0.5999, 0.6], 0.6, 0.3)
    assert narrow == pytest.approx(wide, abs=0.05)
    assert hole_end_squares(5e-4, 6e-4, 3e-4) == pytest.approx(hole_end_squares(0.5, 0.6, 0.3), rel=1e-12)


def test_range():
    for sizes in ((0.0, 1.0, 0.5), (1.0, 1.0, 1.0), (1.0, -1.0, 0.5), (1.0, 1.0, 0.0)):
        with pytest.raises(LawRangeError):
            hole_end_squares(*sizes)
