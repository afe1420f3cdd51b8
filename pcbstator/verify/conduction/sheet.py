"""One layer of copper as a network between its contacts: walls of holes, and what terminals touch.

Every piece of copper is solved by itself, with each of its contacts at one volt in turn and the others at none; pieces
with as many contacts share a factorisation. What the contacts carry then is the piece's matrix of conductances, and any
state of the board is a sum of these solutions.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array, csr_array
from scipy.sparse.csgraph import connected_components
from scipy.sparse.linalg import splu

from pcbstator.verify.conduction.elements import Elements, elements_of
from pcbstator.verify.conduction.mesh import FloatArray, IndexArray, Mesh

BATCH = 200_000  # nodes that are solved at once: more would take memory and no less time


@dataclass(frozen=True, eq=False)
class SolvedPieces:
    """Pieces with m contacts each.

    nodes: those of no contact. row: the piece of each of them, of 0 … pieces. contacts: (pieces, m). shares: voltages
    (nodes, m − 1) with one volt at each contact but the first. conductances: between the contacts (pieces, m, m) [S].
    """

    nodes: IndexArray
    row: IndexArray
    contacts: IndexArray
    shares: FloatArray
    conductances: FloatArray


@dataclass(frozen=True, eq=False)
class SheetNetwork:
    """A layer seen from its contacts.

    conductance: of one square [S]. contact: of every node of the elements, -1 for none. piece: of every node.
    solved: the pieces with two contacts or more; no others carry current.
    """

    elements: Elements
    conductance: float
    contact: IndexArray
    piece: IndexArray
    solved: tuple[SolvedPieces, ...]

    def node_voltages(self, at_contacts: FloatArray) -> FloatArray:
        """Voltages (nodes, k) [V] from those of the contacts (contacts, k) [V]; 0 in pieces that carry no current."""
        found = np.zeros((len(self.contact), at_contacts.shape[1]))
        for pieces in self.solved:
            at = at_contacts[pieces.contacts]  # (pieces, m, k)
            first, beyond = at[pieces.row, 0], (at - at[:, :1])[pieces.row, 1:]
            found[pieces.nodes] = first + np.einsum("nm,nmk->nk", pieces.shares, beyond)
        held = (self.contact >= 0) & self.carrying[self.piece]
        found[held] = at_contacts[self.contact[held]]
        return found

    @property
    def carrying(self) -> NDArray[np.bool_]:
        """Which pieces carry current."""
        found = np.zeros(int(self.piece.max(initial=-1)) + 1, bool)
        for pieces in self.solved:
            found[self.piece[pieces.nodes]] = True
        return found

    def currents(self, at_contacts: FloatArray) -> FloatArray:
        """Current per width (m, 3, 2, k) [A/mm] at the Gauss points of every triangle, from the contacts' voltages."""
        voltages = self.elements.voltages(self.node_voltages(at_contacts))
        return -self.conductance * self.elements.gradients(voltages)


def sheet_network(mesh: Mesh, contact: IndexArray, conductance: float) -> SheetNetwork:
    """The network of a sheet.

    mesh: of the sheet [mm]. contact: (points,) number of the contact that a point belongs to, -1 for none.
    conductance: of one square [S]. Returns a SheetNetwork [S]. Derived here: Galerkin's method, static condensation.

    >>> from shapely import box
    >>> from pcbstator.verify.conduction.mesh import meshed
    >>> mesh = meshed(box(0.0, 0.0, 10.0, 0.5))  # 20 squares
    >>> x = mesh.points[:, 0]
    >>> found = sheet_network(mesh, np.where(x == 0.0, 0, np.where(x == 10.0, 1, -1)), 1.0)
    >>> round(1.0 / float(found.solved[0].conductances[0, 0, 0]), 9)
    20.0
    """
    elements, matrices = elements_of(mesh, contact >= 0)
    label = np.full(elements.count, -1)
    label[: len(contact)] = contact
    sides = elements.nodes[:, 3:]
    start, end = contact[mesh.corners], contact[np.roll(mesh.corners, -1, axis=1)]
    on_wall = mesh.edge & (sides >= 0) & (start == end)
    label[sides[on_wall]] = start[on_wall]
    matrix = _assembled(elements, conductance * matrices)
    _, piece = connected_components(matrix, directed=False)
    pieces = piece.astype(np.int64)
    return SheetNetwork(elements, conductance, label, pieces, tuple(_solved(matrix, label, pieces)))


def _assembled(elements: Elements, matrices: FloatArray) -> csr_array:
    """The matrix of all nodes from those of the elements [S]."""
    left = elements.nodes >= 0
    pairs = left[:, :, None] & left[:, None, :]
    rows = np.broadcast_to(elements.nodes[:, :, None], pairs.shape)[pairs]
    columns = np.broadcast_to(elements.nodes[:, None, :], pairs.shape)[pairs]
    size = elements.count
    return coo_array((matrices[pairs], (rows, columns)), shape=(size, size)).tocsr()


def _solved(matrix: csr_array, contact: IndexArray, piece: IndexArray) -> Iterator[SolvedPieces]:
    """The pieces with two contacts or more, as many at once as BATCH allows."""
    held = np.flatnonzero(contact >= 0)
    width = int(contact.max(initial=0)) + 1
    pairs, pair = np.unique(piece[held] * width + contact[held], return_inverse=True)
    owner = pairs // width
    rank = np.full(len(contact), -1)
    rank[held] = (np.arange(len(pairs)) - np.searchsorted(owner, owner))[pair]
    counts, sizes = np.bincount(owner, minlength=int(piece.max(initial=0)) + 1), np.bincount(piece)
    for count in np.unique(counts[counts > 1]).tolist():
        members = np.flatnonzero(counts == count)
        batch = np.cumsum(sizes[members]) // max(1, min(BATCH, BATCH * 8 // count))
        for number in np.unique(batch):
            own = members[batch == number]
            row = np.full(len(counts), -1)
            row[own] = np.arange(len(own))
            table = (pairs % width)[np.isin(owner, own)].reshape(-1, count)
            yield _pieces(matrix, contact, rank, row[piece], table)


def _pieces(
    matrix: csr_array, contact: IndexArray, rank: IndexArray, row: IndexArray, table: IndexArray
) -> SolvedPieces:
    """Pieces with as many contacts; row: of 0 … pieces for their nodes, -1 for all others; rank: among the contacts of
    the piece."""
    pieces, count = table.shape
    free, held = np.flatnonzero((row >= 0) & (contact < 0)), np.flatnonzero((row >= 0) & (contact >= 0))
    own = matrix[free]
    ones = csr_array((np.ones(len(held)), (np.arange(len(held)), rank[held])), shape=(len(held), count))
    across = own[:, held]
    shares = np.zeros((len(free), count - 1))
    if len(free):
        inner = own[:, free].tocsc()
        factor = splu(inner, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True})
        shares = factor.solve(-(across @ ones[:, 1:]).toarray())
    whole = np.hstack([1.0 - shares.sum(axis=1, keepdims=True), shares])
    carried = across.T @ whole + (matrix[held][:, held] @ ones).toarray()
    place = row[held] * count + rank[held]
    summed = csr_array((np.ones(len(held)), (place, np.arange(len(held)))), shape=(pieces * count, len(held)))
    return SolvedPieces(free, row[free], table, shares, (summed @ carried).reshape(pieces, count, count))
