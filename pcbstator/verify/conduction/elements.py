"""Quadratic elements of a sheet: matrices, the middles of outline sides taken out, and the current in every triangle.

In Galerkin's method the power at given voltages is never too small, so resistances are lower bounds, which rise with
refinement. A strip has no error of the mesh.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pcbstator.verify.conduction.mesh import FloatArray, IndexArray, Mesh

SIDES = ((0, 1, 2), (1, 2, 0), (2, 0, 1))  # from a corner to another, and the corner opposite
PLACES = np.array([[4.0, 1.0, 1.0], [1.0, 4.0, 1.0], [1.0, 1.0, 4.0]]) / 6  # of three Gauss points, by corner


@dataclass(frozen=True, eq=False)
class Elements:
    """The elements of a mesh at one siemens per square.

    nodes: (m, 6) corners and middles of the sides of every triangle; -1 for a middle that is taken out. count: of the
    nodes. places: (count, 2) [mm]. matrices: (m, 6, 6) on the nodes that are left. rows: (m, 3, 6) of the middles taken
    out, which they follow the other nodes by.
    """

    mesh: Mesh
    nodes: IndexArray
    count: int
    rows: FloatArray

    def voltages(self, at_nodes: FloatArray) -> FloatArray:
        """Voltages (m, 6, k) at all nodes of every triangle from those at the nodes that are left, (count, k)."""
        found = np.where(self.nodes[:, :, None] >= 0, at_nodes[np.maximum(self.nodes, 0)], 0.0)
        for side in (2, 1, 0):  # the last one taken out knows all the others
            out = np.flatnonzero(self.nodes[:, 3 + side] < 0)
            found[out, 3 + side] = np.einsum("mj,mjk->mk", self.rows[out, side], found[out])
        return np.asarray(found)

    def gradients(self, voltages: FloatArray) -> FloatArray:
        """Gradient (m, 3, 2, k) [1/mm] at three Gauss points of every triangle, from its voltages (m, 6, k)."""
        slopes, found = barycentric_slopes(self.mesh), 0.0
        for i in range(3):  # N_i = L_i·(2·L_i − 1)
            factor = 4 * PLACES[:, i] - 1
            found = found + np.einsum("g,mx,mk->mgxk", factor, slopes[:, i], voltages[:, i])
        for number, (i, j, _) in enumerate(SIDES):  # N_ij = 4·L_i·L_j
            slope = 4 * (
                np.einsum("g,mx->mgx", PLACES[:, i], slopes[:, j]) + np.einsum("g,mx->mgx", PLACES[:, j], slopes[:, i])
            )
            found = found + np.einsum("mgx,mk->mgxk", slope, voltages[:, 3 + number])
        return np.asarray(found)

    @property
    def gauss_points(self) -> FloatArray:
        """The places of the gradients (m, 3, 2) [mm]; each stands for a third of its triangle."""
        return np.asarray(np.einsum("gi,mix->mgx", PLACES, self.mesh.points[self.mesh.corners]))


def barycentric_slopes(mesh: Mesh) -> FloatArray:
    """Gradients (m, 3, 2) [1/mm] of the three barycentric coordinates of every triangle."""
    opposite = _opposite(mesh)
    return np.asarray(np.stack([-opposite[:, :, 1], opposite[:, :, 0]], axis=2) / (2 * mesh.areas)[:, None, None])


def _opposite(mesh: Mesh) -> FloatArray:
    a, b, c = (mesh.points[corner] for corner in mesh.corners.T)
    return np.stack([c - b, a - c, b - a], axis=1)


def elements_of(mesh: Mesh, kept: NDArray[np.bool_]) -> tuple[Elements, FloatArray]:
    """The elements of a mesh and their matrices (m, 6, 6) on the nodes that are left; kept: (points,) whose outline
    sides between them keep their middles, as walls do.

    The middle of an outline side belongs to one triangle only, so what it does to the others is found there.
    """
    middles, sides = mesh.sides
    local = _matrices(mesh)
    rows = np.zeros((len(local), 3, 6))
    number = np.full(len(middles), -1)
    out = mesh.edge & ~(kept[mesh.corners] & kept[np.roll(mesh.corners, -1, axis=1)])
    number[np.unique(sides[~out])] = 0
    left = np.flatnonzero(number == 0)
    number[left] = len(mesh.points) + np.arange(len(left))
    for side in range(3):
        own, k = np.flatnonzero(out[:, side]), 3 + side
        row = local[own, k] / -local[own, k, k][:, None]
        row[:, k] = 0.0
        rows[own, side] = row
        local[own] += local[own, :, k][:, :, None] * row[:, None, :]
        local[own, k, :] = local[own, :, k] = 0.0
    nodes = np.hstack([mesh.corners, np.where(out, -1, number[sides])])
    return Elements(mesh, nodes, len(mesh.points) + len(left), rows), local


def _matrices(mesh: Mesh) -> FloatArray:
    """Matrices (m, 6, 6) of quadratic elements; nodes are corners, then middles of the sides 01, 12, 20."""
    opposite = _opposite(mesh)
    linear = np.einsum("nik,njk->nij", opposite, opposite) / (4 * mesh.areas)[:, None, None]  # of the linear element
    local = np.zeros((len(linear), 6, 6))
    for i, j, k in SIDES:  # the side from i to j has the number i; k is opposite
        local[:, i, i] = linear[:, i, i]
        local[:, i, j] = local[:, j, i] = -linear[:, i, j] / 3
        for corner in (i, j):
            local[:, corner, 3 + i] = local[:, 3 + i, corner] = 4 * linear[:, i, j] / 3
        local[:, 3 + i, 3 + i] = 4 * np.trace(linear, axis1=1, axis2=2) / 3
        local[:, 3 + i, 3 + j] = local[:, 3 + j, 3 + i] = 8 * linear[:, i, k] / 3  # sides that meet at j
    return local
