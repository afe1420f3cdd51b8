"""Half of the width that holds 95 % of a quantity, by how it is distributed about its middle; and their sum."""

from __future__ import annotations

from collections.abc import Iterable
from math import hypot, log, pi, sin, sqrt

NORMAL_95 = 1.959964  # standard deviations, tables of the normal distribution
SHARE = 0.95


def uniform_half_width(limit: float) -> float:
    """Half of the width that holds 95 % of what is anywhere within limits.

    limit: to either side [any]. Returns [the same], 0.95 of it; the standard deviation is limit/sqrt(3).
    Source: definition.

    >>> uniform_half_width(2.0)
    1.9
    """
    return SHARE * limit


def sine_half_width(peak: float) -> float:
    """Half of the width that holds 95 % of a sine looked at anywhere.

    peak: [any]. Returns [the same], 0.9969 of it. Source: derived here, sin(0.95 pi/2), from the arcsine distribution.

    >>> round(sine_half_width(1.0), 4)
    0.9969
    """
    return peak * sin(SHARE * pi / 2)


def normal_half_width(deviation: float) -> float:
    """Half of the width that holds 95 % of a normal quantity.

    deviation: standard [any]. Returns [the same]. Source: tables of the normal distribution, 1.96.

    >>> round(normal_half_width(1.0), 2)
    1.96
    """
    return NORMAL_95 * deviation


def triangular_half_width(limit: float) -> float:
    """Half of the width that holds 95 % of the difference of two that are anywhere within half the limits.

    limit: to either side [any]. Returns [the same], 0.776 of it. Source: derived here, (1 − x)² = 0.05.

    >>> round(triangular_half_width(1.0), 3)
    0.776
    """
    return limit * (1 - sqrt(1 - SHARE))


def together(fixed: Iterable[float], by_chance: Iterable[float]) -> float:
    """Error that 95 % or more keep where some parts are fixed there and others change from time to time.

    fixed: sizes that add up at the worst place [any]; by_chance: half widths of 95 % [the same]. Returns [the same].
    Source: derived here: the fixed parts shift the middle, independent chances add by squares.

    >>> together([0.3], [0.03, 0.04])
    0.35
    """
    return sum(fixed) + hypot(*by_chance)


def largest_of_many(deviation: float, count: float) -> float:
    """Largest departure to one side among many independent normal quantities.

    deviation: standard [any]; count: how many [-]. Returns [the same]. Source: textbook of extreme values, to first
    order with its correction: sqrt(2 ln n) − (ln ln n + ln 4 pi)/(2 sqrt(2 ln n)), and Euler's constant over it.

    >>> round(largest_of_many(1.0, 1000), 2)  # exact: half of the mean range of 1000, 6.483/2
    3.27
    """
    root = sqrt(2 * log(max(count, 3.0)))
    return deviation * (root - (log(root**2 / 2) + log(4 * pi)) / (2 * root) + 0.5772 / root)
