"""What the tests of the fabrication files share: a small stator, and readers that did not write the files."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterator
from itertools import pairwise
from math import cos, pi, sin

import numpy as np
import shapely
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from shapely import affinity
from shapely.geometry.base import BaseGeometry

from pcbstator.copper import Coil, Copper, Layer, PhaseCopper, Point, Terminal, Track, Via

ODD_TITLE = 'Fan "50 %" *µ*, 3\nstage \\u0041 風 🌀 %TF.Bad*%'


def spiral(layer: int, inward: bool, angle: float, via: tuple[float, float] | None, lead: float) -> Track:
    """One layer of a round coil of five turns about (30, 0) mm, ``lead`` mm longer at its outer end."""
    steps = np.linspace(0.0, 1.0, 301)[:, None]
    turn = (angle if inward else 0.0) + (2 * pi * 5 + (-angle if inward else angle)) * steps
    radius = 8.0 - 6.0 * steps if inward else 2.0 + 6.0 * steps
    points = np.hstack([30 + radius * np.cos(turn), radius * np.sin(turn)])
    outer = np.array([[30 + lead * cos(angle), lead * sin(angle)]])
    inner = np.empty((0, 2)) if via is None else np.array([via])
    parts = [outer, points, inner] if inward else [inner, points, outer]
    return Track(layer, np.vstack(parts) * 1e-3, 0.3e-3, "", "", "coil")


def small_stator() -> Copper:
    """Three round coils on four layers, each a net of its own between two terminals."""
    first, second, middle = (30.0, 0.6), (30.0, -0.6), (30 + 9 * cos(pi / 6), 9 * sin(pi / 6))
    coil = Coil(
        turns=5,
        series_turns=20,
        tracks=(
            spiral(1, True, 0.0, first, 10.5),
            spiral(2, False, pi / 6, first, 9.0),
            spiral(3, True, pi / 6, second, 9.0),
            spiral(4, False, -pi / 6, second, 10.5),
        ),
        vias=tuple(Via(x * 1e-3, y * 1e-3, 0.3e-3, 0.6e-3, "", 1, 4) for x, y in (first, second, middle)),
    )
    angles = np.array([0.0, 2 * pi / 3, 4 * pi / 3])
    terminals = []
    for name, angle in zip("ABC", angles, strict=True):
        for mark, layer, lead in (("", 1, 0.0), ("-", 4, -pi / 6)):
            x, y = 30e-3 + 10.5e-3 * cos(lead), 10.5e-3 * sin(lead)
            place = x * cos(angle) - y * sin(angle), x * sin(angle) + y * cos(angle)
            terminals.append(Terminal(name + mark, *place, 1.0e-3, 1.6e-3, layer, f"PHASE_{name}"))
    phases = tuple(
        PhaseCopper(name, Point(start.x, start.y, 1), Point(end.x, end.y, 4), ())
        for name, start, end in zip("ABC", terminals[::2], terminals[1::2], strict=True)
    )
    depths = (0.0, -0.5e-3, -1.1e-3, -1.6e-3)
    return Copper(
        layers=tuple(Layer(number, depth, 35e-6) for number, depth in enumerate(depths, 1)),
        board_inner_radius=18e-3,
        board_outer_radius=44e-3,
        coil=coil,
        coil_angles=angles,
        coil_phases=("A", "B", "C"),
        coil_senses=(1, -1, 1),
        coil_nets=("PHASE_A", "PHASE_B", "PHASE_C"),
        interconnects=(),
        terminals=tuple(terminals),
        phases=phases,
    )


def layer_shape(copper: Copper, number: int) -> BaseGeometry:
    """The copper of a layer [mm] as the records have it."""
    tracks = [track for track in copper.tracks if track.layer == number]
    shapes = [shapely.LineString(t.points * 1e3).buffer(t.width * 500, quad_segs=64) for t in tracks]
    return shapely.union_all(
        shapes
        + [
            shapely.Point(hole.x * 1e3, hole.y * 1e3).buffer(hole.pad * 500, quad_segs=64)
            for hole in (*copper.vias, *copper.terminals)
        ]
    )


def read_shapes(text: str, line_segments: int = 64) -> list[BaseGeometry]:
    """The shapes [mm] that gerbonara finds in a Gerber file; a quarter of a line's round end has ``line_segments``."""
    from gerbonara import MM, GerberFile
    from gerbonara import graphic_primitives as primitives

    shapes: list[BaseGeometry] = []
    for thing in GerberFile.from_string(text).objects:
        for part in thing.to_primitives(MM):
            assert part.polarity_dark
            if isinstance(part, primitives.Line):
                line = shapely.LineString([(part.x1, part.y1), (part.x2, part.y2)])
                shapes.append(line.buffer(part.width / 2, quad_segs=line_segments))
            elif isinstance(part, primitives.Circle):
                shapes.append(shapely.Point(part.x, part.y).buffer(part.r, quad_segs=64))
            elif isinstance(part, primitives.ArcPoly):
                shapes.append(shapely.Polygon(part.outline))
            elif isinstance(part, primitives.Rectangle):
                box = shapely.box(part.x - part.w / 2, part.y - part.h / 2, part.x + part.w / 2, part.y + part.h / 2)
                shapes.append(affinity.rotate(box, part.rotation, use_radians=True))
            else:
                raise TypeError(f"unexpected {part}")
    return shapes


