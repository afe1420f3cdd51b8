"""Areas of tracks and discs against closed forms; what is left free against a plain ring."""

from math import hypot, pi

import numpy as np
import pytest
import shapely

from pcbstator.copper import Terminal, Track
from pcbstator.copper.free_room import free_room, widest_part
from pcbstator.copper.geometry.areas import disc_area, stroke_area
from pcbstator.copper.geometry.tracks import Layer
from pcbstator.copper.net_areas import net_areas
from pcbstator.copper.plain_board import PlainBoard
from tests.copper.stators import design_of

FINE = 1e-8  # m
WIDTH = 1e-3


def arc(radius, sweep, count=4001):
    angles = np.linspace(0.0, sweep, count)
    return radius * np.stack([np.cos(angles), np.sin(angles)], axis=1)


@pytest.mark.parametrize("turn", [0.3, 1.0, pi / 2, 2.5])
def test_a_bend_keeps_its_round_corner(turn):
    """Two strips less the kite that both cover, a sector of the bend's angle, two half discs; the kite's sides are half
    the width and its product with the tangent of half the bend."""
    length, half = 10e-3, WIDTH / 2
    points = np.array([[-length, 0.0], [0.0, 0.0], [length * np.cos(turn), length * np.sin(turn)]])
    exact = 2 * length * WIDTH - half**2 * np.tan(turn / 2) + turn / 2 * half**2 + pi * half**2
    assert stroke_area(points, WIDTH, FINE).area == pytest.approx(exact, rel=1e-5)


def test_a_bend_tighter_than_half_the_width_is_filled():
    """A track that turns about a radius of a fifth of its width: a half disc outside, nothing of the inside left."""
    small = 0.2 * WIDTH
    points = np.concatenate([[[small, -5e-3]], arc(small, pi, 101), [[-small, -5e-3]]])
    reach = WIDTH / 2 + small
    exact = pi / 2 * reach**2 + 2 * reach * 5e-3  # both legs overlap
    caps = shapely.union_all([shapely.Point(x, -5e-3).buffer(WIDTH / 2, quad_segs=200) for x in (-small, small)])
    below = caps.intersection(shapely.box(-1, -1, 1, -5e-3)).area
    assert stroke_area(points, WIDTH, FINE).area == pytest.approx(exact + below, rel=1e-4)


def test_a_closed_ring_has_a_hole():
    """Along an arc its area is length times width."""
    shape = stroke_area(arc(20e-3, 1.9 * pi), WIDTH, FINE)
    assert shape.area == pytest.approx(1.9 * pi * 20e-3 * WIDTH + pi / 4 * WIDTH**2, rel=1e-5)
    assert disc_area(1.0, 2.0, WIDTH, FINE).area == pytest.approx(pi / 4 * WIDTH**2, rel=1e-4)


@pytest.mark.parametrize("tolerance", [2e-6, 10e-6])
def test_edges_keep_the_tolerance_that_is_stated(tolerance):
    """A ring of copper of known radii: every corner of its outlines and every middle between them."""
    board = ring_board_of(radius=20e-3)
    (area,) = (area for area in net_areas(board, tolerance) if area.layer == 1)
    (piece,) = area.pieces
    inner, outer = 20e-3 - WIDTH / 2, 20e-3 + WIDTH / 2
    for ring, radius in ((piece.exterior, outer), (piece.interiors[0], inner)):
        points = shapely.get_coordinates(ring)
        places = np.concatenate([points, (points[1:] + points[:-1]) / 2])
        assert np.abs(np.hypot(*places.T) - radius).max() < tolerance + 0.1e-6  # the track's own chords


def ring_board_of(radius, terminals=()):
    """A closed ring of copper on layer 1 of a board from 10 to 40 mm."""
    track = Track(1, arc(radius, 2 * pi), WIDTH, "R", "", "coil")
    layers = (Layer(1, 0.0, 35e-6, True), Layer(2, -1.6e-3, 35e-6, True))
    return PlainBoard(layers, 10e-3, 40e-3, (track,), (), terminals)


def test_free_room_of_a_plain_ring():
    """Two annuli: from the bore and its edge to the copper less the clearance, and the same outside."""
    rules, clearance = design_of().rules, 0.2e-3
    board = ring_board_of(20e-3, (Terminal("R", 30e-3, 0.0, 1e-3, 2e-3, 1, "R"),))
    room = free_room(board, net_areas(board), rules, clearance)
    near, far = 20e-3 - WIDTH / 2 - clearance, 20e-3 + WIDTH / 2 + clearance
    inside = sum(piece.area for piece in room.inside)
    assert inside == pytest.approx(pi * (near**2 - (10e-3 + rules.edge) ** 2), rel=5e-3)  # 10 um to the safe side
    outside = sum(piece.area for piece in room.outside)
    kept = pi * (1e-3 + clearance) ** 2  # the terminal's pad
    assert outside == pytest.approx(pi * ((40e-3 - rules.edge) ** 2 - far**2) - kept, rel=5e-3)
    assert room.ring_inside == pytest.approx((10e-3 + rules.edge, near), abs=3e-6)
    assert widest_part(room.inside) == pytest.approx(near - 10e-3 - rules.edge, abs=30e-6)
    copper = net_areas(board)
    for piece in (*room.inside, *room.outside):
        assert min(piece.distance(each) for area in copper for each in area.pieces) >= clearance - 1e-6
        assert all(hypot(x, y) >= 10e-3 + rules.edge - 1e-6 for x, y in piece.exterior.coords)
