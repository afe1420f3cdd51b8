"""The inter-coil connections as tracks, and the current paths through them.

Every bus becomes a small tree of tracks: leads from layer-transition vias and terminal to the arc, and the arc cut at
its taps. A path of a phase is then a walk: terminal, tree, coil, tree, coil, ..., tree, star point.
"""

from __future__ import annotations

import itertools
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from math import asin, ceil, cos, inf, sin

import numpy as np

from pcbstator.copper.connections.connection_ring import ALIKE, Bus, ConnectionRing, Tap
from pcbstator.copper.geometry.tracks import FloatArray, Role, Terminal, TileJumper, Track, Via, arc_pieces, frozen
from pcbstator.copper.spiral.coil import round_corner

Node = tuple[str, int]


@dataclass(frozen=True)
class Cuts:
    """Where a ring is cut into tiles and how connections go across: first cut and angle between cuts [rad], distance of
    the holes from the middle of a cut, their drill and pad, and the tile jumper's diameter [m].
    """

    first: float
    pitch: float
    beside: float
    drill: float
    pad: float
    wire: float

    def between(self, start: float, stop: float) -> list[float]:
        """Angles [rad] of the cuts between two angles."""
        number = ceil((start - self.first) / self.pitch)
        return [self.first + k * self.pitch for k in range(number, ceil((stop - self.first) / self.pitch))]


@dataclass(eq=False)
class BusTree:
    """The tracks of one bus and where they meet. Nodes are ("tap", i) on the arc, ("end", i) at what hangs there, and
    ("before", i) and ("after", i) at the holes beside a cut.
    """

    bus: Bus
    radius: float
    arc_layer: int
    lead_layer: int
    edges: dict[tuple[Node, Node], Track | TileJumper] = field(default_factory=dict)  # each in one direction or both
    beside: dict[Node, list[Node]] = field(default_factory=dict)
    vias: list[Via] = field(default_factory=list)
    jumper_holes: list[Terminal] = field(default_factory=list)
    taps: list[Node] = field(init=False)  # node on the arc of every tap; those at one angle are one
    hanging: dict[Node, list[int]] = field(init=False)  # the taps of every node on the arc, in its order

    def __post_init__(self) -> None:
        self.taps, self.hanging = [], {}
        node, here = ("tap", 0), -inf
        for index, tap in enumerate(self.bus.taps):
            if tap.angle - here >= ALIKE:
                node, here = ("tap", index), tap.angle
                self.hanging[node] = []
            self.taps.append(node)
            self.hanging[node].append(index)

    def add(self, start: Node, end: Node, track: Track | TileJumper) -> None:
        """Keep a track or tile jumper between two nodes."""
        self.edges[start, end] = track
        self.beside.setdefault(start, []).append(end)
        self.beside.setdefault(end, []).append(start)

    def edge(self, start: Node, end: Node) -> Track | TileJumper:
        """The track or tile jumper from one node to the next, in that direction."""
        if (start, end) not in self.edges:
            self.edges[start, end] = self.edges[end, start].reversed()
        return self.edges[start, end]

    def walk(self, start: Node, end: Node) -> list[Track | TileJumper]:
        """The tracks and tile jumpers from one node to another, in that direction."""
        if end in self.beside[start]:
            return [self.edge(start, end)]
        came: dict[Node, Node] = {start: start}
        queue = deque([start])
        while queue and end not in came:
            here = queue.popleft()
            for there in self.beside[here]:
                if there not in came:
                    came[there] = here
                    queue.append(there)
        steps: list[Track | TileJumper] = []
        while end != start:
            steps.append(self.edge(came[end], end))
            end = came[end]
        return steps[::-1]

    def drawn(self) -> list[Track]:
        """Every track once."""
        once = {(min(nodes), max(nodes)): None for nodes in self.edges}
        tracks = [self.edge(*nodes) for nodes in once]
        return [track for track in tracks if isinstance(track, Track)]

    def coil_ends(self) -> Iterator[tuple[tuple[int, bool], Node]]:
        """(coil, at its start) and the node there, for every end of a coil."""
        return (((tap.coil, tap.at_start), ("end", i)) for i, tap in enumerate(self.bus.taps) if not tap.terminal)

    @cached_property
    def terminal_node(self) -> Node:
        """The node at the terminal."""
        return "end", next(i for i, tap in enumerate(self.bus.taps) if tap.terminal)

    def tap_of(self, node: Node) -> Node:
        """The node on the arc where something hangs; taps at one angle are one node."""
        return self.taps[node[1]]


def _polar(radius: float, angle: float) -> tuple[float, float]:
    return radius * cos(angle), radius * sin(angle)


def arc_points(radius: float, start: float, stop: float) -> FloatArray:
    """Points (n, 2) along an arc about the machine's centre."""
    pieces = arc_pieces(radius, abs(stop - start))
    angles = start + (stop - start) / pieces * np.arange(pieces + 1)
    points = np.empty((pieces + 1, 2))
    np.multiply(np.cos(angles), radius, out=points[:, 0])
    np.multiply(np.sin(angles), radius, out=points[:, 1])
    return points


