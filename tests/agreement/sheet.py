"""Direct current in the copper of a board as it is drawn, by finite elements.

Nothing here knows centre-lines, widths or paths. Every layer is a sheet with the outline that its Gerber file has once
the drilled holes are out of it; div(sigma·t·grad V) = 0 holds in the sheet, and no current leaves it but at the walls
of plated holes. A wall is at one voltage on each layer, and the plating joins it to the next layer, middle to middle.
A terminal is a hole full of solder: its wall is at one voltage on all layers.

In Galerkin's method the power at given voltages is never too small, so the resistances found are lower bounds, which
rise with refinement; a right-angle bend lacks 0.04 squares on the coarsest mesh. Lengths are millimetres, as in the
files.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations, pairwise
from math import pi, sin

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.sparse.linalg import splu
from scipy.spatial import KDTree
from shapely.geometry.base import BaseGeometry

from tests.output.readback import net_shapes, read_holes

FloatArray = NDArray[np.float64]
IndexArray = NDArray[np.int64]
Resistances = dict[tuple[str, str], float]

SIDES = 24  # of the polygon that stands for the wall of a hole
TILE = 4.0  # mm; outlines are cut by a grid so that the parts are quickly meshed
ROUNDING = 1e-5  # mm; points closer than this are one


@dataclass(frozen=True)
class Hole:
    """A hole with a plated wall: place and drilled diameter [mm]."""

    x: float
    y: float
    diameter: float

    @property
    def outline(self) -> shapely.Polygon:
        """A regular polygon as large as the circle."""
        angles = 2 * pi * np.arange(SIDES) / SIDES
        radius = self.diameter / 2 * (2 * pi / SIDES / sin(2 * pi / SIDES)) ** 0.5
        return shapely.Polygon(np.stack([self.x + radius * np.cos(angles), self.y + radius * np.sin(angles)], axis=1))


@dataclass(frozen=True)
class Board:
    """What carries current in a board.

    sheets: the copper of every layer; thicknesses, and depths of their middles [mm]. plating: on the inside of the
    drilled holes [mm]. resistivity: [ohm·mm]. terminals: the hole of each by its name. brushes: what lies at one
    voltage on the first layer, by names of their own.
    """

    sheets: tuple[BaseGeometry, ...]
    thicknesses: tuple[float, ...]
    depths: tuple[float, ...]
    holes: tuple[Hole, ...]
    plating: float
    resistivity: float
    terminals: Mapping[str, Hole]
    brushes: Mapping[str, shapely.Polygon] = field(default_factory=dict)


def read_board(
    files: Mapping[str, str | bytes], thicknesses: Sequence[float], depths: Sequence[float], plating: float, rho: float
) -> Board:
    """The board of a folder's files, with what they leave open: thicknesses, depths and plating [m], rho [ohm·m]."""
    texts = {name: content for name, content in files.items() if isinstance(content, str)}
    drilled = [hole for name, text in texts.items() if name.endswith(".drl") for hole in read_holes(text)]
    plated = tuple(Hole(x, y, diameter) for x, y, diameter, wall in drilled if wall)
    out = shapely.union_all([Hole(*hole[:3]).outline for hole in drilled])
    layers = [net_shapes(texts[f"copper-{number}.gbr"]) for number in range(1, len(depths) + 1)]
    sheets = [shapely.union_all([shape for shapes in layer.values() for shape in shapes]) for layer in layers]
    places = json.loads(texts["manifest.json"])["terminals"]
    return Board(
        tuple(sheet.difference(out) for sheet in sheets),
        tuple(1e3 * thickness for thickness in thicknesses),
        tuple(1e3 * depth for depth in depths),
        plated,
        1e3 * plating,
        1e3 * rho,
        {name: _hole_at(plated, place["x_mm"], place["y_mm"]) for name, place in places.items()},
    )


def _hole_at(holes: Sequence[Hole], x: float, y: float) -> Hole:
    (hole,) = (hole for hole in holes if np.hypot(hole.x - x, hole.y - y) < 2e-3)
    return hole


@dataclass(frozen=True)
class Mesh:
    """Triangles between points [mm]: (n, 2) and (m, 3)."""

    points: FloatArray
    corners: IndexArray

    def halved(self) -> Mesh:
        """Every triangle cut into four."""
        middles, sides = _middles(self)
        a, b, c = self.corners.T
        d, e, f = sides.T + len(self.points)
        parts = [np.stack(part, axis=1) for part in ((a, d, f), (d, b, e), (f, e, c), (d, e, f))]
        return Mesh(np.vstack([self.points, middles]), np.vstack(parts))


