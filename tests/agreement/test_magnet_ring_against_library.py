"""Rings of magnets and their linkage against a general magnetostatics library (magpylib: surface charges of each body).

Ideal iron enters the library as images: behind the magnets it doubles their thickness; two facing rotors, with or
without iron, are stacks along the axis, magnetised alike.
"""

import tomllib
from pathlib import Path

import magpylib
import numpy as np
import pytest

from pcbstator.physics.magnetics.field_layers import MagnetLayers
from pcbstator.physics.magnetics.linkage import linkage_waveform, path_linkage_harmonics
from pcbstator.physics.magnetics.magnet_pattern import block_footprint, disc_footprint, sector_footprint
from pcbstator.physics.magnetics.magnet_ring import ring_field, ring_harmonics

PUBLISHED = tomllib.loads((Path(__file__).parents[1] / "published" / "magnets.toml").read_text())
MM, MT = 1e-3, 1e-3
P, BR, H = 6, 1.3, 0.003
INNER, OUTER, CIRCLE = 0.020, 0.035, 0.0275
HALF_ANGLE = 0.8 * np.pi / (2 * P)
DISC_RADIUS, LENGTH, WIDTH = 0.0055, 0.012, 0.007
GAP = 0.002  # from the magnet face to the mid-plane of a double rotor
ORDERS = np.arange(1, 42, 2)

FOOTPRINTS = {
    "sector": sector_footprint(INNER, OUTER, HALF_ANGLE),
    "disc": disc_footprint(CIRCLE, DISC_RADIUS),
    "block": block_footprint(CIRCLE, LENGTH, WIDTH),
}
ARRANGEMENTS = {
    "single": MagnetLayers(H, BR),
    "single with iron": MagnetLayers(H, BR, back_iron=0.001),
    "double": MagnetLayers(H, BR, mirror_distance=GAP),
    "double with iron": MagnetLayers(H, BR, back_iron=0.001, mirror_distance=GAP),
}


def body(shape, thickness, centre, angle, polarization):
    """One magnet of the library, its middle at height ``centre`` and its centre line turned to ``angle``."""
    J = (0.0, 0.0, polarization)
    if shape == "sector":
        spread = np.degrees(HALF_ANGLE)
        dimension = (INNER, OUTER, thickness, np.degrees(angle) - spread, np.degrees(angle) + spread)
        return magpylib.magnet.CylinderSegment(polarization=J, dimension=dimension, position=(0, 0, centre))
    place = (CIRCLE * np.cos(angle), CIRCLE * np.sin(angle), centre)
    if shape == "disc":
        return magpylib.magnet.Cylinder(polarization=J, dimension=(2 * DISC_RADIUS, thickness), position=place)
    block = magpylib.magnet.Cuboid(polarization=J, dimension=(LENGTH, WIDTH, thickness), position=place)
    return block.rotate_from_angax(angle, "z", anchor=None, degrees=False)


def stack(arrangement):
    """(thickness, height of the middle) of every body of the stack; the rotor's magnet face is at z = 0."""
    if arrangement == "single":
        return [(H, H / 2)]
    if arrangement == "single with iron":
        return [(2 * H, H)]
    if arrangement == "double":
        return [(H, H / 2), (H, -2 * GAP - H / 2)]
    return [(2 * H, H + number * 2 * (H + GAP)) for number in range(-6, 6)]


def library_ring(shape, arrangement):
    return [
        body(shape, thickness, centre, magnet * np.pi / P, -BR if magnet % 2 == 0 else BR)
        for thickness, centre in stack(arrangement)
        for magnet in range(2 * P)
    ]


def library_axial_field(bodies, x, y, z):
    points = np.stack(np.broadcast_arrays(x, y, z), axis=-1)
    return magpylib.getB(bodies, points.reshape(-1, 3), sumup=True)[:, 2].reshape(points.shape[:-1])


@pytest.mark.parametrize("shape", FOOTPRINTS)
@pytest.mark.parametrize("arrangement", ARRANGEMENTS)
def test_field_of_the_ring(shape, arrangement):
    """The whole field, not only its fundamental, inside, above the edges of and beside the magnets."""
    radii, distances = np.array([0.018, 0.0215, 0.0275, 0.0335, 0.036]), np.array([0.001, 0.002])
    angles = np.array([0.0, 0.12, 0.2, 0.24])
    expected = library_axial_field(
        library_ring(shape, arrangement),
        radii * np.cos(angles)[:, None, None],
        radii * np.sin(angles)[:, None, None],
        -distances[:, None],
    )
    B = ring_harmonics(FOOTPRINTS[shape], P, ARRANGEMENTS[arrangement], radii, distances, ORDERS)
    got = np.einsum("an,nzr->azr", np.cos(np.multiply.outer(angles, ORDERS * P)), B)
    for index in range(len(distances)):
        assert np.abs(got - expected)[:, index].max() < 5e-4 * np.abs(expected[:, index]).max()


