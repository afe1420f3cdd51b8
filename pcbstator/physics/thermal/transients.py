"""Heating in time: pulses and duty cycles with conductances held fixed, and everything together by a stiff solver.

With fixed conductances a network is linear while its current stands still, also with the resistance of the copper
growing, so a pulse is a matrix exponential: exact, quick, and at home with runaway. Which conductances to hold is the
caller's choice; ``stiff_temperatures`` follows the real laws and shows what that choice costs.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq, elementwise

from pcbstator.constants import CELSIUS_ZERO
from pcbstator.errors import LawRangeError
from pcbstator.physics.conductors.resistance import COPPER_TEMPERATURE_COEFFICIENT, HOTTEST
from pcbstator.physics.thermal.network import HeatNetwork, gap_conductance, heat_outflow

FloatArray = NDArray[np.float64]

MOST_ROUNDS = 40
STILL = 0.02  # [K] change of a cycle's mean temperatures
BOUNDLESS = 1e100  # growth within a cycle that no rest makes good
MOST_GROWTH = 40.0  # exponent at which a runaway is far beyond every limit
MOST_FEEDBACK = 0.9  # part of its own loss that copper may add by being hotter than its node


@dataclass(frozen=True, eq=False)
class LinearNetwork:
    """A network with conductances held fixed.

    conductance: (n, n) symmetric, as HeatNetwork.conduction [W/K]; eddy: (n,) with the given heat [W]; the rest as
    there.
    """

    ambient_c: float
    conductance: FloatArray
    resistance: FloatArray
    eddy: FloatArray
    capacity: FloatArray
    copper_to_node: FloatArray


def held_network(network: HeatNetwork, temperature_c: ArrayLike) -> LinearNetwork:
    """The network with every conductance as it is at these temperatures (flux over rise, not its slope).

    network: [SI]; temperature_c: (n,) above ambient [degC]. Returns a LinearNetwork [SI]. Source: derived here.

    >>> box = HeatNetwork(20.0, np.array([[0.5]]), np.ones(1), np.zeros(1), np.ones(1), np.zeros(1),
    ...                   np.zeros((1, 1)), np.zeros((1, 2)), 400.0)
    >>> held_network(box, [60.0]).conductance.item()
    0.5
    """
    rise = np.maximum(np.asarray(temperature_c, dtype=float) - network.ambient_c, 1e-3)
    matrix = network.conduction.copy()
    nodes = np.arange(len(rise))
    knots = network.knot_step * np.arange(network.face_flux.shape[1])
    for area, flux in zip(network.face_area.T, network.face_flux, strict=True):
        matrix[nodes, nodes] += area * np.interp(rise, knots, flux) / rise
    kelvin = rise + network.ambient_c + CELSIUS_ZERO
    for gap in network.gaps:
        through, _, _ = gap_conductance(gap, kelvin[gap.nodes], kelvin[gap.plate])
        matrix[gap.nodes, gap.nodes] += through
        matrix[gap.plate, gap.plate] += through.sum()
        matrix[gap.nodes, gap.plate] -= through
        matrix[gap.plate, gap.nodes] -= through
    warmth = 1 + COPPER_TEMPERATURE_COEFFICIENT * (network.ambient_c + rise - 20.0)
    eddy = network.eddy / warmth if network.given is None else network.eddy / warmth + network.given
    return LinearNetwork(network.ambient_c, matrix, network.resistance, eddy, network.capacity, network.copper_to_node)


@dataclass(frozen=True, eq=False)
class _Modes:
    """Decay rates (b, n), shapes (b, n, n) and steady drive (b, n) of cases with one current each."""

    rates: FloatArray
    shapes: FloatArray
    drive: FloatArray
    root: FloatArray
    loss: FloatArray  # (b, n) heat of a node at ambient, and its growth with temperature
    growth: FloatArray

    def after(self, start: FloatArray, time: FloatArray) -> FloatArray:
        """Rise (b, n) [K] after ``time`` (b,) [s] from a rise ``start`` (b, n)."""
        exponent = np.clip(-self.rates * time[:, None], -700.0, MOST_GROWTH)
        small = np.abs(exponent) < 1e-9
        ramp = time[:, None] * np.where(small, 1.0, np.expm1(exponent) / np.where(small, 1.0, exponent))
        modal = np.einsum("bji,bj->bi", self.shapes, start * self.root)
        modal = np.exp(exponent) * modal + ramp * self.drive
        return np.asarray(np.einsum("bij,bj->bi", self.shapes, modal) / self.root)

    def copper(self, rise: FloatArray, copper_to_node: FloatArray) -> FloatArray:
        """Rise of the copper itself, hotter than its node by its loss times the thermal resistance between them."""
        return np.asarray(rise + copper_to_node * (self.loss + self.growth * rise))


def _modes(network: LinearNetwork, squares: FloatArray) -> _Modes:
    """Modes at each square of the current (b,) [A2]."""
    coefficient = COPPER_TEMPERATURE_COEFFICIENT
    own = coefficient * squares[:, None] * network.resistance * network.copper_to_node
    heat = squares[:, None] * network.resistance / (1 - np.minimum(own, MOST_FEEDBACK))
    warmth = 1 + coefficient * (network.ambient_c - 20.0)
    growth = coefficient * heat
    root = np.sqrt(network.capacity)
    nodes = np.arange(len(root))
    matrix = np.repeat(network.conductance[None], len(squares), axis=0)
    matrix[:, nodes, nodes] -= growth
    rates, shapes = np.linalg.eigh(matrix / np.outer(root, root))
    loss = heat * warmth + network.eddy
    return _Modes(rates, shapes, np.einsum("bji,bj->bi", shapes, loss / root), root, loss, growth)


def pulse_currents(network: LinearNetwork, durations: ArrayLike, start_c: ArrayLike, limits_c: ArrayLike) -> FloatArray:
    """Rms current that takes the first node to its limit in a given time.

    network: [SI]; durations: (b,) above 0 [s]; start_c: (n,) or (b, n) below the limits [degC]; limits_c: likewise,
    inf where there is none [degC]. Returns (b,) [A], 0 where no current is needed. Range: LawRangeError for a duration
    that is not positive or a start beyond its limit. Source: derived here, matrix exponential by modes; the root in the
    square of the current.

    >>> block = LinearNetwork(20.0, np.zeros((1, 1)), np.ones(1), np.zeros(1), np.full(1, 2.0), np.zeros(1))
    >>> found = pulse_currents(block, [10.0], [20.0], [100.0])
    >>> round(float(found[0]) ** 2, 4)  # without loss of heat: ln(1 + 0.00393 x 80) x 2 / (0.00393 x 10)
    13.9125
    """
    times = np.asarray(durations, dtype=float)
    shape = (len(times), len(network.capacity))
    start = np.broadcast_to(np.asarray(start_c, dtype=float), shape) - network.ambient_c
    allowed = np.broadcast_to(np.asarray(limits_c, dtype=float), shape) - network.ambient_c
    if not np.all(times > 0) or np.any(start > allowed + 1e-6):
        raise LawRangeError("a pulse needs a duration above 0 and a start below its limits")

    def excess(squares: FloatArray, case: NDArray[np.intp]) -> FloatArray:
        modes = _modes(network, squares)
        over = modes.copper(modes.after(start[case], times[case]), network.copper_to_node) - allowed[case]
        return np.asarray(over.max(axis=1))

    found = np.zeros(len(times))
    cases = np.flatnonzero(excess(found, np.arange(len(times))) < 0)  # others are too warm without any current
    heated = network.resistance > 0
    adiabatic = (allowed - start)[:, heated] / network.resistance[heated]
    adiabatic = adiabatic / (times[:, None] / network.capacity[heated] + network.copper_to_node[heated])
    high = np.maximum(adiabatic.min(axis=1), 1e-12)[cases]
    if len(cases):  # cooling may allow more than a pulse without any
        bracket = elementwise.bracket_root(excess, np.zeros(len(cases)), high, xmin=0.0, args=(cases,)).bracket
        found[cases] = elementwise.find_root(excess, bracket, args=(cases,), tolerances={"xrtol": 1e-12}).x
    return np.sqrt(found)


def rise_time(network: LinearNetwork, current: float, node: int, target_c: float) -> float | None:
    """Time in which a node warms from ambient to a temperature at a steady current.

    network: [SI]; current: rms [A]; node: its index [-]; target_c: [degC]. Returns [s]; None where it is not reached.
    Source: derived here, by modes.

    >>> block = LinearNetwork(20.0, np.full((1, 1), 0.5), np.ones(1), np.zeros(1), np.full(1, 100.0), np.zeros(1))
    >>> round(rise_time(block, 1.0, 0, 20.0 + (1 - np.exp(-1.0)) / (0.5 - 0.00393)), 2)  # 100 / (0.5 - 0.00393)
    201.58
    """
    modes = _modes(network, np.array([current**2]))
    cold, wanted = np.zeros((1, len(network.capacity))), target_c - network.ambient_c

    def excess(time: float) -> float:
        return float(modes.after(cold, np.array([time]))[0, node]) - wanted

    high = 50.0 / float(np.abs(modes.rates[0]).min())
    return None if excess(high) < 0 else float(brentq(excess, 0.0, high, rtol=1e-12))


@dataclass(frozen=True, eq=False)
class Cycle:
    """A continuously repeated cycle: highest temperature of every node's copper, mean of the node (n,) [degC]."""

    highest_c: FloatArray
    mean_c: FloatArray


