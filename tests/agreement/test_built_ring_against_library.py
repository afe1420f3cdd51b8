"""The field of a ring of unlike magnets against a general magnetostatics library (magpylib), magnet by magnet."""

from __future__ import annotations

from math import pi

import magpylib
import numpy as np
import pytest

from pcbstator.physics.magnetics.built_ring import fixed_saddle, fixed_shift, ring_sums, shifted_sums
from pcbstator.physics.magnetics.field_layers import MagnetLayers
from pcbstator.physics.magnetics.magnet_pattern import block_footprint, disc_footprint, sector_footprint
from pcbstator.physics.magnetics.one_magnet import one_magnet_field

REMANENCE, THICKNESS, DISTANCE, CIRCLE = 1.3, 3e-3, 2e-3, 0.04
RADII = np.array([0.037, 0.040, 0.043])
ANGLES = np.linspace(0, 2 * pi, 1440, endpoint=False)
ORDERS = np.arange(1, 400)
FOOTPRINTS = {
    "disc": disc_footprint(CIRCLE, 0.0045),
    "block": block_footprint(CIRCLE, 0.012, 0.007),
    "sector": sector_footprint(0.034, 0.046, 0.1),
}


def lone_magnet(kind, polarisation, place=(0.0, 0.0, 0.0)):
    """A magnet of the library on the +x axis, moved by ``place``."""
    x, y, z = place
    centre = (CIRCLE + x, y, THICKNESS / 2 + z)
    if kind == "disc":
        return magpylib.magnet.Cylinder(polarization=polarisation, dimension=(0.009, THICKNESS), position=centre)
    if kind == "block":
        return magpylib.magnet.Cuboid(polarization=polarisation, dimension=(0.012, 0.007, THICKNESS), position=centre)
    size = (0.034, 0.046, THICKNESS, -np.degrees(0.1), np.degrees(0.1))
    return magpylib.magnet.CylinderSegment(polarization=polarisation, dimension=size, position=(x, y, centre[2]))


def axial_field(source, angles=ANGLES):
    places = np.stack([np.outer(RADII, np.cos(angles)), np.outer(RADII, np.sin(angles))], axis=-1)
    places = np.concatenate([places, np.full((*places.shape[:2], 1), -DISTANCE)], axis=-1)
    return source.getB(places)[..., 2]


@pytest.mark.parametrize("kind", FOOTPRINTS)
def test_one_magnet_and_all_its_changes(kind):
    inner, outer = 0.03, 0.05
    field = one_magnet_field(
        FOOTPRINTS[kind], MagnetLayers(THICKNESS, REMANENCE), inner, outer, np.array([DISTANCE]), ORDERS
    )
    down, h = (0.0, 0.0, -REMANENCE), 1e-5

    def moved(axis):
        step = np.eye(3)[axis] * h
        return (axial_field(lone_magnet(kind, down, step)) - axial_field(lone_magnet(kind, down, -step))) / (2 * h)

    wanted = {
        "itself": axial_field(lone_magnet(kind, down)),
        "outwards": moved(0),
        "along": moved(1),
        "lifted": moved(2),
        "tilted_outwards": axial_field(lone_magnet(kind, (-REMANENCE, 0.0, 0.0))),
        "tilted_along": axial_field(lone_magnet(kind, (0.0, -REMANENCE, 0.0))),
    }
    wanted["board_away"] = wanted["lifted"]
    for name, table in field.tables().items():
        wave = np.sin if name in field.odd else np.cos
        got = np.einsum("mr,mt->rt", table.at(RADII, 0), wave(np.outer(ORDERS, ANGLES)))
        seen = wanted[name] - wanted[name].mean(axis=1, keepdims=True)  # order 0 links nothing that changes
        assert np.abs(got - seen).max() < 3e-3 * np.abs(seen).max(), name