def _middles(mesh: Mesh) -> tuple[FloatArray, IndexArray]:
    """The middles of all sides, and those of each triangle: between its corners 0 and 1, 1 and 2, 2 and 0."""
    pairs = np.sort(mesh.corners[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2), axis=1)
    key, index = np.unique(pairs[:, 0] * len(mesh.points) + pairs[:, 1], return_inverse=True)
    ends = mesh.points[np.stack([key // len(mesh.points), key % len(mesh.points)])]
    return ends.mean(axis=0), index.reshape(-1, 3)


def meshed(sheet: BaseGeometry, size: float, halvings: int = 0) -> Mesh:
    """Constrained Delaunay triangles of a sheet, its outline in pieces of ``size`` [mm] at most, then each in four."""
    outline = shapely.set_precision(shapely.simplify(sheet, 3e-4), 1e-6)
    parts = shapely.segmentize(_tiles(outline), size)
    triangles = shapely.get_parts(shapely.constrained_delaunay_triangles(parts))
    mesh = _joined(shapely.get_coordinates(triangles).reshape(-1, 4, 2)[:, :3])
    for _ in range(halvings):
        mesh = mesh.halved()
    return mesh


def _tiles(sheet: BaseGeometry) -> NDArray[np.object_]:
    """A sheet cut by the lines of a square grid, so that neighbours share all points on the line between them."""
    pieces = shapely.get_parts(np.array([sheet]))
    for axis in (0, 1):
        while True:
            bounds = shapely.bounds(pieces)
            first, last = np.floor(bounds[:, axis] / TILE + 1e-6), np.ceil(bounds[:, axis + 2] / TILE - 1e-6)
            large = last - first > 1
            if not large.any():
                break
            whole, box = pieces[large], bounds[large] + [-1.0, -1.0, 1.0, 1.0]
            lower, upper = box.copy(), box.copy()
            lower[:, axis + 2] = upper[:, axis] = TILE * ((first + last) // 2)[large]
            halves = [shapely.intersection(whole, shapely.box(*half.T), grid_size=1e-6) for half in (lower, upper)]
            parts = shapely.get_parts(np.concatenate(halves))
            pieces = np.concatenate([pieces[~large], parts[shapely.get_dimensions(parts) == 2]])
    return pieces


def _joined(triangles: FloatArray) -> Mesh:
    """The mesh of triangles given by their corners (m, 3, 2); corners that only rounding parts are one."""
    points, index = np.unique(triangles.reshape(-1, 2), axis=0, return_inverse=True)
    near = KDTree(points).query_pairs(ROUNDING, output_type="ndarray")
    interconnects = coo_array((np.ones(len(near)), (near[:, 0], near[:, 1])), shape=(len(points), len(points)))
    _, label = connected_components(interconnects, directed=False)
    corners = label[index.reshape(-1, 3)].astype(np.int64)
    flat = np.any(corners == np.roll(corners, 1, axis=1), axis=1)
    return Mesh(points[np.unique(label, return_index=True)[1]], corners[~flat])


def sheet_matrix(mesh: Mesh) -> tuple[FloatArray, coo_array]:
    """Nodes [mm] and matrix of quadratic elements, at one siemens per square; nodes are corners, then middles."""
    middles, sides = _middles(mesh)
    nodes = np.hstack([mesh.corners, sides + len(mesh.points)])
    a, b, c = (mesh.points[corner] for corner in mesh.corners.T)
    opposite = np.stack([c - b, a - c, b - a], axis=1)
    area = np.abs((b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]) / 2
    linear = np.einsum("nik,njk->nij", opposite, opposite) / (4 * area)[:, None, None]  # of the linear element
    local = np.zeros((len(linear), 6, 6))
    for i, j, k in ((0, 1, 2), (1, 2, 0), (2, 0, 1)):  # the side from i to j has the number i; k is opposite
        local[:, i, i] = linear[:, i, i]
        local[:, i, j] = local[:, j, i] = -linear[:, i, j] / 3
        for corner in (i, j):
            local[:, corner, 3 + i] = local[:, 3 + i, corner] = 4 * linear[:, i, j] / 3
        local[:, 3 + i, 3 + i] = 4 * np.trace(linear, axis1=1, axis2=2) / 3
        local[:, 3 + i, 3 + j] = local[:, 3 + j, 3 + i] = 8 * linear[:, i, k] / 3  # sides that meet at j
    rows, columns = np.repeat(nodes, 6, axis=1), np.tile(nodes, (1, 6))
    size = len(mesh.points) + len(middles)
    matrix = coo_array((local.ravel(), (rows.ravel(), columns.ravel())), shape=(size, size))
    return np.vstack([mesh.points, middles]), matrix


def squares(sheet: BaseGeometry, ends: Sequence[Callable[[FloatArray], NDArray[np.bool_]]], size: float) -> float:
    """Resistance between two parts of the boundary of a sheet, in squares; ends: which of the points (n, 2) are there.

    From two meshes, to where they lead with the order 4/3 that re-entrant right angles have.
    """
    found = []
    for halvings in (0, 1):
        points, matrix = sheet_matrix(meshed(sheet, size, halvings))
        node, taps = np.arange(len(points)), []
        for end in ends:
            members = np.flatnonzero(end(points))
            node[members] = members[0]
            taps.append(members[0])
        joined = coo_array((matrix.data, (node[matrix.row], node[matrix.col])), shape=matrix.shape)
        found.append(float(_between(joined, np.array(taps))[0, 1]))
    return found[1] + (found[1] - found[0]) / (2 ** (4 / 3) - 1)


def terminal_resistances(board: Board, size: float = 0.5, halvings: int = 0) -> Resistances:
    """Resistance [ohm] between each pair of terminals and brushes, the others open; nan where no copper joins them.

    size: longest piece of an outline [mm]; halvings: how often the mesh is refined after that.
    """
    parts, walls, count = [], [], 0
    outlines = [hole.outline for hole in board.holes]
    first = board.sheets[0].difference(shapely.union_all(list(board.brushes.values())))
    brushes: list[IndexArray] = []
    for sheet, thickness in zip((first, *board.sheets[1:]), board.thicknesses, strict=True):
        points, matrix = sheet_matrix(meshed(sheet, size, halvings))
        parts.append((matrix.row + count, matrix.col + count, matrix.data * thickness / board.resistivity))
        walls.append([members + count for members in _on_rims(points, outlines)])
        brushes = brushes or _on_rims(points, list(board.brushes.values()))
        count += len(points)
    node, terminals = np.arange(count), list(board.terminals.values())
    for members in brushes:
        node[members] = members[0]
    for hole, rims in zip(board.holes, zip(*walls, strict=True), strict=True):
        for members in [np.concatenate(rims)] if hole in terminals else rims:
            node[members] = members[0]
        section = pi * (hole.diameter - board.plating) * board.plating
        for (upper, lower), (a, b) in zip(pairwise(board.depths), pairwise(rim[0] for rim in rims), strict=True):
            conductance = section / board.resistivity / abs(upper - lower)
            parts.append((np.array([a, b, a, b]), np.array([a, b, b, a]), conductance * np.array([1, 1, -1, -1])))
    rows, columns, values = (np.concatenate(each) for each in zip(*parts, strict=True))
    matrix = coo_array((values, (node[rows], node[columns])), shape=(count, count))
    rims = [*(walls[0][board.holes.index(hole)] for hole in terminals), *brushes]
    found = _between(matrix, node[[members[0] for members in rims]])
    names = list(enumerate([*board.terminals, *board.brushes]))
    return {(name, other): float(found[i, j]) for (i, name), (j, other) in combinations(names, 2)}


def _on_rims(points: FloatArray, outlines: Sequence[shapely.Polygon]) -> list[IndexArray]:
    """The points on each of these outlines, which all have copper around them."""
    rims = np.array([outline.exterior for outline in outlines], dtype=object)
    rim, point = shapely.STRtree(shapely.points(points)).query(rims, predicate="dwithin", distance=5e-4)
    members = [point[rim == number] for number in range(len(outlines))]
    assert all(map(len, members)), "a plated hole has a pad on every layer"
    return members


def _between(matrix: coo_array, taps: IndexArray) -> FloatArray:
    """Resistance between each pair of the nodes ``taps`` (n, n); nan where nothing joins them."""
    _, label = connected_components(matrix, directed=False)
    whole = matrix.tocsc()
    found = np.full((len(taps), len(taps)), np.nan)
    for piece in np.unique(label[taps]):
        own = np.flatnonzero(label[taps] == piece)
        free = np.flatnonzero((label == piece) & (np.arange(len(label)) != taps[own[0]]))
        place = np.searchsorted(free, taps[own[1:]])
        source = np.zeros((len(free), len(place)))
        source[place, np.arange(len(place))] = 1.0
        inside = whole[:, free].tocsr()[free, :].tocsc()
        factor = splu(inside, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True})
        voltages = np.zeros((len(own), len(own)))
        voltages[1:, 1:] = factor.solve(source)[place]
        diagonal = np.diag(voltages)
        found[np.ix_(own, own)] = diagonal[:, None] + diagonal[None, :] - 2 * voltages
    return found
