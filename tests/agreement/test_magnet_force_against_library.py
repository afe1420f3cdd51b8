"""Pull of rotors and of steel: printed forces, a general library's force on a magnet, and the stress on the plane."""

import tomllib
from dataclasses import replace
from pathlib import Path

import magpylib
import numpy as np
import pytest
from scipy.special import j1

from pcbstator.constants import MU_0
from pcbstator.errors import LawRangeError
from pcbstator.physics.magnetics.field_layers import MagnetLayers, force_response
from pcbstator.physics.magnetics.magnet_pattern import disc_footprint, halbach_footprint, sector_footprint
from pcbstator.physics.magnetics.magnet_ring import ring_harmonics
from pcbstator.physics.mechanics.magnet_force import axial_force

PRINTED = tomllib.loads((Path(__file__).parents[1] / "published" / "magnet_forces.toml").read_text(encoding="utf-8"))
P, BR, H, INNER, OUTER = 6, 1.3, 0.003, 0.020, 0.035
HALF_ANGLE = 0.8 * np.pi / (2 * P)
RING = sector_footprint(INNER, OUTER, HALF_ANGLE)


def isolated_pull(outer, inner, layers):
    """Pull of one round magnet: the same factors per k over a continuous k, with the transform of its sheet charge."""
    D = layers.facing_distance
    ends = np.linspace(0.0, 30.0 / D, 12000 if D < 3e-4 else 3000)
    x, w = np.polynomial.legendre.leggauss(16)
    k = (ends[:-1, None] + np.diff(ends)[:, None] * (x + 1) / 2).ravel()
    weight = (np.diff(ends)[:, None] * w / 2).ravel()
    charge = (outer * j1(k * outer) - inner * j1(k * inner)) / k
    falling, rising = force_response(k, layers)
    return np.pi / MU_0 * layers.remanence**2 * float(np.sum(weight * k * falling[0] * rising[0] * charge**2))


@pytest.mark.parametrize("case", PRINTED["coaxial_discs"]["cases"])
def test_two_coaxial_discs(case):
    """Zero potential midway; printed to a millinewton."""
    given = PRINTED["coaxial_discs"]
    layers = MagnetLayers(given["thickness_mm"] / 1e3, given["remanence_t"], mirror_distance=case["gap_mm"] / 2e3)
    assert isolated_pull(given["diameter_mm"] / 2e3, 0.0, layers) == pytest.approx(case["newton"], rel=4e-4)


@pytest.mark.parametrize("case", PRINTED["coaxial_discs"]["cases"][1:])
def test_a_sparse_ring_of_discs_is_that_many_pairs(case):
    """Twelve pairs on a circle of 200 mm, the neighbours' share taken as that of dipoles."""
    given, circle = PRINTED["coaxial_discs"], 0.1
    R, h, gap = given["diameter_mm"] / 2e3, given["thickness_mm"] / 1e3, case["gap_mm"] / 1e3
    layers = MagnetLayers(h, given["remanence_t"], mirror_distance=gap / 2)
    pull = axial_force(disc_footprint(circle, R), 6, layers, np.arange(1, 120, 2)) / 12
    number, z = np.arange(1, 12), gap + h
    d, moment = 2 * circle * np.sin(number * np.pi / 12), given["remanence_t"] * np.pi * R**2 * h / MU_0
    share = 3 * MU_0 * moment**2 / (4 * np.pi) * z * (2 * z**2 - 3 * d**2) / (z**2 + d**2) ** 3.5
    neighbours = float(np.sum((-1.0) ** number * share))
    assert pull == pytest.approx(case["newton"] + neighbours, rel=1e-3)


@pytest.mark.parametrize("case", PRINTED["on_steel"]["cases"])
def test_magnet_on_thick_steel(case):
    """The image method divided by mu_r, as printed, and the finite-element example within 0.5 %.

    For a isolated magnet the layers' own recoil is too mild, since its surroundings have mu_r, too: 3.5 % more pull.
    """
    given = PRINTED["on_steel"]
    outer, inner = case["outer_diameter_mm"] / 2e3, case["inner_diameter_mm"] / 2e3
    hard = MagnetLayers(case["thickness_mm"] / 1e3, given["remanence_t"], mirror_distance=given["gap_mm"] / 1e3)
    mu_r = given["recoil_permeability"]
    pull = isolated_pull(outer, inner, hard) / mu_r
    assert pull == pytest.approx(case["image_newton"], rel=2e-4)
    assert pull == pytest.approx(case["finite_element_newton"], rel=5e-3)
    soft = isolated_pull(outer, inner, replace(hard, recoil_permeability=mu_r))
    assert pull < soft < 1.04 * pull


@pytest.mark.parametrize("half_gap", [0.002, 0.001])
def test_two_facing_rings_against_the_library(half_gap):
    """Force of the whole lower ring on one magnet of the upper one, times their number."""
    bodies = []
    for number in range(2 * P):
        angles = np.degrees(number * np.pi / P - HALF_ANGLE), np.degrees(number * np.pi / P + HALF_ANGLE)
        bodies.append(
            magpylib.magnet.CylinderSegment(
                polarization=(0, 0, -BR if number % 2 == 0 else BR),
                dimension=(INNER, OUTER, H, *angles),
                position=(0, 0, -2 * half_gap - H / 2),
            )
        )
    upper = bodies[0].copy(position=(0, 0, H / 2))
    force, _ = magpylib.getFT(bodies, upper, meshing=200)
    got = axial_force(RING, P, MagnetLayers(H, BR, mirror_distance=half_gap))
    assert got == pytest.approx(-2 * P * np.reshape(force, (-1, 3)).sum(axis=0)[2], rel=3e-3)


HALBACH = halbach_footprint(INNER, OUTER, np.pi / 24, 2)


@pytest.mark.parametrize("footprint", [RING, HALBACH], ids=["alternating", "halbach"])
def test_pull_is_the_stress_on_the_plane(footprint):
    """Σ pi/(2·mu_0)·∫ B_n² r dr with the field of the ring at a plane of zero potential."""
    layers = MagnetLayers(H, BR, 1.05, 0.002, mirror_distance=0.002)
    radii, orders = np.linspace(0.008, 0.07, 3001), np.arange(1, 32, 2)
    B = ring_harmonics(footprint, P, layers, radii, np.array([0.002]), orders)[:, 0]
    stress = np.pi / (2 * MU_0) * np.trapezoid(np.sum(B**2, axis=0) * radii, radii)
    assert axial_force(footprint, P, layers) == pytest.approx(stress, rel=2e-3)


def test_pull_of_a_real_plate_lies_between_none_and_an_ideal_one():
    ideal = axial_force(RING, P, MagnetLayers(H, BR, mirror_distance=0.002))
    plates = [
        axial_force(RING, P, MagnetLayers(H, BR, plate_distance=0.002, plate_thickness=t, plate_permeability=mu))
        for t, mu in ((0.001, 1.0), (0.0005, 20.0), (0.001, 20.0), (0.001, 1000.0), (0.01, 1e6))
    ]
    pulls = plates
    assert pulls[0] == pytest.approx(0.0, abs=1e-9 * ideal)
    assert pulls == sorted(pulls)
    assert pulls[-1] == pytest.approx(ideal, rel=1e-4)


def test_nothing_pulls_where_nothing_faces():
    with pytest.raises(LawRangeError, match="nothing faces"):
        axial_force(RING, P, MagnetLayers(H, BR))
