"""The current that the drive may really carry, as results: the standards' figures, the board's heat balance, the
magnets' limit; pulses and duty on top for one design.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import exp
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from pcbstator.analysis.electrical.trace_ratings import TraceCurrents
from pcbstator.analysis.thermal.board_network import BoardHeat
from pcbstator.analysis.thermal.cooling import assumptions, cooling_of, magnet_strength, rotor_limits
from pcbstator.analysis.thermal.heat_state import HeatState, heat_states, open_face_temperature
from pcbstator.analysis.thermal.intermittent import cycle_factor
from pcbstator.analysis.thermal.records import ThermalResult
from pcbstator.currents import peak_current
from pcbstator.errors import LawRangeError
from pcbstator.physics.conductors.resistance import COPPER_TEMPERATURE_COEFFICIENT, HOTTEST
from pcbstator.physics.thermal.balance import Balance, currents_at_temperature
from pcbstator.physics.thermal.network import HeatNetwork
from pcbstator.physics.thermal.transients import held_network, pulse_currents, rise_time

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign

FloatArray = NDArray[np.float64]

TOUCH_C = 60.0  # hot metal burns within seconds (ISO 13732-1 has 60 to 65 C for a few seconds' touch; from memory)
SOLDER_C = 183.0  # tin-lead solder melts; lead-free kinds stand 217 C (common knowledge of the trade)
PULSES = (1.0, 10.0, 60.0)  # s


def with_pulses(design: SizedDesign, steady: ThermalResult) -> ThermalResult:
    """The steady figures with the intermittent currents; where a law does not hold, what is left and the reason."""
    if steady.heat is None:
        return steady
    try:
        return replace(steady, **_long_run(steady.heat), **_pulses(design, steady.heat))  # type: ignore[arg-type]
    except LawRangeError as reason:
        single = steady.ipc2221_current, steady.ipc2152_current, steady.ipc2221_via_current, steady.by_layer
        return refused_result(design, TraceCurrents(*single), reason)


@dataclass(frozen=True, eq=False)
class SteadyWork:
    """A design with what its steady figures need; torque_constant: per peak phase ampere [N m/A], None: not known."""

    design: SizedDesign
    heat: BoardHeat
    traces: TraceCurrents
    phases: int
    torque_constant: float | None = None


def steady_results(works: Sequence[SteadyWork], onsets: bool = False) -> list[ThermalResult]:
    """The steady figures of many designs, each as if it were alone: no pulses or duty, no time constant, no profile.

    onsets: also the currents that burn skin, soften the laminate or melt solder. Where a law does not hold, the
    standards' figures and the reason.
    """
    states = heat_states(
        [work.heat for work in works],
        [work.traces for work in works],
        [cooling_of(work.design).trace_rise for work in works],
    )
    further = _onsets(works) if onsets else [{}] * len(works)
    results = []
    for work, state, more in zip(works, states, further, strict=True):
        if isinstance(state, LawRangeError):
            results.append(refused_result(work.design, work.traces, state))
        elif isinstance(more, LawRangeError):
            results.append(refused_result(work.design, work.traces, more))
        else:
            fields = _standards(work.design, work.traces) | _steady(work, state) | more
            results.append(ThermalResult(**fields))  # type: ignore[arg-type]
    return results


def refused_result(design: SizedDesign, traces: TraceCurrents, reason: LawRangeError) -> ThermalResult:
    """What is left where the heat balance does not hold."""
    fields = _standards(design, traces) | {"out_of_range": f"no heat balance: {reason}"}
    return ThermalResult(**fields)  # type: ignore[arg-type]


def _standards(design: SizedDesign, traces: TraceCurrents) -> dict[str, object]:
    """Fields of the standards' figures."""
    return {
        "ipc2221_current": traces.ipc2221,
        "ipc2221_via_current": traces.via,
        "ipc2152_current": traces.ipc2152,
        "trace_rise": cooling_of(design).trace_rise if traces.by_layer or traces.ipc2152 is not None else None,
        "by_layer": traces.by_layer,
        "assumptions": assumptions(design),
    }


