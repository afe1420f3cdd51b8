"""The ring of magnets: published values, shapes, limits and the order of convergence."""

import tomllib
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import jn_zeros

from pcbstator.errors import LawRangeError
from pcbstator.physics.magnetics.field_layers import MagnetLayers
from pcbstator.physics.magnetics.magnet_pattern import block_footprint, disc_footprint, sector_footprint
from pcbstator.physics.magnetics.magnet_ring import ODD_ORDERS, ring_field, ring_harmonics
from pcbstator.physics.magnetics.radial_modes import radial_modes

PUBLISHED = tomllib.loads((Path(__file__).parents[1] / "published" / "magnets.toml").read_text())
MM, MT = 1e-3, 1e-3
RING = sector_footprint(0.034, 0.051, 0.8 * np.pi / 24)  # 24 poles
SHAPES = {"sector": RING, "disc": disc_footprint(0.0425, 0.005), "block": block_footprint(0.0425, 0.017, 0.008)}
ORDERS = np.array(ODD_ORDERS)


@pytest.mark.parametrize("case", PUBLISHED["twelve_poles"]["cases"])
def test_twelve_poles(case):
    given = PUBLISHED["twelve_poles"]
    footprint = sector_footprint(
        given["inner_radius_mm"] * MM, given["outer_radius_mm"] * MM, given["arc_ratio"] * np.pi / given["poles"]
    )
    layers = MagnetLayers(
        given["thickness_mm"] * MM,
        given["remanence_t"],
        back_iron=0.002 if case.get("iron") else 0.0,
        mirror_distance=case["face_to_face_mm"] * MM / 2 if "face_to_face_mm" in case else None,
    )
    radius, distance = np.array([given["radius_mm"] * MM]), np.array([case["z_mm"] * MM])
    fundamental = ring_harmonics(footprint, given["poles"] // 2, layers, radius, distance, np.array([1]))[0, 0, 0]
    assert fundamental == pytest.approx(-case["mt"] * MT, rel=5e-4)


@pytest.mark.parametrize(
    ("footprint", "area"),
    [
        (sector_footprint(0.02, 0.035, 0.2), 0.2 * (0.035**2 - 0.02**2)),
        (disc_footprint(0.04, 0.005), np.pi * 0.005**2),
        (block_footprint(0.04, 0.012, 0.007), 0.012 * 0.007),
        (block_footprint(0.04, 0.004, 0.030), 0.004 * 0.030),
    ],
    ids=["sector", "disc", "block", "wide block"],
)
def test_footprint_has_the_area_of_its_shape(footprint, area):
    def width(r):
        r = np.array([r])
        return float(2.0 * r[0] * (footprint.upper(r) - footprint.lower(r))[0])

    ends = footprint.breakpoints
    total = sum(quad(width, a, b, epsabs=1e-13, limit=200)[0] for a, b in pairwise(ends))
    assert total == pytest.approx(area, rel=1e-6)


def test_modes_have_the_zeros_of_bessel_functions():
    """On a full circle with zero at the edge the wave numbers are the zeros of J_m (DLMF 10.21)."""
    wave_numbers, _ = radial_modes(np.linspace(1e-6, 1.0, 6), 10).eigen(np.array([2, 6]))
    assert wave_numbers[0, :5] == pytest.approx(jn_zeros(2, 5), rel=1e-6)
    assert wave_numbers[1, :5] == pytest.approx(jn_zeros(6, 5), rel=1e-6)


def test_large_radius_is_the_linear_array():
    """Br·2/(n·pi)·sin(n·pi·arc/2)·(1 − e^−kh)·e^−ks (handbook, 2D); radius 1 m, pole pitch 16 mm, magnets 100 mm."""
    p, h, s, orders = 200, 0.004, 0.002, np.array([1, 3, 5])
    footprint = sector_footprint(0.95, 1.05, 0.8 * np.pi / (2 * p))
    got = ring_harmonics(footprint, p, MagnetLayers(h, 1.3), np.array([1.0]), np.array([s]), orders)[:, 0, 0]
    k = orders * p / 1.0
    expected = -1.3 * 2 / (orders * np.pi) * np.sin(orders * np.pi * 0.4) * (1 - np.exp(-k * h)) * np.exp(-k * s)
    assert got == pytest.approx(expected, rel=1e-3, abs=1e-4 * 1.3)


@pytest.mark.parametrize("shape", SHAPES)
def test_error_falls_exponentially_with_element_order(shape):
    """Twice the order squares the error, more or less; at the default order it is below 0.1 % of the peak."""
    radii, distances = np.linspace(0.0325, 0.053, 83), np.array([0.0008, 0.0024])
    layers = MagnetLayers(0.003, 1.3, 1.05, back_iron=0.002)

    def field(order):
        return ring_harmonics(SHAPES[shape], 12, layers, radii, distances, ORDERS, element_order=order)

    reference = field(16)
    error = {order: np.abs(field(order) - reference).max() / np.abs(reference).max() for order in (4, 7, 10)}
    assert error[7] < 2e-4
    assert error[7] < error[4] / 5
    assert error[10] < error[7] / 5


@pytest.mark.parametrize("shape", SHAPES)
def test_table_reproduces_the_field(shape):
    layers = MagnetLayers(0.003, 1.3, 1.05, mirror_distance=0.0016)
    distances = np.array([0.0008, 0.0012])
    field = ring_field(SHAPES[shape], 12, layers, 0.0315, 0.0535, distances)
    radii = np.random.default_rng(3).uniform(0.0315, 0.0535, 60)
    exact = ring_harmonics(SHAPES[shape], 12, layers, radii, distances, ORDERS)
    for index in range(2):
        assert np.abs(field.at(radii, index) - exact[:, index]).max() < 5e-4 * np.abs(exact).max()
    mixed = field.at(radii[:2], np.array([0, 1]))
    assert mixed[:, 1] == pytest.approx(field.at(radii[1:2], 1)[:, 0], rel=1e-12)


def test_reversed_magnets_reverse_the_field():
    layers = MagnetLayers(0.003, 1.3)
    arguments = (np.array([0.04]), np.array([0.001]), ORDERS)
    forward = ring_harmonics(RING, 12, layers, *arguments)
    backward = ring_harmonics(RING, 12, replace(layers, remanence=-1.3), *arguments)
    assert forward[0, 0, 0] < 0.0  # the magnet at angle 0 points down
    assert backward == pytest.approx(-forward, rel=1e-12)


def test_all_lengths_scaled_leave_the_field():
    small = ring_harmonics(RING, 12, MagnetLayers(0.003, 1.3), np.array([0.04]), np.array([0.001]), ORDERS)
    footprint = sector_footprint(0.34, 0.51, 0.8 * np.pi / 24)
    large = ring_harmonics(footprint, 12, MagnetLayers(0.03, 1.3), np.array([0.4]), np.array([0.01]), ORDERS)
    assert large == pytest.approx(small, rel=1e-9, abs=1e-12)


@pytest.mark.parametrize("distance", [0.0005, 0.0008, 0.0016])
def test_recoil_takes_two_to_three_percent_off(distance):
    """A 3D finite-element study of steel-backed rings with mu_r 1.05 found 2.4 to 2.9 % less field; near that here.

    Between ideal plates it is 5 %·D/(h + D) for long poles, so a double rotor with a small gap loses less.
    """
    layers = MagnetLayers(0.003, 1.3, back_iron=0.002)
    arguments = (np.array([0.0425]), np.array([distance]), np.array([1]))
    ratio = ring_harmonics(RING, 12, replace(layers, recoil_permeability=1.05), *arguments) / ring_harmonics(
        RING, 12, layers, *arguments
    )
    assert 0.023 < 1.0 - ratio[0, 0, 0] < 0.033


@pytest.mark.parametrize(
    ("pole_pairs", "radii", "distances", "orders", "words"),
    [
        (0, [0.04], [0.001], [1], "pole pair"),
        (12, [0.0], [0.001], [1], "radii"),
        (12, [0.04], [0.0], [1], "distances"),
        (12, [0.04], [], [1], "distances"),
        (12, [0.04], [0.001], [2], "orders"),
        (16, [0.04], [0.001], [1], "overlap"),
    ],
)
def test_refuses_what_no_ring_is(pole_pairs, radii, distances, orders, words):
    with pytest.raises(LawRangeError, match=words):
        ring_harmonics(
            RING, pole_pairs, MagnetLayers(0.003, 1.3), np.array(radii), np.array(distances), np.array(orders)
        )


def test_refuses_impossible_shapes_and_radii():
    for make in (
        lambda: sector_footprint(0.05, 0.04, 0.1),
        lambda: sector_footprint(0.03, 0.04, 0.0),
        lambda: disc_footprint(0.01, 0.01),
        lambda: block_footprint(0.01, 0.02, 0.005),
        lambda: block_footprint(0.01, 0.01, 0.0),
        lambda: ring_field(RING, 12, MagnetLayers(0.003, 1.3), 0.05, 0.04, np.array([0.001])),
    ):
        with pytest.raises(LawRangeError):
            make()
    field = ring_field(RING, 12, MagnetLayers(0.003, 1.3), 0.034, 0.051, np.array([0.001]))
    with pytest.raises(LawRangeError, match="serves radii"):
        field.at(np.array([0.033]), 0)
