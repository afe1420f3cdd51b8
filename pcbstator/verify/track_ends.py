"""Ends of tracks that lead to nothing: no hole, no pad."""

from __future__ import annotations

import numpy as np
import shapely

from pcbstator.verify.connected import ConnectedCopper
from pcbstator.verify.records import FloatArray, WrittenBoard

TURN = 0.9 * np.pi  # within an end's length the edge turns back by nearly half a circle
Place = tuple[float, float]


def dead_ends(board: WrittenBoard, copper: ConnectedCopper, piece: int, widest: float = 3.0) -> list[Place]:
    """Places of ends of tracks of a piece, narrower than ``widest`` [mm], that reach no plated hole and no pad."""
    shape = copper.pieces[piece]
    ends = track_ends(np.asarray(shape.exterior.coords)[:-1], widest)
    if not len(ends):
        return []
    layer = next(layer for layer in board.layers if layer.number == copper.layers[piece])
    places, widths = ends[:, :2], ends[:, 2]
    spots = shapely.points(places)
    held = np.zeros(len(ends), dtype=np.bool_)
    barrels = copper.barrels[copper.touches[copper.touches[:, 1] == piece, 0]]
    if len(barrels):
        held |= shapely.distance(spots[:, None], barrels[None, :]).min(axis=1) <= widths + 0.3
    if len(layer.pads):
        apart = np.hypot(*(places[:, None, :] - layer.pads[None, :, :2]).transpose(2, 0, 1))
        held |= (apart - layer.pads[None, :, 2] / 2).min(axis=1) <= 0.6 * widths
    return [(float(x), float(y)) for x, y in places[~held]]


def track_ends(ring: FloatArray, widest: float) -> FloatArray:
    """x, y and width of the ends [mm] of tracks along an outline that runs either way round, (n, 3).

    >>> box = np.array([[0.0, 0.0], [9.0, 0.0], [9.0, 0.4], [0.0, 0.4]])
    >>> track_ends(box, 3.0).round(3).tolist()
    [[9.0, 0.2, 0.4], [0.0, 0.2, 0.4]]
    """
    step = np.roll(ring, -1, axis=0) - ring
    length = np.hypot(step[:, 0], step[:, 1])
    ring, step, length = ring[length > 1e-6], step[length > 1e-6], length[length > 1e-6]
    if len(ring) < 3:
        return np.zeros((0, 3))
    heading = np.arctan2(step[:, 1], step[:, 0])
    turn = (heading - np.roll(heading, 1) + np.pi) % (2 * np.pi) - np.pi  # at the start of each step
    if turn.sum() < 0:
        turn = -turn
    return _windows(ring, turn, length, widest)


def _windows(ring: FloatArray, turn: FloatArray, length: FloatArray, widest: float) -> FloatArray:
    """Ends as stretches of the outline that turn back within a length of at most 1.7 times their own chord."""
    count = len(ring)
    twice_turn, twice_length = np.concatenate([turn, turn]), np.concatenate([length, length])
    turned = np.concatenate([[0.0], np.cumsum(twice_turn)])
    along = np.concatenate([[0.0], np.cumsum(twice_length)])
    found: list[tuple[float, float, float]] = []
    start = 0
    starts = np.flatnonzero(turn > 0.02)
    while len(starts) and start < count:
        index = np.searchsorted(starts, start)
        if index >= len(starts):
            break
        first = int(starts[index])
        stop = int(np.searchsorted(along, along[first] + 1.7 * widest)) - 1
        stop = min(max(stop, first + 1), first + count - 1)
        reach = turned[first + 1 : stop + 2] - turned[first]
        enough = np.flatnonzero(reach >= TURN)
        if not len(enough):
            start = first + 1
            continue
        last = first + int(enough[0])
        a, b = ring[first % count], ring[last % count]
        chord, way = float(np.hypot(*(a - b))), float(along[last] - along[first])
        if 0 < chord <= widest and way <= 1.7 * chord:
            middle = _middle(ring, along, first, last)
            found.append((middle[0], middle[1], chord))
            start = last + 1
        else:
            start = first + 1
    return np.array(found).reshape(-1, 3)


def _middle(ring: FloatArray, along: FloatArray, first: int, last: int) -> Place:
    """The place half way along a stretch of the outline."""
    half = (along[first] + along[last]) / 2
    at = int(np.searchsorted(along, half, side="right")) - 1
    a, b = ring[at % len(ring)], ring[(at + 1) % len(ring)]
    part = (half - along[at]) / (along[at + 1] - along[at])
    return float(a[0] + part * (b[0] - a[0])), float(a[1] + part * (b[1] - a[1]))
