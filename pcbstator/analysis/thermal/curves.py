"""Curves for the report: heating over time, and the current that a time allows."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pcbstator.analysis.thermal.heat_state import HeatState
from pcbstator.analysis.thermal.intermittent import allowed_currents
from pcbstator.analysis.thermal.records import ThermalResult
from pcbstator.errors import LawRangeError
from pcbstator.physics.thermal.transients import stiff_temperatures

FloatArray = NDArray[np.float64]

STEPS = (1.0, 1.5, 2.0, 4.0)  # of the continuous current of board and magnets
BEYOND = 25.0  # K above the limit that a curve is followed
SHORTEST = 0.5  # s


@dataclass(frozen=True, eq=False)
class Heating:
    """Hottest copper [C] over time [s] at an rms phase current [A]."""

    current: float
    time: FloatArray
    temperature_c: FloatArray


@dataclass(frozen=True, eq=False)
class HeatCurves:
    """Heating from cold at some currents; current [A] over time [s] allowed from cold and, where known, from warm."""

    limit_c: float
    heating: tuple[Heating, ...]
    time: FloatArray
    cold: FloatArray
    warm: FloatArray | None
    continuous: float


def heat_curves(thermal: ThermalResult) -> HeatCurves | None:
    """The curves of a result; None without a heat balance or without any current to speak of."""
    state = thermal.heat
    if state is None or state.heat_current <= 0 or thermal.time_constant is None:
        return None
    longest = 6.0 * thermal.time_constant
    time = np.geomspace(SHORTEST, longest, 40)
    try:
        heating = tuple(_heating(state, part * state.heat_current, longest) for part in STEPS)
        warm = state.warm_c
        return HeatCurves(
            limit_c=state.heat.board_limit_c,
            heating=heating,
            time=time,
            cold=allowed_currents(state, time),
            warm=None if warm is None else allowed_currents(state, time, warm),
            continuous=state.heat_current,
        )
    except LawRangeError:
        return None


def _heating(state: HeatState, current: float, longest: float) -> Heating:
    """Heating from cold until a little beyond the limit."""
    cold = np.full(len(state.limits_c), state.heat.network.ambient_c)
    time, found = stiff_temperatures(state.heat.network, [[longest, current]], cold, 120, 1e-3)
    hottest = found[:, state.heat.board].max(axis=1)
    over = np.flatnonzero(hottest > state.heat.board_limit_c + BEYOND)
    end = int(over[0]) + 1 if len(over) else len(time)
    return Heating(current, time[:end], hottest[:end])
