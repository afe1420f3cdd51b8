"""What repeats with the turn in a record over the angle, order by order, and how sure that is."""

from __future__ import annotations

from dataclasses import dataclass
from math import pi

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pcbstator.errors import LawRangeError

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]

FEWEST_ROWS = 32  # of a turn
MANY_ROWS = 8192  # of a turn, from which means over places are taken instead of values between the rows
MOST_PLACES = 4096  # of a turn, of such means
ROWS_AT_PLACE = 8  # of such means, so that all weigh about the same
PASSES = 400  # of a place, whose times are held against each other
ROWS_OF_ORDER = 6  # at the least, for the highest
BESIDE = 12  # orders to either side that show the noise
RAYLEIGH_MEDIAN = 1.17741  # of the size of a complex normal number over the deviation of its parts: sqrt(2 ln 2)


@dataclass(frozen=True, eq=False)
class TurnSpectrum:
    """Vectors of the orders 1, 2, 3 … of a turn; the value is the real part of the sum of each by exp(j order angle).

    deviations: standard, of the real and of the imaginary part of each vector, and so of its size where it stands out.
    places: angles [rad] over a turn; curve: mean of the turns there, without the mean of all; turns: whole ones used.
    """

    vectors: ComplexArray
    deviations: FloatArray
    places: FloatArray
    curve: FloatArray
    turns: int

    @property
    def orders(self) -> NDArray[np.int64]:
        """1, 2, 3 …"""
        return np.arange(1, len(self.vectors) + 1)

    @property
    def amplitudes(self) -> FloatArray:
        """Sizes of the vectors."""
        return np.asarray(np.abs(self.vectors))


def turn_spectrum(angles: ArrayLike, values: ArrayLike) -> TurnSpectrum:
    """Orders of a record over the angle, of its last whole turns.

    angles: growing or falling but for noise, over a turn or more (rows,) [rad]; values: (rows,) [any]. Returns vectors
    and their standard deviations [unit of the values], for orders up to a sixth of the rows of a turn, 1024 at
    the most. The noise of an order is that beside it: between the orders where there are several turns,
    else on the neighbouring orders, which is on the safe side. For noise drawn anew in each of N rows the deviation is
    sqrt(2/N) of the noise. LawRangeError below a whole turn or 32 rows in a turn. Source: textbook, Fourier sums.

    >>> turned = np.linspace(0.0, 4.2 * np.pi, 4000)
    >>> found = turn_spectrum(turned, 3.0 + 0.5 * np.cos(3 * turned - 1.0))
    >>> found.turns, round(float(found.amplitudes[2]), 4), round(float(-np.angle(found.vectors[2])), 3)
    (2, 0.5, 1.0)
    """
    turned, heights = np.asarray(angles, dtype=float), np.asarray(values, dtype=float)
    low, high = (turned[0], turned[-1]) if turned[-1] > turned[0] else (turned[-1], turned[0])
    turns = int((high - low) / (2 * pi) * (1 + 1e-9))
    if turns < 1:
        raise LawRangeError(f"orders need a whole turn; got {(high - low) / (2 * pi):.2f}")
    begin = high - 2 * pi * turns if turned[-1] > turned[0] else low
    per_turn = len(turned) * 2 * pi / (high - low)
    if per_turn < FEWEST_ROWS:
        raise LawRangeError(f"orders need {FEWEST_ROWS} rows in a turn; got {per_turn:.0f}")
    if per_turn < MANY_ROWS:
        count = 2 << int(np.ceil(np.log2(per_turn)))
        centres = (np.arange(count * turns) + 0.5) * 2 * pi / count
        rising = np.argsort(turned, kind="stable")
        means = np.interp(centres + begin, turned[rising], heights[rising])
    else:
        count = min(MOST_PLACES, 1 << int(np.log2(per_turn / ROWS_AT_PLACE)))
        centres, means = _even_means(turned - begin, heights, count * turns, 2 * pi / count)
    highest = min(count // 4, int(per_turn / ROWS_OF_ORDER))
    sums = np.fft.rfft(means)[1 : highest * turns + 1] * 2 / len(means)
    sums *= np.exp(-1j * np.arange(1, len(sums) + 1) / turns * (begin + pi / count))
    vectors = sums[turns - 1 :: turns]
    places = np.mod(centres[:count] + begin, 2 * pi)
    order = np.argsort(places)
    curve = means.reshape(turns, count).mean(axis=0)
    return TurnSpectrum(
        vectors, _beside(np.abs(sums), turns, len(vectors)), places[order], (curve - curve.mean())[order], turns
    )


def even_speed(times: ArrayLike, angles: ArrayLike) -> float:
    """Mean speed of a turn that repeats: from the times in which it comes to the same place again.

    times: rising (rows,) [s]; angles: turning one way but for noise, a turn or more (rows,) [rad]. Returns [rad/s],
    with the sign of the turn. A straight line through the angles would take part of what swings once a turn for speed.
    LawRangeError below a whole turn. Source: derived here.

    >>> t = np.linspace(0.0, 8.0, 4000)
    >>> round(even_speed(t, t + 0.1 * np.sin(t)), 4)
    1.0
    """
    t, turned = np.asarray(times, dtype=float), np.asarray(angles, dtype=float)
    sense = 1.0 if turned[-1] > turned[0] else -1.0
    gone = np.maximum.accumulate(sense * turned)
    turns = int((gone[-1] - gone[0]) / (2 * pi) * (1 + 1e-9))
    if turns < 1:
        raise LawRangeError(f"an even speed needs a whole turn; got {(gone[-1] - gone[0]) / (2 * pi):.2f}")
    rises = np.append(True, np.diff(gone) > 0)
    places = np.linspace(gone[0], max(gone[0], gone[-1] - 2 * pi * turns), PASSES)
    first, later = (np.interp(places + more, gone[rises], t[rises]) for more in (0.0, 2 * pi * turns))
    return float(sense * 2 * pi * turns / (later - first).mean())


def _even_means(turned: FloatArray, heights: FloatArray, count: int, step: float) -> tuple[FloatArray, FloatArray]:
    """Centres of even places from 0 on and the mean of the values at each, read off between where a place is empty."""
    at = np.floor(turned / step).astype(np.int64)
    inside = (at >= 0) & (at < count)
    at, held = at[inside], np.bincount(at[inside], minlength=count)
    filled = held > 0
    middle = np.bincount(at, turned[inside], count)[filled] / held[filled]
    mean = np.bincount(at, heights[inside], count)[filled] / held[filled]
    centres = (np.arange(count) + 0.5) * step
    return np.asarray(centres), np.asarray(np.interp(centres, middle, mean))


def _beside(sizes: FloatArray, turns: int, count: int) -> FloatArray:
    """Standard deviation of the parts of each order's vector, from the sizes beside it."""
    between = (np.arange(len(sizes)) + 1) % turns != 0 if turns > 1 else np.ones(len(sizes), dtype=bool)
    noisy, per_order = sizes[between], max(1, turns - 1)
    width = min(len(noisy), 2 * BESIDE * per_order + 1)
    begin = np.clip((np.arange(count) - BESIDE) * per_order, 0, len(noisy) - width)
    near = np.lib.stride_tricks.sliding_window_view(noisy, width)[begin]
    return np.asarray(np.median(near, axis=1) / RAYLEIGH_MEDIAN)
