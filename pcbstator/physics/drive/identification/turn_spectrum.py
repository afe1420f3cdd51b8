"""What repeats with the turn in a record over the angle, order by order, and how sure that is."""

from __future__ import annotations

from dataclasses import dataclass
from math import pi

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pcbstator.errors import LawRangeError

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]

MOST_PLACES, FEWEST_PLACES = 4096, 32  # of a turn
BESIDE = 12  # orders to either side that show the noise
RAYLEIGH_MEDIAN = 1.17741  # of the size of a complex normal number over the deviation of its parts: sqrt(2 ln 2)


@dataclass(frozen=True, eq=False)
class TurnSpectrum:
    """Vectors of the orders 1, 2, 3 … of a turn: the value is the real part of the sum of each times exp(j order angle).

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
    and their standard deviations [unit of the values], for orders up to a quarter of the places of a turn, of which
    there are at most 4096. The noise of an order is that beside it: between the orders where there are several turns,
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
    if per_turn < FEWEST_PLACES:
        raise LawRangeError(f"orders need {FEWEST_PLACES} rows in a turn; got {per_turn:.0f}")
    count = min(MOST_PLACES, 1 << int(np.log2(per_turn)))
    centres, means = _even_means(turned - begin, heights, count * turns, 2 * pi / count)
    sums = np.fft.rfft(means)[1 : count * turns // 4] * 2 / len(means)
    sums *= np.exp(-1j * np.arange(1, len(sums) + 1) / turns * (begin + pi / count))
    vectors = sums[turns - 1 :: turns]
    places = np.mod(centres[:count] + begin, 2 * pi)
    order = np.argsort(places)
    curve = means.reshape(turns, count).mean(axis=0)
    return TurnSpectrum(
        vectors, _beside(np.abs(sums), turns, len(vectors)), places[order], (curve - curve.mean())[order], turns
    )


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
    lines = np.arange(len(sizes)) + 1
    noisy = sizes[lines % turns != 0] if turns > 1 else sizes
    per_order = max(1, turns - 1)
    found = np.empty(count)
    for at in range(count):
        low = max(0, (at + 1 - BESIDE) * per_order - (turns == 1))
        near = noisy[low : low + 2 * BESIDE * per_order + (turns == 1)]
        if turns == 1:
            near = np.delete(near, min(at - low, len(near) - 1))
        found[at] = np.median(near) / RAYLEIGH_MEDIAN
    return found
