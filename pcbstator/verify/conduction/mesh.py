"""Triangles in sheets of copper: Delaunay's of the points of the outlines, which all its edges are among.

Edges that the triangles leave out are cut until none is left out; then the outlines part inside from outside. Where
copper is wide, points are set inside it. The library's triangles take a time that grows little faster than the points.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import Delaunay, KDTree
from shapely.geometry.base import BaseGeometry

from pcbstator.errors import LawRangeError

FloatArray = NDArray[np.float64]
IndexArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

FLATNESS = 3e-4  # mm; what an outline may move by when points are left out
GRID = 1e-5  # mm; on which the points of outlines lie, so that none are nearer to each other
DIGITS = 6  # of coordinates in mm that are told apart
SIZES = 0.4, 2.0  # mm; least and most of what the longest piece of an outline may be
APART = 0.75  # from the outline, of points inside, in units of their distances from each other
RING = 12  # points on a circle around a hole
MOST = 3e7  # squares of the longest piece in what copper spans
ROUNDS = 8  # of cutting edges, at the most


@dataclass(frozen=True, eq=False)
class Mesh:
    """Triangles between points [mm]: (n, 2) and (m, 3), counter-clockwise; edge: whether the side from corner 0 to 1,
    1 to 2, 2 to 0 is part of an outline, (m, 3).
    """

    points: FloatArray
    corners: IndexArray
    edge: BoolArray

    def halved(self) -> Mesh:
        """Every triangle cut into four."""
        middles, sides = self.sides
        a, b, c = self.corners.T
        d, e, f = sides.T + len(self.points)
        parts = [np.stack(part, axis=1) for part in ((a, d, f), (d, b, e), (f, e, c), (d, e, f))]
        none, (ab, bc, ca) = np.zeros(len(a), bool), self.edge.T
        edges = [np.stack(part, axis=1) for part in ((ab, none, ca), (ab, bc, none), (none, bc, ca), (none,) * 3)]
        return Mesh(np.vstack([self.points, middles]), np.vstack(parts), np.vstack(edges))

    @property
    def sides(self) -> tuple[FloatArray, IndexArray]:
        """The middles of all sides, and those of each triangle: between its corners 0 and 1, 1 and 2, 2 and 0."""
        pairs = np.sort(self.corners[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2), axis=1)
        key, index = np.unique(pairs[:, 0] * len(self.points) + pairs[:, 1], return_inverse=True)
        ends = self.points[np.stack([key // len(self.points), key % len(self.points)])]
        return ends.mean(axis=0), index.reshape(-1, 3)

    @property
    def areas(self) -> FloatArray:
        """Of every triangle [mm2]."""
        return doubled_areas(self.points, self.corners) / 2


def doubled_areas(points: FloatArray, corners: IndexArray) -> FloatArray:
    """Twice the area [mm2] of every triangle, positive where its corners go round counter-clockwise."""
    a, b, c = (points[corner] for corner in corners.T)
    return np.asarray((b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0])


def meshed(sheet: BaseGeometry, size: float | None = None, holes: FloatArray | None = None) -> Mesh:
    """Triangles of a sheet of copper.

    sheet: polygons [mm]. size: longest piece of an outline [mm], by default half of how wide the copper mostly is.
    holes: (n, 3) middles and diameters [mm], around which triangles grow step by step where copper is wide. Returns a
    Mesh [mm]; outlines that touch share points. What spans more than a board can: LawRangeError. Derived here:
    Delaunay's triangles of points that lie close enough on the outlines hold every piece of them.

    >>> mesh = meshed(shapely.box(0.0, 0.0, 3.0, 0.5))
    >>> round(float(mesh.areas.sum()), 9)
    1.5
    """
    sheet = shapely.set_precision(sheet, GRID)
    if size is None:
        size = float(np.clip(sheet.area / max(sheet.length, 1e-9), *SIZES))
    points, pieces = _outline(sheet, size)
    if not len(pieces):
        return Mesh(np.empty((0, 2)), np.empty((0, 3), np.int64), np.empty((0, 3), bool))
    given, ends = len(points), points[pieces]
    long = ends[np.hypot(*(ends[:, 1] - ends[:, 0]).T) > size / 3].reshape(-1, 2)
    points = np.vstack([points, _within(sheet, points, long, size, holes)])
    for _ in range(ROUNDS):
        triangles = Delaunay(points)
        sides = _Sides(triangles.simplices.astype(np.int64), len(points))
        missing = sides.missing(pieces)
        if not missing.any():
            break
        points, pieces = _cut(points, pieces, missing, given)
    else:
        triangles = Delaunay(points)
        sides = _Sides(triangles.simplices.astype(np.int64), len(points))
    inside = _inside(triangles, sides, pieces)
    if inside is None:  # pieces shorter than any width are still missing: triangles by their middles
        inside = shapely.contains_xy(sheet, *points[sides.corners].mean(axis=1).T)
        inside &= doubled_areas(points, sides.corners) > 0
    edge = _among(sides.keys[inside].ravel(), np.sort(pieces @ np.array([len(points), 1]))).reshape(-1, 3)
    used, index = np.unique(sides.corners[inside], return_inverse=True)
    return Mesh(points[used], index.reshape(-1, 3), edge)


def _within(
    sheet: BaseGeometry, outline: FloatArray, long: FloatArray, size: float, holes: FloatArray | None
) -> FloatArray:
    """Points inside wide copper [mm]: a grid of equal triangles, and rings around holes that widen up to it. All keep
    off the outline's points, and further off the ends of its long pieces, which would not be sides of triangles else.
    """
    low, high = outline.min(axis=0), outline.max(axis=0)
    if np.prod((high - low) / size) > MOST:
        raise LawRangeError(f"copper that spans {high[0] - low[0]:g} by {high[1] - low[1]:g} mm is no board")
    x, y = np.arange(low[0], high[0], size), np.arange(low[1], high[1], size * 3**0.5 / 2)
    grid = np.stack(np.meshgrid(x, y), axis=2)
    grid[1::2, :, 0] += size / 2
    rings, steps = _rings(holes, size)
    candidates = np.vstack([rings, grid.reshape(-1, 2)])
    spacing = np.concatenate([steps, np.full(len(candidates) - len(steps), size)])
    apart = KDTree(outline).query(candidates, distance_upper_bound=size)[0] > APART * spacing
    if len(long):
        apart &= KDTree(long).query(candidates, distance_upper_bound=size)[0] > APART * size
    rings, grid = candidates[: len(steps)][apart[: len(steps)]], candidates[len(steps) :][apart[len(steps) :]]
    if len(rings):
        grid = grid[KDTree(rings).query(grid, distance_upper_bound=size)[0] > APART * size]
    found = np.vstack([rings, grid])
    shapely.prepare(sheet)
    return np.asarray(found[shapely.contains_xy(sheet, *found.T)])


def _rings(holes: FloatArray | None, size: float) -> tuple[FloatArray, FloatArray]:
    """Points on circles around holes (n, 2) [mm] and their distances along the circle (n,) [mm], up to ``size``."""
    points, steps = [np.empty((0, 2))], [np.empty(0)]
    angles = 2 * np.pi * np.arange(RING) / RING
    way, step = np.stack([np.cos(angles), np.sin(angles)], axis=1), 2 * np.pi / RING
    for x, y, diameter in holes if holes is not None else ():
        radius = diameter / 2 * (1 + step)
        while radius * step < size:
            points.append([x, y] + radius * way)
            steps.append(np.full(RING, radius * step))
            radius *= 1 + step
    return np.vstack(points), np.concatenate(steps)


def _outline(sheet: BaseGeometry, size: float) -> tuple[FloatArray, IndexArray]:
    """The points of all outlines [mm], and their pieces from point to point with copper on the left."""
    parts = shapely.get_parts(sheet)
    parts = parts[shapely.get_type_id(parts) == shapely.GeometryType.POLYGON]
    rings, holes = [shapely.get_exterior_ring(parts)], []
    for polygon, count in zip(parts, shapely.get_num_interior_rings(parts), strict=True):
        holes += [shapely.get_interior_ring(polygon, number) for number in range(count)]
    rings.append(np.array(holes, dtype=object))
    every = np.concatenate(rings)
    wrong = shapely.is_ccw(every) != (np.arange(len(every)) < len(parts))
    every[wrong] = shapely.reverse(every[wrong])
    places, ring = shapely.get_coordinates(shapely.segmentize(every, size), return_index=True)
    points, index = np.unique(places.round(DIGITS), axis=0, return_inverse=True)
    pieces = np.stack([index[:-1], index[1:]], axis=1)[ring[1:] == ring[:-1]]
    pieces = pieces[pieces[:, 0] != pieces[:, 1]]
    key, back = pieces @ [len(points), 1], pieces[:, ::-1] @ [len(points), 1]
    return points, pieces[~np.isin(key, back)]  # a line drawn there and back parts nothing


class _Sides:
    """The sides of triangles as keys: their ends as one number."""

    def __init__(self, corners: IndexArray, count: int) -> None:
        self.corners, self.count = corners, count
        self.keys = corners * count + np.roll(corners, -1, axis=1)

    def missing(self, pieces: IndexArray) -> BoolArray:
        """Which pieces are no side of a triangle."""
        known, step = np.sort(self.keys.ravel()), np.array([self.count, 1])
        forth, back = pieces @ step, pieces[:, ::-1] @ step
        return np.asarray(~(_among(forth, known) | _among(back, known)))


def _among(keys: NDArray[np.integer], known: NDArray[np.integer]) -> BoolArray:
    place = np.minimum(np.searchsorted(known, keys), len(known) - 1)
    return np.asarray(known[place] == keys)


def _cut(points: FloatArray, pieces: IndexArray, missing: BoolArray, given: int) -> tuple[FloatArray, IndexArray]:
    """Points and pieces with the missing ones cut in two.

    Next to a point of the outline as given the cut lies on a circle whose radius is a power of two, so that pieces that
    meet there at a sharp angle end alike.
    """
    a, b = pieces[missing].T
    way = points[b] - points[a]
    length = np.hypot(*way.T)
    share = np.exp2(np.floor(np.log2(length * (2 / 3)))) / length  # from a third to two thirds
    share = np.where((a < given) == (b < given), 0.5, np.where(a < given, share, 1 - share))
    new = (points[a] + share[:, None] * way).round(DIGITS + 3)
    number = len(points) + np.arange(len(new))
    halves = np.concatenate([np.stack([a, number], axis=1), np.stack([number, b], axis=1)])
    return np.vstack([points, new]), np.concatenate([pieces[~missing], halves])


def _inside(triangles: Delaunay, sides: _Sides, pieces: IndexArray) -> BoolArray | None:
    """Which triangles are copper: those left of pieces, and all that no piece parts from them; None where that cannot
    be told.
    """
    count, outline = len(sides.corners), pieces @ np.array([sides.count, 1])
    back = pieces[:, ::-1] @ np.array([sides.count, 1])
    known = np.sort(np.concatenate([outline, back]))
    across = np.roll(triangles.neighbors, 1, axis=1)  # of the side from corner 0 to 1, 1 to 2, 2 to 0
    open_side = (across >= 0) & ~_among(sides.keys.ravel(), known).reshape(-1, 3)
    rows = np.broadcast_to(np.arange(count)[:, None], across.shape)[open_side]
    joined = coo_array((np.ones(len(rows), np.int8), (rows, across[open_side])), shape=(count, count))
    _, label = connected_components(joined, directed=False)
    left = _among(sides.keys.ravel(), np.sort(outline)).reshape(-1, 3).any(axis=1)
    right = _among(sides.keys.ravel(), np.sort(back)).reshape(-1, 3).any(axis=1)
    copper, bare = np.zeros(label.max() + 1, bool), np.zeros(label.max() + 1, bool)
    copper[label[left]], bare[label[right]] = True, True
    return None if np.any(copper & bare) else np.asarray(copper[label])
