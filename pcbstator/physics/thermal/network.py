"""A network of nodes that exchange heat, and of copper in them whose resistance grows with temperature.

The first nodes are rings of a board, the last ones the plates that face it. Heat goes along the board and to a mount by
fixed conductances, from faces to air by tables of their flux over temperature, and through narrow gaps to the plates by
conduction and radiation. Temperatures inside are kelvins above ambient. Networks of one shape are stacked, so that the
laws see many of them at once (``balance`` solves them).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pcbstator.constants import CELSIUS_ZERO, STEFAN_BOLTZMANN
from pcbstator.physics.conductors.resistance import COPPER_TEMPERATURE_COEFFICIENT

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Gap:
    """A narrow gap from some nodes to one plate.

    nodes: (g,) indices; plate: index of the plate; area: (g,) [m2]; reach: (g,) parts of the area over their gaps,
    summed [1/m]; emissivity: of both faces together [-]; resistance: of the board from node to face [K m2/W]. Of many
    networks, each value has one row per network.
    """

    nodes: IntArray
    plate: int | IntArray
    area: FloatArray
    reach: FloatArray
    emissivity: float | FloatArray
    resistance: float | FloatArray


@dataclass(frozen=True, eq=False)
class HeatNetwork:
    """Nodes, what they lose and what they conduct to each other.

    ambient_c: of air and mount [degC]. conduction: (n, n) symmetric, heat that leaves node i is the sum of
    conduction_ij times the rise of j [W/K]. resistance: (n,) loss per square of rms current at 20 degC [ohm]. eddy:
    (n,) other losses in copper at 20 degC, which fall as its resistance grows [W]. capacity: (n,) [J/K].
    copper_to_node: (n,) thermal resistance from the copper to its node, by which it is hotter than the node for each
    watt in it [K/W]. face_area: (n, k) [m2], face_flux: (k, m) flux of each kind of face at rises of 0, step, 2 step,
    ... [W/m2], knot_step: [K]. given: (n,) heat that depends on neither current nor temperature [W].
    """

    ambient_c: float
    conduction: FloatArray
    resistance: FloatArray
    eddy: FloatArray
    capacity: FloatArray
    copper_to_node: FloatArray
    face_area: FloatArray
    face_flux: FloatArray
    knot_step: float
    gaps: tuple[Gap, ...] = ()
    given: FloatArray | None = None

    @property
    def shape(self) -> tuple[int, int, int]:
        """What networks must have in common to be stacked: numbers of nodes, of knots of the tables and of gaps."""
        return len(self.resistance), self.face_flux.shape[1], len(self.gaps)

    @property
    def warmth(self) -> float:
        """Resistance of copper at ambient over that at 20 degC [-]."""
        return 1 + COPPER_TEMPERATURE_COEFFICIENT * (self.ambient_c - 20.0)


@dataclass(frozen=True, eq=False)
class NetworkStack:
    """Networks with equally many nodes and gaps, one behind the other along the first axis of every array.

    flux: (networks, n, m) of all faces of each node together, less its given heat, at the knots [W]; each gap over all
    n nodes.
    """

    ambient_c: FloatArray
    conduction: FloatArray
    resistance: FloatArray
    eddy: FloatArray
    flux: FloatArray
    step: FloatArray
    gaps: tuple[Gap, ...]


def stacked_networks(networks: Sequence[HeatNetwork]) -> NetworkStack:
    """Networks of one shape behind each other.

    networks: 1 or more of one shape [SI]. Returns a NetworkStack [SI]. Derived here.

    >>> box = HeatNetwork(20.0, np.array([[0.5]]), np.ones(1), np.zeros(1), np.ones(1), np.zeros(1),
    ...                   np.zeros((1, 1)), np.zeros((1, 2)), 400.0)
    >>> stacked_networks([box, box]).conduction.shape
    (2, 1, 1)
    """
    n = len(networks[0].resistance)

    def spread(gap: Gap, values: FloatArray) -> FloatArray:
        row = np.zeros(n)
        row[gap.nodes] = values
        return row

    gaps = [
        Gap(
            np.arange(n),
            np.array([[gap.plate] for gap in same]),
            np.array([spread(gap, gap.area) for gap in same]),
            np.array([spread(gap, gap.reach) for gap in same]),
            np.array([[gap.emissivity] for gap in same]),
            np.array([[gap.resistance] for gap in same]),
        )
        for same in zip(*(network.gaps for network in networks), strict=True)
    ]
    return NetworkStack(
        np.array([[network.ambient_c] for network in networks]),
        np.array([network.conduction for network in networks]),
        np.array([network.resistance for network in networks]),
        np.array([network.eddy for network in networks]),
        np.array([_node_flux(network) for network in networks]),
        np.array([[network.knot_step] for network in networks]),
        tuple(gaps),
    )


def _node_flux(network: HeatNetwork) -> FloatArray:
    """Heat (n, m) [W] that the faces of each node give off at the knots, less what is given to it."""
    flux = network.face_area @ network.face_flux
    return np.asarray(flux if network.given is None else flux - network.given[:, None])


def heat_outflow(network: HeatNetwork, rise: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Heat that leaves each node, given heat taken off, and how it changes with every temperature.

    network: [SI]; rise: (b, n) above ambient [K]. Returns (b, n) [W] and (b, n, n) [W/K]. Range: beyond the tables
    their last slope is kept. Source: derived here, the sum of the laws in the network.

    >>> box = HeatNetwork(20.0, np.array([[0.5]]), np.ones(1), np.zeros(1), np.ones(1), np.zeros(1),
    ...                   np.zeros((1, 1)), np.zeros((1, 2)), 400.0)
    >>> heat_outflow(box, np.array([[10.0]]))[0].item()
    5.0
    """
    return stack_outflow(stacked_networks([network]), np.zeros(len(rise), dtype=np.int64), rise)