@pytest.mark.parametrize("shape", FOOTPRINTS)
@pytest.mark.parametrize("arrangement", ["single", "double with iron"])
def test_slope_of_the_linkage(shape, arrangement):
    """dpsi/dalpha = ∮ r·B_z dr with the library's field along the same loop, at several rotor angles."""
    loop = np.array([[0.021, -0.003], [0.0345, -0.006], [0.036, 0.005], [0.0205, 0.004], [0.021, -0.003]])
    depth, rotor = 0.0012, np.array([0.03, 0.15, 0.21])
    field = ring_field(FOOTPRINTS[shape], P, ARRANGEMENTS[arrangement], 0.018, 0.038, np.array([depth]), ORDERS)
    harmonics = path_linkage_harmonics(loop, 0.0, field, 0)
    got = linkage_waveform(-1j * ORDERS * P * harmonics, ORDERS, P, rotor)

    x, w = np.polynomial.legendre.leggauss(14)
    start, run = loop[:-1, None], np.diff(loop, axis=0)[:, None]
    points = start + (x[:, None] + 1) / 2 * run
    moment = w / 2 * np.sum(points * run, axis=-1)  # r·dr
    bodies = library_ring(shape, arrangement)
    expected = []
    for angle in rotor:  # the board turned back instead of the rotor forward
        cos, sin = np.cos(angle), np.sin(angle)
        u, v = points[..., 0] * cos + points[..., 1] * sin, points[..., 1] * cos - points[..., 0] * sin
        expected.append(np.sum(library_axial_field(bodies, u, v, -depth) * moment))
    assert np.abs(got - expected).max() < 0.001 * np.abs(expected).max()


def test_recoil_as_induced_magnetisation_of_the_real_bodies():
    """First order in mu_r − 1: cells of the magnets carry chi·H of the hard ring; the layers differ by the gaps only.

    mu_0 M = Br + chi·mu_0 H inside the magnets, H from the library; the layer model lets the gaps between magnets have
    mu_r too, which is second to the effect itself.
    """
    chi, point, depth = 0.05, 0.0275, 0.001
    bodies = library_ring("sector", "single")
    radii, angles, heights = np.linspace(INNER, OUTER, 6), np.linspace(-HALF_ANGLE, HALF_ANGLE, 6), np.linspace(0, H, 4)
    middle = [(edges[1:] + edges[:-1]) / 2 for edges in (radii, angles, heights)]
    r, a, z = (grid.ravel() for grid in np.meshgrid(*middle, indexing="ij"))
    H_field = magpylib.getH(bodies, np.stack([r * np.cos(a), r * np.sin(a), z], axis=-1), sumup=True)
    induced = chi * 4e-7 * np.pi * H_field  # the magnet at angle 0; the others follow by symmetry
    low = [grid.ravel() for grid in np.meshgrid(*(e[:-1] for e in (radii, angles, heights)), indexing="ij")]
    high = [grid.ravel() for grid in np.meshgrid(*(e[1:] for e in (radii, angles, heights)), indexing="ij")]
    cells = [
        magpylib.magnet.CylinderSegment(
            polarization=J, position=(0, 0, (zl + zh) / 2), dimension=(rl, rh, zh - zl, np.degrees(al), np.degrees(ah))
        )
        for J, rl, rh, al, ah, zl, zh in zip(induced, low[0], high[0], low[1], high[1], low[2], high[2], strict=True)
    ]
    # fundamental at r: mean of 2·cos(p theta)·B over a turn, and each of the 2p magnets gives the same to it
    theta = (np.arange(96) + 0.5) / 96 * 2 * np.pi
    B = library_axial_field(cells, point * np.cos(theta), point * np.sin(theta), -depth)
    change = 2 * P * np.mean(2 * np.cos(P * theta) * B)
    hard, soft = (
        ring_harmonics(
            FOOTPRINTS["sector"], P, MagnetLayers(H, BR, mu), np.array([point]), np.array([depth]), np.array([1])
        )[0, 0, 0]
        for mu in (1.0, 1.0 + chi)
    )
    assert abs(change) > 0.02 * abs(hard)
    assert soft == pytest.approx(hard + change, rel=0.001)


