"""The real distances between pieces of copper, measured on the geometry that is drawn.

Turns of one coil count as foreign to each other, although they are one net: a bridge between them shorts the coil.
Where all coils are alike, distances are measured from the first one, the inter-coil connections, the vias and the
terminals to everything; else from all.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from pcbstator.copper.geometry.index import CopperIndex, Shapes, cuts, track_areas
from pcbstator.copper.geometry.tracks import FloatArray, Track, spot, strip_outline
from pcbstator.copper.records import Copper


@dataclass(frozen=True)
class Gap:
    """Copper to copper: distance [m], layer, place [m] and the two nets."""

    distance: float
    layer: int
    x: float
    y: float
    nets: tuple[str, str]


@dataclass(frozen=True, eq=False)
class _Pieces:
    """Pieces of one layer: their index, owner, arc length at both ends, whether to measure from them.

    widest: half of the largest width of the track or pad. ends: (owners, 2, 2)
    end points; junctions: (owners,) the bus that a connection, via or terminal belongs to, -1 for coils.
    """

    index: CopperIndex
    widest: FloatArray
    owner: NDArray[np.int64]
    start: FloatArray
    stop: FloatArray
    measured: NDArray[np.bool_]
    ends: FloatArray
    junctions: NDArray[np.int64]
    nets: list[str]


def _junctions(copper: Copper) -> dict[tuple[int, int], int]:
    """The number of the bus at every end of an inter-coil connection, by place in nanometres. A bus is one node,
    however it is drawn.
    """
    number: dict[tuple[int, int], int] = {}
    for interconnect in copper.interconnects:
        a, b = (spot(*point) for point in interconnect.points[[0, -1]])
        old, new = number.setdefault(b, len(number)), number.setdefault(a, len(number))
        if old != new:
            number.update({place: new for place, value in number.items() if value == old})
    return number


def _chunks(track: Track) -> tuple[FloatArray, NDArray[np.int64], FloatArray, FloatArray]:
    """Coordinates, piece number per coordinate, and arc length at the start and end of every piece."""
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(track.points, axis=0).T))])
    first, final = cuts(len(along))
    index = np.concatenate([np.arange(a, b + 1) for a, b in zip(first, final, strict=True)])
    number = np.repeat(np.arange(len(first)), final - first + 1)
    return track.points[index], number, along[first], along[final]


def _placed(track: Track, turns: list[float]) -> tuple[Shapes, FloatArray, FloatArray, FloatArray]:
    """The pieces of a track at each of these turns [rad]; of one turn, half widths and arc length at both ends [m]."""
    points, number, start, stop = _chunks(track)
    if track.widths is not None:
        areas = np.array([piece for angle in turns for piece in track_areas(track, angle)])
        return areas, np.zeros(len(start)), start, stop
    placed = np.concatenate([points @ _turn(angle) for angle in turns])
    numbers = np.concatenate([number + len(start) * index for index in range(len(turns))])
    return np.asarray(shapely.linestrings(placed, indices=numbers)), np.full(len(start), track.width / 2), start, stop


def _pieces(copper: Copper, layer: int) -> _Pieces:
    shapes, starts, stops, owners, halves, widest, measured, ends = [], [], [], [], [], [], [], []
    nets: list[str] = []

    def add(track: Track, turns: list[float], nets_of: list[str], first_only: bool) -> None:
        placed, half, start, stop = _placed(track, turns)
        shapes.append(placed)
        for index, angle in enumerate(turns):
            starts.append(start)
            stops.append(stop)
            owners.append(np.full(len(start), len(nets)))
            halves.append(half)
            widest.append(np.full(len(start), track.width / 2))
            measured.append(np.full(len(start), index == 0 or not first_only))
            ends.append(track.points[[0, -1]] @ _turn(angle))
            nets.append(nets_of[index])

    for template, members in copper.template_tracks:
        if template.layer == layer:
            angles = [float(copper.coil_angles[coil]) for coil in members]
            add(template, angles, [copper.coil_nets[coil] for coil in members], copper.alike)
    coils = len(nets)
    for interconnect in copper.interconnects:
        if interconnect.layer == layer:
            add(interconnect, [0.0], [interconnect.net], False)
    pads = [hole for hole in copper.holes if not hole.within]
    places = np.array([[pad.x, pad.y] for pad in pads])
    offset = len(nets)
    bus = _junctions(copper)
    junctions = [-1] * coils + [bus[spot(*end[0])] for end in ends[coils:]]
    unjoined = -2 - np.arange(len(pads))
    junctions += [bus.get(spot(*place), int(own)) for place, own in zip(places, unjoined, strict=True)]
    none = np.zeros(0)
    return _Pieces(
        index=CopperIndex(
            np.concatenate([*shapes, shapely.points(places)]), np.concatenate([*halves, [pad.pad / 2 for pad in pads]])
        ),
        widest=np.concatenate([*widest, [pad.pad / 2 for pad in pads]]),
        owner=np.concatenate([np.concatenate([none, *owners]).astype(np.int64), offset + np.arange(len(pads))]),
        start=np.concatenate([*starts, np.zeros(len(pads))]),
        stop=np.concatenate([*stops, np.zeros(len(pads))]),
        measured=np.concatenate([*measured, np.full(len(pads), True)]),
        ends=np.concatenate([np.array(ends).reshape(-1, 2, 2), np.stack([places, places], axis=1)]),
        junctions=np.array(junctions),
        nets=nets + [pad.net for pad in pads],
    )


def _turn(angle: float) -> FloatArray:
    cos, sin = np.cos(angle), np.sin(angle)
    return np.array([[cos, sin], [-sin, cos]])


def layer_gaps(copper: Copper, layer: int, reach: float) -> list[Gap]:
    """Every distance below ``reach`` [m] on one layer between copper that is not joined there, shortest first."""
    pieces = _pieces(copper, layer)
    asked, index = np.nonzero(pieces.measured)[0], pieces.index
    number, b = index.near(index.shapes[asked], reach + index.half[asked])
    a = asked[number]
    once = (a < b) | ~pieces.measured[b]
    a, b = a[once], b[once]

    same = pieces.owner[a] == pieces.owner[b]
    # Along one track, pieces count as neighbours until the path between them is clearly longer than the gap.
    neighbours = same & (
        np.maximum(pieces.start[b] - pieces.stop[a], pieces.start[a] - pieces.stop[b])
        < 2 * (reach + 2 * np.maximum(pieces.widest[a], pieces.widest[b]))
    )
    ends_a, ends_b = pieces.ends[pieces.owner[a]], pieces.ends[pieces.owner[b]]
    joined = ~same & (np.abs(ends_a[:, :, None] - ends_b[:, None]).max(axis=3).min(axis=(1, 2)) < 1e-9)
    bus_a, bus_b = pieces.junctions[pieces.owner[a]], pieces.junctions[pieces.owner[b]]
    keep = ~(neighbours | joined | ((bus_a == bus_b) & (bus_a >= 0)))
    a, b = a[keep], b[keep]
    distance = index.distances(index.shapes[a], b) - index.half[a]
    order = np.argsort(distance, kind="stable")
    order = order[distance[order] < reach]
    places = shapely.get_coordinates(
        shapely.line_interpolate_point(
            shapely.shortest_line(index.shapes[a[order]], index.shapes[b[order]]), 0.5, normalized=True
        )
    )
    return [
        Gap(
            float(distance[i]),
            layer,
            float(x),
            float(y),
            (pieces.nets[pieces.owner[a[i]]], pieces.nets[pieces.owner[b[i]]]),
        )
        for i, (x, y) in zip(order, places, strict=True)
    ]


class Surroundings:
    """The copper of one layer, asked what lies near a strip that is added to it."""

    def __init__(self, copper: Copper, layer: int) -> None:
        self.pieces = _pieces(copper, layer)

    def clear(self, teardrop: Track, gap: float) -> bool:
        """Whether a teardrop keeps ``gap`` [m] from all copper but the track and pad that it belongs to."""
        pieces = self.pieces
        area = shapely.Polygon(strip_outline(teardrop, caps=False))
        number, near = pieces.index.near(np.array([area]), gap)
        owner, end = pieces.owner[near], teardrop.points[-1]
        apart = np.abs(pieces.ends[owner] - end).max(axis=2)  # (pieces, 2): from either end of its track
        total = np.zeros(len(pieces.ends))
        np.maximum.at(total, pieces.owner, pieces.stop)
        before = np.where(apart[:, 0] < 1e-9, pieces.start[near], np.inf)
        after = np.where(apart[:, 1] < 1e-9, total[owner] - pieces.stop[near], np.inf)
        own = np.minimum(before, after) < 2 * teardrop.length
        bus = set(pieces.junctions[owner[apart.min(axis=1) < 1e-9]].tolist()) - {-1}
        own |= np.isin(pieces.junctions[owner], list(bus))
        distance = pieces.index.distances(np.array([area])[number], near)
        return bool(np.all(own | (distance >= gap - 1e-9)))


def least_gap(copper: Copper, reach: float) -> Gap | None:
    """The shortest distance on any layer of a board, if one is below ``reach`` [m]."""
    copper = copper.board
    found = [gaps[0] for layer in copper.layers if (gaps := layer_gaps(copper, layer.number, reach))]
    return min(found, key=lambda gap: gap.distance, default=None)
