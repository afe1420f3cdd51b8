"""Places where copper is narrower than a limit, and what they are: narrowed tracks, or bridges that close a loop."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from pcbstator.verify.connected import ConnectedCopper, joined
from pcbstator.verify.pieces.ends import track_ends

EXACT = 0.97  # of the limit: rounding and chords may take so much; below it copper counts as narrower
SEGMENTS = 8
BESIDE = 0.05  # mm


@dataclass(frozen=True)
class NarrowPlace:
    """A neck of a piece of copper: area that is narrower than ``limit``, least width and place [mm], layer.

    stub: it leads to nothing.
    """

    piece: int
    layer: int
    area: BaseGeometry
    width: float
    limit: float
    x: float
    y: float
    stub: bool = False


def narrow_places(copper: ConnectedCopper, limit: float) -> list[NarrowPlace]:
    """The necks of all copper that are narrower than ``limit`` [mm]."""
    radius = EXACT * limit / 2
    eroded = shapely.buffer(copper.pieces, -radius, quad_segs=SEGMENTS)
    changed = (shapely.get_num_geometries(eroded) != 1) | shapely.is_empty(eroded)
    changed |= shapely.get_num_interior_rings(eroded) != shapely.get_num_interior_rings(copper.pieces)
    found = []
    for piece in np.flatnonzero(changed):
        found += _necks(copper, int(piece), eroded[piece], radius)
    return found


def _necks(copper: ConnectedCopper, piece: int, eroded: BaseGeometry, radius: float) -> list[NarrowPlace]:
    shape = copper.pieces[piece]
    opened = eroded.buffer(1.02 * radius, quad_segs=SEGMENTS)
    layer = int(copper.layers[piece])
    necks = []
    for part in shapely.get_parts(shape.difference(opened)):
        if part.area < 0.02 * radius**2:
            continue
        sides = shapely.get_parts(part.buffer(0.02 * radius).intersection(opened.boundary))
        contacts = _apart(sides, radius) if len(sides) else 0
        stub = contacts == 1
        if stub and part.area < 4 * radius**2:
            continue  # the corner of a pad or the round end of a track
        width = neck_width(shape, part, radius)
        point = part.representative_point()
        if width < 2 * radius or stub:
            necks.append(NarrowPlace(piece, layer, part, width, 2 * radius / EXACT, point.x, point.y, stub))
    return necks


def _apart(lines: np.ndarray[tuple[int], np.dtype[np.object_]], radius: float) -> int:
    """How many groups lines make that do not touch each other."""
    merged = shapely.union_all(shapely.buffer(lines, 0.05 * radius))
    return int(shapely.get_num_geometries(merged))


def neck_width(shape: BaseGeometry, neck: BaseGeometry, radius: float) -> float:
    """The least width of a neck [mm]: twice the least distance by which what lies around it can be eroded whole."""
    around = neck.buffer(2 * radius)
    local = shape.intersection(around)
    whole = [part for part in shapely.get_parts(local) if part.intersects(neck)]
    if not whole:
        return 0.0
    local = whole[0]
    low, high = 0.0, radius
    for _ in range(10):
        middle = (low + high) / 2
        parts = shapely.get_parts(local.buffer(-middle, quad_segs=4))
        if len(parts) == 1 and not parts[0].is_empty and parts[0].intersects(neck):
            low = middle
        else:
            high = middle
    return 2 * low


def closes_loop(copper: ConnectedCopper, place: NarrowPlace) -> bool:
    """Whether copper on both sides of a neck is joined without it, and the neck joins tracks side by side.

    A narrowed track within a loop that belongs there is told from a bridge by its ends: without the neck the track
    has two ends, where a bridge leaves the sides of tracks.
    """
    if place.stub:
        return False
    shape = copper.pieces[place.piece]
    rest = shape.difference(place.area.buffer(1e-4, join_style="mitre"))
    parts = [part for part in shapely.get_parts(rest) if part.geom_type == "Polygon" and part.area > 1e-6]
    beside = [part for part in parts if part.dwithin(place.area, 1e-3)]
    if len(beside) > 1 and not _joined_without(copper, place.piece, parts, beside):
        return False
    return not _leaves_ends(beside, place)


def _joined_without(copper: ConnectedCopper, piece: int, parts: list[BaseGeometry], beside: list[BaseGeometry]) -> bool:
    """Whether the first two of ``beside``, parts of a piece, are joined through other pieces and holes."""
    count = len(copper.pieces)
    touches = []
    for hole, other in copper.touches:
        if other != piece:
            touches.append((hole, other))
        else:
            touches += [(hole, count + i) for i, part in enumerate(parts) if part.intersects(copper.barrels[hole])]
    links = [link for link in copper.links.tolist() if piece not in link]
    groups, _ = joined(
        count + len(parts),
        len(copper.holes),
        np.array(touches, dtype=np.intp).reshape(-1, 2),
        np.array(links, dtype=np.intp).reshape(-1, 2),
    )
    numbers = [count + next(i for i, part in enumerate(parts) if part is each) for each in beside]
    return len({int(groups[number]) for number in numbers}) < len(numbers)


def _leaves_ends(beside: list[BaseGeometry], place: NarrowPlace) -> bool:
    """Whether tracks end where the neck was."""
    for part in beside:
        ends = track_ends(shapely.get_coordinates(shapely.get_exterior_ring(part))[:-1], 3.0)
        if len(ends):
            inside = shapely.contains_xy(part, ends[:, 3], ends[:, 4])
            near = shapely.distance(shapely.points(ends[:, :2]), place.area) < BESIDE
            wide = ends[:, 2] > 0.8 * place.limit  # not what is left of the neck itself
            if np.any(inside & near & wide):
                return True
    return False