def test_a_ring_of_24_drawn_magnets_over_a_whole_turn():
    """Remanence, angle, radius and tilt drawn for every magnet: 0.5 % of the peak everywhere."""
    poles, generator = 24, np.random.default_rng(7)
    places = 2 * pi * np.arange(poles) / poles
    signs = (-1.0) ** np.arange(poles)
    strength, angle = generator.normal(0, 0.02, poles), generator.normal(0, np.radians(0.3), poles)
    radius = generator.normal(0, 0.1e-3, poles)
    out, along = generator.normal(0, np.radians(1.0), (2, poles))
    built = magpylib.Collection()
    for j in range(poles):
        polarisation = -signs[j] * REMANENCE * (1 + strength[j]) * np.array([out[j], along[j], 1.0])
        magnet = lone_magnet("disc", tuple(polarisation), (radius[j], 0.0, 0.0))
        magnet.rotate_from_angax(np.degrees(places[j] + angle[j]), "z", anchor=0)
        built.add(magnet)
    layers = MagnetLayers(THICKNESS, REMANENCE)
    field = one_magnet_field(FOOTPRINTS["disc"], layers, 0.03, 0.05, np.array([DISTANCE]), ORDERS)
    sums = {
        "itself": ring_sums((signs * (1 + strength))[None], places, ORDERS)[0]
        + shifted_sums(signs, angle[None], places, ORDERS)[0],
        "outwards": ring_sums((signs * radius)[None], places, ORDERS)[0],
        "tilted_outwards": ring_sums((signs * out)[None], places, ORDERS)[0],
        "tilted_along": ring_sums((signs * along)[None], places, ORDERS)[0],
    }
    turn = np.exp(1j * np.outer(ORDERS, ANGLES))
    got = np.zeros((len(RADII), len(ANGLES)))
    for name, total in sums.items():
        values = field.tables()[name].at(RADII, 0) * (-1j if name in field.odd else 1.0)
        got += np.einsum("mr,m,mt->rt", values, total, turn).real
    seen = axial_field(built)
    seen -= seen.mean(axis=1, keepdims=True)
    assert np.abs(got - seen).max() < 5e-3 * np.abs(seen).max()


def test_an_order_of_a_ring_seen_from_a_board_aside_and_from_a_bent_one():
    """A pattern cos(p·phi) whose strength grows outwards and falls with distance, seen from moved points."""
    p, orders = 4, np.arange(1, 12)
    growth, fall = 30.0, -200.0  # per metre
    rows = {"outwards": np.zeros((1, 11), complex), "along": np.zeros((1, 11), complex)}
    rows["outwards"][0, p - 1] = growth
    rows["along"][0, p - 1] = -1j * 0.0
    sums = np.ones(11)
    shift = np.array([1e-4 * np.exp(0.7j)])
    found = fixed_shift(rows, sums, shift)[0, 0]
    phi = np.linspace(0, 2 * pi, 256, endpoint=False)
    seen = growth * np.cos(p * phi) * -np.real(shift[0] * np.exp(-1j * phi))
    got = np.real(found @ np.exp(-1j * np.outer(orders, phi)))
    assert np.abs(got - seen).max() < 1e-12
    lifted = np.zeros((1, 11), complex)
    lifted[0, p - 1] = fall
    depth, angle = np.array([2e-4]), np.array([0.4])
    bent = fixed_saddle(lifted, sums, depth, angle)[0, 0]
    seen = fall * np.cos(p * phi) * depth[0] * (1 + np.cos(2 * (phi - angle[0]))) / 2
    assert np.abs(np.real(bent @ np.exp(-1j * np.outer(orders, phi))) - seen).max() < 1e-12


@pytest.mark.parametrize("moved", ["lifted", "board_away"])
def test_two_attracting_rotors_moved_apart_and_a_board_moved_between_them(moved):
    """A second magnet as far below the mid-plane as the first is above, magnetised alike; in units of remanence the
    magnets have no permeability of their own, so that the library's fields add up.
    """
    middle, h = 3e-3, 1e-5
    layers = MagnetLayers(THICKNESS, REMANENCE, mirror_distance=middle)
    field = one_magnet_field(FOOTPRINTS["disc"], layers, 0.03, 0.05, np.array([DISTANCE]), ORDERS)

    def both(step):
        up, down = (step, -step) if moved == "lifted" else (step, step)  # the board moved down is both magnets up
        lower = -2 * middle - THICKNESS
        magnets = [lone_magnet("disc", (0.0, 0.0, -REMANENCE), (0.0, 0.0, z)) for z in (up, lower + down)]
        return axial_field(magpylib.Collection(*magnets))

    wanted = (both(h) - both(-h)) / (2 * h)
    wanted -= wanted.mean(axis=1, keepdims=True)
    got = np.einsum("mr,mt->rt", field.tables()[moved].at(RADII, 0), np.cos(np.outer(ORDERS, ANGLES)))
    assert np.abs(got - wanted).max() < 3e-3 * np.abs(wanted).max()
