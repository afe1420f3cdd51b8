"""Outlines of lines and arcs: areas and extents against closed forms and against polygons."""

from math import asin, cos, hypot, pi, sin, sqrt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pcbstator.copper.geometry.contour import SAGITTA, Arc, Contour, Line, MountingTab, circle, ring_with_tabs, stadium

MM = 1e-3


def test_areas_are_those_of_the_closed_forms():
    assert circle(3.0, (1.0, 2.0)).area == pytest.approx(9 * pi, rel=1e-12)
    assert stadium((1.0, 1.0), (4.0, 5.0), 2.0).area == pytest.approx(5 * 2 + pi, rel=1e-12)  # length x width + disc
    # A tile: a quarter of a ring between radii 2 and 3, cut along radial lines.
    tile = Contour((3.0, 0.0), (Arc((0.0, 3.0), (0.0, 0.0)), Line((0.0, 2.0)), Arc((2.0, 0.0), (0.0, 0.0), False),
                                Line((3.0, 0.0))))  # fmt: skip
    assert tile.area == pytest.approx(pi / 4 * (9 - 4), rel=1e-12)
    assert tile.reversed().area == pytest.approx(-tile.area, rel=1e-12)
    assert tile.mirrored().area == pytest.approx(-tile.area, rel=1e-12)
    assert tile.bounds == pytest.approx((0.0, 0.0, 3.0, 3.0), abs=1e-12)
    assert tile.radii == pytest.approx((2.0, 3.0), rel=1e-12)


def test_an_ear_adds_the_area_that_plane_geometry_gives():
    """Square mounting tab: rectangle beyond the chord less the segment of the disc under it, and two fillets."""
    radius, width, reach, fillet = 40.0, 8.0, 6.0, 1.0
    outline = ring_with_tabs(radius, [MountingTab(0.7, width, reach, False, fillet)])
    half = width / 2
    along = sqrt(radius**2 - half**2)
    under = radius**2 * asin(half / radius) - half * along  # between chord and edge
    rectangle = width * (radius + reach - along) - under
    # A fillet: triangle centre of board, centre of fillet, corner … by numbers: area between edge, side and fillet.
    across, far = half + fillet, radius + fillet
    root = sqrt(far**2 - across**2)
    y = np.linspace(half, across * radius / far, 200_001)
    edge = np.sqrt(radius**2 - y**2)
    arc = root - np.sqrt(np.maximum(fillet**2 - (y - across) ** 2, 0.0))
    # Beyond the side, the fillet's arc is on the tab's side of its centre: solid from the edge up to the arc.
    solid = np.trapezoid(np.maximum(arc - edge, 0.0), y)
    assert outline.area - pi * radius**2 == pytest.approx(rectangle + 2 * solid, rel=2e-6)


tabs = st.lists(
    st.builds(MountingTab, angle=st.just(0.0), width=st.floats(2 * MM, 9 * MM), reach=st.floats(6 * MM, 20 * MM),
              rounded=st.booleans(), fillet=st.just(MM)), min_size=1, max_size=6,
)  # fmt: skip


@settings(max_examples=60, deadline=None)
@given(tabs, st.floats(0, 6.28), st.floats(38 * MM, 90 * MM))
def test_polygon_of_any_outline_lies_within_the_sagitta(found, first, radius):
    placed = [
        MountingTab(first + 2 * pi * i / len(found), e.width, e.reach, e.rounded, e.fillet) for i, e in enumerate(found)
    ]
    outline = ring_with_tabs(radius, placed)
    polygon = outline.polygon
    assert polygon.is_valid and polygon.exterior.is_ccw
    assert outline.area == pytest.approx(polygon.area, abs=polygon.length * SAGITTA)
    assert outline.bounds == pytest.approx(polygon.bounds, abs=1.01 * SAGITTA)
    corners = np.hypot(*np.asarray(polygon.exterior.coords).T)
    assert outline.radii == pytest.approx((corners.min(), corners.max()), abs=1.01 * SAGITTA)
    # Segments meet at a tangent at the root: no inner corner sharper than the router makes.
    for start, segment in outline.pairs():
        if isinstance(segment, Arc):
            r = hypot(start[0] - segment.centre[0], start[1] - segment.centre[1])
            assert r >= MM - 1e-12
            assert hypot(segment.end[0] - segment.centre[0], segment.end[1] - segment.centre[1]) == pytest.approx(r)


@given(st.floats(-7, 7), st.floats(0.1, 5), st.floats(0.1, 5))
def test_turning_and_mirroring_keep_size(angle, length, width):
    slot = stadium((1.0, 0.5), (1.0 + length * cos(0.3), 0.5 + length * sin(0.3)), width)
    for other in (slot.turned(angle), slot.mirrored().reversed()):
        assert other.area == pytest.approx(slot.area, rel=1e-9)
    assert slot.turned(angle).radii == pytest.approx(slot.radii, rel=1e-9)
