"""What copper must keep away from, and how near it comes: holes, slots, edges, keep-outs, lands and pads.

The winding is one coil turned round the machine, so each obstacle is turned back into the coil's frame and measured
against the template there; only the few pairs of coil and obstacle that are near each other are looked at.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from math import pi
from typing import TYPE_CHECKING

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from pcbstator.copper.geometry.board_shape import NOT_CONNECTED, Hole
from pcbstator.copper.geometry.contour import SAGITTA, circle, turn
from pcbstator.copper.geometry.index import CopperIndex, Numbers, Shapes, cuts, track_areas
from pcbstator.copper.geometry.tracks import SAGITTA as COPPER_SAGITTA
from pcbstator.copper.geometry.tracks import FloatArray, Track
from pcbstator.copper.non_winding import CHIP_TABLE
from pcbstator.copper.records import Copper

if TYPE_CHECKING:
    from pcbstator.design import Design
    from pcbstator.design.sections.mechanical_features import Keepout

SPAN = 0.1  # rad; most of an arc of the outline in one obstacle
CUT = "a cut between tiles"  # what else is cut along the profile, by name


@dataclass(frozen=True)
class Obstacle:
    """Something that copper keeps ``limit`` [m] away from: ``shape`` widened by ``radius`` [m].

    code: of the finding; name: of the thing; origin: the table of the design file; owner: copper of the same owner may
    touch it; layers: None for all; slack: what the shape's chords may be off [m].
    """

    code: str
    name: str
    origin: str
    shape: BaseGeometry
    radius: float
    limit: float
    owner: str = ""
    layers: frozenset[int] | None = None
    slack: float = 0.0

    @property
    def can_turn(self) -> bool:
        """Whether it comes from a list with an angle for all of it, and clears copper when that is changed."""
        return self.origin.startswith(("board.holes", "board.slots"))


@dataclass(frozen=True)
class Nearness:
    """Copper that is too near: distance [m], layer, place [m] on the copper's centre-line, and net."""

    obstacle: Obstacle
    distance: float
    layer: int
    x: float
    y: float
    net: str


@dataclass(frozen=True, eq=False)
class _Pieces:
    """Copper in pieces: their index, first and last layer, net and owner of each."""

    index: CopperIndex
    first: Numbers
    last: Numbers
    nets: list[str]
    owners: Shapes


def board_obstacles(design: Design, copper: Copper) -> list[Obstacle]:
    """Everything that copper must keep away from on this board."""
    rules, shape = design.rules, copper.shape
    found = [
        Obstacle("board.hole_to_copper", f"hole {hole.name}", hole.origin, shapely.Point(hole.x, hole.y),
                 hole.diameter / 2, rules.drill_to_copper, _owner(hole))
        for hole in shape.drilled
    ]  # fmt: skip
    found += [
        Obstacle("board.pad_gap", f"the pad of hole {hole.name}", hole.origin, shapely.Point(hole.x, hole.y),
                 hole.pad / 2, design.board.track_gap, _owner(hole))
        for hole in shape.drilled if hole.plated
    ]  # fmt: skip
    found += [
        Obstacle("board.edge", f"slot {slot.name}", slot.origin, shapely.LineString([slot.a, slot.b]),
                 slot.width / 2, rules.edge)
        for slot in shape.slots
    ]  # fmt: skip
    for number, area in enumerate(design.board.keepouts, start=1):
        layers = None if area.layers is None else frozenset(area.layers)
        found.append(Obstacle("board.keepout", f'"{area.name}"', f"board.keepouts[{number}]", *keepout_shape(area), 0.0,
                              layers=layers, slack=SAGITTA if area.shape == "sector" else 0.0))  # fmt: skip
    for land in copper.non_winding.lands:
        shape_of, radius = (shapely.Point(land.x, land.y), land.length / 2) if land.is_round else (land.area(), 0.0)
        found.append(Obstacle("board.pad_gap", f"land {land.net}", CHIP_TABLE, shape_of, radius,
                              design.board.track_gap, land.net, frozenset({land.layer})))  # fmt: skip
    for track in copper.non_winding.tracks:
        found.append(Obstacle("board.pad_gap", f"the lead {track.net}", CHIP_TABLE,
                              shapely.LineString(track.points), track.width / 2, design.board.track_gap, track.net,
                              frozenset({track.layer})))  # fmt: skip
    return found + _edges(copper, rules.edge)


