"""The field around a ring of magnets against a general magnetostatics library (magpylib), without steel, and with steel
by what closed forms say of it: images in a wide plate, the field that enters a plate, nothing behind it.
"""

from __future__ import annotations

from math import pi

import magpylib
import numpy as np
import pytest

from pcbstator.errors import LawRangeError
from pcbstator.physics.magnetics.field_layers import MagnetLayers
from pcbstator.physics.magnetics.magnet_pattern import (
    block_footprint,
    disc_footprint,
    halbach_footprint,
    sector_footprint,
)
from pcbstator.physics.magnetics.magnet_ring import ring_harmonics
from pcbstator.physics.stray.charged_sheets import SteelRing
from pcbstator.physics.stray.stray_field import stray_field

BR, H, POLES = 1.3, 3e-3, 12
SECTOR = (0.034, 0.051, 0.8 * pi / POLES)
# In the bore, beyond the outer edge beside the magnets, behind them, below them, over the board's edge, between two.
PLACES = np.array([
    [0.030, 0.002, -0.001], [0.054, 0.001, 0.001], [0.056, -0.004, 0.004], [0.045, 0.002, 0.006],
    [0.045, 0.001, -0.0005], [0.053, 0.003, -0.006], [0.020, 0.003, -0.003], [0.062, 0.010, 0.0015],
])  # fmt: skip


def ring(kind="sector", thickness=H, z=0.0, sense=1.0):
    """A ring of the library, its magnet 0 on +x, pointing down; z: of its lower face."""
    found = magpylib.Collection()
    for j in range(POLES):
        up = -BR * sense * (-1) ** j
        angle = 360 * j / POLES
        if kind == "sector":
            half = np.degrees(SECTOR[2])
            size = (*SECTOR[:2], thickness, angle - half, angle + half)
            magnet = magpylib.magnet.CylinderSegment(polarization=(0, 0, up), dimension=size)
            magnet.position = (0, 0, z + thickness / 2)
        else:
            if kind == "disc":
                magnet = magpylib.magnet.Cylinder(polarization=(0, 0, up), dimension=(0.012, thickness))
            else:
                magnet = magpylib.magnet.Cuboid(polarization=(0, 0, up), dimension=(0.014, 0.010, thickness))
            magnet.position = (0.043, 0, z + thickness / 2)
            magnet.rotate_from_angax(angle, "z", anchor=0)
        found.add(magnet)
    return found


FOOTPRINTS = {
    "sector": sector_footprint(*SECTOR),
    "disc": disc_footprint(0.043, 0.006),
    "block": block_footprint(0.043, 0.014, 0.010),
}


def apart(got, wanted):
    """Largest difference over the size of the field at each place, and 2e-5 T of what it would not be missed by."""
    return float((np.linalg.norm(got - wanted, axis=1) / (np.linalg.norm(wanted, axis=1) + 2e-5)).max())


@pytest.mark.parametrize("kind", FOOTPRINTS)
def test_magnets_alone(kind):
    got = stray_field(FOOTPRINTS[kind], POLES // 2, H, BR).at(PLACES)
    assert apart(got, ring(kind).getB(PLACES)) < 1e-3


@pytest.mark.parametrize("strong", [True, False])
def test_a_halbach_ring(strong):
    """Segments of one straight magnetisation each; the sense in which it turns decides which side is strong."""
    S, poles = 2, 8
    half = pi / (poles * S)
    found = magpylib.Collection()
    for j in range(poles * S):
        angle = 2 * pi * j / (poles * S)
        along, up = (-1 if strong else 1) * BR * np.sin(pi * j / S), -BR * np.cos(pi * j / S)
        size = (0.034, 0.051, H, np.degrees(angle - half), np.degrees(angle + half))
        found.add(
            magpylib.magnet.CylinderSegment(
                polarization=(-along * np.sin(angle), along * np.cos(angle), up), dimension=size, position=(0, 0, H / 2)
            )
        )
    footprint = halbach_footprint(0.034, 0.051, half, S, strong)
    got = stray_field(footprint, poles // 2, H, BR).at(PLACES)
    assert apart(got, found.getB(PLACES)) < 1e-3
    law = ring_harmonics(
        footprint, poles // 2, MagnetLayers(H, BR), np.array([0.043]), np.array([0.002]), np.arange(1, 64, 2)
    )
    below = stray_field(footprint, poles // 2, H, BR).at(np.array([0.043, 0.0, -0.002]))
    assert below[2] == pytest.approx(law.sum(), rel=3e-3)


@pytest.mark.slow
def test_a_wide_plate_of_steel_shows_the_magnets_once_more():
    """Method of images: magnets on an ideal plate are as magnets of twice the thickness."""
    plate = SteelRing(0.010, 0.090, H, H + 0.002)
    before = PLACES[PLACES[:, 2] < H - 1e-3]
    got = stray_field(FOOTPRINTS["sector"], POLES // 2, H, BR, (plate,)).at(before)
    assert apart(got, ring(thickness=2 * H).getB(before)) < 1e-2


def test_two_rotors_that_attract():
    """The second one is the first mirrored, its magnets pointing the same way."""
    gap = 5e-3
    got = stray_field(FOOTPRINTS["sector"], POLES // 2, H, BR, mirror=-gap / 2).at(PLACES[PLACES[:, 2] > -gap / 2])
    both = ring().getB(PLACES) + ring(z=-gap - H).getB(PLACES)
    assert apart(got, both[PLACES[:, 2] > -gap / 2]) < 1e-3


@pytest.fixture(scope="module")
def steel():
    """A plate as wide as the magnets and 4 mm more."""
    plate = SteelRing(0.030, 0.055, H, H + 0.002)
    return stray_field(FOOTPRINTS["sector"], POLES // 2, H, BR, (plate,))


def test_steel_that_ends_takes_the_field_that_the_law_of_rings_finds_below_it(steel):
    """The law of radial modes has the plate endless, which differs by less than 1 % below the middle of the magnets."""
    turn = pi / POLES * (np.arange(64) + 0.5) / 32
    places = np.stack([0.0425 * np.cos(turn), 0.0425 * np.sin(turn), np.full(64, -0.002)], axis=1)
    first = 2 / 64 * float(steel.at(places)[:, 2] @ np.cos(POLES / 2 * turn))
    layers = MagnetLayers(H, BR, back_iron=0.002)
    law = ring_harmonics(FOOTPRINTS["sector"], POLES // 2, layers, np.array([0.0425]), np.array([0.002]), np.array([1]))
    assert first == pytest.approx(float(law[0, 0, 0]), rel=1e-2)


def test_steel_lets_nothing_through_but_around_its_edges(steel):
    behind = np.array([[0.0425, 0.0, H + 0.005]])
    alone = np.linalg.norm(stray_field(FOOTPRINTS["sector"], POLES // 2, H, BR).at(behind))
    left = np.linalg.norm(steel.at(behind))
    assert left < 0.02 * alone


def test_no_field_is_given_within_magnets_and_steel(steel):
    for z in (H / 2, H + 0.001):
        with pytest.raises(LawRangeError, match="outside magnets and steel"):
            steel.at(np.array([0.04, 0.0, z]))