def axial(magnet, x, y, z):
    return magnet.getB((x * MM, y * MM, z * MM)) / MT


@pytest.mark.parametrize("name", ["disc", "block", "ring"])
def test_library_has_the_printed_axial_fields(name):
    """The yardstick itself against the closed forms of the handbooks, and those forms against the printed digits."""
    given = PUBLISHED[name]
    t, Br = given["thickness_mm"], given["remanence_t"]
    J = (0, 0, Br)
    if name == "block":
        a, b = given["length_mm"], given["width_mm"]
        magnet = magpylib.magnet.Cuboid(polarization=J, dimension=(a * MM, b * MM, t * MM))

        def closed(z):
            return sum(
                sign * np.arctan2(a * b, 2 * d * np.sqrt(4 * d**2 + a**2 + b**2)) for sign, d in ((1, z), (-1, z + t))
            ) * (Br / np.pi)
    else:
        outer = given.get("outer_diameter_mm", given.get("diameter_mm")) / 2
        inner = given.get("inner_diameter_mm", 0.0) / 2
        dimension = (inner * MM, outer * MM, t * MM, 0, 360)
        magnet = magpylib.magnet.CylinderSegment(polarization=J, dimension=dimension)

        def closed(z):
            full, hole = (((z + t) / np.hypot(R, z + t) - z / np.hypot(R, z)) for R in (outer, inner or 1e-9))
            return Br / 2 * (full - hole)

    for case in given["cases"]:
        z = case["z_mm"]
        assert closed(z) / MT == pytest.approx(case["mt"], rel=2e-4)  # printed to a hundredth of a millitesla
        assert axial(magnet, 0, 0, t / 2 + z)[2] == pytest.approx(closed(z) / MT, rel=1e-6)


def test_library_has_the_other_printed_fields():
    block = PUBLISHED["block"]
    dimension = (block["length_mm"] * MM, block["width_mm"] * MM, block["thickness_mm"] * MM)
    magnet = magpylib.magnet.Cuboid(polarization=(0, 0, block["remanence_t"]), dimension=dimension)
    off = block["off_axis"]
    got = axial(magnet, off["x_mm"], off["y_mm"], block["thickness_mm"] / 2 + off["z_mm"])
    assert got == pytest.approx(np.array(off["mt"]), rel=1e-5)
    given = PUBLISHED["segment"]
    half, t = given["angle_deg"] / 2, given["thickness_mm"]
    segment = magpylib.magnet.CylinderSegment(
        polarization=(0, 0, given["remanence_t"]),
        dimension=(given["inner_radius_mm"] * MM, given["outer_radius_mm"] * MM, t * MM, -half, half),
    )
    radial, _, along = axial(segment, given["point"]["r_mm"], 0, t / 2 + given["point"]["z_mm"])
    assert radial == pytest.approx(given["point"]["radial_mt"], rel=1e-4)
    assert along == pytest.approx(given["point"]["axial_mt"], rel=1e-5)
    for case in PUBLISHED["catalogue_disc"]["cases"]:
        R, t = PUBLISHED["catalogue_disc"]["diameter_mm"] / 2, PUBLISHED["catalogue_disc"]["thickness_mm"]
        surface = case["remanence_t"] / 2 * t / np.hypot(R, t)
        assert surface / MT == pytest.approx(case["mt"], rel=2e-3)  # the catalogue's remanence is a round number


def test_disc_ring_on_a_wide_circle_is_the_isolated_disc():
    """On the axis of one disc of a sparse ring the field is the printed one; the others are dipoles."""
    given = PUBLISHED["disc"]
    circle, orders = 0.1, np.arange(1, 300, 2)
    footprint = disc_footprint(circle, given["diameter_mm"] / 2 * MM)
    layers = MagnetLayers(given["thickness_mm"] * MM, given["remanence_t"])
    distances = np.array([case["z_mm"] * MM for case in given["cases"][1:]])
    B = ring_harmonics(footprint, 6, layers, np.array([circle]), distances, orders)
    volume = np.pi * (given["diameter_mm"] / 2 * MM) ** 2 * given["thickness_mm"] * MM
    number = np.arange(1, 12)
    apart = 2 * circle * np.sin(number * np.pi / 12)
    others = -np.sum((-1.0) ** number * given["remanence_t"] * volume / (4 * np.pi * apart**3))
    for got, case in zip(-B.sum(axis=0)[:, 0], given["cases"][1:], strict=True):
        assert got == pytest.approx(case["mt"] * MT + others, rel=5e-4)
