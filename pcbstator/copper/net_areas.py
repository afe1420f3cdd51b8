"""The copper of a board as areas by layer and net, as it is drawn for the board manufacturer; drilled holes left in."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, replace

import numpy as np
import shapely
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from pcbstator.copper.geometry.areas import disc_area, strip_areas, stroke_area
from pcbstator.copper.geometry.board_shape import Hole
from pcbstator.copper.geometry.tracks import FloatArray, Terminal, Track, Via
from pcbstator.copper.plain_board import BoardCopper

TOLERANCE = 2e-6  # m, as for the chords of the tracks' own arcs
LEAST_TOLERANCE, MOST_OF_GAP = 0.5e-6, 0.1  # m; and of the least gap, so that nets stay apart
_SHAPING, _THINNING = 0.5, 0.5  # parts of the tolerance for round corners, and for corners that are left out


@dataclass(frozen=True, eq=False)
class NetArea:
    """The copper of one net on one layer: its pieces [m], which do not touch, holes in them included."""

    layer: int
    net: str
    pieces: tuple[Polygon, ...]

    @property
    def area(self) -> float:
        """Of all pieces [m²]."""
        return float(sum(piece.area for piece in self.pieces))


def net_areas(board: BoardCopper, tolerance: float = TOLERANCE) -> tuple[NetArea, ...]:
    """Tracks, teardrops, pads and lands joined, by layer and net; edges within ``tolerance`` [m] of what is drawn."""
    shapes: dict[tuple[int, str], list[BaseGeometry]] = defaultdict(list)
    known: dict[tuple[object, ...], list[BaseGeometry]] = {}
    for track in (*board.tracks, *board.teardrops, *board.non_winding.tracks):
        original = track.original
        if original.form not in known:
            known[original.form] = _areas(replace(original, turn=0.0), tolerance)
        shapes[track.layer, track.net] += [_turned(area, original.turn) for area in known[original.form]]
    plated: list[Via | Terminal | Hole] = [hole for hole in board.shape.drilled if hole.plated]
    for hole in (*board.vias, *board.terminals, *plated):
        disc = disc_area(hole.x, hole.y, hole.pad, tolerance)
        for layer in board.layers:
            shapes[layer.number, hole.net].append(disc)
    for land in board.non_winding.lands:
        area = disc_area(land.x, land.y, land.length, tolerance) if land.is_round else land.area()
        shapes[land.layer, land.net].append(area)
    return tuple(NetArea(layer, net, _pieces(found)) for (layer, net), found in sorted(shapes.items()))


def _areas(track: Track, tolerance: float) -> list[BaseGeometry]:
    """What a track covers, corners left out where the edge hardly moves."""
    shaping, thinning = _SHAPING * tolerance, _THINNING * tolerance
    strips = strip_areas(track) if track.widths is not None else [stroke_area(track.points, track.width, shaping)]
    return [shapely.simplify(strip, thinning) for strip in strips]


def _turned(area: BaseGeometry, angle: float) -> BaseGeometry:
    cos, sin = np.cos(angle), np.sin(angle)

    def turn(places: FloatArray) -> FloatArray:
        found: FloatArray = places @ np.array([[cos, sin], [-sin, cos]])
        return found

    turned: BaseGeometry = shapely.transform(area, turn)
    return turned


def _pieces(shapes: list[BaseGeometry]) -> tuple[Polygon, ...]:
    """The shapes joined, from the left to the right. What does not hang together is never put into one sum."""
    touching = shapely.STRtree(shapes).query(shapes, predicate="intersects")
    graph = coo_array((np.ones(touching.shape[1]), touching), shape=(len(shapes), len(shapes)))
    count, label = connected_components(graph, directed=False)
    members = np.array(shapes)
    joined = [shapely.union_all(members[label == number]) for number in range(count)]
    parts = [part for part in shapely.get_parts(joined) if isinstance(part, Polygon)]
    return tuple(sorted((shapely.normalize(part) for part in parts), key=lambda part: part.bounds))
