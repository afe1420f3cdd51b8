"""The index of copper for distances: tracks in short pieces, pads as points, and a search for what is near.

A piece is a line, a point or an area, widened by half a width. Short pieces make the search selective.
"""

from __future__ import annotations

from functools import cached_property

import numpy as np
import shapely
from numpy.typing import NDArray

from pcbstator.copper.geometry.tracks import FloatArray, Track, strip_outline

Shapes = NDArray[np.object_]  # of the geometry library
Numbers = NDArray[np.int64]

CHUNK = 12  # straight pieces of a track in one piece of the index


class CopperIndex:
    """Pieces of copper: their shapes and by how much [m] each is widened, (pieces,)."""

    def __init__(self, shapes: Shapes, half: FloatArray) -> None:
        self.shapes, self.half = shapes, half

    @cached_property
    def _trees(self) -> list[tuple[float, Numbers, shapely.STRtree]]:
        """A tree for every half width, so that a few wide pads do not widen the search among many narrow tracks."""
        groups = [(float(half), np.nonzero(self.half == half)[0]) for half in np.unique(self.half)]
        return [(half, members, shapely.STRtree(self.shapes[members])) for half, members in groups]

    def near(self, asked: Shapes, reach: FloatArray | float) -> tuple[Numbers, Numbers]:
        """Numbers of shape and piece of all pairs that may be closer than ``reach`` [m], one or one per shape."""
        found = [
            (shape, members[piece])
            for half, members, tree in self._trees
            for shape, piece in [tree.query(asked, "dwithin", distance=reach + half)]
        ]
        shapes, pieces = zip(*found, strict=True)
        return np.concatenate(shapes), np.concatenate(pieces)

    def distances(self, shapes: Shapes, pieces: Numbers) -> FloatArray:
        """Distance [m] of each shape from the copper of the piece beside it."""
        return np.asarray(shapely.distance(shapes, self.shapes[pieces]) - self.half[pieces])


def cuts(points: int, chunk: int = CHUNK) -> tuple[Numbers, Numbers]:
    """Number of the first and of the last point of every piece of a track with this many points."""
    first = np.arange(0, points - 1, chunk)
    return first, np.minimum(first + chunk, points - 1)


def track_areas(track: Track, angle: float, chunk: int = CHUNK) -> list[shapely.Geometry]:
    """The areas of the pieces of a track whose width varies, at its place turned by ``angle`` [rad]."""
    last = len(track.points) - 1
    outline = strip_outline(track.turned(angle), caps=False)
    right, left = outline[: last + 1], outline[:last:-1]
    first, final = cuts(last + 1, chunk)
    pairs = zip(first.tolist(), (final + 1).tolist(), strict=True)
    return [shapely.Polygon(np.concatenate([right[a:b], left[a:b][::-1]])) for a, b in pairs]