def steady_cycle(network: LinearNetwork, steps: ArrayLike) -> Cycle | None:
    """Temperatures of a continuously repeated cycle.

    network: [SI]; steps: (s, 2) duration above 0 [s] and rms current [A] of each step. Returns a Cycle [degC]; None
    where it runs away. Range: LawRangeError for a duration that is not positive. Of a step only its ends are looked at:
    within it nearly every node only warms or only cools. Copper is hotter than its node as soon as its current is on.
    Source: derived here; each step maps temperatures linearly, the cycle's start is the fixed point of all of them.

    >>> block = LinearNetwork(20.0, np.full((1, 1), 0.5), np.ones(1), np.zeros(1), np.full(1, 100.0), np.zeros(1))
    >>> round(float(steady_cycle(block, [[1e5, 1.0]]).highest_c[0]), 3)  # steady: 20 + 1 / (0.5 - 0.00393)
    22.016
    """
    table = np.atleast_2d(np.asarray(steps, dtype=float))
    if table.shape[1:] != (2,) or not np.all(table[:, 0] > 0):
        raise LawRangeError("each step of a cycle is a duration above 0 and a current")
    squares, which = np.unique(table[:, 1] ** 2, return_inverse=True)
    cases = which.ravel()
    modes = _modes(network, squares)
    exponent = np.clip(-modes.rates[cases] * table[:, :1], -700.0, MOST_GROWTH)
    small = np.abs(exponent) < 1e-9
    ramp = table[:, :1] * np.where(small, 1.0, np.expm1(exponent) / np.where(small, 1.0, exponent))
    shapes = modes.shapes[cases]
    maps = (shapes * np.exp(exponent)[:, None, :]) @ shapes.transpose(0, 2, 1) * (modes.root / modes.root[:, None])
    shifts = np.einsum("sij,sj->si", shapes, ramp * modes.drive[cases]) / modes.root
    whole, moved = np.eye(len(network.capacity)), np.zeros(len(network.capacity))
    for step, shift in zip(maps, shifts, strict=True):
        whole, moved = step @ whole, step @ moved + shift
        if np.abs(whole).max() > BOUNDLESS:
            return None
    if np.abs(np.linalg.eigvals(whole)).max() >= 1 - 1e-12:
        return None
    state = np.linalg.solve(np.eye(len(whole)) - whole, moved)
    highest, total = state.copy(), np.zeros(len(state))
    for step, shift, case, time in zip(maps, shifts, cases, table[:, 0], strict=True):
        after = step @ state + shift
        for end in (state, after):
            highest = np.maximum(highest, end + network.copper_to_node * (modes.loss[case] + modes.growth[case] * end))
        total += time * (state + after) / 2
        state = after
    mean = np.asarray(total / table[:, 0].sum() + network.ambient_c, dtype=float)
    return Cycle(np.asarray(highest + network.ambient_c), mean)


