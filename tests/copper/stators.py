"""Small stators to measure on, and measures of copper that owe nothing to the package: segments, gaps and pieces."""

import itertools
from collections import defaultdict
from dataclasses import dataclass

import numpy as np
import pytest
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
    """Straight pieces of strips: ends a and b (n, 2), half widths, length along the strip to a and b."""

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
        along = np.concatenate([[0.0], np.cumsum(np.hypot(*(b - a).T))])
        parts.append((a, b, np.full(len(a), width / 2), along[:-1], along[1:]))
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


def brute_force_gap(copper, layer, short, reach):
    """Least distance below ``reach`` between copper of one layer that is not joined within a short length; every pair.

    short: the length along the copper up to which two places count as one, [m]. All interconnects that hang together,
    with what is drilled through them, are one node and may touch each other. Strips whose boxes lie farther apart than
    ``reach`` are passed over.
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
        along = first.start - first.stop[:, None] if i == j else np.inf
        along = np.maximum(along, along.T) if i == j else along
        for (at_i, node), (at_j, other) in itertools.product(enumerate(nodes[i]), enumerate(nodes[j])):
            if i != j and node == other:
                along_i = first.stop[-1] - first.stop if at_i else first.start
                along_j = second.stop[-1] - second.stop if at_j else second.start
                along = np.minimum(along, along_i[:, None] + along_j)
        distance = segment_distances(first.a[:, None], first.b[:, None], second.a, second.b)
        distance -= first.half[:, None] + second.half
        least = min(least, float(distance.min(initial=np.inf, where=along >= short)))
    return least


def _bus_of_strips(copper, layer, nodes):
    """The bus of every strip that belongs to one, None for coils and what hangs on no bus."""
    bus = Groups()
    for interconnect in copper.interconnects:
        bus.join(place(interconnect.points[0]), place(interconnect.points[-1]))
    coils = [track.role == "coil" for track in copper.tracks if track.layer == layer]
    coils += [False] * (len(nodes) - len(coils))
    return [
        bus.find(ends[0]) if not coil and ends[0] in bus.parent else None
        for coil, ends in zip(coils, nodes, strict=True)
    ]


def joined_copper(copper, tracks):
    """The drawn copper of ``tracks`` and of all holes: shapes that touch are one, and so are those that share a hole.

    Returns a function from a place and its layer to the piece there, and all pieces with the nets of what lies in them.
    """
    joined, nets, trees = Groups(), defaultdict(set), {}
    holes = [*copper.vias, *copper.terminals]
    for layer in (layer.number for layer in copper.layers):
        here = [track for track in tracks if track.layer == layer]
        shapes = [shapely.LineString(track.points).buffer(track.width / 2) for track in here]
        shapes += [shapely.Point(hole.x, hole.y).buffer(hole.pad / 2) for hole in holes]
        areas = shapely.get_parts(shapely.union_all(shapes))
        trees[layer] = shapely.STRtree(areas)
        marks = [(track.points[0], track.net, None) for track in here]
        marks += [((hole.x, hole.y), hole.net, number) for number, hole in enumerate(holes)]
        for point, net, hole in marks:
            (area,) = trees[layer].query(shapely.Point(point), "intersects")
            nets[layer, int(area)].add(net)
            joined.join((layer, int(area)), (layer, int(area)) if hole is None else ("hole", hole))
        assert {key for key in nets if key[0] == layer} == {(layer, i) for i in range(len(areas))}

    def piece_at(point, layer):
        (area,) = trees[layer].query(shapely.Point(point), "intersects")
        return joined.find((layer, int(area)))

    return piece_at, [set().union(*(nets[key] for key in group if key[0] != "hole")) for group in joined.groups()]


def network(coil_nodes, emf):
    """Voltages of all nodes with nothing connected, currents of all coils, resistance between any two nodes.

    coil_nodes: (start, finish) node of every coil, one ohm each, with the source ``emf`` from start to finish. Nodes
    that no coil joins have infinite resistance. By the conductance matrix, as in any book on networks.
    """
    nodes = sorted({node for pair in coil_nodes for node in pair}, key=str)
    number = {node: i for i, node in enumerate(nodes)}
    ends = np.array([[number[a], number[b]] for a, b in coil_nodes])
    incidence = np.zeros((len(ends), len(nodes)))
    incidence[np.arange(len(ends)), ends[:, 0]] += 1
    incidence[np.arange(len(ends)), ends[:, 1]] -= 1
    inverse = np.linalg.pinv(incidence.T @ incidence)
    # Current from start to finish in a coil: voltage across it plus its source, over one ohm.
    voltages = -inverse @ (incidence.T @ emf)
    currents = incidence @ voltages + emf
    joined = Groups()
    for a, b in coil_nodes:
        joined.join(a, b)

    def resistance(a, b):
        if joined.find(a) != joined.find(b):
            return np.inf
        i, j = number[a], number[b]
        return inverse[i, i] + inverse[j, j] - 2 * inverse[i, j]

    return {node: voltages[i] for node, i in number.items()}, currents, resistance


def check_network(winding, connection, coil_nodes, terminals):
    """What a meter and an oscilloscope would see at the terminals of a balanced winding of coils of one ohm each.

    Coil i has the phasor exp(1j·pole pairs·angle) from start to finish. terminals: node by name.
    """
    coils, phases = winding.coils, winding.phases
    emf = np.exp(1j * winding.poles / 2 * 2 * np.pi * np.arange(coils) / coils)
    voltages, currents, resistance = network(coil_nodes, emf)
    paths = len(winding.paths[0])
    series = coils / phases / paths
    ohms = series / paths
    names = [chr(ord("A") + phase) for phase in range(phases)]
    assert np.abs(currents).max() < 1e-9, "nothing circulates in parallel paths nor around the delta"
    if connection == "delta":
        assert set(terminals) == set(names)
        seen = [resistance(terminals[a], terminals[b]) for a, b in itertools.pairwise(names)]
        assert seen == pytest.approx([ohms * (phases - 1) / phases] * (phases - 1))
        ends = dict(zip(names, names[1:] + names[:1], strict=True))
    else:
        ends = {name: "N" if connection == "star" else f"{name}2" for name in names}
        assert set(terminals) == set(names) | set(ends.values())
        assert [resistance(terminals[name], terminals[ends[name]]) for name in names] == pytest.approx([ohms] * phases)
        across = np.inf if connection == "open" else 2 * ohms
        assert resistance(terminals["A"], terminals["B"]) == pytest.approx(across)
    # Positive current enters at the terminal: the source from the terminal to the phase's end is the sum of its coils.
    step = 2 * np.pi / phases if phases % 2 else np.pi / 2
    source = [voltages[terminals[ends[name]]] - voltages[terminals[name]] for name in names]
    first = [coil for path in winding.paths[0] for coil in path]
    assert source[0] == pytest.approx(emf[first] @ np.array(winding.sense)[first] / paths)
    assert np.array(source) / source[0] == pytest.approx(np.exp(1j * step * np.arange(phases)))
