"""Outlines of the turns against closed forms and against the same shape made by growing and shrinking polygons.

The outline of a turn is the boundary of a wedge (two arcs, two straight sides) in which a disc of the corner's radius
has been rolled round: shrinking by that radius and growing again gives it by a second way.
"""

from math import asin, cos, pi, sin, tan

import numpy as np
import pytest
import shapely

from pcbstator.copper import Track
from pcbstator.copper.spiral.outlines import (
    SAGITTA,
    arc_pieces,
    outline_points,
    parallel_family,
    round_family,
    sector_family,
)

MM = 1e-3
FAMILIES = {
    "sector of 18": sector_family(50 * MM, 33 * MM, 18, 0.25 * MM, 0.6 * MM),
    "sector of 9": sector_family(40 * MM, 21 * MM, 9, 0.25 * MM, 0.8 * MM),
    "sector of 4": sector_family(30 * MM, 12 * MM, 4, 0.3 * MM, 1.0 * MM),
    "parallel of 36": parallel_family(117 * MM, 96 * MM, 36, 0.3 * MM, 0.7 * MM),
    "parallel of 6": parallel_family(30 * MM, 14 * MM, 6, 0.3 * MM, 0.7 * MM),
    "round of 9": round_family(36 * MM, 20 * MM, 9, 0.25 * MM),
}
FAMILIES = {name: family.with_ramp(2 * MM) for name, family in FAMILIES.items()}
STRAIGHT = [name for name in FAMILIES if "round" not in name]


def outline(family, offset):
    """The closed outline with this offset."""
    vertex = np.arange(2 * family.half_vertices)
    return shapely.Polygon(outline_points(family, np.full(len(vertex), offset), vertex))


def rolled_wedge(family, offset):
    """The wedge inside both arcs and both sides, ``offset`` further in, rounded by the corner's radius."""
    resolution = 400
    outer = shapely.Point(0, 0).buffer(family.outer - offset, resolution)
    inner = shapely.Point(0, 0).buffer(family.inner + offset, resolution)
    along = np.array([cos(family.tilt), sin(family.tilt)])
    inwards = np.array([sin(family.tilt), -cos(family.tilt)])
    far = 2 * family.outer
    start = (family.side + offset) * inwards
    half = shapely.Polygon([start - far * along, start + far * along, start + far * (along + inwards),
                            start + far * (inwards - along)])  # fmt: skip
    mirrored = shapely.affinity.scale(half, yfact=-1, origin=(0, 0))
    wedge = outer.difference(inner).intersection(half).intersection(mirrored)
    wedge = max(shapely.get_parts(wedge), key=lambda part: part.centroid.x)
    return wedge.buffer(-family.corner, resolution).buffer(family.corner, resolution)


@pytest.mark.parametrize("radius", [0.3 * MM, 20 * MM, 0.2])
@pytest.mark.parametrize("angle", [0.02, 1.0, 2 * pi])
def test_arc_pieces_are_the_fewest_within_the_sagitta(radius, angle):
    """Sagitta of a chord over the angle a: r·(1 − cos(a/2)) (geometry)."""

    def sagitta(pieces):
        return radius * (1 - cos(angle / pieces / 2))

    pieces = arc_pieces(radius, angle)
    assert sagitta(pieces) <= SAGITTA * (1 + 1e-9)
    assert pieces == 1 or sagitta(pieces - 1) > SAGITTA


@pytest.mark.parametrize("offset", [0.0, 0.5 * MM, 1.3 * MM])
@pytest.mark.parametrize("name", STRAIGHT)
def test_outline_is_the_rolled_wedge(name, offset):
    family = FAMILIES[name]
    ours, wedge = outline(family, offset), rolled_wedge(family, offset)
    assert ours.is_valid
    assert ours.exterior.hausdorff_distance(wedge.exterior) < 3 * SAGITTA
    assert ours.area == pytest.approx(wedge.area, abs=SAGITTA * wedge.length)


@pytest.mark.parametrize("name", FAMILIES)
def test_turns_are_parallel(name):
    """Every point of the next turn lies its offset away, on arcs and sides; corners of equal radius are further."""
    family, step = FAMILIES[name], 0.5 * MM
    for offset in (0.0, 0.5 * MM, 1.0 * MM):
        first, second = outline(family, offset), outline(family, offset + step)
        assert first.covers(second)
        points = shapely.points(np.asarray(shapely.segmentize(second.exterior, 0.1 * MM).coords))
        distance = shapely.distance(points, first.exterior)
        assert distance.min() == pytest.approx(step, abs=2 * SAGITTA)
        assert np.median(distance) == pytest.approx(step, abs=2 * SAGITTA)
        # Corners of one radius have their centres step/sin(half the corner's angle) apart. The angle is sharpest at the
        # inner arc: a right angle less the lean of the side against the radius there.
        lean = 0.0 if "round" in name else asin((abs(family.side) + offset + step + family.corner) / family.inner)
        assert distance.max() <= step / sin((pi / 2 - lean) / 2) + 2 * SAGITTA


