"""Whole layers and drill files that do not fit the rest: mirrored, shifted, inverted, in another unit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from shapely.geometry.base import BaseGeometry

from pcbstator.findings import Finding
from pcbstator.verify.connected import BARREL_SEGMENTS, ConnectedCopper, bored
from pcbstator.verify.pieces.rings import RIM, WHOLE
from pcbstator.verify.records import FloatArray, WrittenBoard, WrittenHole, WrittenLayer
from pcbstator.verify.wording import place, written

LEAST_SHIFT = 0.015  # mm: more than any file rounds
SAME_SHIFT = 0.01  # mm
MOST = 0.9  # of the holes

Move = tuple[str, FloatArray]


def layer_findings(
    board: WrittenBoard, copper: ConnectedCopper, rings: Mapping[int, NDArray[np.float64]]
) -> list[Finding]:
    """verify.layer for layers, verify.hole for drill files that fit otherwise than they lie.

    rings: how much of the way round each plated hole has copper, by layer.
    """
    findings, none = [], np.zeros(len(copper.holes))
    for layer in board.layers:
        found = _layer_finding(board, copper, layer, rings.get(layer.number, none))
        if found is not None:
            findings.append(found)
    best = np.max([*rings.values(), none], axis=0)
    return findings + _drill_findings(board, copper, best) + _outside(board)


def _layer_finding(
    board: WrittenBoard, copper: ConnectedCopper, layer: WrittenLayer, ring: NDArray[np.float64]
) -> Finding | None:
    where = f"layer {layer.number}"
    if layer.copper.is_empty:
        message = f"{where} ({layer.file}) has no copper: the file is empty, or all that it draws is clear"
        return written("verify.layer", message, where)
    through = np.array([hole.first <= layer.number <= hole.last for hole in copper.holes], dtype=np.bool_)
    if through.sum() < 3:
        return None
    members = np.flatnonzero(copper.layers == layer.number)
    if not np.any(np.isin(members, copper.touches[:, 1])) and not layer.nets:
        message = f"no plated hole meets the copper of {where} ({layer.file}): it is inverted, or of another board"
        return written("verify.layer", message, where)
    holes = [hole for hole, goes in zip(copper.holes, through, strict=True) if goes]
    fits = float(np.mean(ring[through] >= WHOLE))
    shift = pad_shift(holes, layer.pads)
    if shift is not None:
        x, y = shift
        message = (
            f"{where} ({layer.file}) lies {float(np.hypot(x, y)):.3g} mm off the holes: "
            f"{x + 0.0:+.3f} mm in x, {y + 0.0:+.3f} mm in y"
        )
        return written("verify.layer", message, where, value=float(np.hypot(x, y)))
    if fits == 1.0:
        return None
    words = _best_move(board, holes, copper.pieces[members], fits)
    if words is None:
        return None
    message = (
        f"{where} ({layer.file}) fits the holes only {words}: {100 * fits:.0f} % of them have their ring as it lies"
    )
    return written("verify.layer", message, where, value=fits)


def pad_shift(holes: Sequence[WrittenHole], pads: FloatArray) -> tuple[float, float] | None:
    """How far the pads of a layer lie off their holes [mm], where they all do so alike; None where they do not."""
    if len(pads) < 3 or len(holes) < 3:
        return None
    middles = np.array([hole.path.mean(axis=0) for hole in holes])
    found = cKDTree(pads[:, :2]).query(middles, distance_upper_bound=0.6)
    distance, index = np.asarray(found[0]), np.asarray(found[1], dtype=np.intp)
    near = np.isfinite(distance)
    if near.sum() < MOST * len(holes):
        return None
    off = pads[index[near], :2] - middles[near]
    middle = np.median(off, axis=0)
    alike = np.hypot(*(off - middle).T) < SAME_SHIFT
    if np.hypot(*middle) < LEAST_SHIFT or alike.mean() < MOST:
        return None
    return float(middle[0]), float(middle[1])


def _moves(board: WrittenBoard) -> list[Move]:
    """What may have been done to a layer: where its copper would lie, as a matrix (2, 3) on the holes."""
    left, low, right, high = _bounds(board)
    x, y = left + right, low + high
    moves = [
        ("mirrored left to right", np.array([[-1.0, 0, x], [0, 1, 0]])),
        ("mirrored top to bottom", np.array([[1.0, 0, 0], [0, -1, y]])),
        ("turned by half a turn", np.array([[-1.0, 0, x], [0, -1, y]])),
    ]
    if abs(x) > 0.01 or abs(y) > 0.01:
        moves += [
            ("mirrored about x = 0", np.array([[-1.0, 0, 0], [0, 1, 0]])),
            ("mirrored about y = 0", np.array([[1.0, 0, 0], [0, -1, 0]])),
            ("turned by half a turn about the origin", np.array([[-1.0, 0, 0], [0, -1, 0]])),
        ]
    return moves


def _bounds(board: WrittenBoard) -> tuple[float, float, float, float]:
    if board.edge is not None:
        return board.edge.bounds
    bounds = shapely.total_bounds([layer.copper for layer in board.layers])
    return float(bounds[0]), float(bounds[1]), float(bounds[2]), float(bounds[3])


def _best_move(
    board: WrittenBoard, holes: Sequence[WrittenHole], pieces: NDArray[np.object_], fits: float
) -> str | None:
    """The words of the move with which clearly more holes have their ring; None where none does."""
    best, words = fits + max(2.0, 0.02 * len(holes)) / len(holes) - 1e-9, None
    tree = shapely.STRtree(pieces)
    for name, matrix in _moves(board):
        part = _fitting(holes, matrix, tree)
        if part >= MOST and part > best:
            best, words = part, name
    return words


def _fitting(holes: Sequence[WrittenHole], matrix: FloatArray, tree: shapely.STRtree) -> float:
    """Which part of the holes has a whole ring when the holes are moved."""
    rims = [_rim(hole, matrix) for hole in holes]
    hole, _ = tree.query(rims, predicate="covered_by")
    return len(np.unique(hole)) / len(holes)


def _rim(hole: WrittenHole, matrix: FloatArray) -> BaseGeometry:
    path = hole.path @ matrix[:, :2].T + matrix[:, 2]
    line = shapely.Point(path[0]) if len(path) == 1 else shapely.LineString(path)
    scale = abs(float(np.linalg.det(matrix[:, :2]))) ** 0.5
    return line.buffer(scale * hole.diameter / 2 + RIM, quad_segs=BARREL_SEGMENTS).exterior


def _drill_findings(board: WrittenBoard, copper: ConnectedCopper, best: NDArray[np.float64]) -> list[Finding]:
    """Drill files of which most holes meet no copper as they lie, and nearly all do otherwise."""
    findings = []
    inch = 25.4
    for file in dict.fromkeys(hole.file for hole in copper.holes):
        index = [i for i, hole in enumerate(copper.holes) if hole.file == file]
        if len(index) < 3 or np.mean(best[index] >= WHOLE) > 0.5:
            continue
        holes = [copper.holes[i] for i in index]
        tree = shapely.STRtree(copper.pieces)
        scales = [("in mm, though the file says inch", 1 / inch), ("in inch, though the file says mm", inch)]
        scales += [(f"with numbers {factor:g} times as large", factor) for factor in (10.0, 0.1, 100.0, 0.01)]
        moves = [(words, np.array([[s, 0.0, 0.0], [0.0, s, 0.0]])) for words, s in scales] + _moves(board)
        parts = [_fitting(holes, matrix, tree) for _, matrix in moves]
        at = int(np.argmax(parts))
        words = f"it fits {moves[at][0]}" if parts[at] >= MOST else "its origin or unit is another one"
        message = f"most holes of {file} meet no copper: {words}"
        findings.append(written("verify.hole", message, file))
    return findings


def _outside(board: WrittenBoard) -> list[Finding]:
    """Holes beyond the board's edge."""
    if board.edge is None or not board.holes:
        return []
    whole = shapely.union_all([shapely.Polygon(part.exterior) for part in shapely.get_parts(board.edge)])
    findings = []
    for file in dict.fromkeys(hole.file for hole in board.holes):
        holes = [hole for hole in board.holes if hole.file == file]
        beyond = np.flatnonzero(shapely.disjoint(whole, bored(holes)))
        if len(beyond):
            x, y = (float(value) for value in holes[beyond[0]].path.mean(axis=0))
            message = f"{len(beyond)} of {len(holes)} holes of {file} lie beyond the board, the first at {place(x, y)}"
            findings.append(written("verify.hole", message, place(x, y), value=float(len(beyond))))
    return findings
