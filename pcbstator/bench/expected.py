"""What a meter, a scope, a scale should show on the built motor, each value with its band: the numbers of the bench sheet.

Bands hold 90 % of what is made within the ranges of ``[tolerance]``, or within those of its defaults.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import combinations
from math import hypot

import numpy as np
from numpy.typing import NDArray

from pcbstator.analysis.prediction import Prediction
from pcbstator.analysis.tolerance import tolerance_results
from pcbstator.copper import size_design
from pcbstator.design.work import Tolerance

FloatArray = NDArray[np.float64]

TOLERANCE = "tolerance.remanence_percent"  # states the section; the other keys take their defaults


@dataclass(frozen=True)
class Band:
    """A value that is expected, and those that 5 % and 95 % of the motors stay below; SI."""

    value: float
    low: float
    high: float

    def times(self, factor: float) -> Band:
        """All three times a factor above 0."""
        return Band(self.value * factor, self.low * factor, self.high * factor)

    def widened(self, part: float) -> Band:
        """With a doubt by so large a part of the value on top, 90 % of it within that and independent of the rest.

        >>> Band(1.0, 0.97, 1.04).widened(0.04).low
        0.95
        """
        less, more = self.value - self.low, self.high - self.value
        doubt = part * abs(self.value)
        return Band(self.value, self.value - hypot(less, doubt), self.value + hypot(more, doubt))


def relative_bands(prediction: Prediction) -> dict[str, Band]:
    """By the keys of ``prediction.tolerance``: how far each quantity of a built motor may lie from the prediction, as a
    part of it; by the defaults of ``[tolerance]`` where the design states none.
    """
    found = prediction.tolerance or _default_tolerance(prediction)
    return {
        key: Band(1.0, spread["low_5_percent"] / spread["nominal"], spread["high_95_percent"] / spread["nominal"])
        for key, spread in found.items()
    }


def _default_tolerance(prediction: Prediction) -> dict[str, dict[str, float]]:
    design, copper, magnetic = prediction.design, prediction.laid, prediction.magnetic
    if design is None or copper is None or magnetic is None:
        return {}
    asked = size_design(design.with_values({TOLERANCE: Tolerance().remanence * 100}))
    return tolerance_results(asked, copper, magnetic, prediction.electrical.synchronous_inductance)


def pair_name(pair: str) -> tuple[str, str]:
    """The two terminals of a pair, as ``line_resistances_ohm`` names it.

    >>> pair_name("AB"), pair_name("AA2")
    (('A', 'B'), ('A', 'A2'))
    """
    return pair[:1], pair[1:]


def line_inductances(matrix: FloatArray, connection: str) -> dict[tuple[int, int], float]:
    """Inductance [H] between two terminals, by the numbers of their phases, with the rotor at rest.

    matrix: (m, m) self and mutual inductances of the phases [H]. connection: star, delta (each phase from its own
    terminal to the next), open (a phase by itself, its number twice). Derived here: the inverse of the matrix takes the
    place of the conductance matrix of a network.

    >>> alike = np.array([[3.0, -1, -1], [-1, 3, -1], [-1, -1, 3]])
    >>> round(line_inductances(alike, "star")[0, 1], 9), round(line_inductances(alike, "delta")[0, 1], 9)
    (8.0, 2.666666667)
    """
    count = len(matrix)
    if connection == "open":
        return {(k, k): float(matrix[k, k]) for k in range(count)}
    along = matrix
    if connection == "delta":
        corners = np.eye(count) - np.roll(np.eye(count), 1, axis=1)
        along = np.linalg.pinv(corners.T @ np.linalg.inv(matrix) @ corners)
    return {(i, j): float(along[i, i] + along[j, j] - 2 * along[i, j]) for i, j in combinations(range(count), 2)}


def line_linkages(linkages: NDArray[np.complex128], connection: str) -> dict[tuple[int, int], float]:
    """Peak [Wb] of the fundamental of the flux linkage between two terminals, by the numbers of their phases.

    linkages: (m,) of the phases [Wb]. connection: as of ``line_inductances``. Derived here.

    >>> three = 2e-3 * np.exp(2j * np.pi * np.arange(3) / 3)
    >>> round(line_linkages(three, "star")[0, 1] / 2e-3, 6), round(line_linkages(three, "delta")[0, 2] / 2e-3, 6)
    (1.732051, 1.0)
    """
    count = len(linkages)
    if connection == "open":
        return {(k, k): float(abs(linkages[k])) for k in range(count)}
    pairs = combinations(range(count), 2)
    if connection == "delta":  # what all share drives a current around the delta and shows at no terminal
        own = linkages - linkages.mean()
        return {(i, j): float(abs(own[i:j].sum())) for i, j in pairs}
    return {(i, j): float(abs(linkages[i] - linkages[j])) for i, j in pairs}


def by_pair(values: Mapping[tuple[int, int], float], names: list[str]) -> dict[str, float]:
    """The values by the names of their pairs of terminals."""
    return {names[i] + (names[j] if i != j else f"{names[i]}2"): value for (i, j), value in values.items()}
