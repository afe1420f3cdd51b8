"""The current that the drive may really carry: the standards' figures, the board's heat balance, the magnets' limit.

The steady figures of many designs are found at once (``steady_results``), each as if it were alone; pulses and duty
come on top for one design.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from math import exp, sqrt
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pcbstator import materials
from pcbstator.analysis.drive.records import MotionResult
from pcbstator.analysis.electrical.trace_ratings import TraceCurrents
from pcbstator.analysis.thermal.board_network import BoardHeat, assumptions, cooling_of
from pcbstator.analysis.thermal.records import ThermalResult
from pcbstator.currents import peak_current
from pcbstator.errors import LawRangeError
from pcbstator.physics.conductors.resistance import COPPER_TEMPERATURE_COEFFICIENT, HOTTEST
from pcbstator.physics.thermal.balance import Balance, currents_at_temperature, steady_temperatures
from pcbstator.physics.thermal.transients import LinearNetwork, held_network, pulse_currents, rise_time, settled_cycle

if TYPE_CHECKING:
    from pcbstator.design import Design

FloatArray = NDArray[np.float64]

TOUCH_C = 60.0  # hot metal burns within seconds (ISO 13732-1 has 60 to 65 C for a few seconds' touch; from memory)
SOLDER_C = 183.0  # tin-lead solder melts; lead-free kinds stand 217 C (common knowledge of the trade)
WARM = 0.5  # part of the rise of continuous work before a pulse "from warm"
PULSES = (1.0, 10.0, 60.0)  # s
RUNS_AWAY = 1e3  # K above a limit that stands for no temperature at all
NEAR_LIMIT = 0.02  # K that a cycle may end beside its limit


@dataclass(frozen=True, eq=False)
class HeatState:
    """Steady figures of a design; currents are rms phase currents [A].

    limited_by: in words. temperature_c: of every node at the continuous current [C], None where eddies alone run away.
    """

    heat: BoardHeat
    board_current: float
    magnet_current: float
    runaway_current: float
    continuous_current: float
    limited_by: str
    at_limit: Balance  # cases: board at its limit, magnets at theirs, runaway
    continuous: Balance | None

    @property
    def heat_current(self) -> float:
        """What board and magnets stand in continuous duty."""
        return min(self.board_current, self.magnet_current)

    @property
    def limits_c(self) -> FloatArray:
        """Highest temperature of every node [C]; inf where there is none."""
        limits = np.full(len(self.heat.network.resistance), np.inf)
        limits[self.heat.board] = self.heat.board_limit_c
        limits[self.heat.magnets] = self.heat.magnet_limit_c
        return limits

    @property
    def pulse_network(self) -> LinearNetwork:
        """The network as it is at half the board's rise: cooling of a pulse or duty comes out low, not high."""
        return held_network(self.heat.network, _halfway(self))

    @property
    def warm_c(self) -> FloatArray | None:
        """Temperatures [C] before a pulse from warm."""
        if self.continuous is None or np.any(self.continuous.temperature_c[0] > self.limits_c + 1e-6):
            return None
        ambient = self.heat.network.ambient_c
        return np.asarray(ambient + WARM * (self.continuous.temperature_c[0] - ambient))


def heat_state(heat: BoardHeat, traces: TraceCurrents, rise: float = 20.0) -> HeatState:
    """The steady figures; rise: of the traces' figures, for the words [K]."""
    state = heat_states([heat], [traces], [rise])[0]
    if isinstance(state, LawRangeError):
        raise state
    return state


def heat_states(
    heats: Sequence[BoardHeat], traces: Sequence[TraceCurrents], rises: Sequence[float]
) -> list[HeatState | LawRangeError]:
    """The steady figures of many designs, each as if it were alone; where a law does not hold, the reason instead."""
    networks = [heat.network for heat in heats]
    found = currents_at_temperature(
        networks,
        [(heat.board, heat.magnets, heat.board) for heat in heats],
        [(heat.board_limit_c, heat.magnet_limit_c, HOTTEST) for heat in heats],
    )
    states = [
        cases if isinstance(cases, LawRangeError) else _limited_state(heat, standards, cases, rise)
        for heat, standards, cases, rise in zip(heats, traces, found, rises, strict=True)
    ]
    waiting = [(i, state) for i, state in enumerate(states) if isinstance(state, HeatState) and _too_warm(state)]
    settled = steady_temperatures(
        [state.heat.network for _, state in waiting],
        [state.continuous_current for _, state in waiting],
        [state.continuous for _, state in waiting if state.continuous is not None],
    )
    for (i, state), balance in zip(waiting, settled, strict=True):
        states[i] = balance if isinstance(balance, LawRangeError) else replace(state, continuous=balance)
    return states


