"""Heat balance of a network of nodes whose copper resistance grows with temperature.

The first nodes are rings of a board, the last ones the plates that face it. Heat goes along the board and to a mount by
fixed conductances, from faces to air by tables of their flux over temperature, and through narrow gaps to the plates by
conduction and radiation. Everything is solved together with the resistance of the copper. Temperatures inside are
kelvins above ambient. What is asked for most is the current at which a node reaches a temperature: that current is
always there, while a temperature for a given current may not be (thermal runaway).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pcbstator.constants import CELSIUS_ZERO, STEFAN_BOLTZMANN
from pcbstator.errors import LawRangeError
from pcbstator.physics.conductors import COPPER_TEMPERATURE_COEFFICIENT, HOTTEST

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

MOST_ROUNDS = 60
SETTLED = 1e-8  # [K] step of the last round


@dataclass(frozen=True, eq=False)
class Gap:
    """A narrow gap from some nodes to one plate.

    nodes: (g,) indices; plate: index of the plate; area: (g,) [m2]; reach: (g,) parts of the area over their gaps,
    summed [1/m]; emissivity: of both faces together [-]; resistance: of the board from node to face [K m2/W].
    """

    nodes: IntArray
    plate: int
    area: FloatArray
    reach: FloatArray
    emissivity: float
    resistance: float


@dataclass(frozen=True, eq=False)
class HeatNetwork:
    """Nodes, what they lose and what they pass on.

    ambient_c: of air and mount [degC]. conduction: (n, n) symmetric, heat that leaves node i is the sum of
    conduction_ij times the rise of j [W/K]. resistance: (n,) loss per square of rms current at 20 degC [ohm]. eddy:
    (n,) other losses in copper at 20 degC, which fall as its resistance grows [W]. capacity: (n,) [J/K]. lag: (n,) how
    much hotter than its node the copper is while it heats, for each watt of that node [K/W]. face_area: (n, k) [m2],
    face_flux: (k, m) flux of each kind of face at rises of 0, step, 2 step, ... [W/m2], knot_step: [K].
    """

    ambient_c: float
    conduction: FloatArray
    resistance: FloatArray
    eddy: FloatArray
    capacity: FloatArray
    lag: FloatArray
    face_area: FloatArray
    face_flux: FloatArray
    knot_step: float
    gaps: tuple[Gap, ...] = ()

    @property
    def warmth(self) -> float:
        """Resistance of copper at ambient over that at 20 degC [-]."""
        return 1 + COPPER_TEMPERATURE_COEFFICIENT * (self.ambient_c - 20.0)


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


def heat_outflow(network: HeatNetwork, rise: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Heat that leaves each node, and how it changes with every temperature.

    network: [SI]; rise: (b, n) above ambient [K]. Returns (b, n) [W] and (b, n, n) [W/K]. Range: beyond the tables
    their last slope is kept. Source: derived here, the sum of the laws in the network.

    >>> box = HeatNetwork(20.0, np.array([[0.5]]), np.ones(1), np.zeros(1), np.ones(1), np.zeros(1),
    ...                   np.zeros((1, 1)), np.zeros((1, 2)), 400.0)
    >>> heat_outflow(box, np.array([[10.0]]))[0].item()
    5.0
    """
    flow = rise @ network.conduction
    slope = np.repeat(network.conduction[None], len(rise), axis=0)
    position = rise / network.knot_step
    left = np.clip(position.astype(np.int64), 0, network.face_flux.shape[1] - 2)
    low, steps = network.face_flux[:, left], np.diff(network.face_flux, axis=1)[:, left]
    areas = network.face_area.T[:, None, :]
    flow = flow + (areas * (low + (position - left) * steps)).sum(axis=0)
    nodes = np.arange(rise.shape[1])
    slope[:, nodes, nodes] += (areas * steps).sum(axis=0) / network.knot_step
    for gap in network.gaps:
        _add_gap(gap, rise + (network.ambient_c + CELSIUS_ZERO), flow, slope)
    return flow, slope


