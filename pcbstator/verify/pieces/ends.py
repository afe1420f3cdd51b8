"""Ends of tracks that lead to nothing: no hole, no pad."""

from __future__ import annotations

import numpy as np
import shapely

from pcbstator.verify.connected import ConnectedCopper
from pcbstator.verify.records import FloatArray, WrittenBoard

TURN = 0.9 * np.pi  # within an end's length the edge turns back by nearly half a circle
LONGEST = 1.7  # times its chord: half a circle has 1.57
MOST_AHEAD = 400  # corners of an end
Place = tuple[float, float]


def dead_ends(board: WrittenBoard, copper: ConnectedCopper, piece: int | np.intp, widest: float = 3.0) -> list[Place]:
    """Places of ends of tracks of a piece, narrower than ``widest`` [mm], that reach no plated hole and no pad."""
    shape = copper.pieces[piece]
    ends = track_ends(np.asarray(shape.exterior.coords)[:-1], widest)
    if not len(ends):
        return []
    layer = next(layer for layer in board.layers if layer.number == copper.layers[piece])
    places, widths = ends[:, :2], ends[:, 2]
    spots = np.asarray(shapely.points(places))
    held = np.zeros(len(ends), dtype=np.bool_)
    barrels = copper.barrels[copper.touches[copper.touches[:, 1] == piece, 0]]
    if len(barrels):
        held |= shapely.distance(spots[:, None], barrels[None, :]).min(axis=1) <= 0.5 * widths + 0.05
    if len(layer.pads):
        apart = np.hypot(*(places[:, None, :] - layer.pads[None, :, :2]).transpose(2, 0, 1))
        held |= (apart - layer.pads[None, :, 2] / 2).min(axis=1) <= 0.25 * widths
    return [(float(x), float(y)) for x, y in places[~held]]


def track_ends(ring: FloatArray, widest: float) -> FloatArray:
    """x, y and width of the ends [mm] of tracks along an outline that runs either way round, (n, 5).

    The last two columns are the middle of where the end begins, which lies in the track.

    >>> box = np.array([[0.0, 0.0], [9.0, 0.0], [9.0, 0.4], [0.0, 0.4]])
    >>> sorted(track_ends(box, 3.0)[:, :3].round(3).tolist())
    [[0.0, 0.2, 0.4], [9.0, 0.2, 0.4]]
    """
    ahead = np.roll(ring, -1, axis=0)
    if (ring[:, 0] * ahead[:, 1] - ring[:, 1] * ahead[:, 0]).sum() < 0:
        ring = ring[::-1]  # copper lies on the left now
    step = np.roll(ring, -1, axis=0) - ring
    length = np.hypot(step[:, 0], step[:, 1])
    ring, step, length = ring[length > 1e-6], step[length > 1e-6], length[length > 1e-6]
    if len(ring) < 3:
        return np.zeros((0, 5))
    heading = np.arctan2(step[:, 1], step[:, 0])
    turn = (heading - np.roll(heading, 1) + np.pi) % (2 * np.pi) - np.pi  # at the start of each step
    return _windows(ring, turn, length, widest)


def _windows(ring: FloatArray, turn: FloatArray, length: FloatArray, widest: float) -> FloatArray:
    """Ends as stretches of the outline that turn back within a length of at most 1.7 times their own chord."""
    count = len(ring)
    turned = np.concatenate([[0.0], np.cumsum(np.concatenate([turn, turn]))])
    along = np.concatenate([[0.0], np.cumsum(np.concatenate([length, length]))])
    near = (length + np.roll(length, 1)) / 2
    starts = np.flatnonzero((turn > 0.05) & ((turn > 2 / widest * near) | (turn > 0.5)))
    last = np.full(len(starts), -1)
    open_ones = np.arange(len(starts))
    for ahead in range(min(count, MOST_AHEAD)):
        at = starts[open_ones] + ahead
        back = turned[at + 1] - turned[starts[open_ones]] >= TURN
        last[open_ones[back]] = at[back]
        open_ones = open_ones[~back & (along[at] - along[starts[open_ones]] < LONGEST * widest)]
        if not len(open_ones):
            break
    starts, last = starts[last >= 0], last[last >= 0]
    first_places, last_places = ring[starts % count], ring[last % count]
    chord, way = np.hypot(*(first_places - last_places).T), along[last] - along[starts]
    good = (chord > 0) & (chord <= widest) & (way <= LONGEST * chord)
    starts, last, chord = starts[good], last[good], chord[good]
    across = ring[last % count] - ring[starts % count]
    inner = ring[starts % count] + across / 2 + 0.1 * across[:, ::-1] * (-1, 1)
    filled = shapely.contains_xy(shapely.Polygon(ring), inner[:, 0], inner[:, 1])  # not so within an outer bend
    taken = np.zeros(2 * count, dtype=np.bool_)
    found: list[tuple[float, ...]] = []
    for index in np.argsort(chord, kind="stable"):
        first, end = int(starts[index]), int(last[index])
        if filled[index] and not taken[first : end + 1].any():
            taken[first : end + 1] = True
            found.append((*_middle(ring, along, first, end), float(chord[index]), *inner[index].tolist()))
    return np.array(found).reshape(-1, 5)


def _middle(ring: FloatArray, along: FloatArray, first: int, last: int) -> Place:
    """The place half way along a stretch of the outline."""
    half = (along[first] + along[last]) / 2
    at = int(np.searchsorted(along, half, side="right")) - 1
    a, b = ring[at % len(ring)], ring[(at + 1) % len(ring)]
    part = (half - along[at]) / (along[at + 1] - along[at])
    return float(a[0] + part * (b[0] - a[0])), float(a[1] + part * (b[1] - a[1]))
