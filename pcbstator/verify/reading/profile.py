"""The board within its outline: closed lines, one within the other."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from scipy.spatial import cKDTree
from shapely.geometry.base import BaseGeometry

from pcbstator.verify.reading.drawing import polygons
from pcbstator.verify.records import FloatArray

JOIN = 0.02  # mm: ends of lines that lie so close are one corner (common practice, no source)


def board_area(lines: Sequence[FloatArray]) -> BaseGeometry | None:
    """What lies within the closed ``lines`` [mm], cut-outs taken away; None where they do not close.

    >>> square = np.array([[0.0, 0.0], [4, 0], [4, 4], [0, 4], [0, 0]])
    >>> board_area([square, square / 4 + 1]).area
    15.0
    """
    kept = [line for line in lines if len(line) > 1 and np.ptp(line, axis=0).max() > JOIN]
    if not kept:
        return None
    ends = np.array([line[index] for line in kept for index in (0, -1)])
    corners = _joined(ends).reshape(-1, 2, 2)
    strings = []
    for line, (start, end) in zip(kept, corners, strict=True):
        strings.append(shapely.LineString(np.vstack([start, line[1:-1], end])))
    merged = shapely.line_merge(shapely.MultiLineString(strings))
    rings = [part for part in shapely.get_parts(merged) if part.is_ring]
    if not rings or any(not part.is_ring for part in shapely.get_parts(merged)):
        return None
    area: BaseGeometry = shapely.Polygon()
    for ring in rings:
        area = area.symmetric_difference(shapely.make_valid(shapely.Polygon(ring)))
    area = polygons(area)
    return None if area.is_empty else area


def _joined(ends: FloatArray) -> FloatArray:
    """Ends that lie within JOIN of each other, at one place."""
    pairs = cKDTree(ends).query_pairs(JOIN, output_type="ndarray")
    leader = np.arange(len(ends))
    for first, second in pairs[np.argsort(pairs[:, 1])] if len(pairs) else []:
        leader[second] = min(leader[second], leader[first])
    return np.asarray(ends[leader], dtype=np.float64)