def _owner(hole: Hole) -> str:
    return hole.name if hole.net == NOT_CONNECTED else hole.net


def keepout_shape(area: Keepout) -> tuple[BaseGeometry, float]:
    """The shape of a keep-out and by how much [m] it is widened; a disc is a point."""
    if area.shape == "sector":
        assert area.inner_diameter is not None and area.outer_diameter is not None
        assert area.from_angle is not None and area.to_angle is not None
        return _sector(area.inner_diameter / 2, area.outer_diameter / 2, area.from_angle, area.to_angle), 0.0
    assert area.circle_diameter is not None
    middle, angle = area.circle_diameter / 2, area.angle or 0.0
    if area.shape == "disc":
        assert area.diameter is not None
        return shapely.Point(turn((middle, 0.0), angle)), area.diameter / 2
    assert area.length is not None and area.width is not None
    corners = [(middle + i * area.length / 2, j * area.width / 2) for i, j in ((-1, -1), (1, -1), (1, 1), (-1, 1))]
    return Polygon([turn(corner, angle) for corner in corners]), 0.0


def _sector(inner: float, outer: float, start: float, stop: float) -> BaseGeometry:
    if stop - start > 2 * pi - 1e-9:
        ring = circle(outer).polygon
        return ring.difference(circle(inner).polygon) if inner > 0 else ring
    step = 2 * np.arccos(1 - min(SAGITTA / outer, 0.5))
    angles = np.linspace(start, stop, max(3, int((stop - start) / step) + 2))
    rays = np.stack([np.cos(angles), np.sin(angles)], axis=1)
    return Polygon(np.concatenate([outer * rays, inner * rays[::-1] if inner > 0 else np.zeros((1, 2))]))


def _edges(copper: Copper, limit: float) -> list[Obstacle]:
    """The outline and bore in short pieces, those that the copper is near enough to reach only."""
    low, high = copper_radii(copper)
    found = []
    shape = copper.shape
    for index, contour in enumerate(shape.edges):
        name = "the outer edge" if index == 0 else "the inner edge" if contour is shape.inner else CUT
        for points in contour.polylines():
            radii = np.hypot(*points.T)
            size = max(2, int(SPAN * len(points) / (np.hypot(*np.diff(points, axis=0).T).sum() / radii.max() + 1e-12)))
            for first in range(0, len(points) - 1, size):
                part = points[first : first + size + 1]
                near, far = _radial_range(part)
                if near - limit < high and far + limit > low:
                    found.append(Obstacle("board.edge", name, "", shapely.LineString(part), 0.0, limit,
                                          slack=SAGITTA + COPPER_SAGITTA))  # fmt: skip
    return found


def _radial_range(points: FloatArray) -> tuple[float, float]:
    line = shapely.LineString(points)
    return float(shapely.distance(line, shapely.Point(0, 0))), float(np.hypot(*points.T).max())


def copper_radii(copper: Copper) -> tuple[float, float]:
    """Least and most distance [m] of any copper from the axis, by its vertices."""
    low, high = np.inf, 0.0
    for track in (*copper.shapes, *copper.non_winding.tracks):
        radii, reach = np.hypot(*track.points.T), track.point_widths / 2
        low, high = min(low, float((radii - reach).min())), max(high, float((radii + reach).max()))
    discs = [(hole.x, hole.y, hole.pad / 2) for hole in (*copper.holes, *copper.shape.drilled) if hole.pad > 0]
    discs += [(land.x, land.y, float(np.hypot(land.length, land.width)) / 2) for land in copper.non_winding.lands]
    for x, y, half in discs:
        radius = float(np.hypot(x, y))
        low, high = min(low, radius - half), max(high, radius + half)
    return low, high