def _lay_across(
    tree: BusTree, channel: int, cuts: Cuts, start: tuple[Node, float], stop: tuple[Node, float], width: float
) -> None:
    """An arc between two nodes at angles, with a tile jumper across every cut that it passes.

    Holes are named X before a cut, counter-clockwise, and Y after it, with the number of the channel.
    """
    bus, radius = tree.bus, tree.radius
    aside = asin(min(cuts.beside / radius, 1.0))
    here, from_angle = start

    def arc(to: Node, angle: float) -> None:
        points = arc_points(radius, from_angle, angle)
        tree.add(here, to, Track(tree.arc_layer, points, width, bus.net, bus.phase, "interconnect"))

    for cut in cuts.between(from_angle, stop[1]):
        number = len(tree.jumper_holes)
        before, after = ("before", number), ("after", number)
        places = [_polar(radius, cut + sign * aside) for sign in (-1, 1)]
        tree.jumper_holes += [
            Terminal(f"{letter}{channel + 1}", *place, cuts.drill, cuts.pad, tree.arc_layer, bus.net)
            for letter, place in zip("XY", places, strict=True)
        ]
        arc(before, cut - aside)
        tree.add(before, after, TileJumper(places[0], places[1], cuts.wire))
        here, from_angle = after, cut + aside
    arc(*stop)


def lay_bus(
    bus: Bus, plan: ConnectionRing, channel: int, layers: int, width: float, corner: float, drill: float, pad: float,
    cuts: Cuts | None = None,
) -> BusTree:  # fmt: skip
    """The tracks of one bus on the connection ring; with ``cuts``, of a stepped one, in tiles."""
    radius = plan.arc_radii[channel]
    arc_layer, lead_layer = (1, layers) if plan.stepped else (channel + 1, channel + 1)
    tree = BusTree(bus, radius, arc_layer, lead_layer)
    taps, stops = bus.taps, list(tree.hanging)
    ends = [_end_radius(plan, tap) for tap in taps]

    def lead(start: float, stop: float, angle: float, role: Role) -> Track:
        return Track(lead_layer, _along_radius(start, stop), width, bus.net, bus.phase, role, turn=angle)

    if len(stops) == 1 and len(taps) == 2:
        # A terminal straight above its layer-transition via: no arc, one lead.
        first = next(i for i, tap in enumerate(taps) if not tap.terminal)
        tree.add(("end", first), ("end", 1 - first), lead(ends[first], ends[1 - first], taps[first].angle, "lead"))
        return tree

    for stop, numbers in tree.hanging.items():
        if stop in (stops[0], stops[-1]) and _drawn_on(tree, plan, stop)[0] != stop:
            continue
        for i in numbers:
            tree.add(
                ("end", i), stop, lead(ends[i], radius, taps[i].angle, "lead" if taps[i].terminal else "interconnect")
            )
        if plan.stepped:
            tree.vias.append(Via(*_polar(radius, taps[stop[1]].angle), drill, pad, bus.net, 1, layers))
    for a, b in itertools.pairwise(stops):
        from_angle, to_angle = taps[a[1]].angle, taps[b[1]].angle
        if cuts is not None:
            _lay_across(tree, channel, cuts, (a, from_angle), (b, to_angle), width)
            continue
        start, near = _drawn_on(tree, plan, a) if a == stops[0] else (a, 0.0)
        stop, far = _drawn_on(tree, plan, b) if b == stops[-1] else (b, 0.0)
        shape = _bent_arc(radius, round(to_angle - from_angle, 13), near, far, corner)
        arc = Track(arc_layer, shape, width, bus.net, bus.phase, "interconnect", turn=from_angle)
        tree.add(start, stop, arc)
    return tree


def _end_radius(plan: ConnectionRing, tap: Tap) -> float:
    return plan.terminal_radius if tap.terminal else plan.transition_radius


def _drawn_on(tree: BusTree, plan: ConnectionRing, stop: Node) -> tuple[Node, float]:
    """Where an arc that ends at ``stop`` is drawn on with a smooth bend to the one thing that hangs there: the node
    there and its radius [m]; else ``stop`` itself and 0.
    """
    numbers = tree.hanging[stop]
    if plan.stepped or len(numbers) > 1:
        return stop, 0.0
    return ("end", numbers[0]), _end_radius(plan, tree.bus.taps[numbers[0]])


@lru_cache(maxsize=512)
def _along_radius(start: float, stop: float) -> FloatArray:
    """Points (2, 2) between two radii [m] at angle 0, which many tracks share."""
    return frozen(np.array([[start, 0.0], [stop, 0.0]]))


@lru_cache(maxsize=512)
def _bent_arc(radius: float, span: float, near: float, far: float, corner: float) -> FloatArray:
    """Points (n, 2) [m] of an arc from angle 0 on, which many tracks share. Where a lead to another radius, ``near`` or
    ``far`` [m], hangs at an end, that and the bend into it are part of it. Many buses of a stator have the same.
    """
    points = arc_points(radius, 0.0, span)
    if near:
        points = round_corner(np.concatenate([[(near, 0.0)], points]), 1, corner)
    if far:
        points = round_corner(np.concatenate([points, [_polar(far, span)]]), len(points) - 1, corner)
    return frozen(points)