def settled_cycle(network: HeatNetwork, steps: ArrayLike, guess_c: ArrayLike) -> Cycle | None:
    """A continuously repeated cycle, with conductances as at its own mean temperatures.

    network: [SI]; steps: as steady_cycle [s, A]; guess_c: (n,) mean temperatures to begin with [degC].
    Returns a Cycle [degC]; None where it runs away. Source: derived here, steady_cycle repeated until its means
    stand still within 0.02 K.

    >>> block = HeatNetwork(20.0, np.array([[0.5]]), np.ones(1), np.zeros(1), np.full(1, 100.0), np.zeros(1),
    ...                     np.zeros((1, 1)), np.zeros((1, 2)), 400.0)
    >>> round(float(settled_cycle(block, [[1e5, 1.0]], [30.0]).highest_c[0]), 3)
    22.016
    """
    mean = np.asarray(guess_c, dtype=float)
    cycle: Cycle | None = None
    for _ in range(MOST_ROUNDS):
        cycle = steady_cycle(held_network(network, np.minimum(mean, HOTTEST)), steps)
        if cycle is None:
            return None
        moved, mean = np.abs(cycle.mean_c - mean).max(), cycle.mean_c
        if moved < STILL:
            break
    return cycle


def stiff_temperatures(
    network: HeatNetwork, steps: ArrayLike, start_c: ArrayLike, samples: int = 60, tolerance: float = 1e-6
) -> tuple[FloatArray, FloatArray]:
    """Temperatures over time with every law followed, by an implicit solver for stiff equations.

    network: [SI]; steps: (s, 2) duration [s] and rms current [A] of each step; start_c: (n,) [degC]; samples: times of
    each step, ever further apart [-]; tolerance: of each step of the solver, relative and in kelvins [-]. Returns times
    (m,) [s] and temperatures (m, n) [degC] of the copper; it ends early where a node passes 300 degC.
    Source: derived here; scipy's BDF with the exact Jacobian.

    >>> block = HeatNetwork(20.0, np.array([[0.5]]), np.ones(1), np.zeros(1), np.full(1, 100.0), np.zeros(1),
    ...                     np.zeros((1, 1)), np.zeros((1, 2)), 400.0)
    >>> time, found = stiff_temperatures(block, [[201.583, 1.0]], [20.0])
    >>> round(float(found[-1, 0]), 3)  # 20 + (1 - 1/e) / (0.5 - 0.00393)
    21.274
    """
    from scipy.integrate import solve_ivp

    state = np.asarray(start_c, dtype=float) - network.ambient_c
    n, growth, warmth = len(state), COPPER_TEMPERATURE_COEFFICIENT, network.warmth
    nodes = np.arange(n)
    times, found, begin = [], [], 0.0
    for duration, current in np.atleast_2d(np.asarray(steps, dtype=float)):
        bare = current**2 * network.resistance
        heat = bare / (1 - np.minimum(growth * bare * network.copper_to_node, MOST_FEEDBACK))

        def change(_: float, rise: FloatArray, heat: FloatArray = heat) -> FloatArray:
            factor = warmth + growth * rise
            flow, _slope = heat_outflow(network, rise[None])
            return np.asarray((heat * factor + network.eddy / factor - flow[0]) / network.capacity)

        def slopes(_: float, rise: FloatArray, heat: FloatArray = heat) -> FloatArray:
            matrix = -heat_outflow(network, rise[None])[1][0]
            matrix[nodes, nodes] += growth * (heat - network.eddy / (warmth + growth * rise) ** 2)
            return np.asarray(matrix / network.capacity[:, None])

        def too_hot(_: float, rise: FloatArray) -> float:
            return float(HOTTEST - network.ambient_c - rise.max())

        too_hot.terminal = True  # type: ignore[attr-defined]
        points = np.append(0.0, np.geomspace(duration / 1e4, duration, samples - 1))
        run = solve_ivp(
            change, (0.0, duration), state, method="BDF", jac=slopes, t_eval=points, events=too_hot,
            rtol=tolerance, atol=tolerance,
        )  # fmt: skip
        if not run.success and run.status != 1:
            raise LawRangeError("the heating over time could not be followed")
        rises = run.y.T
        factor = warmth + growth * rises
        times.append(begin + run.t)
        found.append(rises + network.copper_to_node * (heat * factor + network.eddy / factor) + network.ambient_c)
        if run.status == 1:
            break
        begin, state = begin + duration, rises[-1]
    return np.concatenate(times), np.concatenate(found)
