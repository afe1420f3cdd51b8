"""The areas that tracks and pads cover, as polygons: a track drawn with a round tool, one of varying width, a disc.

SI units. Arcs become chords whose corners lie on the arc, so that a polygon never reaches beyond what it stands for.
"""

from __future__ import annotations

from math import acos, ceil, pi

import numpy as np
import shapely
from shapely import Polygon

from pcbstator.copper.geometry.index import track_areas
from pcbstator.copper.geometry.tracks import ComplexArray, FloatArray, Track, flat, strip_outline

GRID = 1e-9  # m, to which unions are rounded, as the fabrication files are
MITRE = 1.0 / 8  # of the tolerance that the tip of a mitre may lie beyond the round corner that it stands for


def disc_area(x: float, y: float, diameter: float, tolerance: float) -> Polygon:
    """A disc [m] as a polygon within ``tolerance`` [m] of it.

    >>> round(disc_area(0.0, 0.0, 2.0, 1e-5).area / pi, 4)
    1.0
    """
    count = 4 * ceil(pi / 2 / _step(diameter / 2, tolerance))
    return Polygon(flat(x + 1j * y + diameter / 2 * np.exp(2j * pi * np.arange(count) / count)))


def stroke_area(points: FloatArray, width: float, tolerance: float) -> Polygon:
    """What a round tool of ``width`` [m] covers along ``points`` (n, 2) [m], within ``tolerance`` [m].

    >>> round(stroke_area(np.array([[0.0, 0.0], [3.0, 0.0]]), 2.0, 1e-5).area - pi, 3)
    6.0
    """
    z = np.ascontiguousarray(points, dtype=float).view(complex)[:, 0]
    z = z[np.append(True, np.abs(np.diff(z)) > GRID)]
    if len(z) == 1:
        return disc_area(z[0].real, z[0].imag, width, tolerance)
    return _stroke(z, width / 2, tolerance)


def strip_areas(track: Track) -> list[Polygon]:
    """What a track of varying width covers, as contours of regions, which may not cross themselves.

    The inner edge of a bend narrower than half the track's width runs backwards; there the track is put together
    from its pieces.
    """
    outline = Polygon(strip_outline(track))
    if outline.is_valid:
        return [outline]
    pieces = shapely.convex_hull(track_areas(track, 0.0, chunk=1))
    ends = shapely.buffer(shapely.points(track.points[[0, -1]]), track.point_widths[[0, -1]] / 2)
    whole = shapely.union_all([*pieces, *ends], grid_size=GRID)
    parts = shapely.get_parts(whole)
    # Slivers between pieces are rounding; a track does not close on itself.
    return [Polygon(part.exterior) for part in parts]


def without_holes(shape: Polygon) -> list[Polygon]:
    """``shape`` in pieces that have no holes: a contour of a region cannot have any.

    The cuts go through the holes' middles; the pieces overlap by a micrometre so that no hairline shows.
    """
    if not shape.interiors:
        return [shape]
    left, bottom, right, top = shape.bounds
    middle = float(Polygon(shape.interiors[0]).centroid.x)
    overlap = 0.5e-6
    pieces = [
        shape.intersection(Polygon([(a, bottom), (b, bottom), (b, top), (a, top)]))
        for a, b in ((left, middle + overlap), (middle - overlap, right))
    ]
    polygons = [part for piece in pieces for part in getattr(piece, "geoms", [piece]) if isinstance(part, Polygon)]
    return [smaller for part in polygons for smaller in without_holes(part)]


def _step(radius: float, tolerance: float) -> float:
    """Angle [rad] of a chord that keeps within ``tolerance`` of its arc."""
    return 2 * acos(max(1 - tolerance / radius, 0.5)) if radius > 0 else pi / 2


def _stroke(z: ComplexArray, half: float, tolerance: float) -> Polygon:
    """One outline, or that of both halves where it would cross itself: in a bend too tight for its width, or where a
    line closes on itself."""
    right, left = _edge(z, half, tolerance), _edge(z[::-1], half, tolerance)
    outline = Polygon(flat(np.concatenate([right, left])))
    if outline.is_valid or len(z) == 2:
        return outline
    middle = len(z) // 2
    parts = shapely.union(_stroke(z[: middle + 1], half, tolerance), _stroke(z[middle:], half, tolerance))
    return max((part for part in shapely.get_parts(parts) if isinstance(part, Polygon)), key=lambda part: part.area)


def _edge(z: ComplexArray, half: float, tolerance: float) -> ComplexArray:
    """The edge on the right of a line and the round end that follows it, up to the end's left."""
    steps = np.diff(z)
    steps /= np.abs(steps)
    turns = np.angle(steps[1:] / steps[:-1])
    mitres = z[1:-1] - 0.5j * half * (steps[:-1] + steps[1:]) / np.maximum(np.cos(turns / 2) ** 2, 1e-6)
    excess = half * (1 / np.maximum(np.cos(turns / 2), 1e-6) - 1)
    parts: list[ComplexArray] = [z[:1] - 1j * half * steps[:1]]
    begin = 0
    for index in np.flatnonzero((turns > 0) & (excess > MITRE * tolerance)).tolist():  # round outside a left turn
        parts += [mitres[begin:index], _arc(z[index + 1], -1j * half * steps[index], turns[index], tolerance)]
        begin = index + 1
    return np.concatenate([*parts, mitres[begin:], _arc(z[-1], -1j * half * steps[-1], pi, tolerance)])


def _arc(centre: complex, start: complex, sweep: float, tolerance: float) -> ComplexArray:
    """Points of an arc from ``start`` (from the centre), counter-clockwise, its ends included."""
    count = max(1, ceil(sweep / _step(abs(start), tolerance)))
    found: ComplexArray = centre + start * np.exp(1j * sweep * np.arange(count + 1) / count)
    return found