def gap_conductance(gap: Gap, node_k: FloatArray, plate_k: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Conductance of a gap with the laminate before it, and its slopes with both temperatures.

    gap: [SI]; node_k, plate_k: (..., g) temperatures [K]. Returns three (..., g): [W/K], [W/K2], [W/K2].
    Source: derived here, laminate in series with air (Sutherland, as air_conductivity) and radiation side by side.

    >>> narrow = Gap(np.array([0]), 1, np.ones(1), np.array([1000.0]), 0.0, 0.0)
    >>> round(gap_conductance(narrow, np.array([313.15]), np.array([313.15]))[0].item(), 1)
    27.2
    """
    mean = np.clip((node_k + plate_k) / 2, 200.0, 800.0)
    air = 0.0241 * (mean / CELSIUS_ZERO) ** 1.5 * (CELSIUS_ZERO + 194.0) / (mean + 194.0) * gap.reach
    black = STEFAN_BOLTZMANN * gap.emissivity
    h = air + black * (node_k**2 + plate_k**2) * (node_k + plate_k)
    by_air = air * (1.5 / mean - 1 / (mean + 194.0)) / 2
    by_node = by_air + black * (3 * node_k**2 + 2 * node_k * plate_k + plate_k**2)
    by_plate = by_air + black * (3 * plate_k**2 + 2 * node_k * plate_k + node_k**2)
    series = 1 / (1 + gap.resistance * h)
    return gap.area * h * series, gap.area * by_node * series**2, gap.area * by_plate * series**2


def _add_gap(gap: Gap, kelvin: FloatArray, flow: FloatArray, slope: FloatArray) -> None:
    """Adds the heat through a gap to ``flow`` and ``slope``."""
    a, b = kelvin[:, gap.nodes], kelvin[:, gap.plate, None]
    through, by_node, by_plate = gap_conductance(gap, a, b)
    heat = through * (a - b)
    to_node, to_plate = through + (a - b) * by_node, -through + (a - b) * by_plate
    flow[:, gap.nodes] += heat
    flow[:, gap.plate] -= heat.sum(axis=1)
    slope[:, gap.nodes, gap.nodes] += to_node
    slope[:, gap.nodes, gap.plate] += to_plate
    slope[:, gap.plate, gap.nodes] -= to_node
    slope[:, gap.plate, gap.plate] -= to_plate.sum(axis=1)


def _heating(network: HeatNetwork, rise: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Loss per square of current and eddy loss of every node (b, n), each with its slope."""
    growth = COPPER_TEMPERATURE_COEFFICIENT
    factor = np.maximum(network.warmth + growth * rise, 0.05)
    eddy = network.eddy / factor
    return network.resistance * factor, network.resistance * growth, eddy, -eddy * growth / factor


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
    target = np.asarray(target_c, dtype=float) - network.ambient_c
    if not np.all((target > 0) & (target + network.ambient_c <= HOTTEST + 1e-9)):
        raise LawRangeError(
            f"a steady temperature must lie above the ambient {network.ambient_c:g} degC and reach "
            f"{HOTTEST:g} degC at most; got {np.asarray(target_c)}"
        )
    if not network.resistance.sum() > 0:
        raise LawRangeError("no copper heats the network")
    cases, n = len(target), len(network.resistance)
    rows = np.arange(cases)
    mask = np.zeros((cases, n))
    for row, nodes in enumerate(watched):
        mask[row, nodes] = 1.0
    rise, square = _first_guess(network, mask, target)
    system = np.zeros((cases, n + 1, n + 1))
    for _ in range(MOST_ROUNDS):
        flow, slope = heat_outflow(network, rise)
        copper, growth, eddy, fall = _heating(network, rise)
        hottest = np.argmax(np.where(mask > 0, rise, -np.inf), axis=1)
        system[:, :n, :n] = slope
        nodes_all = np.arange(n)
        system[:, nodes_all, nodes_all] -= square[:, None] * growth + fall
        system[:, :n, n] = -copper
        system[:, n, :] = 0.0
        system[rows, n, hottest] = 1.0
        lack = np.append(square[:, None] * copper + eddy - flow, (target - rise[rows, hottest])[:, None], axis=1)
        try:
            step = np.linalg.solve(system, lack[..., None])[..., 0]
        except np.linalg.LinAlgError:
            raise LawRangeError("the copper heats none of the watched nodes") from None
        rise = rise + np.clip(step[:, :n], -120.0, 120.0)
        square = square + step[:, n]
        if np.abs(step[:, :n]).max() < SETTLED:
            break
    else:
        raise LawRangeError("the heat balance does not settle")
    copper, _, eddy, _ = _heating(network, rise)
    by_current = square * copper.sum(axis=1)
    return Balance(square, rise + network.ambient_c, by_current + eddy.sum(axis=1), by_current)


def _first_guess(network: HeatNetwork, mask: FloatArray, target: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Rises (b, n) [K] in the shape that even slopes give, watched nodes at their target, and squared currents (b,)."""
    _, slope = heat_outflow(network, np.repeat(0.7 * target[:, None], mask.shape[1], axis=1))
    try:
        shape = np.linalg.solve(slope, np.broadcast_to(network.resistance[:, None], (*mask.shape, 1)))[..., 0]
    except np.linalg.LinAlgError:
        raise LawRangeError("a part of the network gives its heat to nothing") from None
    scale = target / np.maximum((mask * shape).max(axis=1), 1e-30)
    rise = np.clip(scale[:, None] * shape, 0.0, HOTTEST)
    return rise, scale / (network.warmth + COPPER_TEMPERATURE_COEFFICIENT * rise.max(axis=1))


def steady_temperature(network: HeatNetwork, nodes: Any, current: float) -> Balance | None:
    """Steady state at an rms current, or None where there is none: thermal runaway.

    network: [SI]; nodes: indices of those that copper heats [-]; current: 0 or more [A]. Returns a Balance of one case
    [A2, degC, W], or None where no steady temperature up to 300 degC exists. Source: derived here, the current grows
    with the temperature that it holds, so the temperature is bracketed, then found by regula falsi (Illinois).

    >>> box = HeatNetwork(20.0, np.array([[0.5]]), np.ones(1), np.zeros(1), np.ones(1), np.zeros(1),
    ...                   np.zeros((1, 1)), np.zeros((1, 2)), 400.0)
    >>> round(steady_temperature(box, [0], 17.283097**0.5).temperature_c.item(), 4)
    60.0
    >>> steady_temperature(box, [0], 9.0) is None
    True
    """
    wanted = current**2
    marks = network.ambient_c + (HOTTEST - network.ambient_c) * np.linspace(0, 1, 9)[1:] ** 2
    found = current_at_temperature(network, (nodes,) * len(marks), marks).squared_current - wanted
    if found[-1] < 0:
        return None
    scale, upper = float(found[-1] + wanted), int(np.argmax(found >= 0))
    low, high = (marks[upper - 1] if upper else network.ambient_c + 1e-6), marks[upper]
    below = found[upper - 1] if upper else current_at_temperature(network, (nodes,), [low]).squared_current[0] - wanted
    above = found[upper]
    if below >= 0:  # the current warms by less than a microkelvin
        return current_at_temperature(network, (nodes,), [low])
    side = 0
    for _ in range(MOST_ROUNDS):
        middle = (low * above - high * below) / (above - below)
        state = current_at_temperature(network, (nodes,), [middle])
        off = float(state.squared_current[0]) - wanted
        if abs(off) <= 1e-9 * wanted + 1e-12 * scale:
            return state
        if off < 0:
            low, below, above, side = middle, off, above / 2 if side < 0 else above, -1
        else:
            high, above, below, side = middle, off, below / 2 if side > 0 else below, 1
    return state
