"""What a track's resistance loses where it ends on a plated hole."""

from __future__ import annotations

from math import e, pi

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pcbstator.errors import LawRangeError
from pcbstator.physics.conductors.resistance import require_positive

FloatArray = NDArray[np.float64]


def hole_end_squares(width: ArrayLike, pad: ArrayLike, hole: ArrayLike) -> FloatArray:
    """What is added to the squares of a track that is counted to the middle of the plated hole at its end.

    width: of the track [m]; pad: diameter of the copper around the hole [m]; hole: drilled diameter [m]; broadcast.
    Returns (...) [squares], below zero but for holes far smaller than a wide track. Range: behind the hole lies the
    track's round end or the pad, no more; within 0.06 squares of field solutions for holes of 0.2 to 0.7 of the pad and
    tracks from a tenth of the pad; LawRangeError for what is not positive and a hole not smaller than its pad.

    Source: derived here, a wall at one voltage. A track at least as wide as the pad: half-infinite strip with a thin
    source half a width from its end, by images at edges and end, ln(w/(pi d))/(2 pi), less pi/8 (d/w)^2 for the wall's
    own field. A narrower one ends at the pad's edge, -p/(2 w) + w/(6 p); from there a slot opens into a half-plane
    (Schwarz-Christoffel: as a line of radius 2 w/(pi e)) with a wall at the distance p/2 ln(p/d) that a ring has.

    >>> hole_end_squares(np.array([0.3e-3, 0.5e-3, 1e-3, 2e-3]), 0.6e-3, 0.3e-3).round(3).tolist()
    [-0.494, -0.201, -0.026, 0.111]
    """
    require_positive(width=width, pad=pad, hole=hole)
    w, p, d = np.broadcast_arrays(*(np.asarray(each, dtype=float) for each in (width, pad, hole)))
    if np.any(d >= p):
        raise LawRangeError("a hole must be smaller than its pad")
    wide = -np.log(pi * d / w) / (2 * pi) - pi / 8 * (d / w) ** 2
    narrow = -p / (2 * w) + w / (6 * p) + np.log(e * p / w * np.log(p / d)) / pi
    return np.asarray(np.where(w >= p, wide, narrow))


def cluster_diameter(drill: float, reach: float, count: int) -> float:
    """Diameter of the one hole that takes a current in as easily as one in the middle and others around it.

    drill: of each hole [m]; reach: from the middle to the others [m]; count: all of them [-]. Returns [m].
    Range: positive, else LawRangeError; two count as one; ends of tracks within 0.09 squares. Source: derived here,
    n line sources at one potential on a circle of radius a count as one of radius a (n r/a)^(1/n).

    >>> round(cluster_diameter(0.3e-3, 0.55e-3, 7) * 1e3, 3)
    1.194
    """
    require_positive(drill=drill, reach=reach, count=float(count))
    around = max(count - 1, 1)
    return drill if count == 1 else 2 * reach * float((around * drill / 2 / reach) ** (1 / around))