def too_near(copper: Copper, obstacles: list[Obstacle]) -> list[Nearness]:
    """Every obstacle that some copper is nearer to than its limit, each with the nearest copper, worst first."""
    if not obstacles:
        return []
    # Where all coils are alike, obstacles are turned to the one template; else every coil is asked at its place.
    template = copper.coil if copper.alike else replace(copper.coil, tracks=(), vias=())
    coil = _pieces(template.tracks, [(v.x, v.y, v.pad, v.from_layer, v.to_layer, "", "") for v in template.vias])
    last = copper.layers[-1].number
    vias = [via for via in (copper.interconnect_vias if copper.alike else copper.vias) if not via.within]
    discs = [(v.x, v.y, v.pad, v.from_layer, v.to_layer, v.net, "") for v in vias]
    discs += [(t.x, t.y, t.pad, 1, last, t.net, "") for t in (*copper.terminals, *copper.jumper_holes)]
    discs += [(h.x, h.y, h.pad, 1, last, h.net, _owner(h)) for h in copper.shape.drilled if h.plated]
    rest = _pieces((*(copper.interconnects if copper.alike else copper.tracks), *copper.non_winding.tracks), discs)
    rest = _with_lands(rest, copper)
    shapes = np.array([obstacle.shape for obstacle in obstacles], dtype=object)
    number, angle, coil_index = _near_coils(copper, obstacles, shapes)
    turned = _turned(shapes[number], -angle)
    worst: dict[int, Nearness] = {}
    for pieces, geometries, which, angles, coils in (
        (coil, turned, number, angle, coil_index),
        (rest, shapes, np.arange(len(obstacles)), np.zeros(len(obstacles)), np.full(len(obstacles), -1)),
    ):
        if not len(which) or not len(pieces.index.shapes):
            continue
        asked, hit = _close(pieces, geometries, [obstacles[i] for i in which])
        if not len(asked):
            continue
        radius = np.array([obstacles[i].radius for i in which])
        gap = pieces.index.distances(geometries[asked], hit) - radius[asked]
        for k in np.argsort(gap, kind="stable"):
            index = int(which[asked[k]])
            obstacle, piece = obstacles[index], int(hit[k])
            if gap[k] >= _least(obstacle) or (index in worst and worst[index].distance <= gap[k]):
                continue
            line = shapely.shortest_line(pieces.index.shapes[piece], geometries[asked[k]])
            x, y = turn(line.coords[0], float(angles[asked[k]]))
            net = pieces.nets[piece] if coils[asked[k]] < 0 else copper.coil_nets[int(coils[asked[k]])]
            layers = obstacle.layers or frozenset(range(1, last + 1))
            layer = min(layers & set(range(int(pieces.first[piece]), int(pieces.last[piece]) + 1)))
            worst[index] = Nearness(obstacle, float(gap[k]), layer, x, y, net)
    return sorted(worst.values(), key=lambda near: near.distance - near.obstacle.limit)


def _least(obstacle: Obstacle) -> float:
    """The limit less what the drawing's chords may be off."""
    return obstacle.limit - obstacle.slack - 1e-9 * (obstacle.limit + 1e-3)


def _close(pieces: _Pieces, geometries: Shapes, obstacles: list[Obstacle]) -> tuple[Numbers, Numbers]:
    """Pairs of an obstacle and a piece on its layers that may be too near."""
    a, b = pieces.index.near(geometries, np.array([obstacle.limit + obstacle.radius for obstacle in obstacles]))
    low = np.array([min(o.layers) if o.layers else 0 for o in obstacles])
    owner = np.array([o.owner for o in obstacles], dtype=object)
    keep = ((owner[a] != pieces.owners[b]) | (owner[a] == "")).astype(bool)
    some = np.nonzero(low[a] > 0)[0]
    keep[some] &= np.array([_meets(obstacles[a[k]], pieces, int(b[k])) for k in some], dtype=bool)
    return a[keep], b[keep]


def _meets(obstacle: Obstacle, pieces: _Pieces, piece: int) -> bool:
    assert obstacle.layers is not None
    return any(pieces.first[piece] <= layer <= pieces.last[piece] for layer in obstacle.layers)


def _near_coils(copper: Copper, obstacles: list[Obstacle], shapes: Shapes) -> tuple[Numbers, FloatArray, Numbers]:
    """Obstacle number, coil angle and coil number of every pair that may be near."""
    points = np.concatenate([track.points for track in copper.coil.tracks])
    middle = np.array([(points[:, 0].min() + points[:, 0].max()) / 2, 0.0])
    extent = float(np.hypot(*(points - middle).T).max()) + max(
        [track.width / 2 for track in copper.coil.tracks] + [via.pad for via in copper.coil.vias]
    )
    angles = copper.coil_angles
    middles = shapely.points(middle[0] * np.stack([np.cos(angles), np.sin(angles)], axis=1))
    reach = np.array([obstacle.limit + obstacle.radius for obstacle in obstacles]) + extent
    number, coil = shapely.STRtree(middles).query(shapes, "dwithin", distance=reach)
    return number, angles[coil], coil


