"""A driver inside the ring as a node of the heat network: what heats it, and where that goes.

Its loss has a part that goes with the square of the current, one with the current, and one that is fixed. The network
knows squares and fixed heat. In the job the mean current is known; elsewhere the tangent at the current limit stands
for the part that goes with the current: right there, and never too low.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import sqrt
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from pcbstator import materials
from pcbstator.analysis.electrical.driver import DriverLoss, driver_loss
from pcbstator.physics.drive.supply import equivalent_star_factor
from pcbstator.physics.thermal.network import HeatNetwork

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign
    from pcbstator.design.sections.job import Drive

FloatArray = NDArray[np.float64]

BOARD = 1.6e-3  # m, thickness of the driver's board, of which only the laminate stores heat here: peaks come out high


@dataclass(frozen=True)
class DriverNode:
    """index: of the node; limit_c: of its temperature [C]; loss: of peak terminal currents; per_rms: peak terminal
    current for an rms phase current [-]."""

    index: int
    limit_c: float
    loss: DriverLoss
    per_rms: float

    @property
    def words(self) -> str:
        """Of what limits the current."""
        return f"driver in the ring ({self.limit_c:g} C)"

    def heated(self, network: HeatNetwork, mean_current: float) -> HeatNetwork:
        """The network with the driver as it heats at a mean of the peak terminal currents [A] of a job."""
        return self._with(network, 0.0, self.loss.linear * mean_current + self.loss.fixed)

    def heated_at_limit(self, network: HeatNetwork, limit: float) -> HeatNetwork:
        """The network with the driver's heat at any current, on the tangent at a peak terminal current [A]."""
        half = self.loss.linear / 2
        return self._with(network, half / limit, half * limit + self.loss.fixed)

    def _with(self, network: HeatNetwork, square: float, given: float) -> HeatNetwork:
        """Heat per square of the peak terminal current beside that of the switches [W/A2], and given heat [W]."""
        resistance, fixed = network.resistance.copy(), np.zeros_like(network.resistance)
        resistance[self.index] = (self.loss.switches + square) * self.per_rms**2
        fixed[self.index] = given
        return replace(network, resistance=resistance, given=fixed)


def with_driver(design: SizedDesign, network: HeatNetwork) -> tuple[HeatNetwork, DriverNode | None]:
    """The network with a node more, where the file puts the driver into the ring."""
    drive, winding = design.drive, design.winding
    if drive is None or drive.driver_area is None:
        return network, None
    loss = driver_loss(drive, winding.phases, winding.connection)
    factor = equivalent_star_factor(winding.phases) if winding.connection == "delta" else 1.0
    node = DriverNode(len(network.resistance), drive.driver_limit_c, loss, sqrt(2) * factor)
    return node.heated_at_limit(_widened(network, drive, drive.driver_area), drive.current_limit), node


def _widened(network: HeatNetwork, drive: Drive, area: float) -> HeatNetwork:
    """A node without heat, to the air by its faces and to the inner edge of the board."""
    n, laminate, heats = len(network.resistance), materials.laminate(), materials.heat_values()
    conduction = np.zeros((n + 1, n + 1))
    conduction[:n, :n] = network.conduction
    conduction[n, n] = drive.driver_coefficient * area + drive.driver_to_board
    conduction[0, 0] += drive.driver_to_board
    conduction[0, n] = conduction[n, 0] = -drive.driver_to_board
    capacity = area / 2 * BOARD * laminate.density * heats.laminate_capacity

    def more(values: FloatArray, last: float = 0.0) -> FloatArray:
        return np.append(values, last)

    return replace(
        network,
        conduction=conduction,
        resistance=more(network.resistance),
        eddy=more(network.eddy),
        capacity=more(network.capacity, capacity),
        copper_to_node=more(network.copper_to_node),
        face_area=np.vstack([network.face_area, np.zeros(network.face_area.shape[1])]),
    )
