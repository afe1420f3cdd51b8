"""Linkage along a path against the flux through the loop, and what must hold for any path."""

from itertools import pairwise

import numpy as np
import pytest

from pcbstator.errors import LawRangeError
from pcbstator.physics.magnetics.field_layers import MagnetLayers
from pcbstator.physics.magnetics.linkage import (
    LinkedTrack,
    linkage_waveform,
    path_linkage_harmonics,
    tracks_linkage_harmonics,
)
from pcbstator.physics.magnetics.magnet_pattern import disc_footprint, sector_footprint
from pcbstator.physics.magnetics.magnet_ring import ring_field

P = 12
DISTANCES = np.array([0.0008, 0.0016])
FIELD = ring_field(
    sector_footprint(0.034, 0.051, 0.8 * np.pi / 24), P, MagnetLayers(0.003, 1.3, 1.05), 0.031, 0.054, DISTANCES
)
DISCS = ring_field(disc_footprint(0.0425, 0.005), P, MagnetLayers(0.003, 1.3), 0.031, 0.054, DISTANCES)
CORNERS = np.array([[0.034, -0.001], [0.052, -0.003], [0.0515, 0.004], [0.033, 0.002]])  # counter-clockwise
LOOP = np.vstack([CORNERS, CORNERS[:1]])
ANGLES = np.linspace(0.0, 2 * np.pi / P, 7)


def flux_through(corners, field, index, angles):
    """∬ B_z dA over a quadrilateral by Gauss points on its bilinear map."""
    x, w = np.polynomial.legendre.leggauss(60)
    u, v = np.meshgrid((x + 1) / 2, (x + 1) / 2)
    weights = np.outer(w, w) / 4
    a, b, c, d = (corners[i][:, None, None] for i in range(4))
    point = (1 - u) * (1 - v) * a + u * (1 - v) * b + u * v * c + (1 - u) * v * d
    along = (1 - v) * (b - a) + v * (c - d)
    across = (1 - u) * (d - a) + u * (c - b)
    area = (along[0] * across[1] - along[1] * across[0]) * weights
    r, theta = np.hypot(*point).ravel(), np.arctan2(point[1], point[0]).ravel()
    B = field.at(r, index)
    turns = field.orders[:, None] * P
    return np.array([np.sum(B * np.cos(turns * (theta - angle)) * area.ravel()) for angle in angles])


@pytest.mark.parametrize("index", [0, 1])
@pytest.mark.parametrize("field", [FIELD, DISCS], ids=["sectors", "discs"])
def test_counter_clockwise_loop_links_the_flux_through_it(field, index):
    harmonics = path_linkage_harmonics(LOOP, 0.0, field, index)
    expected = flux_through(CORNERS, field, index, ANGLES)
    got = linkage_waveform(harmonics, field.orders, P, ANGLES)
    assert got[0] < 0.0  # the magnet over the loop at angle 0 points down
    assert np.abs(got - expected).max() < 2e-4 * np.abs(expected).max()


def test_turning_the_loop_is_turning_the_rotor():
    angle = 0.07
    turn = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    here = path_linkage_harmonics(LOOP, 0.0003, FIELD, 0)
    there = path_linkage_harmonics(LOOP @ turn, 0.0003, FIELD, 0)
    assert there == pytest.approx(here * np.exp(1j * FIELD.orders * P * angle), rel=1e-9, abs=1e-15)


def test_reversed_path_reverses_and_weights_add():
    tracks = [
        LinkedTrack(LOOP, 0.0003, 0),
        LinkedTrack(LOOP * 0.99, 0.0005, 1, weight=0.5),
        LinkedTrack(LOOP[::-1], 0.0003, 1, weight=-2.0),
    ]
    parts = [t.weight * path_linkage_harmonics(t.points, t.width, FIELD, t.distance_index) for t in tracks]
    total = tracks_linkage_harmonics(tracks, FIELD)
    assert np.abs(total - sum(parts)).max() < 1e-12 * np.abs(total).max()
    forward, backward = (path_linkage_harmonics(points, 0.0003, FIELD, 1) for points in (LOOP, LOOP[::-1]))
    assert np.abs(forward + backward).max() < 1e-12 * np.abs(forward).max()


def test_points_along_a_straight_run_change_nothing():
    t = np.linspace(0.0, 1.0, 40)[:, None]
    dense = np.vstack([a + t * (b - a) for a, b in pairwise(LOOP)])  # corners come twice
    coarse, fine = (path_linkage_harmonics(points, 0.0, FIELD, 0) for points in (LOOP, dense))
    assert np.abs(coarse - fine).max() < 1e-4 * np.abs(fine[0])


def test_wide_track_is_the_mean_of_parallel_runs():
    """A radial strip: the mean over its width of single filaments beside one another, in closed spacing."""
    run, width = np.array([[0.035, 0.0], [0.050, 0.0]]), 0.003
    offsets = (np.arange(60) + 0.5) / 60 * width - width / 2
    mean = sum(path_linkage_harmonics(run + np.array([0.0, y]), 0.0, FIELD, 0) for y in offsets) / 60
    two, three = (path_linkage_harmonics(run, width, FIELD, 0, filaments) for filaments in (2, 3))
    thin = path_linkage_harmonics(run, 0.0, FIELD, 0)
    assert abs(two[0] - mean[0]) < 3e-4 * abs(mean[0])
    assert np.abs(three - mean).max() < 3e-4 * abs(mean[0])
    assert abs(thin[0] - mean[0]) > 0.01 * abs(mean[0])  # width matters here, so the test could fail


def test_filaments_of_a_loop_are_the_loops_inside_and_outside():
    """A wide square-cornered loop: with mitred corners the two Gauss filaments are two parallel loops."""
    width = 0.001
    corners = np.array([[0.036, -0.003], [0.049, -0.003], [0.049, 0.003], [0.036, 0.003]])
    start = np.array([[0.036, 0.0]])
    d = width / 2 / np.sqrt(3)
    outward = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    loops = [np.vstack([start - [[s, 0.0]], corners + s * outward, start - [[s, 0.0]]]) for s in (d, -d)]
    expected = sum(path_linkage_harmonics(loop, 0.0, FIELD, 0) for loop in loops) / 2
    got = path_linkage_harmonics(np.vstack([start, corners, start]), width, FIELD, 0)
    assert np.abs(got - expected).max() < 1e-6 * np.abs(expected).max()


def test_refuses_a_single_point_and_copper_outside_the_table():
    with pytest.raises(LawRangeError, match="two points"):
        path_linkage_harmonics(LOOP[:1], 0.0, FIELD, 0)
    with pytest.raises(LawRangeError, match="serves radii"):
        path_linkage_harmonics(LOOP * 1.1, 0.0, FIELD, 0)
    assert not tracks_linkage_harmonics([], FIELD).any()