def tokens(text: str) -> Iterator[str]:
    """The commands of a Gerber file, without the signs that end them."""
    for extended, word in re.findall(r"%([^%]*)\*%|([^%*\s][^%*]*)\*", text):
        yield extended or word


def net_shapes(text: str) -> dict[str, list[BaseGeometry]]:
    """What each net (%TO.N) draws and flashes [mm] in a copper file, by a small reader of our own."""
    diameters, turned = _apertures(text)
    lands: dict[str, list[BaseGeometry]] = defaultdict(list)
    strokes: dict[str, list[tuple[float, list[tuple[float, float]]]]] = defaultdict(list)
    regions: dict[str, list[list[tuple[float, float]]]] = defaultdict(list)
    net, aperture, in_region = "", "", False
    for token in tokens(text):
        if token[0] == "X" and in_region:
            x, y = token[1:-3].partition("Y")[::2]
            if token[-3:] == "D02":
                regions[net].append([])
            regions[net][-1].append((int(x) / 1e6, int(y) / 1e6))
        elif token[0] == "X":
            x, y, operation = token[1:-3].partition("Y")[0], token[1:-3].partition("Y")[2], token[-3:]
            place = int(x) / 1e6, int(y) / 1e6
            if aperture in turned:
                lands[net].append(_land(*place, *turned[aperture]))
            elif operation == "D01":
                strokes[net][-1][1].append(place)
            else:
                strokes[net].append((diameters[aperture], [place] if operation == "D02" else [place, place]))
        elif token in ("G36", "G37"):
            in_region = token == "G36"
        elif token.startswith("TO.N,"):
            net = token.split(",")[1]
        elif token in ("TD", "TD.N"):
            net = ""
        elif token in diameters or token in turned:
            aperture = token
    return {
        name: [
            *(
                shapely.LineString(points).buffer(width / 2, quad_segs=16)
                for width, points in strokes[name]
                if len(points) > 1
            ),
            *map(shapely.Polygon, regions[name]),
            *lands[name],
        ]
        for name in dict.fromkeys((*strokes, *regions, *lands))
    }


def _apertures(text: str) -> tuple[dict[str, float], dict[str, tuple[float, ...]]]:
    """Diameters of the round apertures; length, width and angle of the turned rectangles."""
    sizes = re.findall(r"%AD(D\d+)(C|TURNED),([\d.X-]+)\*%", text)
    read = {name: tuple(map(float, numbers.split("X"))) for name, _, numbers in sizes}
    kinds = {name: kind for name, kind, _ in sizes}
    return (
        {name: numbers[0] for name, numbers in read.items() if kinds[name] == "C"},
        {name: numbers for name, numbers in read.items() if kinds[name] != "C"},
    )


def _land(x: float, y: float, length: float, width: float, angle: float) -> BaseGeometry:
    """A rectangle [mm] about its middle, turned by an angle in degrees."""
    box = shapely.box(x - length / 2, y - width / 2, x + length / 2, y + width / 2)
    return affinity.rotate(box, angle, origin=(x, y))


def pieces(layers: list[dict[str, list[BaseGeometry]]], holes: list[tuple[float, float, float]]) -> list[set[str]]:
    """The connected pieces of copper of a whole board, each as the set of net names it carries.

    layers: what each net covers, per layer [mm]. holes: x, y and diameter [mm] of the plated holes.
    """
    names = [name for layer in layers for name, shapes in layer.items() for _ in shapes]
    bounds = [0, *(int(end) for end in np.cumsum([sum(map(len, layer.values())) for layer in layers]))]
    shapes = np.array([shape for layer in layers for drawn in layer.values() for shape in drawn])
    shapely.prepare(shapes)
    jumper_holes = []
    for low, high in pairwise(bounds):  # what overlaps on a layer touches, whatever its name
        jumper_holes.append(shapely.STRtree(shapes[low:high]).query(shapes[low:high], predicate="intersects") + low)
    barrels = np.array([shapely.Point(x, y).buffer(diameter / 2) for x, y, diameter in holes])
    touching = shapely.STRtree(shapes).query(barrels, predicate="intersects")
    jumper_holes.append(touching + np.array([[len(shapes)], [0]]))  # barrels come after the shapes
    a, b = np.hstack(jumper_holes)
    size = len(shapes) + len(barrels)
    _, label = connected_components(coo_array((np.ones(len(a)), (a, b)), shape=(size, size)), directed=False)
    found: dict[int, set[str]] = defaultdict(set)
    for name, piece in zip(names, label, strict=False):
        found[int(piece)].add(name)
    return list(found.values())


def read_holes(text: str) -> list[tuple[float, float, float, bool | None]]:
    """x, y, diameter [mm] and plating of each hole that gerbonara finds in a drill file."""
    from gerbonara import MM, ExcellonFile

    file = ExcellonFile.from_string(text)
    return [
        (
            thing.unit.convert_to(MM, thing.x),
            thing.unit.convert_to(MM, thing.y),
            thing.aperture.unit.convert_to(MM, thing.aperture.diameter),
            thing.aperture.plated,
        )
        for thing in file.objects
    ]
