"""Temperatures of a continuously repeated cycle, from its rms current where it is short beside the time of warming."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pcbstator.errors import LawRangeError
from pcbstator.physics.conductors.resistance import COPPER_TEMPERATURE_COEFFICIENT
from pcbstator.physics.thermal.balance import Balance, steady_temperatures
from pcbstator.physics.thermal.network import HeatNetwork
from pcbstator.physics.thermal.transients import MOST_FEEDBACK, Cycle, settled_cycle

FloatArray = NDArray[np.float64]

SMALL_SWING = 0.2  # [K] within a cycle that is added in full rather than followed
LEAST_START = 0.02  # part of a warmer state's rise from which Newton's method begins at least


def cycle_swing(network: HeatNetwork, steps: ArrayLike, mean_c: ArrayLike) -> FloatArray:
    """Most by which nodes rise above their mean within a repeated cycle, as if nothing flowed off meanwhile.

    network: [SI]; steps: (s, 2) duration above 0 [s] and rms current [A] of each step; mean_c: (n,) [degC].
    Returns (n,) [K], never too low: what flows off lessens the swing. Source: derived here, the largest difference of
    the integral of the loss less its mean, over the heat capacity.

    >>> block = HeatNetwork(20.0, np.array([[0.5]]), np.ones(1), np.zeros(1), np.full(1, 100.0), np.zeros(1),
    ...                     np.zeros((1, 1)), np.zeros((1, 2)), 400.0)
    >>> cycle_swing(block, [[10.0, 2.0], [10.0, 0.0]], [20.0]).tolist()  # 2 W above the mean of 2 W for 10 s
    [0.2]
    """
    table = np.atleast_2d(np.asarray(steps, dtype=float))
    squares, times = table[:, 1] ** 2, table[:, 0]
    stored = np.cumsum(times * (squares - times @ squares / times.sum()))
    span = max(float(stored.max()), 0.0) - min(float(stored.min()), 0.0)
    warmth = 1 + COPPER_TEMPERATURE_COEFFICIENT * (np.asarray(mean_c, dtype=float) - 20.0)
    heated = network.resistance > 0
    capacity = np.where(heated, network.capacity, 1.0)
    return np.asarray(np.where(heated, span * network.resistance * warmth / capacity, 0.0))


def repeated_cycle(network: HeatNetwork, steps: ArrayLike, warmer: Balance) -> Cycle | None:
    """Temperatures of a continuously repeated cycle.

    network: [SI]; steps: (s, 2) duration above 0 [s] and rms current [A] of each step; warmer: a steady state of one
    case whose current is at least the cycle's rms current [A2, degC, W]. Returns a Cycle [degC], its highest at most
    0.2 K too high; None where the cycle runs away or heats more than the warmer state. Range: LawRangeError for a
    duration that is not positive. Source: derived here, the steady state at the rms current with the swing on top where
    that is small, else ``settled_cycle``.

    >>> from pcbstator.physics.thermal.balance import current_at_temperature
    >>> block = HeatNetwork(20.0, np.array([[0.5]]), np.ones(1), np.zeros(1), np.full(1, 1e4), np.zeros(1),
    ...                     np.zeros((1, 1)), np.zeros((1, 2)), 400.0)
    >>> warm = current_at_temperature(block, ([0],), [60.0])
    >>> found = repeated_cycle(block, [[1.0, 2.0**0.5], [1.0, 0.0]], warm)
    >>> round(float(found.mean_c[0]), 3)  # 1 A rms: 20 + 1 / (0.5 - 0.00393)
    22.016
    """
    table = np.atleast_2d(np.asarray(steps, dtype=float))
    if table.shape[1:] != (2,) or not np.all(table[:, 0] > 0):
        raise LawRangeError("each step of a cycle is a duration above 0 and a current")
    mean = steady_mean(network, table, warmer)
    if mean is None:
        return None
    swing = cycle_swing(network, table, mean)
    if swing.max() > SMALL_SWING:
        return settled_cycle(network, table, mean)
    warmth = 1 + COPPER_TEMPERATURE_COEFFICIENT * (mean - 20.0)
    most = float((table[:, 1] ** 2).max()) * network.resistance
    own = np.minimum(COPPER_TEMPERATURE_COEFFICIENT * most * network.copper_to_node, MOST_FEEDBACK)
    lead = network.copper_to_node * (most / (1 - own) * warmth + network.eddy / warmth)
    return Cycle(np.asarray(mean + swing + lead), mean)


def steady_mean(network: HeatNetwork, steps: ArrayLike, warmer: Balance) -> FloatArray | None:
    """Steady temperatures at the rms current of a cycle.

    network: [SI]; steps: (s, 2) duration above 0 [s] and rms current [A] of each step; warmer: as repeated_cycle
    [A2, degC, W]. Returns (n,) [degC]; None where the cycle heats more than the warmer state. Source: derived here.

    >>> from pcbstator.physics.thermal.balance import current_at_temperature
    >>> block = HeatNetwork(20.0, np.array([[0.5]]), np.ones(1), np.zeros(1), np.full(1, 1e4), np.zeros(1),
    ...                     np.zeros((1, 1)), np.zeros((1, 2)), 400.0)
    >>> warm = current_at_temperature(block, ([0],), [60.0])
    >>> steady_mean(block, [[1.0, 1.0]], warm).round(3).tolist()
    [22.016]
    """
    table = np.atleast_2d(np.asarray(steps, dtype=float))
    square, most = float(table[:, 0] @ table[:, 1] ** 2 / table[:, 0].sum()), float(warmer.squared_current[0])
    if square > most * (1 + 1e-9) or most <= 0:
        return None
    part = max(square / most, LEAST_START) if square < 0.8 * most else 1.0  # near runaway from the warmer side
    start = replace(warmer, temperature_c=network.ambient_c + part * (warmer.temperature_c - network.ambient_c))
    found = steady_temperatures([network], [square**0.5], [start])[0]
    if isinstance(found, LawRangeError):
        raise found
    return np.asarray(found.temperature_c[0])