def stack_outflow(stack: NetworkStack, which: IntArray, rise: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Heat that leaves each node of stacked networks, and how it changes with every temperature.

    stack: [SI]; which: (b,) network of each case [-]; rise: (b, n) above ambient [K]. Returns (b, n) [W] and (b, n, n)
    [W/K]. Range: beyond the tables their last slope is kept. Source: derived here, the sum of the laws in the network.

    >>> box = HeatNetwork(20.0, np.array([[0.5]]), np.ones(1), np.zeros(1), np.ones(1), np.zeros(1),
    ...                   np.zeros((1, 1)), np.zeros((1, 2)), 400.0)
    >>> stack_outflow(stacked_networks([box, box]), np.array([1]), np.array([[10.0]]))[0].item()
    5.0
    """
    n = rise.shape[1]
    slope = stack.conduction[which]
    flow = np.matmul(slope, rise[..., None])[..., 0]
    step = stack.step[which]
    position = rise / step
    left = np.minimum(np.maximum(position.astype(np.int64), 0), stack.flux.shape[2] - 2)
    row, nodes = which[:, None], np.arange(n)
    low = stack.flux[row, nodes, left]
    growth = stack.flux[row, nodes, left + 1] - low
    flow += low + (position - left) * growth
    slope.reshape(len(rise), -1)[:, :: n + 1] += growth / step
    for gap in stack.gaps:
        _add_gap(gap, which, rise + (stack.ambient_c[which] + CELSIUS_ZERO), flow, slope)
    return flow, slope


def gap_conductance(gap: Gap, node_k: FloatArray, plate_k: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Conductance of a gap with the laminate before it, and its slopes with both temperatures.

    gap: [SI]; node_k, plate_k: (..., g) temperatures [K]. Returns three (..., g): [W/K], [W/K2], [W/K2].
    Source: derived here, laminate in series with air (Sutherland, as air_conductivity) and radiation side by side.

    >>> narrow = Gap(np.array([0]), 1, np.ones(1), np.array([1000.0]), 0.0, 0.0)
    >>> round(gap_conductance(narrow, np.array([313.15]), np.array([313.15]))[0].item(), 1)
    27.2
    """
    mean = np.minimum(np.maximum((node_k + plate_k) / 2, 200.0), 800.0)
    ratio, warm = mean / CELSIUS_ZERO, mean + 194.0
    air = (0.0241 * (CELSIUS_ZERO + 194.0)) * ratio * np.sqrt(ratio) / warm * gap.reach
    black, node, plate, twice = STEFAN_BOLTZMANN * gap.emissivity, node_k**2, plate_k**2, 2 * node_k * plate_k
    h = air + black * (node + plate) * (node_k + plate_k)
    by_air = air * (1.5 / mean - 1 / warm) / 2
    series = 1 / (1 + gap.resistance * h)
    part = gap.area * series
    by_node, by_plate = black * (3 * node + twice + plate), black * (3 * plate + twice + node)
    return part * h, part * series * (by_air + by_node), part * series * (by_air + by_plate)


def _add_gap(gap: Gap, which: IntArray, kelvin: FloatArray, flow: FloatArray, slope: FloatArray) -> None:
    """Adds the heat through one gap of each of the networks ``which`` (b,) to ``flow`` and ``slope``."""
    rows, plate = np.arange(len(which)), np.asarray(gap.plate)[which]
    grey, laminate = np.asarray(gap.emissivity)[which], np.asarray(gap.resistance)[which]
    here = Gap(gap.nodes, plate, gap.area[which], gap.reach[which], grey, laminate)
    a, b = kelvin, kelvin[rows[:, None], plate]
    through, by_node, by_plate = gap_conductance(here, a, b)
    heat = through * (a - b)
    to_node, to_plate = through + (a - b) * by_node, -through + (a - b) * by_plate
    flow += heat
    flow[rows, plate[:, 0]] -= heat.sum(axis=1)
    slope.reshape(len(rows), -1)[:, :: len(gap.nodes) + 1] += to_node
    slope[rows, :, plate[:, 0]] += to_plate
    slope[rows, plate[:, 0]] -= to_node
    slope[rows, plate[:, 0], plate[:, 0]] -= to_plate.sum(axis=1)


def stack_heating(
    stack: NetworkStack, which: IntArray, rise: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Loss per square of current and eddy loss of every node of stacked networks, each with its slope.

    stack: [SI]; which: (b,) network of each case [-]; rise: (b, n) above ambient [K]. Returns four (b, n): [W/A2],
    [W/(A2 K)], [W], [W/K]. Source: derived here, resistance in proportion to 1 + 0.00393 (T - 20 degC).

    >>> box = HeatNetwork(20.0, np.array([[0.5]]), np.ones(1), np.zeros(1), np.ones(1), np.zeros(1),
    ...                   np.zeros((1, 1)), np.zeros((1, 2)), 400.0)
    >>> round(stack_heating(stacked_networks([box]), np.array([0]), np.array([[100.0]]))[0].item(), 3)
    1.393
    """
    growth = COPPER_TEMPERATURE_COEFFICIENT
    warmth = 1 + growth * (stack.ambient_c[which] - 20.0)
    factor = np.maximum(warmth + growth * rise, 0.05)
    resistance, eddy = stack.resistance[which], stack.eddy[which] / factor
    return resistance * factor, resistance * growth, eddy, -eddy * growth / factor
