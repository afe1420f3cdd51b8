"""Small stators to measure on, and measures of copper that owe nothing to the package: segments, gaps and pieces."""

import itertools
from collections import defaultdict
from dataclasses import dataclass

import numpy as np
import shapely

from pcbstator.design import design_from_document

MAGNET = {"shape": "disc", "diameter_mm": 4.0, "circle_diameter_mm": 46.0, "thickness_mm": 2.0, "remanence_t": 1.3}
DOCUMENT = {
    "title": "Bench stator",
    "winding": {"coils": 6, "turns": 3},
    "board": {
        "layers": 4,
        "track_width_mm": 0.4,
        "track_gap_mm": 0.25,
        "copper_inner_diameter_mm": 26.0,
        "copper_outer_diameter_mm": 66.0,
    },
    "rotor": {"poles": 8, "air_gap_mm": 1.0, "magnet": MAGNET},
}


def design_of(**values):
    """The bench stator with other values; keys are written with two underscores for the point: winding__turns=4."""
    document = {key: dict(value) if isinstance(value, dict) else value for key, value in DOCUMENT.items()}
    for key, value in values.items():
        table, name = key.split("__")
        document[table][name] = value
    return design_from_document(document, "bench.toml")


def place(point):
    """A point in whole nanometres."""
    return round(float(point[0]) * 1e9), round(float(point[1]) * 1e9)


class Groups:
    """Things that have been joined."""

    def __init__(self):
        self.parent = {}

    def find(self, item):
        self.parent.setdefault(item, item)
        while self.parent[item] != item:
            item = self.parent[item]
        return item

    def join(self, a, b):
        self.parent[self.find(a)] = self.find(b)

    def groups(self):
        found = defaultdict(set)
        for item in self.parent:
            found[self.find(item)].add(item)
        return list(found.values())


@dataclass
class Segments:
    """Straight pieces of strips: ends a and b (n, 2), half widths, way along the strip to a and b."""

    a: np.ndarray
    b: np.ndarray
    half: np.ndarray
    start: np.ndarray
    stop: np.ndarray


def strips_of(copper, layer):
    """Every strip (points, width) on a layer; a pad is a strip of one point."""
    tracks = [(track.points, track.width) for track in copper.tracks if track.layer == layer]
    pads = [(np.array([[pad.x, pad.y]]), pad.pad) for pad in [*copper.vias, *copper.terminals]]
    return tracks + pads


def segments_of(strips):
    parts = []
    for points, width in strips:
        a, b = (points, points) if len(points) == 1 else (points[:-1], points[1:])
        way = np.concatenate([[0.0], np.cumsum(np.hypot(*(b - a).T))])
        parts.append((a, b, np.full(len(a), width / 2), way[:-1], way[1:]))
    return Segments(*(np.concatenate(column) for column in zip(*parts, strict=True)))


def segment_distances(a, b, c, d):
    """Distance between segments a-b and c-d, all (..., 2), by the four end distances and the test for a crossing."""

    def to_point(p, u, v):
        along = v - u
        length = (along**2).sum(-1)
        t = np.clip(((p - u) * along).sum(-1) / np.where(length > 0, length, 1.0), 0.0, 1.0)
        return np.hypot(*np.moveaxis(p - u - t[..., None] * along, -1, 0))

    def side(u, v, p):
        return np.sign((v - u)[..., 0] * (p - u)[..., 1] - (v - u)[..., 1] * (p - u)[..., 0])

    ends = np.minimum.reduce([to_point(a, c, d), to_point(b, c, d), to_point(c, a, b), to_point(d, a, b)])
    crossing = (side(a, b, c) * side(a, b, d) < 0) & (side(c, d, a) * side(c, d, b) < 0)
    return np.where(crossing, 0.0, ends)


def brute_force_gap(copper, layer, gap, reach):
    """Least distance below ``reach`` between copper of one layer that is not joined within a short way; every pair.

    A way is short up to twice the copper's width and the gap: there the current saves nothing by a bridge. All links
    that hang together, with what is drilled through them, are one node and may touch each other. Strips whose boxes
    lie farther apart than ``reach`` are passed over.
    """
    strips = strips_of(copper, layer)
    parts = [segments_of([strip]) for strip in strips]
    nodes = [(place(points[0]), place(points[-1])) for points, _ in strips]
    member = _bus_of_strips(copper, layer, nodes)
    low = np.array([points.min(axis=0) - width / 2 for points, width in strips])
    high = np.array([points.max(axis=0) + width / 2 for points, width in strips])
    least = reach
    for i, j in itertools.combinations_with_replacement(range(len(strips)), 2):
        apart = np.maximum(low[i] - high[j], low[j] - high[i]).max() > reach
        if apart or (i != j and member[i] is not None and member[i] == member[j]):
            continue
        first, second = parts[i], parts[j]
        way = first.start - first.stop[:, None] if i == j else np.inf
        way = np.maximum(way, way.T) if i == j else way
        for (at_i, node), (at_j, other) in itertools.product(enumerate(nodes[i]), enumerate(nodes[j])):
            if i != j and node == other:
                way_i = first.stop[-1] - first.stop if at_i else first.start
                way_j = second.stop[-1] - second.stop if at_j else second.start
                way = np.minimum(way, way_i[:, None] + way_j)
        distance = segment_distances(first.a[:, None], first.b[:, None], second.a, second.b)
        distance -= first.half[:, None] + second.half
        far = way >= 2 * (gap + 2 * max(first.half[0], second.half[0]))
        least = min(least, float(distance.min(initial=np.inf, where=far)))
    return least


def _bus_of_strips(copper, layer, nodes):
    """The bus of every strip that belongs to one, None for coils and what hangs on no bus."""
    bus = Groups()
    for link in copper.links:
        bus.join(place(link.points[0]), place(link.points[-1]))
    coils = [track.role == "coil" for track in copper.tracks if track.layer == layer]
    coils += [False] * (len(nodes) - len(coils))
    return [
        bus.find(ends[0]) if not coil and ends[0] in bus.parent else None
        for coil, ends in zip(coils, nodes, strict=True)
    ]


def pieces_of(copper):
    """The connected pieces of copper, each a set of nets: areas joined per layer, and by plated holes across layers."""
    joined, nets = Groups(), defaultdict(set)
    holes = [*copper.vias, *copper.terminals]
    for layer in copper.layers:
        tracks = [track for track in copper.tracks if track.layer == layer.number]
        strips = strips_of(copper, layer.number)
        shapes = [
            shapely.Point(points[0]).buffer(width / 2) if len(points) == 1
            else shapely.LineString(points).buffer(width / 2)
            for points, width in strips
        ]  # fmt: skip
        areas = shapely.get_parts(shapely.union_all(shapes))
        tree = shapely.STRtree(areas)
        marks = [(shapely.Point(track.points[0]), track.net, None) for track in tracks]
        marks += [(shapely.Point(hole.x, hole.y), hole.net, number) for number, hole in enumerate(holes)]
        for point, net, hole in marks:
            (area,) = tree.query(point, "intersects")
            key = (layer.number, int(area))
            nets[key].add(net)
            joined.join(key, key if hole is None else ("hole", hole))
        assert {key for key in nets if key[0] == layer.number} == {(layer.number, i) for i in range(len(areas))}
    return [set().union(*(nets[key] for key in group if key[0] != "hole")) for group in joined.groups()]
