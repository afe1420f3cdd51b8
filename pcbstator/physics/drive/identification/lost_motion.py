"""What is lost between the motor and the place: stops from both sides, small steps that turn round."""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot, sqrt

import numpy as np
from numpy.typing import ArrayLike

from pcbstator.errors import LawRangeError


@dataclass(frozen=True)
class Sides:
    """Stops at one target from both sides [rad]. offset: from above less from below; centre: their middle less the
    target; scatter: standard deviation of one side; each with its own standard deviation.
    """

    offset: float
    offset_sigma: float
    centre: float
    centre_sigma: float
    scatter: float


def sides_of(target: float, below: ArrayLike, above: ArrayLike) -> Sides:
    """Offset between the two sides of a target, their middle, and the scatter of a side.

    target: [rad]; below, above: where it stopped, coming from smaller and from larger angles (stops,) [rad]. Returns
    [rad]. LawRangeError below 2 stops of a side. Source: textbook, means of two samples.

    >>> found = sides_of(1.0, [0.98, 0.96], [1.04, 1.06])
    >>> round(found.offset, 4), round(found.centre, 4), round(found.scatter, 4)
    (0.08, 0.01, 0.0141)
    """
    low, high = (np.asarray(each, dtype=float) for each in (below, above))
    if min(len(low), len(high)) < 2:
        raise LawRangeError(f"two stops from each side are needed; got {len(low)} and {len(high)}")
    parts = [float(each.std(ddof=1)) for each in (low, high)]
    sigma = hypot(parts[0] / sqrt(len(low)), parts[1] / sqrt(len(high)))
    middle = (low.mean() + high.mean()) / 2 - target
    return Sides(float(high.mean() - low.mean()), sigma, float(middle), sigma / 2, hypot(*parts) / sqrt(2))


def lost_at_reversal(moved: ArrayLike) -> tuple[float, float, float, float]:
    """Motion that is lost where equal steps turn round.

    moved: how far each step went, in their order after turning round, in the sense of the steps (steps,) [rad]. Returns
    what is lost and its standard deviation, and the usual step, the mean of the later half, and its own [rad].
    LawRangeError below 3 steps. Source: derived here: the first half less as many usual steps.

    >>> [round(value, 3) for value in lost_at_reversal([0.02, 0.10, 0.101, 0.099, 0.1])]
    [0.08, 0.002, 0.1, 0.001]
    """
    steps = np.asarray(moved, dtype=float)
    if len(steps) < 3:
        raise LawRangeError(f"three steps after turning round are needed; got {len(steps)}")
    first = len(steps) // 2
    later = steps[first:]
    usual, scatter = float(later.mean()), float(later.std(ddof=1))
    sigma = scatter * sqrt(first + first**2 / len(later))
    return float(first * usual - steps[:first].sum()), sigma, usual, scatter / sqrt(len(later))
