"""A direct current that a bench supply can hold between two terminals for as long as a test takes, and what it does."""

from __future__ import annotations

from dataclasses import dataclass
from math import floor, log10, sqrt

import numpy as np

from pcbstator.analysis.prediction import Prediction
from pcbstator.bench.expected import Band
from pcbstator.errors import LawRangeError
from pcbstator.physics.conductors.resistance import COPPER_TEMPERATURE_COEFFICIENT
from pcbstator.physics.thermal.balance import current_at_temperature
from pcbstator.physics.thermal.transients import stiff_temperatures

MOST_RISE = 30.0  # K of the board: warm to the hand and well readable
HEAT_SPREAD = 0.20  # of a rise, either way: a heat balance is 10 to 20 % off at best
TIME_SPREAD = 0.25  # of its course: the heat capacity of laminate is a range as well
STEPS = (1.0, 1.2, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0)  # values that a supply is set to
LASTS = 6.0  # time constants of the board: the rotor follows more slowly
LONGEST = 3600.0  # s that somebody stays beside it


@dataclass(frozen=True)
class HeldCurrent:
    """current [A], direct, in at one terminal and out at the next, rotor at rest; ambient_c [C].

    cold_voltage, warm_voltage: between these terminals at the start and at the end [V]. rise: mean of the copper at the
    end [K]. resistance_ratio: of the end to the start [-]. reached: when 63 % of that rise are done; time: of the
    test [s].
    """

    current: float
    ambient_c: float
    cold_voltage: float
    warm_voltage: float
    heat: float
    rise: Band
    resistance_ratio: Band
    reached: Band
    time: float


def held_current(prediction: Prediction) -> HeldCurrent | None:
    """The largest round current that warms the board by at most 30 K for good, and keeps every other limit; None
    without a heat balance.
    """
    state, lines = prediction.thermal.heat, prediction.electrical.line_resistances
    time_constant = prediction.thermal.time_constant
    if state is None or not lines or time_constant is None or state.heat_current <= 0:
        return None
    heat, line = state.heat, next(iter(lines.values()))
    still = heat.winding_alone
    ambient = still.ambient_c
    most = min(MOST_RISE, 0.8 * (heat.board_limit_c - ambient), 0.8 * (heat.magnet_limit_c - ambient))
    if most <= 0:
        return None
    # Two terminals carry as much heat as balanced sine currents of this rms value.
    per_rms = sqrt(prediction.winding.phases * prediction.electrical.phase_resistance / line)
    try:
        warmest = current_at_temperature(still, (heat.board,), [ambient + most])
        allowed = min(float(warmest.current[0]), state.heat_current, state.continuous_current) * per_rms
        drive = prediction.design.drive if prediction.design else None
        limits = [allowed, drive.current_limit] if drive else [allowed]
        current, time = round_down(min(limits)), min(LASTS * time_constant, LONGEST)
        cold = np.full(len(still.resistance), ambient)
        times, found = stiff_temperatures(still, [[time, current / per_rms]], cold, 120, 1e-3)
    except LawRangeError:
        return None
    # The mean of the copper, as the resistance tells it.
    rises = found @ still.resistance / still.resistance.sum() - ambient
    reached = float(np.interp(0.632 * rises[-1], rises, times))
    return _held(current, line, ambient, float(rises[-1]), reached, time)


def _held(current: float, line: float, ambient: float, rise: float, reached: float, time: float) -> HeldCurrent:
    cold = line * _warmer(ambient)
    warm = line * _warmer(ambient + rise)
    band = Band(1.0, 1 - HEAT_SPREAD, 1 + HEAT_SPREAD).times(rise)
    ratio = Band(*(_warmer(ambient + each) / _warmer(ambient) for each in (band.value, band.low, band.high)))
    course = Band(1.0, 1 - TIME_SPREAD, 1 + TIME_SPREAD).times(reached)
    return HeldCurrent(current, ambient, current * cold, current * warm, current**2 * warm, band, ratio, course, time)


def _warmer(temperature_c: float) -> float:
    """Resistance over that at 20 C."""
    return 1 + COPPER_TEMPERATURE_COEFFICIENT * (temperature_c - 20.0)


def round_down(value: float) -> float:
    """The largest value of a series of round ones that is no larger.

    >>> round_down(0.347), round_down(1.0), round_down(7.9)
    (0.3, 1.0, 6.0)
    """
    decade = 10.0 ** floor(log10(value) + 1e-12)
    return float(f"{max(step for step in STEPS if step * decade <= value * (1 + 1e-9)) * decade:.3g}")
