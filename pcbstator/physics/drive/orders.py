"""Unevenness of a constant turn by its order: how often it repeats in a turn."""

from __future__ import annotations

from math import pi

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pcbstator.errors import LawRangeError
from pcbstator.physics.conductors.resistance import require_positive

FloatArray = NDArray[np.float64]

GRID = 8192  # places of a turn: orders up to 4095


def order_amplitudes(wanted: ArrayLike, errors: ArrayLike) -> FloatArray:
    """Amplitude of an error over the last whole turn at each order, how often it repeats in a turn, from 0 on.

    wanted: angle asked for at a constant speed, growing, over a turn or more (n,) [rad]; errors: at those angles (n,)
    [rad]. Returns (4096,) [rad], the first the mean; half the sum of the squares of the others is the variance. An
    error of order k and amplitude a shakes the speed by k·a of its mean. LawRangeError below a whole turn. What does
    not repeat with the turn spreads over the orders beside its own. Source: derived here, Fourier sums at even places.

    >>> turned = np.linspace(0.0, 7.0, 3000)
    >>> order_amplitudes(turned, 0.01 + 0.002 * np.sin(3 * turned))[:5].round(6).tolist()
    [0.01, 0.0, 0.0, 0.002, 0.0]
    """
    turned, off = np.asarray(wanted, dtype=float), np.asarray(errors, dtype=float)
    if turned[-1] - turned[0] < 2 * pi * (1 - 1e-9):
        raise LawRangeError("orders need a whole turn")
    places = turned[-1] - 2 * pi * (1 - np.arange(GRID) / GRID)
    found = np.abs(np.fft.rfft(np.interp(places, turned, off)))[:-1] / GRID
    found[1:] *= 2
    return np.asarray(found)


def phase_torque_order(phases: int) -> int:
    """Lowest electrical order of the torque that harmonics alike in all phases make.

    phases: [-]. Returns 2·phases [-]. The harmonics of EMF and current of a phase are odd where both half waves are
    alike, so their product has even orders only; of these the sum over all phases keeps the multiples of the phases:
    the sixth for three. EMF harmonics, dead time and the voltage drop of the switches are of this kind.
    Source: derived here.

    >>> phase_torque_order(3)
    6
    """
    require_positive(phases=phases)
    return 2 * phases
