"""The steady state of a design's heat balance: the currents that board and magnets stand, and what limits them.

The states of many designs are found at once, each as if it were alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pcbstator.analysis.electrical.trace_ratings import TraceCurrents
from pcbstator.analysis.thermal.board_network import BoardHeat
from pcbstator.analysis.thermal.driver_node import DriverNode
from pcbstator.errors import LawRangeError
from pcbstator.physics.conductors.resistance import HOTTEST
from pcbstator.physics.thermal.balance import Balance, currents_at_temperature, steady_temperatures
from pcbstator.physics.thermal.network import HeatNetwork
from pcbstator.physics.thermal.transients import LinearNetwork, held_network

FloatArray = NDArray[np.float64]

WARM = 0.5  # part of the rise of continuous duty before a pulse "from warm"
WITHIN = 1e-6  # K
RUNS_AWAY = 1e3  # K above a limit that stands for no temperature at all


@dataclass(frozen=True, eq=False)
class HeatState:
    """Steady figures of a design; currents are rms phase currents [A].

    limited_by: in words. driver_current: None where the driver inside the ring, if any, never limits.
    """

    heat: BoardHeat
    board_current: float
    magnet_current: float
    runaway_current: float
    continuous_current: float
    limited_by: str
    at_limit: Balance  # cases: board at its limit, magnets at theirs, runaway
    continuous: Balance | None
    driver_current: float | None = None

    @property
    def heat_current(self) -> float:
        """What board, magnets and a driver inside the ring stand in continuous duty."""
        stands = self.board_current, self.magnet_current
        return min(stands) if self.driver_current is None else min(*stands, self.driver_current)

    @property
    def limits_c(self) -> FloatArray:
        """Highest temperature of every node [C]; inf where there is none."""
        limits = np.full(len(self.heat.network.resistance), np.inf)
        limits[self.heat.board] = self.heat.board_limit_c
        limits[self.heat.magnets] = self.heat.magnet_limit_c
        if self.heat.driver is not None:
            limits[self.heat.driver.index] = self.heat.driver.limit_c
        return limits

    @property
    def pulse_network(self) -> LinearNetwork:
        """The network as it is at half the board's rise: cooling of a pulse or duty comes out low, not high."""
        return held_network(self.heat.network, self.halfway_c)

    @property
    def halfway_c(self) -> FloatArray:
        """Half the rise of the board at its limit [C], of every node."""
        ambient = self.heat.network.ambient_c
        return np.asarray(ambient + (self.at_limit.temperature_c[0] - ambient) / 2)

    @property
    def warm_c(self) -> FloatArray | None:
        """Temperatures [C] before a pulse from warm."""
        if self.continuous is None or np.any(self.continuous.temperature_c[0] > self.limits_c + 1e-6):
            return None
        ambient = self.heat.network.ambient_c
        return np.asarray(ambient + WARM * (self.continuous.temperature_c[0] - ambient))


def open_face_temperature(heat: BoardHeat, board_c: FloatArray) -> float:
    """Hottest place [C] of the board's far face in the air, with its rings at ``board_c`` [C]."""
    network = heat.network
    knots = network.knot_step * np.arange(network.face_flux.shape[1])
    flux = np.interp(board_c - network.ambient_c, knots, network.face_flux[0])
    return float((board_c - heat.face_resistance * flux).max())


def touched_temperature(heat: BoardHeat, board_c: FloatArray) -> float:
    """Hottest place [C] that a finger touches: the far face where it is in the air, else the board's outer edge."""
    return open_face_temperature(heat, board_c) if heat.open_face else float(board_c[-1])


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
    return [state if isinstance(state, LawRangeError) else _driver_limited(state) for state in states]


def _driver_limited(state: HeatState) -> HeatState:
    """The state with a driver inside the ring that gets too hot at its continuous current."""
    driver, network = state.heat.driver, state.heat.network
    if driver is None or state.continuous is None:
        return state
    found = driver_balance(driver, network, state.continuous)
    if found is None:
        return state
    current = float(found.current[0])
    words = driver.words if current > 0 else f"{driver.words} without any current"
    return replace(state, driver_current=current, continuous_current=current, limited_by=words, continuous=found)


def driver_balance(driver: DriverNode, network: HeatNetwork, warmest: Balance) -> Balance | None:
    """The state in which the driver is at its limit, or at no current if it is beyond; None where it keeps its limit in
    the ``warmest`` state."""
    if warmest.temperature_c[0, driver.index] <= driver.limit_c + WITHIN:
        return None
    found = currents_at_temperature([network], [([driver.index],)], [[driver.limit_c]])[0]
    if isinstance(found, LawRangeError) or found.squared_current[0] < 0:  # no current heats it, or it needs none
        still = steady_temperatures([network], [0.0], [warmest])[0]
        return replace(warmest, squared_current=np.zeros(1)) if isinstance(still, LawRangeError) else still
    return found


def _limited_state(heat: BoardHeat, traces: TraceCurrents, cases: Balance, rise: float) -> HeatState:
    """What limits the current. Its ``continuous`` balance is the coolest known that carries as much, so it is right
    where the heat balance limits, and where something else does, Newton's method begins there."""
    board, magnets, runaway = currents = cases.current.tolist()
    limits = [
        (board, f"heat balance of the board ({heat.board_limit_c:g} C)"),
        (magnets, heat.rotor_limit),
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
