"""Where a board gets hot under current: loss by area, the narrow places, and what standards allow there.

All with one ampere rms in every phase.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pcbstator.errors import LawRangeError
from pcbstator.physics.conductors.trace_current import brooks_adam_current, ipc2221_current
from pcbstator.verify.conduction.board import BoardNetwork
from pcbstator.verify.conduction.elements import barycentric_slopes
from pcbstator.verify.conduction.mesh import FloatArray, Mesh

ComplexArray = NDArray[np.complex128]
CELL = 0.5  # mm; loss is averaged over squares of this side, as heat spreads further than that in copper
APART = 3.0  # mm; between hot places that are told apart
SLIVER = 0.1  # of a square: less copper in it says nothing


@dataclass(frozen=True)
class HotPlace:
    """A narrow place.

    layer: from 1. x, y: [mm]. loss_density: mean around it [W/m2]. width: of the copper across the current [m].
    current: through that section, rms [A]. ipc2221, ipc2152: rms phase current [A] that the standard allows there, the
    latter by the fit of Brooks and Adam; None where it does not reach.
    """

    layer: int
    x: float
    y: float
    loss_density: float
    width: float
    current: float
    ipc2221: float | None
    ipc2152: float | None


@dataclass(frozen=True, eq=False)
class LayerLoss:
    """One layer, by triangle: loss by area (m,) [W/m2], and mean current per width (m, 2) [A/mm]."""

    density: FloatArray
    flow: ComplexArray


def layer_losses(network: BoardNetwork, voltages: FloatArray, phasors: ComplexArray) -> list[LayerLoss]:
    """Loss of all layers.

    voltages: of the walls, for one ampere in each phase (walls, phases) [V]. phasors: of the phase currents (phases,),
    of size one [-]. Returns a LayerLoss for each [W/m2, A/mm]. Derived here: K²/(sigma·t).
    """
    found = []
    for sheet in network.sheets:
        currents = sheet.currents(voltages) @ phasors  # (m, 3, 2)
        squares = (currents.real**2 + currents.imag**2).sum(axis=2).mean(axis=1)
        found.append(LayerLoss(1e6 * squares / sheet.conductance, currents.mean(axis=1)))
    return found


def hot_places(network: BoardNetwork, losses: Sequence[LayerLoss], rise: float, count: int = 5) -> list[HotPlace]:
    """The hottest narrow places of a board, hottest first.

    losses: of its layers. rise: for the standards [K]. count: of places, at the most [-]. Returns HotPlace [m, A].
    Derived here: mean loss over half a millimetre.
    """
    cells: list[tuple[float, int, float, float]] = []
    for index, (sheet, loss) in enumerate(zip(network.sheets, losses, strict=True)):
        mesh = sheet.elements.mesh
        middles, areas = mesh.points[mesh.corners].mean(axis=1), mesh.areas
        _, cell = np.unique(np.floor(middles / CELL).astype(np.int64), axis=0, return_inverse=True)
        area, power = np.bincount(cell.ravel(), areas), np.bincount(cell.ravel(), areas * loss.density)
        hottest = np.full(len(area), -1)
        order = np.argsort(loss.density, kind="stable")
        hottest[cell.ravel()[order]] = order
        full = np.flatnonzero(area > SLIVER * CELL**2)
        full = full[np.argsort(-power[full] / area[full])][: 40 * count]
        for number in full.tolist():
            x, y = middles[hottest[number]].tolist()
            cells.append((float(power[number] / area[number]), index, x, y))
    found: list[HotPlace] = []
    for density, index, x, y in sorted(cells, reverse=True):
        if len(found) == count or density <= 0.0:
            break
        if all(np.hypot(x - one.x, y - one.y) > APART for one in found):
            found.append(_measured(network, losses[index], index, (x, y), density, rise))
    return found


def _measured(
    network: BoardNetwork, loss: LayerLoss, index: int, place: tuple[float, float], power: float, rise: float
) -> HotPlace:
    """A place with the section of copper across the current there, and what standards allow."""
    mesh = network.sheets[index].elements.mesh
    middles = mesh.points[mesh.corners].mean(axis=1)
    flow = loss.flow[int(np.argmin(np.hypot(*(middles - place).T)))]
    # The current of a place shared by phases turns; its direction is the longer axis of its ellipse.
    along = np.linalg.eigh(np.outer(flow, flow.conj()).real)[1][:, -1]
    width, current = _section(mesh, loss.flow, np.array(place), along)
    allowed: list[float | None] = [None, None]
    if width > 0.0 and current > 0.0:
        thickness, outer = network.build.thicknesses[index], index in (0, len(network.sheets) - 1)
        laws = ipc2221_current, brooks_adam_current
        allowed = [_allowed(law, 1e-3 * width, thickness, rise, outer, current) for law in laws]
    return HotPlace(index + 1, *place, power, 1e-3 * width, current, *allowed)


def _allowed(
    law: Callable[..., FloatArray], width: float, thickness: float, rise: float, outer: bool, share: float
) -> float | None:
    try:
        return float(law(width, thickness, rise, outer)) / share
    except LawRangeError:
        return None


def _section(mesh: Mesh, flow: ComplexArray, place: FloatArray, along: FloatArray) -> tuple[float, float]:
    """Width [mm] of the copper around a place on the line across ``along``, and the current through it [A]."""
    across = np.array([-along[1], along[0]])
    beyond, at = (mesh.points - place) @ along, (mesh.points - place) @ across
    beyond = np.where(beyond == 0.0, 1e-12, beyond)
    a, b = mesh.corners, np.roll(mesh.corners, -1, axis=1)
    met = beyond[a] * beyond[b] < 0.0
    crossed = np.flatnonzero(met.any(axis=1))
    a, b, met = a[crossed], b[crossed], met[crossed]
    with np.errstate(divide="ignore", invalid="ignore"):
        cut = at[a] + (at[b] - at[a]) * beyond[a] / (beyond[a] - beyond[b])
    ends = cut[met].reshape(-1, 2)  # a line that meets a triangle meets two of its sides
    low, high = ends.min(axis=1), ends.max(axis=1)
    order = np.argsort(low)
    run = np.concatenate([[0], np.cumsum(low[order][1:] > np.maximum.accumulate(high[order])[:-1] + 1e-6)])
    within = np.flatnonzero((low[order] <= 1e-6) & (high[order] >= -1e-6))
    if not len(within):
        return 0.0, 0.0
    own = order[run == run[within[0]]]
    # Through all cuts between its contacts a piece of copper carries the same, to rounding, if the current is taken
    # along the slope of a function that is one beyond the cut and nothing before it.
    band = Mesh(mesh.points, mesh.corners[crossed[own]], mesh.edge[crossed[own]])
    slope = np.einsum("mi,mix->mx", beyond[band.corners] > 0.0, barycentric_slopes(band))
    through = np.einsum("mx,mx,m->m", flow[crossed[own]], slope, band.areas)
    return float(high[own].max() - low[own].min()), float(abs(through.sum()))
