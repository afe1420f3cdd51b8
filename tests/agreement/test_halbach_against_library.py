"""Halbach rings against a general magnetostatics library (magpylib): every segment a body magnetised in one direction.

Ideal iron behind the magnets enters the library as images: a second ring above, its axial magnetisation the same, the
part in the plane reversed.
"""

import magpylib
import numpy as np
import pytest

from pcbstator.errors import LawRangeError
from pcbstator.physics.magnetics.field_layers import MagnetLayers
from pcbstator.physics.magnetics.magnet_pattern import halbach_footprint, in_plane_harmonics, sector_footprint
from pcbstator.physics.magnetics.magnet_ring import ring_field, ring_harmonics

P, BR, H = 6, 1.3, 0.003
INNER, OUTER = 0.020, 0.035
ORDERS = np.arange(1, 62, 2)


def library_segments(segments, arc_ratio, iron, strong=True):
    """All segments; the one at angle 0 points down, the rotor's face is at z = 0."""
    half = np.degrees(arc_ratio * np.pi / (2 * P * segments))
    bodies = []
    for number in range(2 * P * segments):
        centre, turn = number * np.pi / (P * segments), number * np.pi / segments
        along = -BR * np.sin(turn) * (1 if strong else -1)
        for middle, sense in [(H / 2, 1), (3 * H / 2, -1)] if iron else [(H / 2, 1)]:
            J = (-sense * along * np.sin(centre), sense * along * np.cos(centre), -BR * np.cos(turn))
            dimension = (INNER, OUTER, H, np.degrees(centre) - half, np.degrees(centre) + half)
            bodies.append(magpylib.magnet.CylinderSegment(polarization=J, dimension=dimension, position=(0, 0, middle)))
    return bodies


@pytest.mark.parametrize(
    ("segments", "arc_ratio", "iron", "strong"),
    [(2, 0.9, False, True), (2, 0.9, True, True), (3, 1.0, False, True), (4, 0.95, True, True), (2, 0.9, False, False)],
    ids=["two", "two with iron", "three touching", "four with iron", "two turned over"],
)
def test_field_of_a_halbach_ring(segments, arc_ratio, iron, strong):
    footprint = halbach_footprint(INNER, OUTER, arc_ratio * np.pi / (2 * P * segments), segments, strong)
    layers = MagnetLayers(H, BR, back_iron=0.001 if iron else 0.0)
    radii, distances = np.array([0.018, 0.0215, 0.0275, 0.0335, 0.036]), np.array([0.001, 0.002])
    angles = np.array([0.0, 0.07, 0.13, 0.2, 0.24])
    r, a, s = np.meshgrid(radii, angles, distances, indexing="ij")
    points = np.stack([r * np.cos(a), r * np.sin(a), -s], axis=-1)
    bodies = library_segments(segments, arc_ratio, iron, strong)
    expected = magpylib.getB(bodies, points.reshape(-1, 3), sumup=True)[:, 2].reshape(r.shape)
    B = ring_harmonics(footprint, P, layers, radii, distances, ORDERS)
    got = np.einsum("an,nzr->raz", np.cos(np.multiply.outer(angles, ORDERS * P)), B)
    assert np.abs(got - expected).max() < 2e-4 * np.abs(expected).max()


@pytest.mark.parametrize("segments", [2, 3, 4])
@pytest.mark.parametrize("order", ["first", "second"])
def test_large_radius_is_the_linear_halbach_array(segments, order):
    """Strong side Br·(1 − e^−kh)·e^−ks·sin(n·pi/2S)/(n·pi/2S), n = 1, 2S + 1, …; weak side 2S − 1, … (handbook, 2D)."""
    p, h, s = 400, 0.004, 0.002
    half = np.pi / (2 * p * segments)
    footprints = [halbach_footprint(0.95, 1.05, half, segments, strong) for strong in (True, False)]
    n = 1 if order == "first" else 2 * segments - 1
    strong, weak = (
        ring_harmonics(footprint, p, MagnetLayers(h, 1.3), np.array([1.0]), np.array([s]), np.array([n]))[0, 0, 0]
        for footprint in footprints
    )
    if n > 1:
        strong, weak = weak, strong
    k, x = n * p / 1.0, n * np.pi / (2 * segments)
    expected = -1.3 * (1 - np.exp(-k * h)) * np.exp(-k * s) * np.sin(x) / x
    assert strong == pytest.approx(expected, rel=2e-3)
    assert abs(weak) < 0.005 * abs(expected)


@pytest.mark.parametrize("p", [2, 12])
def test_straight_magnetisation_differs_little_from_a_tangential_one(p):
    """A glued segment is magnetised straight, M_theta ~ cos u and M_r ~ sin u away from its middle by the angle u.

    Against an ideal tangential one M_theta loses the mean of u²/2 weighted by cos(p·u): 0.07 % at 24 poles, 2.3 % at 4.
    """
    tangential, radial = in_plane_harmonics(halbach_footprint(0.03, 0.05, np.pi / (4 * p), 2), p, np.array([1]))
    a = np.pi / 4
    lost = (a**2 - 2 + 2 * a / np.tan(a)) / (2 * p**2)
    assert 1 - tangential[0] / (4 / np.pi * np.sin(a)) == pytest.approx(lost, rel=0.02)
    assert 0.0 < -radial[0] < np.pi / (4 * p)


def test_orders_a_halbach_ring_lacks_and_what_it_refuses():
    footprint = halbach_footprint(0.03, 0.05, np.pi / 72, 3)
    field = ring_field(footprint, 12, MagnetLayers(0.003, 1.3), 0.028, 0.052, np.array([0.001]), (1, 3, 5, 7, 9))
    assert np.abs(field.values[[1, 4]]).max() == 0.0
    assert np.abs(field.values[[0, 2, 3]]).max(axis=(1, 2)).min() > 0.0
    with pytest.raises(LawRangeError, match="at least 2 segments"):
        halbach_footprint(0.03, 0.05, 0.05, 1)
    with pytest.raises(LawRangeError, match="overlap"):
        ring_field(
            halbach_footprint(0.03, 0.05, 0.05, 3), 12, MagnetLayers(0.003, 1.3), 0.028, 0.052, np.array([0.001])
        )


def test_halbach_is_stronger_than_the_same_magnets_alternating():
    """In 2D touching segments give sin(pi/4)/(pi/4)·pi/2 = 1.41 times a full alternating ring, and nothing behind."""
    arguments = (6, MagnetLayers(H, BR), np.array([0.0275]), np.array([0.001]), np.array([1]))
    strong, weak = (
        ring_harmonics(halbach_footprint(INNER, OUTER, np.pi / 24, 2, side), *arguments)[0, 0, 0]
        for side in (True, False)
    )
    alternating = ring_harmonics(sector_footprint(INNER, OUTER, np.pi / 12), *arguments)[0, 0, 0]
    assert 1.3 < strong / alternating < 1.42
    assert abs(weak / strong) < 0.06  # what is left is the ring's curvature and its ends
