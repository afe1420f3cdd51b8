"""The current that the drive may really carry: the standards' figures, the board's heat balance, the magnets' limit.

``heat_state`` holds the steady figures and is quick enough for a search over designs; pulses and duty come on top.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import exp, sqrt
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pcbstator import materials
from pcbstator.copper import Copper
from pcbstator.errors import LawRangeError
from pcbstator.physics.conductors import COPPER_TEMPERATURE_COEFFICIENT, HOTTEST
from pcbstator.physics.heat_network import Balance, current_at_temperature, steady_temperature
from pcbstator.physics.heat_transients import (
    LinearNetwork,
    held_network,
    pulse_currents,
    rise_time,
    settled_cycle,
)
from pcbstator.physics.magnet_ring import RingField
from pcbstator.predict.heat import BoardHeat, assumptions, board_heat, cooling_of
from pcbstator.predict.job_records import MotionResult
from pcbstator.predict.records import ThermalResult
from pcbstator.predict.trace_currents import TraceCurrents, trace_currents

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
        """What board and magnets stand without end."""
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
    network = heat.network
    cases = current_at_temperature(
        network, (heat.board, heat.magnets, heat.board), [heat.board_limit_c, heat.magnet_limit_c, HOTTEST]
    )
    board, magnets, runaway = (float(value) for value in cases.current)
    ways = [
        (board, f"heat balance of the board ({heat.board_limit_c:g} C)"),
        (magnets, f"magnets ({heat.magnet_limit_c:g} C)"),
    ]
    for current, words in (
        (traces.ipc2221, "a single track by IPC-2221"),
        (traces.ipc2152, "a single track by the fit of IPC-2152"),
        (traces.via, "a single via by IPC-2221"),
    ):
        if current is not None:
            ways.append((current, f"{words} ({rise:g} K rise)"))
    continuous, words = min(ways, key=lambda way: way[0])
    if continuous <= 0:
        words = "eddy currents alone: " + words
    known = [case for case in (0, 1) if cases.squared_current[case] > 0 and ways[case][0] == continuous]
    state = _case(cases, known[0]) if known else steady_temperature(network, heat.board, continuous)
    return HeatState(heat, board, magnets, runaway, continuous, words, cases, state)


def _case(balance: Balance, case: int) -> Balance:
    """One case of several."""
    part = slice(case, case + 1)
    return Balance(
        balance.squared_current[part], balance.temperature_c[part], balance.heat[part], balance.copper_heat[part]
    )


def allowed_currents(state: HeatState, durations: ArrayLike, start_c: FloatArray | None = None) -> FloatArray:
    """Rms phase current [A] that may flow for each duration [s] from temperatures ``start_c`` [C], default ambient."""
    times = np.asarray(durations, dtype=float)
    begin = np.full(len(state.limits_c), state.heat.network.ambient_c) if start_c is None else start_c
    quick = pulse_currents(state.pulse_network, times, begin, state.limits_c)
    return np.maximum(quick, state.heat_current)  # what may flow without end may flow for a while


def cycle_temperatures(state: HeatState, steps: ArrayLike) -> tuple[float, float] | None:
    """Hottest board and magnets [C] in a cycle that repeats for ever; None where it runs away.

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


def thermal_results(
    design: Design, copper: Copper, phase_resistance: float, field: RingField | None, torque_constant: float | None
) -> ThermalResult:
    """All of the thermal section; where a law does not hold, the standards' figures and the reason."""
    rise = cooling_of(design).trace_rise
    traces = trace_currents(design, copper, rise)
    known = {
        "ipc2221_current": traces.ipc2221,
        "ipc2221_via_current": traces.via,
        "ipc2152_current": traces.ipc2152,
        "trace_rise": rise if traces.by_layer or traces.ipc2152 is not None else None,
        "by_layer": traces.by_layer,
        "assumptions": assumptions(design),
    }
    try:
        state = heat_state(board_heat(design, copper, phase_resistance, field), traces, rise)
        return ThermalResult(
            **known,  # type: ignore[arg-type]
            **_steady(design, state, len(copper.phases), torque_constant),  # type: ignore[arg-type]
            **_pulses(design, state),  # type: ignore[arg-type]
        )
    except LawRangeError as reason:
        return ThermalResult(**known, out_of_range=f"no heat balance: {reason}")  # type: ignore[arg-type]


def with_motion(design: Design, thermal: ThermalResult, motion: MotionResult | None) -> ThermalResult:
    """The same with what the motion, repeated for ever, does to the board, for duty = "motion"."""
    if cooling_of(design).duty != "motion" or motion is None or motion.heat_steps is None or thermal.heat is None:
        return thermal
    reached, factor = cycle_temperatures(thermal.heat, motion.heat_steps), cycle_factor(thermal.heat, motion.heat_steps)
    return replace(
        thermal,
        motion_board_c=None if reached is None else reached[0],
        motion_rotor_c=None if reached is None else reached[1],
        motion_current_factor=factor if factor < float("inf") else None,
    )


def _steady(design: Design, state: HeatState, phases: int, torque_constant: float | None) -> dict[str, object]:
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
    } | _onsets(design, state)
    if balance is None:
        return found
    temperature = balance.temperature_c[0]
    board, rotor = temperature[heat.board], float(temperature[heat.magnets].max())
    loss, copper = float(balance.heat[0]), float(balance.copper_heat[0])
    warmth = 1 + COPPER_TEMPERATURE_COEFFICIENT * (board - 20.0)
    middle = (heat.sources.edges[1:] + heat.sources.edges[:-1]) / 2
    found |= {
        "board_temperature_c": float(board.max()),
        "board_mean_c": float(board.mean()),
        "rotor_temperature_c": rotor,
        "hot_resistance": float(network.resistance[heat.board] @ warmth) / phases,
        "copper_loss": copper,
        "eddy_loss": loss - copper,
        "thermal_resistance": (float(board.max()) - network.ambient_c) / loss if loss > 0 else None,
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
    if heat.open_face:
        rise = board - network.ambient_c
        flux = np.interp(rise, network.knot_step * np.arange(network.face_flux.shape[1]), network.face_flux[0])
        found["surface_temperature_c"] = float((board - heat.face_resistance * flux).max())
    if torque_constant is not None:
        # A stated remanence is that at work; a grade's is taken on from the temperature that the file gives.
        graded = design.rotor.magnet.stated_remanence is None
        hotter = max(rotor - design.rotor.magnet.temperature_c, 0.0) if graded else 0.0
        weaker = max(1 + materials.neodymium().remanence_coefficient * hotter, 0.0)
        drag = (loss - copper) / heat.speed if heat.speed > 0 else 0.0
        found["continuous_torque"] = sqrt(2) * torque_constant * weaker * state.continuous_current - drag
    return found


def _onsets(design: Design, state: HeatState) -> dict[str, object]:
    """Currents at which the board reaches the temperatures that findings speak of."""
    ambient, tg = state.heat.network.ambient_c, min(design.board.laminate_tg_c, HOTTEST)
    wanted = {"touch_current": TOUCH_C, "tg_current": tg, "solder_current": SOLDER_C}
    wanted = {name: limit for name, limit in wanted.items() if limit > ambient + 1}
    found = current_at_temperature(
        state.heat.network, (state.heat.board,) * len(wanted), list(wanted.values())
    ).current  # fmt: skip
    return dict(zip(wanted, found.tolist(), strict=True))


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
