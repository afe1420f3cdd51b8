"""Eddies in copper that is not winding: pieces that no terminal drives, under the turning field of the magnets.

In a thin sheet the induced current goes round as curl of a stream function u [A]: div(grad u / (sigma·t)) = dB_z/dt in
the copper, u = 0 along its outer edge, and u the same all along each edge within, through which the field changes too.
The eddies' own field is left out, which is on the safe side: it holds them down at high speed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.sparse.linalg import splu

from pcbstator.physics.magnetics.magnet_ring import RingField
from pcbstator.verify.conduction.elements import PLACES, elements_of
from pcbstator.verify.conduction.mesh import BoolArray, FloatArray, IndexArray, Mesh


@dataclass(frozen=True)
class LooseCopper:
    """A piece of copper that carries no current of the drive.

    layer: from 1. x, y: its middle [mm]. area: [mm2]. loss: at one radian per second [W s2], which grows with the
    square of the speed; the drag is loss times speed.
    """

    layer: int
    x: float
    y: float
    area: float
    loss: float


def eddy_losses(
    mesh: Mesh, piece: IndexArray, chosen: BoolArray, sheet_conductance: float, field: RingField, distance_index: int
) -> FloatArray:
    """Eddy loss of pieces of a sheet at one mechanical radian per second.

    mesh: [mm]. piece: of every triangle. chosen: (pieces,) whether it is wanted. sheet_conductance: of one square [S].
    field: of the magnets [T]. distance_index: which of the field's distances the sheet lies at [-].
    Returns (pieces,) [W s2]. Copper beyond the field's radii has none. Derived here, see above; a strip is exact.
    """
    count, size = len(chosen), len(mesh.points)
    own = np.flatnonzero(chosen[piece])
    found = np.zeros(count)
    if not len(own):
        return found
    part = Mesh(mesh.points, mesh.corners[own], mesh.edge[own])
    elements, matrices = elements_of(part, np.ones(size, bool))
    label, fixed, holes = _edges(part, elements.nodes, elements.count)
    rows = label[np.repeat(elements.nodes, 6, axis=1).ravel()]
    columns = label[np.tile(elements.nodes, (1, 6)).ravel()]
    matrix = coo_array((matrices.ravel() / sheet_conductance, (rows, columns)), shape=(elements.count,) * 2).tocsc()
    used = np.zeros(elements.count, bool)
    used[label[elements.nodes]] = True
    free = np.flatnonzero(used & ~fixed)
    factor = splu(matrix[:, free].tocsr()[free].tocsc())
    owner = np.zeros(elements.count, np.int64)
    owner[label[elements.nodes]] = piece[own][:, None]
    for order, values in zip(field.orders.tolist(), field.values[:, distance_index], strict=True):
        pull = _load(part, elements.nodes, label, elements.count, field, order, values, holes)
        u = factor.solve(np.stack([pull.real, pull.imag], axis=1)[free]) @ [1.0, 1.0j]
        power = 0.5 * (u.conj() * pull[free]).real  # of sines: half the square of the peak
        found += np.bincount(owner[free], power, count)
    return found


def _edges(mesh: Mesh, nodes: IndexArray, count: int) -> tuple[IndexArray, BoolArray, list[tuple[int, FloatArray]]]:
    """The node that stands for each node, one for every edge within; whether it lies on an outer edge; and the edges
    within as their node with the ring's points [mm].
    """
    a, b = mesh.corners[mesh.edge], np.roll(mesh.corners, -1, axis=1)[mesh.edge]
    middle = nodes[:, 3:][mesh.edge]
    joined = coo_array((np.ones(2 * len(a)), (np.r_[a, b], np.r_[middle, middle])), shape=(count, count))
    _, ring = connected_components(joined, directed=False)
    cross = mesh.points[a][:, 0] * mesh.points[b][:, 1] - mesh.points[a][:, 1] * mesh.points[b][:, 0]
    area = np.bincount(ring[a], cross, minlength=int(ring.max()) + 1) / 2  # copper lies on the left
    label, fixed = np.arange(count), np.zeros(count, bool)
    on_edge = np.zeros(count, bool)
    on_edge[np.r_[a, b, middle]] = True
    first = np.zeros(len(area), np.int64)
    first[ring[on_edge]] = np.flatnonzero(on_edge)
    label[on_edge] = first[ring[on_edge]]
    fixed[label[on_edge & (area[ring] > 0)]] = True
    middles = [np.bincount(ring[a], mesh.points[a][:, axis], minlength=len(area)) for axis in (0, 1)]
    counts = np.maximum(np.bincount(ring[a], minlength=len(area)), 1)
    inner = np.flatnonzero(area < 0)
    holes = [(int(first[n]), np.array([middles[0][n] / counts[n], middles[1][n] / counts[n], -area[n]])) for n in inner]
    return label, fixed, holes


def _load(
    mesh: Mesh, nodes: IndexArray, label: IndexArray, count: int, field: RingField, order: int, values: FloatArray,
    holes: list[tuple[int, FloatArray]],
) -> FloatArray:  # fmt: skip
    """What the change of a harmonic drives at one radian per second, by node (count,) [V]; complex over the turn."""
    shapes = np.hstack([PLACES * (2 * PLACES - 1), 4 * PLACES * np.roll(PLACES, -1, axis=1)])  # (gauss, 6)
    points = np.einsum("gi,mix->mgx", PLACES, mesh.points[mesh.corners]) * 1e-3
    share = 1e-6 * mesh.areas[:, None, None] / 3 * shapes
    rate = order * field.pole_pairs
    wave = _wave(points, field, rate, values)
    load = np.zeros(count, complex)
    np.add.at(load, label[nodes], np.einsum("mg,mgi->mi", wave, share))
    for node, (x, y, area) in holes:
        load[node] += 1e-6 * area * _wave(1e-3 * np.array([[x, y]]), field, rate, values)[0]
    return load * rate


def _wave(points: FloatArray, field: RingField, rate: int, values: FloatArray) -> FloatArray:
    r = np.hypot(points[..., 0], points[..., 1])
    B = np.interp(r, np.linspace(field.inner, field.outer, len(values)), values, left=0.0, right=0.0)
    return np.asarray(B * np.exp(1j * rate * np.arctan2(points[..., 1], points[..., 0])))
