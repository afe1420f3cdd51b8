"""Half of the width that holds 95 % of a quantity, by how it is distributed about its middle; and their sum."""

from __future__ import annotations

from collections.abc import Iterable
from math import ceil, erfc, hypot, log, pi, sin, sqrt

from pcbstator.physics.conductors.resistance import require_positive

NORMAL_95 = 1.959964  # standard deviations, tables of the normal distribution
SHARE = 0.95
FAR = 8.0  # standard deviations, beyond which nothing is
COARSE = 2.0  # counts of noise above which their steps are as good as even
SINE_DEVIATION, UNIFORM_DEVIATION = sqrt(1 / 2), sqrt(1 / 3)  # standard, of a peak and of a limit of one


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


def of_all(deviations: Iterable[float], most: float) -> float:
    """Half of the width that holds 95 % or more of a sum of independent quantities.

    deviations: standard, of each [any]; most: that their sum does not exceed in 95 % [the same]. Returns [the same].
    Source: the usual expanded uncertainty, 1.96 times the root of the sum of squares; on the safe side where a sine or
    two values rule, so that it is kept below ``most``.

    >>> round(of_all([3.0, 4.0], 100.0), 2)
    9.8
    """
    return min(most, NORMAL_95 * hypot(*deviations))


def largest_swing(deviation: float, swings: float) -> float:
    """Largest departure to one side of a quantity that is shaken by noise, on the mean.

    deviation: standard [any]; swings: how often it rises through its mean in the time looked at [-], 3 at least.
    Returns [any]. Source: Davenport's peak factor (1964), from memory: sqrt(2 ln n) + 0.5772/sqrt(2 ln n).

    >>> round(largest_swing(1.0, 1000), 2)
    3.87
    """
    root = sqrt(2 * log(max(swings, 3.0)))
    return deviation * (root + 0.5772 / root)


def counted_noise(noise: float, count: float) -> float:
    """Standard deviation of normal noise that a sensor gives out in whole counts.

    noise: standard deviation before [any]; count: step of the readings [the same]. Returns [the same], no less than the
    noise itself, which readings near an edge pass on. Above a third of a count nearly sqrt(noise² + count²/12), as by
    Sheppard's correction (textbook). Source: derived here, the sum of (2k − 1)·P(|x| > (k − 1/2)·count).

    >>> round(counted_noise(1.0, 1.0), 4), round((1 + 1 / 12) ** 0.5, 4), counted_noise(0.1, 1.0)
    (1.0408, 1.0408, 0.1)
    """
    require_positive(count=count)
    if noise <= 0:
        return 0.0
    if noise > COARSE * count:
        return hypot(noise, count / sqrt(12))
    most = ceil(FAR * noise / count) + 1
    square = sum((2 * k - 1) * erfc((k - 0.5) * count / noise / sqrt(2)) for k in range(1, most + 1))
    return max(noise, count * sqrt(square))