def _steady(work: SteadyWork, state: HeatState) -> dict[str, object]:
    """Fields of the steady figures."""
    heat, network, balance = state.heat, state.heat.network, state.continuous
    found: dict[str, object] = {
        "board_current": state.board_current,
        "magnet_current": state.magnet_current,
        "continuous_current": state.continuous_current,
        "limited_by": state.limited_by,
        "runaway_current": state.runaway_current,
        "board_limit_c": heat.board_limit_c,
        **{f"{part}_limit_c": limit for part, limit in rotor_limits(work.design).items()},
        "driver_current": state.driver_current,
        "driver_limit_c": None if heat.driver is None else heat.driver.limit_c,
        "heat": state,
    }
    if balance is None:
        return found
    temperature = balance.temperature_c[0]
    board, rotor = temperature[heat.board], float(temperature[heat.magnets].max())
    loss, copper = float(balance.heat[0]), float(balance.copper_heat[0])
    if heat.driver is not None:
        outside = _driver_squares(network, heat.driver.index, balance)
        loss, copper = loss - outside, copper - outside
        found |= {"driver_temperature_c": float(temperature[heat.driver.index])}
    warmth = 1 + COPPER_TEMPERATURE_COEFFICIENT * (board - 20.0)
    found |= {
        "board_temperature_c": float(board.max()),
        "board_mean_c": float(board.mean()),
        "rotor_temperature_c": rotor,
        "hot_resistance": float(network.resistance[heat.board] @ warmth) / work.phases,
        "copper_loss": copper,
        "eddy_loss": loss - copper,
        "thermal_resistance": (float(board.max()) - network.ambient_c) / loss if loss > 0 else None,
    }
    if heat.open_face:
        found["surface_temperature_c"] = open_face_temperature(heat, board)
    if work.torque_constant is not None:
        driving = work.torque_constant * magnet_strength(work.design, rotor) * peak_current(state.continuous_current)
        drag = (loss - copper) / heat.speed if heat.speed > 0 else 0.0
        found["continuous_torque"] = max(driving - drag, 0.0)
        found["continuous_drag"] = drag if drag > driving else None
    return found


def _driver_squares(network: HeatNetwork, index: int, balance: Balance) -> float:
    """Heat [W] of a driver inside the ring that goes with the square of the current."""
    grown = 1 + COPPER_TEMPERATURE_COEFFICIENT * (float(balance.temperature_c[0, index]) - 20.0)
    return float(balance.squared_current[0] * network.resistance[index] * grown)


def _long_run(state: HeatState) -> dict[str, object]:
    """Fields of how long continuous duty takes to warm the board, and its temperature over the radius in the end."""
    heat, network = state.heat, state.heat.network
    if state.continuous is None or state.continuous_current <= 0:
        return {}
    temperature = state.continuous.temperature_c[0]
    board, middle = temperature[heat.board], (heat.sources.edges[1:] + heat.sources.edges[:-1]) / 2
    return {
        "time_constant": rise_time(
            held_network(network, network.ambient_c + (temperature - network.ambient_c) / 2),
            state.continuous_current,
            int(np.argmax(board)),
            network.ambient_c + (1 - exp(-1)) * (float(board.max()) - network.ambient_c),
        ),
        "profile": tuple(
            {"radius_mm": 1e3 * float(r), "temperature_c": float(t)} for r, t in zip(middle, board, strict=True)
        ),
    }


def _onsets(works: Sequence[SteadyWork]) -> list[dict[str, object] | LawRangeError]:
    """Currents at which each board reaches the temperatures that findings speak of."""
    wanted = []
    for work in works:
        limits = {"touch_current": TOUCH_C, "tg_current": min(work.design.board.laminate_tg_c, HOTTEST)}
        limits["solder_current"] = SOLDER_C
        wanted.append({name: limit for name, limit in limits.items() if limit > work.heat.network.ambient_c + 1})
    found = currents_at_temperature(
        [work.heat.network for work in works],
        [(work.heat.board,) * len(limits) for work, limits in zip(works, wanted, strict=True)],
        [list(limits.values()) for limits in wanted],
    )
    return [
        each if isinstance(each, LawRangeError) else dict(zip(limits, each.current.tolist(), strict=True))
        for limits, each in zip(wanted, found, strict=True)
    ]


def _pulses(design: SizedDesign, state: HeatState) -> dict[str, object]:
    """Fields of peak currents and duty."""
    network, ambient = state.pulse_network, state.heat.network.ambient_c
    cold, tg = np.full(len(state.limits_c), ambient), np.full(len(state.limits_c), np.inf)
    tg[state.heat.board] = design.board.laminate_tg_c
    durations, starts, limits = [*PULSES, 1.0], [cold] * 4, [state.limits_c] * 3 + [tg]
    warm = state.warm_c
    if warm is not None:
        durations, starts, limits = [*durations, *PULSES], starts + [warm] * 3, limits + [state.limits_c] * 3
    found = pulse_currents(network, durations, np.array(starts), np.array(limits))
    peaks = np.maximum(found, state.heat_current).tolist()
    names = ("peak_1_cold", "peak_10_cold", "peak_60_cold", "", "peak_1_warm", "peak_10_warm", "peak_60_warm")
    fields: dict[str, object] = {name: peak for name, peak in zip(names, peaks, strict=False) if name}
    fields["blister_current"] = float(found[3])
    cooling = cooling_of(design)
    if cooling.duty == "on-off" and cooling.on and cooling.off and state.heat_current > 0:
        fields["duty_current"] = cycle_factor(state, [(cooling.on, 1.0), (cooling.off, 0.0)])
    return fields
