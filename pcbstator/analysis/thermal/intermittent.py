"""Intermittent currents, and continuously repeated cycles."""

from __future__ import annotations

from collections.abc import Callable
from math import sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pcbstator.analysis.thermal.heat_state import RUNS_AWAY, HeatState
from pcbstator.physics.thermal.transients import pulse_currents, settled_cycle

FloatArray = NDArray[np.float64]

NEAR_LIMIT = 0.02  # K that a cycle may end beside its limit


def allowed_currents(state: HeatState, durations: ArrayLike, start_c: FloatArray | None = None) -> FloatArray:
    """Rms phase current [A] that may flow for each duration [s] from temperatures ``start_c`` [C], default ambient."""
    times = np.asarray(durations, dtype=float)
    begin = np.full(len(state.limits_c), state.heat.network.ambient_c) if start_c is None else start_c
    quick = pulse_currents(state.pulse_network, times, begin, state.limits_c)
    return np.maximum(quick, state.heat_current)  # what may flow continuously may flow for a while


def cycle_temperatures(state: HeatState, steps: ArrayLike) -> tuple[float, float] | None:
    """Hottest board and magnets [C] in a continuously repeated cycle; None where it runs away.

    steps: (s, 2) duration [s] and rms phase current [A] of each step; the entry for duty and motion cycles.
    """
    found = settled_cycle(state.heat.network, steps, state.halfway_c)
    if found is None:
        return None
    return float(found.highest_c[state.heat.board].max()), float(found.highest_c[state.heat.magnets].max())


def cycle_factor(state: HeatState, steps: ArrayLike) -> float:
    """Factor by which all currents of a cycle may grow (or must shrink, below 1) to meet the limits exactly.

    steps: as ``cycle_temperatures``. 0 where eddies alone are too much, inf where no current flows.
    """
    table = np.atleast_2d(np.asarray(steps, dtype=float))
    mean = float((table[:, 0] * table[:, 1] ** 2).sum() / table[:, 0].sum())
    if mean <= 0 or state.heat_current <= 0:
        return float("inf") if mean <= 0 else 0.0
    limits, guess = state.limits_c, state.halfway_c

    def excess(square: float) -> float:
        nonlocal guess
        found = settled_cycle(state.heat.network, table * (1.0, sqrt(square)), guess)
        if found is None:
            return RUNS_AWAY
        guess = np.minimum(found.mean_c, limits) if square > 0 else guess
        return float((found.highest_c - limits).max())

    return sqrt(root_of_excess(excess, state.heat_current**2 / mean))


def root_of_excess(excess: Callable[[float], float], high: float) -> float:
    """Where ``excess`` [K], below 0 at 0, is nought: bracketed from ``high``, then regula falsi (Illinois)."""
    low, below, above = 0.0, excess(0.0), excess(high)
    if below >= 0:
        return 0.0
    while above < 0:
        low, below, high = high, above, 2 * high
        above = excess(high)
    square, side = high, 0
    # Every look costs a cycle, and the ends are known: the library's finders take 7 to 10 where this takes 3 to 7.
    for _ in range(40):
        square = (low * above - high * below) / (above - below)
        value = excess(square)
        if abs(value) < NEAR_LIMIT or high - low < 1e-6 * high:
            break
        if value < 0:
            low, below, above, side = square, value, above / 2 if side < 0 else above, -1
        else:
            high, above, below, side = square, value, below / 2 if side > 0 else below, 1
    return square
