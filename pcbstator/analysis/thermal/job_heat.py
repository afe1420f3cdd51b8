"""What the job heats the motor to: its cycle repeated continuously, with the eddies of the job's own speeds."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq

from pcbstator.analysis.thermal.board_network import BoardHeat
from pcbstator.analysis.thermal.heat_state import RUNS_AWAY, HeatState, driver_balance, touched_temperature
from pcbstator.analysis.thermal.intermittent import root_of_excess
from pcbstator.errors import LawRangeError
from pcbstator.physics.conductors.resistance import COPPER_TEMPERATURE_COEFFICIENT, HOTTEST
from pcbstator.physics.thermal.balance import Balance, currents_at_temperature
from pcbstator.physics.thermal.network import HeatNetwork
from pcbstator.physics.thermal.repeated_cycle import repeated_cycle, steady_mean

FloatArray = NDArray[np.float64]

SLIGHT = 1e-3  # of the heat at a limit: eddies that change less leave the limits as they are


@dataclass(frozen=True)
class TurningLoss:
    """Mean heat [W] of what turning alone makes: in the copper, at ``copper_c``, and in steel beyond the board."""

    copper: float = 0.0
    copper_c: float = 20.0
    steel: float = 0.0


@dataclass(frozen=True)
class JobTemperatures:
    """Hottest place of the board, of what a finger touches, of the rotor, and of a driver inside the ring [C]."""

    board: float
    face: float
    rotor: float
    driver: float | None = None


@dataclass(frozen=True, eq=False)
class JobHeat:
    """A motor at its job; ``at_limit``: cases with the board at its limit, the magnets at theirs, and runaway."""

    heat: BoardHeat
    network: HeatNetwork
    at_limit: Balance

    @property
    def heat_current(self) -> float:
        """Rms phase current [A] that board, magnets and a driver inside the ring stand for any length of time."""
        case = int(self.at_limit.squared_current[:2].argmin())
        stands, driver = float(self.at_limit.current[case]), self.heat.driver
        if driver is None or stands <= 0:
            return stands
        found = driver_balance(driver, self.network, self.at_limit.only(case))
        return stands if found is None else float(found.current[0])

    def rotor_at(self, current: float) -> float | None:
        """Steady temperature [C] of the warmer rotor at an rms phase current [A]; None where that runs away."""
        warmer = self._warmer(current**2)
        found = None if warmer is None else steady_mean(self.network, [[1.0, current]], warmer)
        return None if found is None else float(found[self.heat.magnets].max())

    def temperatures(self, steps: ArrayLike) -> JobTemperatures | None:
        """Of a cycle repeated continuously; None where it runs away. steps: (s, 2) duration [s] and rms phase
        current [A]."""
        highest = self._highest(steps)
        if highest is None:
            return None
        heat = self.heat
        return JobTemperatures(
            board=float(highest[heat.board].max()),
            face=touched_temperature(heat, highest[heat.board]),
            rotor=float(highest[heat.magnets].max()),
            driver=None if heat.driver is None else float(highest[heat.driver.index]),
        )

    def growth(self, grown: Callable[[float], FloatArray], first: float) -> tuple[float, str]:
        """Factor by which the currents of a cycle may grow until board or magnets meet their limits, and which of them
        does; 0 where turning alone is too much. grown: the cycle's steps at a factor; first: a factor to begin with.
        """
        nearest = "board" if self.at_limit.squared_current[0] <= self.at_limit.squared_current[1] else "magnets"
        if self.heat_current <= 0:
            return 0.0, nearest

        def excess(square: float) -> float:
            nonlocal nearest
            over, nearest = self.excess(grown(sqrt(square)), nearest)
            return over

        return sqrt(root_of_excess(excess, first**2)), nearest

    def shortest_rest(self, with_rest: Callable[[float], FloatArray], longest: float) -> float | None:
        """Shortest rest [s] of a cycle within the limits; None where ``longest`` [s] is too short as well. with_rest:
        the cycle's steps at a rest [s]."""

        def over(rest: float) -> float:
            return self.excess(with_rest(rest))[0]

        if over(0.0) <= 0:
            return 0.0
        low, high = 0.0, 1.0
        while over(high) > 0:
            low, high = high, 4 * high
            if high > longest:
                return None
        return float(brentq(over, low, high, rtol=1e-9))

    def excess(self, steps: ArrayLike, before: str = "board") -> tuple[float, str]:
        """By how much [K] a cycle passes its limits, negative where it keeps them, and whether board or magnets are
        nearest; ``before``: where it runs away."""
        highest = self._highest(steps)
        if highest is None:
            return RUNS_AWAY, before
        heat = self.heat
        board = float(highest[heat.board].max()) - heat.board_limit_c
        magnets = float(highest[heat.magnets].max()) - heat.magnet_limit_c
        return max(board, magnets), "board" if board >= magnets else "magnets"

    def _highest(self, steps: ArrayLike) -> FloatArray | None:
        """Highest temperature [C] of every node."""
        table = np.atleast_2d(np.asarray(steps, dtype=float))
        mean = float(table[:, 0] @ table[:, 1] ** 2 / table[:, 0].sum())
        warmer = self._warmer(mean)
        found = None if warmer is None else repeated_cycle(self.network, table, warmer)
        return None if found is None else found.highest_c

    def _warmer(self, square: float) -> Balance | None:
        """The coolest known state that carries as much as this square of the rms current [A2]."""
        squares = self.at_limit.squared_current
        enough = [case for case in range(len(squares)) if squares[case] >= square and squares[case] > 0]
        return self.at_limit.only(min(enough, key=lambda case: float(squares[case]))) if enough else None


def job_heat(state: HeatState, turning: TurningLoss, mean_current: float | None = None) -> JobHeat | None:
    """The motor at a job whose turning makes this heat instead of that at the speed of continuous duty; None where a
    law does not hold. mean_current: of the peak terminal currents [A], for a driver inside the ring; None: any current.
    """
    heat, network = state.heat, state.heat.network
    eddy = np.zeros_like(network.eddy)
    driver = heat.driver if mean_current is not None else None
    rings, fixed = len(heat.board), len(eddy) - (1 if heat.driver is None else 2)
    own = heat.sources.eddy if heat.sources.eddy.sum() > 0 else heat.sources.resistance
    cold = turning.copper * (1 + COPPER_TEMPERATURE_COEFFICIENT * (turning.copper_c - 20.0))
    eddy[:rings] = cold * own / own.sum()
    if fixed not in heat.magnets:
        eddy[fixed] += turning.steel
    if driver is None and np.abs(eddy - network.eddy).sum() <= SLIGHT * float(state.at_limit.heat[:2].min()):
        return JobHeat(heat, network, state.at_limit)
    network = replace(network, eddy=eddy)
    if driver is not None and mean_current is not None:
        network = driver.heated(network, mean_current)
    wanted = ((heat.board, heat.magnets, heat.board), [heat.board_limit_c, heat.magnet_limit_c, HOTTEST])
    found = currents_at_temperature([network], [wanted[0]], [wanted[1]])[0]
    return None if isinstance(found, LawRangeError) else JobHeat(heat, network, found)