def _limited_state(heat: BoardHeat, traces: TraceCurrents, cases: Balance, rise: float) -> HeatState:
    """What limits the current. Its ``continuous`` balance is the coolest known that carries as much, so it is right
    where the heat balance limits, and where something else does, Newton's method begins there."""
    board, magnets, runaway = currents = cases.current.tolist()
    limits = [
        (board, f"heat balance of the board ({heat.board_limit_c:g} C)"),
        (magnets, f"magnets ({heat.magnet_limit_c:g} C)"),
    ]
    for current, words in (
        (traces.ipc2221, "a single track by IPC-2221"),
        (traces.ipc2152, "a single track by the fit of IPC-2152"),
        (traces.via, "a single via by IPC-2221"),
    ):
        if current is not None:
            limits.append((current, f"{words} ({rise:g} K rise)"))
    continuous, words = min(limits, key=lambda limit: limit[0])
    if continuous <= 0:
        words = "eddy currents alone: " + words
    enough = [case for case in range(3) if cases.squared_current[case] >= 0 and currents[case] >= continuous]
    coolest = min(enough, key=lambda case: float(currents[case]), default=None)
    balance = None if coolest is None else cases.only(coolest)
    return HeatState(heat, board, magnets, runaway, continuous, words, cases, balance)


def _too_warm(state: HeatState) -> bool:
    """Whether the balance of a limited state carries more than the continuous current."""
    return state.continuous is not None and float(state.continuous.current[0]) > state.continuous_current


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
    found = settled_cycle(state.heat.network, steps, _halfway(state))
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
    limits, guess = state.limits_c, _halfway(state)

    def excess(square: float) -> float:
        nonlocal guess
        found = settled_cycle(state.heat.network, table * (1.0, sqrt(square)), guess)
        if found is None:
            return RUNS_AWAY
        guess = np.minimum(found.mean_c, limits) if square > 0 else guess
        return float((found.highest_c - limits).max())

    return sqrt(_root(excess, state.heat_current**2 / mean))


def _halfway(state: HeatState) -> FloatArray:
    """Half the rise of the board at its limit [C]."""
    ambient = state.heat.network.ambient_c
    return np.asarray(ambient + (state.at_limit.temperature_c[0] - ambient) / 2)


def _root(excess: Callable[[float], float], high: float) -> float:
    """Where ``excess`` [K], below 0 at 0, is nought: bracketed from ``high``, then regula falsi (Illinois)."""
    low, below, above = 0.0, excess(0.0), excess(high)
    if below >= 0:
        return 0.0
    while above < 0:
        low, below, high = high, above, 2 * high
        above = excess(high)
    square, side = high, 0
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


def with_pulses(design: Design, steady: ThermalResult) -> ThermalResult:
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

    design: Design
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


def refused_result(design: Design, traces: TraceCurrents, reason: LawRangeError) -> ThermalResult:
    """What is left where the heat balance does not hold."""
    fields = _standards(design, traces) | {"out_of_range": f"no heat balance: {reason}"}
    return ThermalResult(**fields)  # type: ignore[arg-type]


def _standards(design: Design, traces: TraceCurrents) -> dict[str, object]:
    """Fields of the standards' figures."""
    return {
        "ipc2221_current": traces.ipc2221,
        "ipc2221_via_current": traces.via,
        "ipc2152_current": traces.ipc2152,
        "trace_rise": cooling_of(design).trace_rise if traces.by_layer or traces.ipc2152 is not None else None,
        "by_layer": traces.by_layer,
        "assumptions": assumptions(design),
    }


def with_motion(design: Design, thermal: ThermalResult, motion: MotionResult | None) -> ThermalResult:
    """The results with what the continuously repeated motion does to the board, for duty = "motion"."""
    if cooling_of(design).duty != "motion" or motion is None or motion.heat_steps is None or thermal.heat is None:
        return thermal
    reached, factor = cycle_temperatures(thermal.heat, motion.heat_steps), cycle_factor(thermal.heat, motion.heat_steps)
    return replace(
        thermal,
        motion_board_c=None if reached is None else reached[0],
        motion_rotor_c=None if reached is None else reached[1],
        motion_current_factor=factor if factor < float("inf") else None,
    )


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
        "magnet_limit_c": heat.magnet_limit_c,
        "heat": state,
    }
    if balance is None:
        return found
    temperature = balance.temperature_c[0]
    board, rotor = temperature[heat.board], float(temperature[heat.magnets].max())
    loss, copper = float(balance.heat[0]), float(balance.copper_heat[0])
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
        rise = board - network.ambient_c
        flux = np.interp(rise, network.knot_step * np.arange(network.face_flux.shape[1]), network.face_flux[0])
        found["surface_temperature_c"] = float((board - heat.face_resistance * flux).max())
    if work.torque_constant is not None:
        # A stated remanence is that at work; a grade's is taken on from the temperature that the file gives.
        magnet = work.design.rotor.magnet
        hotter = max(rotor - magnet.temperature_c, 0.0) if magnet.stated_remanence is None else 0.0
        weaker = max(1 + materials.neodymium().remanence_coefficient * hotter, 0.0)
        drag = (loss - copper) / heat.speed if heat.speed > 0 else 0.0
        found["continuous_torque"] = work.torque_constant * weaker * peak_current(state.continuous_current) - drag
    return found


def _long_run(state: HeatState) -> dict[str, object]:
    """Fields of how long continuous work takes to warm the board, and its temperature over the radius in the end."""
    heat, network = state.heat, state.heat.network
    if state.continuous is None:
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


def _pulses(design: Design, state: HeatState) -> dict[str, object]:
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
