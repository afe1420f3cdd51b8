"""What a Gerber file draws, object by object, and the areas that come of it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from math import cos, radians, sin

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from shapely.geometry.base import BaseGeometry

from pcbstator.verify.records import FloatArray, Pin

MOST_PAIRS = 5e5  # of touching areas that are sorted into groups

NOTHING: BaseGeometry = shapely.Polygon()


@dataclass(frozen=True)
class DrawnObject:
    """A stroke, flash or region: its area [mm], whether it adds, its net (None: no attribute said one).

    pad: x, y and least width of a flash. pin: part, number and function of the pin that a flash is.
    """

    dark: bool
    net: str | None
    shape: BaseGeometry
    pad: tuple[float, float, float] | None = None
    pin: tuple[str, str, str] | None = None


@dataclass(frozen=True)
class Drawing:
    """What a Gerber file draws [mm].

    attributes: of the file (.FileFunction and others). nets: what each net draws, where the file has nets. unnamed:
    what no net draws, in a file that has nets. pads: (n, 3) x, y and least width of every flash that adds. lines:
    middles of the strokes, as an outline needs them. negative: whether the drawing is the image of what is absent.
    """

    attributes: Mapping[str, tuple[str, ...]]
    area: BaseGeometry
    nets: Mapping[str, BaseGeometry]
    unnamed: BaseGeometry
    pads: FloatArray
    pins: tuple[Pin, ...] = ()
    lines: tuple[FloatArray, ...] = ()
    negative: bool = False


def moved(
    objects: Sequence[DrawnObject], places: Sequence[tuple[float, float]], matrix: FloatArray | None = None
) -> list[DrawnObject]:
    """``objects`` at every one of ``places``, turned and mirrored by ``matrix`` before."""
    turn = np.eye(2) if matrix is None else matrix
    shapes = np.array([thing.shape for thing in objects], dtype=object)
    found = []
    for x, y in places:
        shift = np.array([x, y])
        for thing, shape in zip(objects, shapely.transform(shapes, _affine(turn, shift)), strict=True):
            pad = thing.pad
            if pad is not None:
                place = turn @ np.array(pad[:2]) + shift
                pad = (float(place[0]), float(place[1]), pad[2] * abs(float(np.linalg.det(turn))) ** 0.5)
            found.append(replace(thing, shape=shape, pad=pad))
    return found


def _affine(matrix: FloatArray, shift: FloatArray) -> Callable[[FloatArray], FloatArray]:
    return lambda points: np.asarray(points @ matrix.T + shift, dtype=np.float64)


def transform_matrix(mirrored: str, turn: float, scale: float) -> FloatArray:
    """Mirroring (of coordinates named in ``mirrored``), then turn [degrees], then scale (LM, LR and LS).

    >>> transform_matrix("X", 0.0, 2.0).tolist()
    [[-2.0, 0.0], [0.0, 2.0]]
    """
    mirror = np.diag([-1.0 if "X" in mirrored else 1.0, -1.0 if "Y" in mirrored else 1.0])
    if turn == 0:
        return scale * mirror
    c, s = cos(radians(turn)), sin(radians(turn))
    matrix: FloatArray = scale * np.array([[c, -s], [s, c]]) @ mirror
    return matrix


def drawing(
    objects: Sequence[DrawnObject],
    attributes: Mapping[str, tuple[str, ...]],
    lines: Sequence[FloatArray],
    negative: bool,
) -> Drawing:
    """The areas that ``objects`` make in their order: what clears takes away what was drawn before it."""
    names = sorted({thing.net for thing in objects if thing.net is not None})
    areas: dict[str | None, BaseGeometry] = {name: NOTHING for name in (None, *names)}
    for run in runs(objects):
        if run[0].dark:
            by_net: dict[str | None, list[BaseGeometry]] = defaultdict(list)
            for thing in run:
                by_net[thing.net].append(thing.shape)
            for name, shapes in by_net.items():
                drawn = union(shapes)
                areas[name] = drawn if areas[name].is_empty else union([areas[name], drawn])
        else:
            cleared = union([thing.shape for thing in run])
            areas = {name: polygons(area.difference(cleared)) for name, area in areas.items()}
    unnamed = areas.pop(None)
    parts = [area for area in (unnamed, *areas.values()) if not area.is_empty]
    pads = [thing.pad for thing in objects if thing.pad is not None and thing.dark]
    return Drawing(
        attributes=attributes,
        area=parts[0] if len(parts) == 1 else union(parts),
        nets={name: area for name, area in areas.items() if name is not None and not area.is_empty},
        unnamed=unnamed if names else NOTHING,
        pads=np.array(pads, dtype=np.float64).reshape(-1, 3),
        pins=tuple(
            Pin(*thing.pin, x=thing.pad[0], y=thing.pad[1])
            for thing in objects
            if thing.pin is not None and thing.pad is not None and thing.dark
        ),
        lines=tuple(lines),
        negative=negative,
    )


def runs(objects: Sequence[DrawnObject]) -> list[list[DrawnObject]]:
    """Objects in runs of one polarity."""
    runs: list[list[DrawnObject]] = []
    for thing in objects:
        if not runs or runs[-1][0].dark != thing.dark:
            runs.append([])
        runs[-1].append(thing)
    return runs


def union(shapes: Sequence[BaseGeometry]) -> BaseGeometry:
    """The union of areas, put together group by group of those that touch: much faster than all at once."""
    areas = np.array(shapes, dtype=object)
    if len(areas) < 2:
        return polygons(areas[0]) if len(areas) else NOTHING
    if _expected_pairs(areas) > MOST_PAIRS:
        return polygons(shapely.union_all(areas))
    shapely.prepare(areas)
    first, second = shapely.STRtree(areas).query(areas, predicate="intersects")
    links = coo_array((np.ones(len(first)), (first, second)), shape=(len(areas), len(areas)))
    _, group = connected_components(links, directed=False)
    order = np.argsort(group, kind="stable")
    groups = np.split(areas[order], np.flatnonzero(np.diff(group[order])) + 1)
    united = [polygons(shapely.union_all(members)) for members in groups]
    parts = shapely.get_parts(united)
    return parts[0] if len(parts) == 1 else shapely.MultiPolygon(list(parts))


def _expected_pairs(areas: NDArray[np.object_]) -> float:
    """How many pairs of areas touch if their boxes are spread evenly."""
    boxes = shapely.bounds(areas)
    sizes = boxes[:, 2:] - boxes[:, :2]
    whole = boxes[:, 2:].max(axis=0) - boxes[:, :2].min(axis=0)
    shares = np.minimum(1.0, 2 * sizes / np.maximum(whole, 1e-9))
    return float(len(areas) * shares.prod(axis=1).sum())


def polygons(shape: BaseGeometry) -> BaseGeometry:
    """The areas of ``shape``, without the lines and points that an overlay may leave."""
    if shape.geom_type in ("Polygon", "MultiPolygon"):
        return shape
    return shapely.union_all([part for part in shapely.get_parts(shape) if part.geom_type.endswith("Polygon")])
