"""Steady states of heat networks, solved together with the resistance of the copper, which grows with temperature.

What is asked for most is the current at which a node reaches a temperature: that current is always there, while a
temperature for a given current may not be (thermal runaway). Newton's method solves for all temperatures and the square
of the current at once, for many networks at a time, each by itself: what comes out for one depends on no other, to the
last bit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pcbstator.errors import LawRangeError
from pcbstator.physics.conductors.resistance import COPPER_TEMPERATURE_COEFFICIENT, HOTTEST
from pcbstator.physics.thermal.network import (
    HeatNetwork,
    NetworkStack,
    stack_heating,
    stack_outflow,
    stacked_networks,
)

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

MOST_ROUNDS = 60
SETTLED = 1e-8  # [K] step of the last round, or what the square of it lets expect of the next


@dataclass(frozen=True, eq=False)
class Balance:
    """Steady states: square of the rms current (b,) [A2], negative where eddies alone are too much; temperatures
    (b, n) [degC]; heat lost in copper (b,) [W]; its part that grows with current (b,) [W]."""

    squared_current: FloatArray
    temperature_c: FloatArray
    heat: FloatArray
    copper_heat: FloatArray

    @property
    def current(self) -> FloatArray:
        """Rms current (b,) [A]; 0 where eddies alone are too much."""
        return np.sqrt(np.maximum(self.squared_current, 0.0))

    def only(self, case: int) -> Balance:
        """One case of several."""
        part = slice(case, case + 1)
        return Balance(self.squared_current[part], self.temperature_c[part], self.heat[part], self.copper_heat[part])


def current_at_temperature(network: HeatNetwork, watched: tuple[Any, ...], target_c: ArrayLike) -> Balance:
    """Steady rms current at which the hottest of some nodes has a temperature.

    network: [SI]; watched: (b) for each case the indices of its nodes [-]; target_c: (b,) above ambient, to 300 [degC].
    Returns a Balance [A2, degC, W]. Range: LawRangeError for targets outside, or where copper heats none of the watched
    nodes. Source: derived here, Newton's method on all temperatures and the square of the current at once.

    >>> box = HeatNetwork(20.0, np.array([[0.5]]), np.ones(1), np.zeros(1), np.ones(1), np.zeros(1),
    ...                   np.zeros((1, 1)), np.zeros((1, 2)), 400.0)
    >>> found = current_at_temperature(box, ([0],), [60.0])
    >>> round(found.squared_current.item(), 6)  # 0.5 x 40 / (1 + 0.00393 x 40)
    17.283097
    """
    return _unless_refused(currents_at_temperature([network], [watched], [target_c])[0])


def currents_at_temperature(
    networks: Sequence[HeatNetwork], watched: Sequence[tuple[Any, ...]], target_c: Sequence[ArrayLike]
) -> list[Balance | LawRangeError]:
    """Steady rms currents at which the hottest of some nodes of many networks has a temperature; what is out of range
    for one is its result, and the others do not notice.

    networks: (d) [SI]; watched, target_c: (d) as of current_at_temperature [-, degC]. Returns (d) Balances [A2, degC,
    W] or refusals. Source: derived here, as current_at_temperature.

    >>> box = HeatNetwork(20.0, np.array([[0.5]]), np.ones(1), np.zeros(1), np.ones(1), np.zeros(1),
    ...                   np.zeros((1, 1)), np.zeros((1, 2)), 400.0)
    >>> one, other = currents_at_temperature([box, box], [([0],), ([0],)], [[60.0], [10.0]])
    >>> round(one.squared_current.item(), 6), type(other).__name__
    (17.283097, 'LawRangeError')
    """
    goals = [np.asarray(c, dtype=float) - network.ambient_c for network, c in zip(networks, target_c, strict=True)]
    found: list[Balance | LawRangeError | None] = [*map(_refusal, networks, goals)]
    for members in _alike(networks, [i for i, refusal in enumerate(found) if refusal is None]):
        stack = stacked_networks([networks[i] for i in members])
        counts = [len(goals[i]) for i in members]
        which = np.repeat(np.arange(len(members)), counts)
        mask = np.zeros((len(which), stack.resistance.shape[1]), dtype=bool)
        for row, nodes in enumerate(nodes for i in members for nodes in watched[i]):
            mask[row, nodes] = True
        goal = np.concatenate([goals[i] for i in members])
        balances = _balances(stack, which, mask, goal, *_first_guess(stack, which, mask, goal))
        for i, balance in zip(members, balances, strict=True):
            found[i] = balance
    return [each for each in found if each is not None]


def _refusal(network: HeatNetwork, goal: FloatArray) -> LawRangeError | None:
    """Why no current takes the network to these rises [K], if it is plain beforehand."""
    if not np.all((goal > 0) & (goal + network.ambient_c <= HOTTEST + 1e-9)):
        return LawRangeError(
            f"a steady temperature must lie above the ambient {network.ambient_c:g} degC and reach "
            f"{HOTTEST:g} degC at most; got {goal + network.ambient_c}"
        )
    if not network.resistance.sum() > 0:
        return LawRangeError("no copper heats the network")
    return None


def _unless_refused(found: Balance | LawRangeError) -> Balance:
    if isinstance(found, LawRangeError):
        raise found
    return found


def _alike(networks: Sequence[HeatNetwork], chosen: list[int]) -> list[list[int]]:
    """The chosen networks by their numbers, in groups that can be stacked."""

    def shape(i: int) -> tuple[int, int, int]:
        return networks[i].shape

    return [list(group) for _, group in groupby(sorted(chosen, key=shape), key=shape)]


def _first_guess(
    stack: NetworkStack, which: IntArray, mask: BoolArray, target: FloatArray
) -> tuple[FloatArray, FloatArray, dict[int, str]]:
    """Rises (b, n) [K] in the shape that even slopes give, watched nodes at their target, squared currents (b,), and
    the cases that have none."""
    _, slope = stack_outflow(stack, which, np.repeat(0.7 * target[:, None], mask.shape[1], axis=1))
    shape = _solutions(slope, stack.resistance[which])
    hopeless = np.flatnonzero(~np.isfinite(shape).all(axis=1))
    scale = target / np.maximum(np.where(mask, shape, 0.0).max(axis=1), 1e-30)
    rise = np.clip(scale[:, None] * shape, 0.0, HOTTEST)
    warmth = 1 + COPPER_TEMPERATURE_COEFFICIENT * (stack.ambient_c[which, 0] - 20.0 + rise.max(axis=1))
    return rise, scale / warmth, {int(row): "a part of the network gives its heat to nothing" for row in hopeless}


def _solutions(matrices: FloatArray, right: FloatArray) -> FloatArray:
    """Solution (b, n) of every system by itself; NaN where there is none."""
    try:
        return np.asarray(np.linalg.solve(matrices, right[..., None])[..., 0])
    except np.linalg.LinAlgError:
        if len(matrices) == 1:
            return np.full_like(right, np.nan)
        return np.concatenate([_solutions(matrices[i : i + 1], right[i : i + 1]) for i in range(len(matrices))])


def _balances(
    stack: NetworkStack,
    which: IntArray,
    mask: BoolArray,
    goal: FloatArray,
    rise: FloatArray,
    square: FloatArray,
    refused: dict[int, str],
) -> list[Balance | LawRangeError]:
    """The settled cases (b,) of each network; ``rise`` and ``square`` are where Newton's method begins.

    goal: rise of the hottest node within ``mask`` [K]; of cases without any such node, the square of the current [A2].
    """
    _settle(stack, which, mask, goal, rise, square, refused)
    copper, _, eddy, _ = stack_heating(stack, which, rise)
    by_current = square * copper.sum(axis=1)
    heat, temperature = by_current + eddy.sum(axis=1), rise + stack.ambient_c[which]
    found: list[Balance | LawRangeError] = []
    for network in range(len(stack.ambient_c)):
        cases = np.flatnonzero(which == network)
        reasons = [refused[row] for row in cases.tolist() if row in refused]
        balance = Balance(square[cases], temperature[cases], heat[cases], by_current[cases])
        found.append(LawRangeError(reasons[0]) if reasons else balance)
    return found


def _settle(
    stack: NetworkStack,
    which: IntArray,
    mask: BoolArray,
    goal: FloatArray,
    rise: FloatArray,
    square: FloatArray,
    refused: dict[int, str],
) -> None:
    """Newton's method in place; a case that stands still is left alone, so that it does not feel the others.

    The library's solvers for several unknowns take one system at a time, here hundreds are solved together.
    """
    n = rise.shape[1]
    active = np.array([row for row in range(len(which)) if row not in refused], dtype=np.int64)
    before = np.full(len(active), SETTLED)  # size of the last step
    for _ in range(MOST_ROUNDS):
        if not len(active):
            return
        step = _newton_step(stack, which[active], mask[active], goal[active], rise[active], square[active])
        sound = np.isfinite(step).all(axis=1)
        refused |= {row: "the copper heats none of the watched nodes" for row in active[~sound].tolist()}
        active, step = active[sound], step[sound]
        warmer = np.clip(step[:, :n], -120.0, 120.0)
        rise[active] += warmer
        square[active] += step[:, n]
        size, last = np.abs(warmer).max(axis=1), before[sound]
        # Near its end the method converges with the square of the step, so the next one is known.
        known = (last < 1.0) & (size * (size / last) ** 2 < SETTLED)
        unsettled = (size >= SETTLED) & ~known
        active, before = active[unsettled], size[unsettled]
    refused |= {row: "the heat balance does not settle" for row in active.tolist()}


def _newton_step(
    stack: NetworkStack, which: IntArray, mask: BoolArray, goal: FloatArray, rise: FloatArray, square: FloatArray
) -> FloatArray:
    """Steps (b, n + 1) of all temperatures and of the square of the current."""
    cases, n = rise.shape
    rows = np.arange(cases)
    flow, slope = stack_outflow(stack, which, rise)
    copper, growth, eddy, fall = stack_heating(stack, which, rise)
    system, lack = np.zeros((cases, n + 1, n + 1)), np.empty((cases, n + 1))
    system[:, :n, :n] = slope
    system.reshape(cases, -1)[:, : n * (n + 2) : n + 2] -= square[:, None] * growth + fall
    system[:, :n, n] = -copper
    lack[:, :n] = square[:, None] * copper + eddy - flow
    hottest = np.argmax(np.where(mask, rise, -np.inf), axis=1)
    given = ~mask.any(axis=1)  # the current is given, not a temperature
    system[rows, n, np.where(given, n, hottest)] = 1.0
    lack[:, n] = goal - np.where(given, square, rise[rows, hottest])
    return _solutions(system, lack)


def steady_temperature(network: HeatNetwork, nodes: Any, current: float) -> Balance | None:
    """Steady state at an rms current, or None where there is none: thermal runaway.

    network: [SI]; nodes: indices of those that copper heats [-]; current: 0 or more [A]. Returns a Balance of one case
    [A2, degC, W], or None where no steady temperature up to 300 degC exists. Source: derived here, Newton's method
    from the state at 300 degC, downhill all the way, since more is lost the warmer a network is.

    >>> box = HeatNetwork(20.0, np.array([[0.5]]), np.ones(1), np.zeros(1), np.ones(1), np.zeros(1),
    ...                   np.zeros((1, 1)), np.zeros((1, 2)), 400.0)
    >>> round(steady_temperature(box, [0], 17.283097**0.5).temperature_c.item(), 4)
    60.0
    >>> steady_temperature(box, [0], 9.0) is None
    True
    """
    hottest = current_at_temperature(network, (nodes,), [HOTTEST])
    if hottest.squared_current[0] < current**2:
        return None
    return _unless_refused(steady_temperatures([network], [current], [hottest])[0])


def steady_temperatures(
    networks: Sequence[HeatNetwork], currents: ArrayLike, warmer: Sequence[Balance]
) -> list[Balance | LawRangeError]:
    """Steady states of many networks at an rms current each, from a state of each that is at least as warm.

    networks: (d) [SI]; currents: (d,) 0 or more, at most those of the warmer states [A]; warmer: (d) of one case each
    [A2, degC, W]. Returns (d) Balances of one case [A2, degC, W] or refusals. Source: derived here, Newton's method.

    >>> box = HeatNetwork(20.0, np.array([[0.5]]), np.ones(1), np.zeros(1), np.ones(1), np.zeros(1),
    ...                   np.zeros((1, 1)), np.zeros((1, 2)), 400.0)
    >>> warm = current_at_temperature(box, ([0],), [60.0])
    >>> steady_temperatures([box], [1.0], [warm])[0].temperature_c.round(3).item()  # 20 + 1 / (0.5 - 0.00393)
    22.016
    """
    squares = np.asarray(currents, dtype=float) ** 2
    found: dict[int, Balance | LawRangeError] = {}
    for members in _alike(networks, list(range(len(networks)))):
        stack, which = stacked_networks([networks[i] for i in members]), np.arange(len(members))
        rise = np.concatenate([warmer[i].temperature_c for i in members]) - stack.ambient_c
        nowhere = np.zeros(rise.shape, dtype=bool)
        start = squares[members]
        found |= dict(zip(members, _balances(stack, which, nowhere, start, rise, start.copy(), {}), strict=True))
    return [found[i] for i in range(len(networks))]
