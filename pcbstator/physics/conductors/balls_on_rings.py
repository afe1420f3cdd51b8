"""How a current divides between balls that join two facing rings."""

from __future__ import annotations

from math import pi

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pcbstator.errors import LawRangeError
from pcbstator.physics.conductors.resistance import require_positive

FloatArray = NDArray[np.float64]


def balls_on_rings(
    angles: ArrayLike, balls: ArrayLike, still: float, turning: float, still_lead: float, turning_lead: float
) -> tuple[float, FloatArray]:
    """Resistance from the lead of one ring to that of the other, and the part of the current in every ball.

    angles: (n,) of the balls [rad]; balls: (n,) resistance of each with its contacts [ohm]; still, turning: resistance
    of each ring once around, cut open [ohm]; still_lead, turning_lead: angles of their leads [rad]. Returns [ohm] and
    shares (n,) [-]. Range: resistances above 0, else LawRangeError; rings count as lines. Source: derived here,
    Kirchhoff's laws by the conductance matrix.

    >>> resistance, shares = balls_on_rings([0.0, 3.141592653589793], [1.0, 1.0], 4.0, 4.0, 0.0, 0.0)
    >>> round(resistance, 6), [round(float(share), 6) for share in shares]  # 1 ohm beside 1 + 1 + 1 ohm
    (0.75, [0.75, 0.25])
    """
    places, each = np.atleast_1d(np.asarray(angles, dtype=float)) % (2 * pi), np.atleast_1d(np.asarray(balls))
    require_positive(balls=each, still=still, turning=turning)
    if places.shape != each.shape:
        raise LawRangeError("every ball needs an angle and a resistance")
    edges: list[tuple[int, int, float]] = []
    corners: list[FloatArray] = []
    for ring, lead in ((still, still_lead), (turning, turning_lead)):
        start = sum(len(spots) for spots in corners)
        spots = np.unique(np.concatenate([places, [lead % (2 * pi)]]))
        steps = np.diff(np.concatenate([spots, [spots[0] + 2 * pi]]))
        count = len(spots)
        if count > 1:
            edges += [(start + i, start + (i + 1) % count, ring * step / (2 * pi)) for i, step in enumerate(steps)]
        corners.append(spots)
    first = len(corners[0])
    joined = [
        (int(np.searchsorted(corners[0], place)), first + int(np.searchsorted(corners[1], place)), float(resistance))
        for place, resistance in zip(places, each, strict=True)
    ]
    source = int(np.searchsorted(corners[0], still_lead % (2 * pi)))
    drain = first + int(np.searchsorted(corners[1], turning_lead % (2 * pi)))
    return _solved(edges + joined, first + len(corners[1]), source, drain, len(joined))


def _solved(
    edges: list[tuple[int, int, float]], nodes: int, source: int, drain: int, balls: int
) -> tuple[float, FloatArray]:
    """Resistance between two nodes of a network [ohm] and the currents in its last edges for 1 A."""
    a, b, resistances = (np.array(column) for column in zip(*edges, strict=True))
    incidence = np.zeros((len(edges), nodes))
    incidence[np.arange(len(edges)), a.astype(int)] += 1
    incidence[np.arange(len(edges)), b.astype(int)] -= 1
    laplacian = incidence.T @ (incidence / resistances[:, None])
    free = np.arange(nodes) != drain
    voltages, fed = np.zeros(nodes), np.zeros(nodes)
    fed[source] = 1.0
    voltages[free] = np.linalg.solve(laplacian[np.ix_(free, free)], fed[free])
    return float(voltages[source]), (incidence @ voltages / resistances)[-balls:]