def _turned(shapes: Shapes, angles: FloatArray) -> Shapes:
    """Each shape turned about the board's centre by its angle."""
    if not len(shapes):
        return shapes
    points, index = shapely.get_coordinates(shapes, return_index=True)
    c, s = np.cos(angles)[index], np.sin(angles)[index]
    moved = np.stack([points[:, 0] * c - points[:, 1] * s, points[:, 0] * s + points[:, 1] * c], axis=1)
    turned: Shapes = shapely.set_coordinates(shapes.copy(), moved)
    return turned


Disc = tuple[float, float, float, int, int, str, str]  # x, y, diameter, first and last layer, net, owner


def _pieces(tracks: Iterable[Track], discs: list[Disc]) -> _Pieces:
    """Tracks cut into short pieces, and discs."""
    coordinates, index, half, layer, nets, owners = [], [], [], [], [], []
    areas: dict[int, shapely.Geometry] = {}
    count = 0
    for track in tracks:
        widening = [] if track.widths is None else track_areas(track, 0.0)
        for number, (first, final) in enumerate(zip(*cuts(len(track.points)), strict=True)):
            part = track.points[first : final + 1]
            coordinates.append(part)
            index.append(np.full(len(part), count))
            half.append(0.0 if widening else track.width / 2)
            if widening:
                areas[count] = widening[number]
            layer.append((track.layer, track.layer))
            nets.append(track.net)
            owners.append(track.net if track.net in ("T1", "T2") else "")
            count += 1
    shapes: NDArray[np.object_] = np.empty(count + len(discs), dtype=object)
    if count:
        shapes[:count] = shapely.linestrings(np.concatenate(coordinates), indices=np.concatenate(index))
    for number, area in areas.items():
        shapes[number] = area
    if discs:
        shapes[count:] = shapely.points(np.array([disc[:2] for disc in discs]))
    layers = np.array(layer + [(disc[3], disc[4]) for disc in discs], dtype=np.int64).reshape(-1, 2)
    return _Pieces(
        index=CopperIndex(shapes, np.array(half + [disc[2] / 2 for disc in discs])),
        first=layers[:, 0], last=layers[:, 1],
        nets=nets + [disc[5] for disc in discs],
        owners=np.array(owners + [disc[6] for disc in discs], dtype=object),
    )  # fmt: skip


def _with_lands(pieces: _Pieces, copper: Copper) -> _Pieces:
    """The pieces and the lands of non-winding copper."""
    lands = copper.non_winding.lands
    if not lands:
        return pieces
    shapes = [shapely.Point(land.x, land.y) if land.is_round else land.area() for land in lands]
    layers = [land.layer for land in lands]
    return _Pieces(
        CopperIndex(
            np.concatenate([pieces.index.shapes, np.array(shapes, dtype=object)]),
            np.concatenate([pieces.index.half, [land.length / 2 if land.is_round else 0.0 for land in lands]]),
        ),
        np.concatenate([pieces.first, layers]), np.concatenate([pieces.last, layers]),
        pieces.nets + [land.net for land in lands],
        np.concatenate([pieces.owners, np.array([land.net for land in lands], dtype=object)]),
    )  # fmt: skip


def free_turn(copper: Copper, group: list[Obstacle], count: int, step: float = pi / 180) -> float | None:
    """The least turn [rad] of a group of ``count`` equal things that clears all copper, if any does; whole steps."""
    origins = {obstacle.origin for obstacle in group}
    shape = copper.shape
    others = tuple(hole for hole in shape.drilled if hole.origin not in origins)
    bare = replace(copper, stated_shape=replace(shape, drilled=others))
    turns = [turn for turn in np.arange(1, round(2 * pi / step)) * step if turn < 2 * pi / count - 1e-9]
    moved = [
        replace(obstacle, name=str(index), shape=shape_)
        for obstacle in group
        for index, shape_ in enumerate(_turned(np.full(len(turns), obstacle.shape, dtype=object), np.array(turns)))
    ]
    taken = {int(near.obstacle.name) for near in too_near(bare, moved)}
    free = [turns[index] - (2 * pi / count if turns[index] > pi / count else 0.0)
            for index in range(len(turns)) if index not in taken]  # fmt: skip
    return float(min(free, key=abs)) if free else None
