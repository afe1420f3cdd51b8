"""The names that files give to joined copper: by attributes, by the netlist, by terminals."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import shapely
from scipy.spatial import cKDTree

from pcbstator.verify.connected import ConnectedCopper, IntArray
from pcbstator.verify.records import NetPoint, WrittenBoard

NEAR = 0.05  # mm: a netlist rounds places, and a hole of its place is not farther off
NO_NET = ("", "N/C")

Place = tuple[float, float]


@dataclass(frozen=True)
class Named:
    """A name on joined copper: the group, the piece where it stands (None: only a hole), place [mm] and layer."""

    name: str
    group: int
    piece: int | None
    place: Place
    layer: int | None


@dataclass(frozen=True)
class Names:
    """What one source (attributes, netlist, terminals) names, and places of names without copper or without a hole."""

    source: str
    named: tuple[Named, ...]
    without_copper: tuple[NetPoint, ...] = ()
    without_hole: tuple[NetPoint, ...] = ()

    def groups(self) -> dict[str, dict[int, list[Named]]]:
        """What is named, by name and group."""
        found: dict[str, dict[int, list[Named]]] = defaultdict(lambda: defaultdict(list))
        for each in self.named:
            found[each.name][each.group].append(each)
        return found

    def by_group(self) -> dict[int, dict[str, list[Named]]]:
        """What is named, by group and name."""
        found: dict[int, dict[str, list[Named]]] = defaultdict(lambda: defaultdict(list))
        for each in self.named:
            found[each.group][each.name].append(each)
        return found


@dataclass
class _Finder:
    """Finds holes and pieces at places."""

    copper: ConnectedCopper
    middles: IntArray = field(init=False)
    tree: cKDTree | None = field(init=False)

    def __post_init__(self) -> None:
        """Lays the index over the holes."""
        rows = [(point, i) for i, hole in enumerate(self.copper.holes) for point in hole.path]
        self.middles = np.array([i for _, i in rows], dtype=np.intp)
        self.tree = cKDTree(np.array([point for point, _ in rows])) if rows else None

    def hole(self, x: float, y: float, reach: float = NEAR) -> int | None:
        """The nearest plated hole within ``reach``."""
        if self.tree is None:
            return None
        distance, index = self.tree.query((x, y))
        return int(self.middles[index]) if distance <= reach else None

    def piece(self, x: float, y: float, layer: int | None, reach: float = NEAR) -> int | None:
        """A piece at a place, on a layer if one is said."""
        point = shapely.Point(x, y)
        near = np.flatnonzero(shapely.dwithin(self.copper.pieces, point, reach))
        if layer is not None:
            near = near[self.copper.layers[near] == layer]
        return int(near[0]) if len(near) else None


def attribute_names(board: WrittenBoard, copper: ConnectedCopper) -> Names:
    """The nets that the attributes in the copper files name."""
    named = []
    for layer in board.layers:
        members = np.flatnonzero(copper.layers == layer.number)
        tree = shapely.STRtree(copper.pieces[members])
        for name, area in layer.nets.items():
            if name in NO_NET:
                continue
            parts = shapely.get_parts(area)
            inside = shapely.point_on_surface(parts)
            found, part_of = tree.query(parts, predicate="intersects"), np.asarray(inside)
            for part, index in zip(*found, strict=True):
                piece = int(members[index])
                place = part_of[part]
                named.append(Named(name, int(copper.groups[piece]), piece, (place.x, place.y), layer.number))
    return Names("attributes", tuple(named))


def netlist_names(board: WrittenBoard, copper: ConnectedCopper) -> Names:
    """The nets that the netlist names at holes and pads."""
    finder = _Finder(copper)
    named, bare, undrilled = [], [], []
    for point in board.netlist:
        if point.net in NO_NET:
            continue
        hole = finder.hole(point.x, point.y) if point.hole is not None else None
        group = None if hole is None else int(copper.hole_groups[hole])
        if point.hole is not None and hole is None:
            undrilled.append(point)
        if group is not None and group >= 0:
            named.append(Named(point.net, group, None, (point.x, point.y), point.layer))
            continue
        piece = finder.piece(point.x, point.y, point.layer)
        if piece is None:
            bare.append(point)
        else:
            layer = int(copper.layers[piece])
            named.append(Named(point.net, int(copper.groups[piece]), piece, (point.x, point.y), layer))
    return Names("netlist", tuple(named), tuple(bare), tuple(undrilled))


def terminal_names(terminals: Mapping[str, Place], copper: ConnectedCopper) -> Names:
    """The copper on which each terminal lies."""
    finder = _Finder(copper)
    named, bare = [], []
    for name, (x, y) in terminals.items():
        hole = finder.hole(x, y)
        group = None if hole is None else int(copper.hole_groups[hole])
        piece = None if group is not None and group >= 0 else finder.piece(x, y, None)
        if piece is not None:
            group = int(copper.groups[piece])
        if group is None or group < 0:
            bare.append(NetPoint(name, x, y))
        else:
            named.append(Named(name, group, piece, (x, y), None))
    return Names("terminals", tuple(named), tuple(bare))
