"""Copper that is one conductor: pieces of every layer, joined through plated holes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from shapely.geometry.base import BaseGeometry

from pcbstator.verify.records import WrittenBoard, WrittenHole

TOUCH = 0.002  # mm: what files round apart so far is one piece (a step of the coarse formats is 0.0025 mm)
BARREL_SEGMENTS = 16

IntArray = NDArray[np.intp]
ShapeArray = NDArray[np.object_]


@dataclass(frozen=True)
class ConnectedCopper:
    """Pieces of copper and holes of a board, and which of them are joined.

    pieces: (P,) polygons [mm]. layers: (P,) their layers. holes: the plated ones. barrels: (H,) what each drills.
    touches: (T, 2) hole and piece that meet. links: (L, 2) pieces of one layer that lie within TOUCH. groups: (P,)
    number of the joined copper that a piece belongs to. hole_groups: (H,), -1 for a hole without copper.
    """

    pieces: ShapeArray
    layers: IntArray
    holes: tuple[WrittenHole, ...]
    barrels: ShapeArray
    touches: IntArray
    links: IntArray
    groups: IntArray
    hole_groups: IntArray

    def members(self, group: int) -> IntArray:
        """The pieces of a group."""
        return np.flatnonzero(self.groups == group)

    @property
    def count(self) -> int:
        """The number of groups."""
        return int(self.groups.max()) + 1 if len(self.groups) else 0


def connected_copper(board: WrittenBoard) -> ConnectedCopper:
    """The joined copper of a board. A hole whose plating no file tells is plated where it meets copper."""
    unplated = [hole for hole in board.holes if hole.plated is False]
    cut = shapely.union_all([barrel(hole) for hole in unplated]) if unplated else None
    parts, layers = [], []
    for layer in board.layers:
        copper = layer.copper if cut is None or not cut.intersects(layer.copper) else layer.copper.difference(cut)
        shapes = [part for part in shapely.get_parts(copper) if part.geom_type == "Polygon" and not part.is_empty]
        parts += shapes
        layers += [layer.number] * len(shapes)
    pieces = np.array([*parts, None], dtype=object)[:-1]
    numbers = np.array(layers, dtype=np.intp)
    shapely.prepare(pieces)
    drilled = [hole for hole in board.holes if hole.plated is not False]
    barrels = bored(drilled)
    touches = _touches(pieces, numbers, drilled, barrels)
    kept = [i for i, hole in enumerate(drilled) if hole.plated or np.any(touches[:, 0] == i)]
    renumbered = np.full(len(drilled), -1, dtype=np.intp)
    renumbered[kept] = np.arange(len(kept))
    touches = np.column_stack([renumbered[touches[:, 0]], touches[:, 1]])
    links = _links(pieces, numbers)
    groups, hole_groups = joined(len(pieces), len(kept), touches, links)
    holes = tuple(drilled[i] for i in kept)
    return ConnectedCopper(pieces, numbers, holes, barrels[kept], touches, links, groups, hole_groups)


def barrel(hole: WrittenHole) -> BaseGeometry:
    """What a hole drills [mm]."""
    return bored([hole])[0]  # type: ignore[no-any-return]


def bored(holes: Sequence[WrittenHole], more: float = 0.0) -> ShapeArray:
    """What each of ``holes`` drills, ``more`` [mm] wider all round."""
    if not holes:
        return np.zeros(0, dtype=object)
    paths = [shapely.Point(hole.path[0]) if len(hole.path) == 1 else shapely.LineString(hole.path) for hole in holes]
    radii = np.array([hole.diameter / 2 + more for hole in holes])
    return np.asarray(shapely.buffer(np.array(paths, dtype=object), radii, quad_segs=BARREL_SEGMENTS))


def joined(pieces: int, holes: int, touches: IntArray, links: IntArray) -> tuple[IntArray, IntArray]:
    """The group of every piece and of every hole; -1 for a hole that meets no copper."""
    first = np.concatenate([touches[:, 0] + pieces, links[:, 0]])
    second = np.concatenate([touches[:, 1], links[:, 1]])
    size = pieces + holes
    _, label = connected_components(coo_array((np.ones(len(first)), (first, second)), shape=(size, size)), False)
    used, groups = np.unique(label[:pieces], return_inverse=True)
    numbers = np.full(size + 1, -1, dtype=np.intp)
    numbers[used] = np.arange(len(used))
    return groups.astype(np.intp), numbers[label[pieces:]]


def _touches(pieces: ShapeArray, layers: IntArray, holes: Sequence[WrittenHole], barrels: ShapeArray) -> IntArray:
    """Pairs of hole and piece that meet on a layer that the hole joins."""
    if not len(pieces) or not len(holes):
        return np.zeros((0, 2), dtype=np.intp)
    hole, piece = shapely.STRtree(pieces).query(barrels, predicate="intersects")
    first = np.array([each.first for each in holes])[hole]
    last = np.array([each.last for each in holes])[hole]
    meets = (layers[piece] >= first) & (layers[piece] <= last)
    return np.column_stack([hole[meets], piece[meets]]).astype(np.intp)


def _links(pieces: ShapeArray, layers: IntArray) -> IntArray:
    """Pairs of pieces of one layer that lie within TOUCH."""
    found = [np.zeros((0, 2), dtype=np.intp)]
    for layer in np.unique(layers):
        members = np.flatnonzero(layers == layer)
        shapes = pieces[members]
        first, second = shapely.STRtree(shapes).query(shapes, predicate="dwithin", distance=TOUCH)
        found.append(np.column_stack([members[first[first < second]], members[second[first < second]]]))
    return np.vstack(found).astype(np.intp)


def loops(copper: ConnectedCopper) -> NDArray[np.int64]:
    """The number of independent loops of each group: those through holes and those that a piece closes by itself."""
    size = copper.count
    rings = shapely.get_num_interior_rings(copper.pieces)
    nodes = np.bincount(copper.groups, minlength=size) + np.bincount(
        copper.hole_groups[copper.hole_groups >= 0], minlength=size
    )
    edges = np.bincount(copper.groups[copper.touches[:, 1]], minlength=size) + np.bincount(
        copper.groups[copper.links[:, 0]], minlength=size
    )
    inner = np.bincount(copper.groups, weights=rings, minlength=size).astype(np.int64)
    return np.asarray(edges - nodes + 1 + inner, dtype=np.int64)
