"""Torque and EMF of a written board by force on its current: a way that knows no centre-lines.

A current sheet K in the axial field B_z feels the torque r·K·B_z per area about the axis (as much on the rotor, the
other way round), so with the field's harmonics B_n·cos(n·p·(theta − alpha)) the flux linkage psi(alpha) =
Σ Re[Λ_n·exp(−i·n·p·alpha)], whose slope is the torque per ampere, has

    Λ_n = i/(n·p) · ∬ B_n(r)·exp(i·n·p·theta) · (x·K_x + y·K_y) dA / I.

B is taken at the height of each layer.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pcbstator.physics.magnetics.magnet_ring import RingField
from pcbstator.verify.conduction.board import BoardNetwork
from pcbstator.verify.conduction.mesh import FloatArray
from pcbstator.verify.conduction.sheet import SheetNetwork

ComplexArray = NDArray[np.complex128]
AT_ONCE = 50_000  # triangles


@dataclass(frozen=True, eq=False)
class SheetLinkages:
    """What the pieces of one layer add to the linkages.

    each: (pieces, states, orders) [Wb/A]. places: (pieces, 2) middles [mm]. losses: (pieces, states) [W].
    areas: (pieces,) [mm2].
    """

    each: ComplexArray
    places: FloatArray
    losses: FloatArray
    areas: FloatArray


def sheet_linkages(sheet: SheetNetwork, voltages: FloatArray, field: RingField, distance_index: int) -> SheetLinkages:
    """What every piece of a layer adds to the linkages and to the loss.

    sheet: of the layer. voltages: of the walls (walls, k) [V], for one ampere each. field: of the magnets [T].
    distance_index: which of the field's distances the layer lies at [-]. Returns SheetLinkages [Wb/A]. Copper beyond
    the field's radii feels none. Derived here, see above.
    """
    elements, pieces = sheet.elements, len(sheet.carrying)
    corners, areas = elements.mesh.corners, elements.mesh.areas
    owner = sheet.piece[corners[:, 0]]
    each = np.zeros((pieces, voltages.shape[1], len(field.orders)), complex)
    losses = np.zeros((pieces, voltages.shape[1]))
    currents, points = sheet.currents(voltages), elements.gauss_points
    for first in range(0, len(corners), AT_ONCE):
        part = slice(first, first + AT_ONCE)
        own, third = owner[part], areas[part, None] / 3
        radial = np.einsum("mgx,mgxk,mg->mgk", points[part], currents[part], np.broadcast_to(third, (len(own), 3)))
        wave = _waves(points[part].reshape(-1, 2) * 1e-3, field, distance_index).reshape(len(own), 3, -1)
        np.add.at(each, own, 1e-6 * np.einsum("mgk,mgn->mkn", radial, wave))
        np.add.at(losses, own, np.einsum("mgxk,mg->mk", currents[part] ** 2, third + np.zeros(3)) / sheet.conductance)
    area = np.asarray(np.bincount(owner, areas, pieces), float)
    middles = elements.mesh.points[corners].mean(axis=1)
    places = np.stack([np.bincount(owner, areas * middles[:, axis], pieces) for axis in (0, 1)], axis=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        return SheetLinkages(each, places / area[:, None], losses, area)


def _waves(points: FloatArray, field: RingField, index: int) -> ComplexArray:
    """i/(n·p)·B_n(r)·exp(i·n·p·theta) (points, orders) [T]."""
    r = np.hypot(*points.T)
    served = (r >= field.inner) & (r <= field.outer)
    inside = np.clip(r, field.inner, field.outer)
    B = field.at(inside, index) * served
    turn = np.exp(1j * field.pole_pairs * np.arctan2(points[:, 1], points[:, 0]))
    factor = 1j / (field.orders * field.pole_pairs)
    return np.asarray((B * factor[:, None] * turn ** field.orders[:, None]).T)


def linkages_by_sheet(
    network: BoardNetwork, voltages: FloatArray, field: RingField, level: int, angle: float
) -> list[SheetLinkages]:
    """The same of every layer of a board. level: number of the board in a stack, the field's distances being those of
    all layers, board after board [-]. angle: by which it is turned from where its files have it [rad].
    """
    turn = np.exp(1j * angle * field.pole_pairs * field.orders)
    found = []
    for index, sheet in enumerate(network.sheets):
        own = sheet_linkages(sheet, voltages, field, level * len(network.sheets) + index)
        found.append(replace(own, each=own.each * turn))
    return found