@pytest.mark.parametrize("name", FAMILIES)
def test_halves_are_mirror_images(name):
    family = FAMILIES[name]
    half = family.half_vertices
    vertex = np.arange(2 * half + 1)
    points = outline_points(family, np.full(len(vertex), 0.4 * MM), vertex)
    assert points[::-1] * [1.0, -1.0] == pytest.approx(points, abs=1e-15)
    assert points[[0, half, -1], 1] == pytest.approx(0.0, abs=1e-15)
    assert shapely.LinearRing(points[:-1]).is_ccw


@pytest.mark.parametrize("name", FAMILIES)
def test_a_turn_gains_one_pitch(name):
    fractions = FAMILIES[name].turn_fractions()
    half = FAMILIES[name].half_vertices
    assert (fractions[0], fractions[half], fractions[-1]) == (0.0, 0.5, 1.0)
    assert np.all(np.diff(fractions) >= 0)
    assert fractions + fractions[::-1] == pytest.approx(1.0)


@pytest.mark.parametrize("name", STRAIGHT)
def test_outlines_exist_as_deep_as_the_wedge(name):
    """The deepest outline is the last one that a disc of the corner's radius fits into."""
    family = FAMILIES[name]
    depths = np.linspace(0, family.outer - family.inner, 400)
    ours = np.array([family.is_open(depth) for depth in depths])
    disc = np.array([not rolled_wedge_is_empty(family, depth) for depth in depths])
    assert ours[0] and not ours[-1]
    assert np.all(np.diff(ours.astype(int)) <= 0)
    assert abs(int(ours.sum()) - int(disc.sum())) <= 1


def rolled_wedge_is_empty(family, offset):
    """Whether no disc of the corner's radius fits: its centre would stand on the axis, between arcs and sides."""
    reach = offset + family.corner
    high = family.outer - reach
    low = family.inner + reach
    if family.tilt > 0:
        return high < max(low, (family.side + reach) / sin(family.tilt))
    return high < low or family.side + reach > 0


@pytest.mark.parametrize("name", FAMILIES)
@pytest.mark.parametrize("offset", [0.0, 1.0 * MM])
def test_room_on_the_axis(name, offset):
    """Both ends of the room keep their distance from the turn, and no less than asked; just beyond, they do not."""
    family, margin = FAMILIES[name], 0.7 * MM
    low, high = family.axis_room(offset, margin)
    turn = outline(family, offset).exterior
    for place, beyond in ((low, -1), (high, 1)):
        assert turn.distance(shapely.Point(place, 0)) == pytest.approx(margin, abs=2 * SAGITTA)
        assert turn.distance(shapely.Point(place + beyond * 0.1 * MM, 0)) < margin - 20 * SAGITTA


@pytest.mark.parametrize("coils", [3, 5, 9, 24])
@pytest.mark.parametrize("inner", [15 * MM, 25 * MM, 32 * MM])
def test_circle_is_the_largest_that_fits(coils, inner):
    """It touches the outer radius, and besides the inner one or the line half-way to the neighbour."""
    outer, clearance = 40 * MM, 0.3 * MM
    family = round_family(outer, inner, coils, clearance)
    to_neighbour = family.centre * sin(pi / coils) - family.radius
    assert family.outer == pytest.approx(outer)
    assert family.inner >= inner - 1e-12 and to_neighbour >= clearance - 1e-12
    assert min(family.inner - inner, to_neighbour - clearance) == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize("coils", [6, 18])
def test_parallel_sides_stand_as_wide_as_the_inner_arc_allows(coils):
    """At the inner arc the side is ``clearance`` from the line half-way to the neighbour; further out it is further."""
    inner, clearance = 20 * MM, 0.4 * MM
    family = parallel_family(30 * MM, inner, coils, clearance, 0.6 * MM)
    half_width = -family.side
    corner = np.array([np.sqrt(inner**2 - half_width**2), half_width])
    to_line = corner @ [sin(pi / coils), -cos(pi / coils)]
    assert to_line == pytest.approx(clearance, rel=1e-9)
    assert half_width < inner * tan(pi / coils)


def test_area_of_a_strip_whose_width_changes():
    """Two trapezoids: 3 long from 1 to 2 wide, and 1 long from 2 to 4."""
    track = Track(1, np.array([[0.0, 0.0], [3.0, 0.0], [4.0, 0.0]]), 4.0, "A", "A", "coil", np.array([1.0, 2.0, 4.0]))
    assert track.area == pytest.approx(4.5 + 3.0)
