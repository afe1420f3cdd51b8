"""How a current divides between the vias of a row that joins two strips of copper."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pcbstator.errors import LawRangeError
from pcbstator.physics.conductors.resistance import require_positive

FloatArray = NDArray[np.float64]


def via_row(places: ArrayLike, upper: float, lower: float, barrel: float) -> tuple[float, FloatArray]:
    """Resistance of a row of vias, fed at both its ends above and tapped at place 0 below, and the vias' shares.

    places: (n,) along the row, rising [m]; upper, lower: resistance per length of the strips [ohm/m]; barrel:
    resistance of one via [ohm]. Half of the current enters the upper strip at the first via and half at the last, all
    leaves the lower strip at place 0. Returns what the current loses over its square [ohm] and the shares (n,) [-].
    Range: places rise from 0 or less to 0 or more, resistances positive, else LawRangeError; strips narrow enough to
    count as lines. Source: derived here, Kirchhoff's laws by the conductance matrix.

    >>> resistance, shares = via_row([-1e-3, 1e-3], 0.1, 0.2, 1e-3)
    >>> round(resistance * 1e3, 6), [round(float(share), 9) for share in shares]
    (0.6, [0.5, 0.5])
    """
    require_positive(upper=upper, lower=lower, barrel=barrel)
    row = np.atleast_1d(np.asarray(places, dtype=float))
    if not (np.all(np.isfinite(row)) and np.all(np.diff(row) > 0) and row[0] <= 1e-12 and row[-1] >= -1e-12):
        raise LawRangeError("the places of the vias must rise from 0 or less to 0 or more")
    count = len(row)
    below = np.union1d(row, [0.0]) if not np.any(np.abs(row) < 1e-12) else row
    tap = count + int(np.argmin(np.abs(below)))
    edges = [(i, i + 1, upper * step) for i, step in enumerate(np.diff(row))]
    edges += [(count + i, count + i + 1, lower * (b - a)) for i, (a, b) in enumerate(pairwise(below))]
    edges += [(i, count + int(np.argmin(np.abs(below - place))), barrel) for i, place in enumerate(row)]
    first, second, resistances = (np.array(column) for column in zip(*edges, strict=True))
    incidence = np.zeros((len(edges), count + len(below)))
    incidence[np.arange(len(edges)), first.astype(int)] = 1
    incidence[np.arange(len(edges)), second.astype(int)] = -1
    laplacian = incidence.T @ (incidence / resistances[:, None])
    source = np.zeros(count + len(below))
    source[0] += 0.5
    source[count - 1] += 0.5
    free = np.arange(len(source)) != tap
    voltages = np.zeros(len(source))
    voltages[free] = np.linalg.solve(laplacian[np.ix_(free, free)], source[free])
    currents = incidence @ voltages / resistances
    return float(source @ voltages), currents[-count:]
