"""Teardrops keep the gap to every other turn, track and pad, of their own net too, where there is hardly room for them.

Measured anew with shapely. Foreign is all copper of the layer but what meets in the teardrop's pad: that pad, and the
tracks that end there as far as three lengths of the teardrop from it. Connections that hang together are one conductor.
"""

import numpy as np
import pytest
import shapely
from shapely.ops import substring

from pcbstator.copper import lay_copper
from pcbstator.copper.connections.via_transitions import with_teardrops
from pcbstator.copper.geometry.tracks import strip_outline
from tests.copper.stators import Groups, design_of, place

NARROW = {"board__track_width_mm": 0.2, "board__track_gap_mm": 0.2, "winding__turns": 6}
KINDS = {
    "sector": NARROW,
    "round": NARROW | {"winding__outline": "round"},
    "two layers": NARROW | {"board__layers": 2},
    "delta": NARROW | {"winding__connection": "delta"},
    "wave": {"winding__kind": "wave", "winding__turns": 2, "board__track_width_mm": 0.2},
}


def without_start(points, way):
    """The polyline without its first ``way``; None where nothing is left."""
    line = shapely.LineString(points)
    if line.length <= way:
        return None
    return substring(line, way, line.length)


def foreign_copper(copper, layer, buses):
    """A function from a teardrop's end and length to the shapes that are foreign to it."""
    tracks = [track for track in copper.tracks if track.layer == layer]
    holes = [hole for hole in copper.holes if not hole.within]
    pads = [shapely.Point(hole.x, hole.y).buffer(hole.pad / 2, quad_segs=64) for hole in holes]

    def bus_of(points):
        return {buses.find(place(point)) for point in points if place(point) in buses.parent}

    def around(end, length):
        own = bus_of([end])
        for track in tracks:
            if track.role != "coil" and own & bus_of(track.points[[0, -1]]):
                continue
            points = track.points
            for _ in range(2):
                if points is not None and np.hypot(*(points[0] - end)) < 1e-9:
                    left = without_start(points, 3 * length)
                    points = None if left is None else shapely.get_coordinates(left)
                points = None if points is None else points[::-1]
            if points is not None:
                yield shapely.LineString(points).buffer(track.width / 2, quad_segs=64)
        for hole, pad in zip(holes, pads, strict=True):
            at = np.array([hole.x, hole.y])
            if np.hypot(*(at - end)) > 1e-9 and not own & bus_of([at]):
                yield pad

    return around


def least_distance(copper):
    """From any teardrop of the first coil or of the connections to foreign copper [m]."""
    buses = Groups()
    for track in copper.interconnects:
        buses.join(place(track.points[0]), place(track.points[-1]))
    each = len(copper.coil.teardrops)
    found = []
    for layer in copper.layers:
        around = foreign_copper(copper, layer.number, buses)
        for teardrop in (*copper.teardrops[:each], *copper.interconnect_teardrops):
            if teardrop.layer == layer.number:
                area = shapely.Polygon(strip_outline(teardrop, caps=False))
                shapes = np.array(list(around(teardrop.points[-1], teardrop.length)))
                found.append(shapely.distance(area, shapes).min())
    return min(found)


@pytest.mark.parametrize("more", [1.0, 1.2])
@pytest.mark.parametrize("values", KINDS.values(), ids=KINDS)
def test_teardrops_keep_the_gap_to_foreign_copper(values, more):
    """Also a gap wider than that of the tracks, which leaves room for some teardrops only, and shorter ones."""
    design = design_of(**values)
    gap = more * design.board.track_gap
    copper = with_teardrops(lay_copper(design), gap)
    assert copper.coil.teardrops or copper.interconnect_teardrops
    assert least_distance(copper) >= gap - 1e-7  # the polygons' chords
