"""Small bodies of steel: closed forms of a sphere, a cylinder solved by its charges, and the force on
small pieces in the field of a general magnetostatics library (magpylib).
"""

from __future__ import annotations

from math import pi

import magpylib
import numpy as np
import pytest
from scipy.special import ellipe, ellipk

from pcbstator.constants import MU_0
from pcbstator.errors import LawRangeError
from pcbstator.physics.magnetics.magnet_pattern import sector_footprint
from pcbstator.physics.stray.steel_body import (
    ACROSS,
    ALONG,
    all_coggings,
    cogging,
    cylinder_factors,
    joined_bodies,
    magnetisation,
    rod,
    sphere,
    steel_energy,
)
from pcbstator.physics.stray.stray_field import stray_field

A, JS = 1.5e-3, 2.0
VOLUME = 4 / 3 * pi * A**3
BALL = sphere(A)


def along_x(strength):
    return np.array([[[strength, 0.0, 0.0]]])


def test_force_on_a_sphere_in_a_gradient():
    """F = m·dB/dx with m = 4·pi·a³·B/mu_0 while unsaturated, (4/3)·pi·a³·Js/mu_0 beyond (closed form)."""
    slope, step = 3.0, 1e-7
    for strength in (0.02, 0.1, 0.6, 0.7, 1.5):
        low, high = (steel_energy(along_x(strength + s * slope * step), BALL, JS)[0] for s in (-1, 1))
        moment = min(4 * pi * A**3 * strength, VOLUME * JS) / MU_0
        assert (low - high) / (2 * step) == pytest.approx(moment * slope, rel=1e-6)


def test_saturation_holds_the_magnetisation_whatever_its_direction():
    field = np.array([[[1.0, 2.0, -2.0]]])
    J = magnetisation(field, BALL, JS)[0, 0]
    np.testing.assert_allclose(J, JS * field[0, 0] / 3.0, rtol=1e-6)


def cylinder_factor(slenderness, direction, rings=80):
    """B·V/(mu_0·m) of an ideal cylinder of diameter 1 in an even field, by rings of charge on its skin at which the
    potential is that of the field: charges odd in z along the axis, as cos(phi) across it.
    """
    along, half = direction == "along", slenderness / 2
    flat = max(12, round(rings * 0.5 / (0.5 + half)))
    side = max(12, rings - flat)
    ends, walls = 0.5 * np.sin(np.linspace(0, pi / 2, flat + 1)), half * np.sin(np.linspace(0, pi / 2, side + 1))
    r = np.concatenate([(ends[1:] + ends[:-1]) / 2, np.full(side, 0.5)])
    z = np.concatenate([np.full(flat, half), (walls[1:] + walls[:-1]) / 2])
    width, on_end = np.concatenate([np.diff(ends), np.diff(walls)]), np.arange(flat + side) < flat
    kernel = np.zeros((len(r), len(r)))
    x, w = np.polynomial.legendre.leggauss(8)
    for image, sign in ((1.0, 1.0), (-1.0, -1.0 if along else 1.0)):
        for place, weight in zip(np.append((x - 1) / 2, (x + 1) / 2), np.append(w, w) / 4, strict=True):
            R = np.where(on_end, r + place * width / 2, r)
            Z = image * np.where(on_end, z, z + place * width / 2)
            far, product = r[:, None] ** 2 + R**2 + (z[:, None] - Z) ** 2, 2 * r[:, None] * R
            k2 = 2 * product / (far + product)
            ring = ellipk(k2) if along else 2 * (ellipk(k2) - ellipe(k2)) / k2 - ellipk(k2)
            kernel += sign * weight * width * R * 4 * ring / np.sqrt(far + product) / (4 * pi)
    charge = np.linalg.solve(kernel, z if along else r)
    moment = 2 * charge @ ((2 * pi * z if along else pi * r) * r * width)
    return pi / 4 * slenderness / float(moment)


@pytest.mark.parametrize("direction", ["along", "across"])
def test_cylinders_by_the_charges_on_their_skin(direction):
    """A second method; between the points of the table as well."""
    for slenderness in (0.15, 0.3, 0.5, 1.0, 1.2, 2.4, 4.0, 9.0):
        got = cylinder_factors(slenderness)[0 if direction == "along" else 1]
        assert got == pytest.approx(cylinder_factor(slenderness, direction), rel=1.2e-2)


@pytest.mark.parametrize("table", [ALONG, ACROSS], ids=["along", "across"])
def test_no_number_of_the_tables_has_slipped(table):
    """They are smooth: a number above 0.07 that is 1 % off makes a fourth difference of 0.004 and more."""
    assert np.abs(np.diff(table, 4)).max() < 2e-3


def test_limits_of_the_factors():
    """A long rod across the field 1/2, a flat disc along it 1, along a long one nothing (closed forms)."""
    assert cylinder_factors(32.0)[1] == pytest.approx(0.5, rel=0.03)
    assert cylinder_factors(32.0)[0] < 0.004
    with pytest.raises(LawRangeError):
        cylinder_factors(0.0)


@pytest.mark.parametrize("slenderness", [1.0, 2.0, 3.3, 5.0])
@pytest.mark.parametrize("axis", [0, 2])
def test_a_rod_in_pieces_is_the_whole_cylinder_in_an_even_field(slenderness, axis):
    body = rod(1.0, -slenderness / 2, slenderness / 2)
    B = np.zeros((1, len(body.heights), 3))
    B[..., axis] = 1e-3
    moment = float(magnetisation(B, body, JS)[0, :, axis] @ body.volumes) / (1e-3 * body.volumes.sum())
    assert moment * cylinder_factors(slenderness)[1 if axis == 0 else 0] == pytest.approx(1.0, rel=0.05)


BR, H, POLES = 1.3, 3e-3, 12
SECTOR = (0.034, 0.051, 0.8 * pi / POLES)
SCREW = joined_bodies((rod(3e-3, -7.6e-3, 0.0), rod(5.5e-3, 0.0, 3e-3)))
RADIUS, GAP = 0.056, 0.8e-3


def screw_energies(steps, body=SCREW):
    field = stray_field(sector_footprint(*SECTOR), POLES // 2, H, BR)
    turn = -2 * pi / POLES * np.arange(steps) / steps
    places = np.empty((steps, len(body.heights), 3))
    places[..., 0], places[..., 1] = RADIUS * np.cos(turn)[:, None], RADIUS * np.sin(turn)[:, None]
    places[..., 2] = body.heights - GAP
    B = field.at(places)
    flat = (B[..., 0] + 1j * B[..., 1]) * np.exp(-1j * turn)[:, None]
    return steel_energy(np.stack([flat.real, flat.imag, B[..., 2]], axis=-1), body, JS)


def test_cogging_of_a_screw_against_the_force_on_small_pieces():
    """Each piece with its moment in the library's field: T = −Σ r·(m·dB/ds), tangential, beside m × B of the piece."""
    magnets = magpylib.Collection()
    half = np.degrees(SECTOR[2])
    for j in range(POLES):
        size = (*SECTOR[:2], H, 360 * j / POLES - half, 360 * j / POLES + half)
        magnets.add(
            magpylib.magnet.CylinderSegment(
                polarization=(0, 0, -BR * (-1) ** j), dimension=size, position=(0, 0, H / 2 + GAP)
            )
        )
    found = cogging(screw_energies(24), POLES, np.zeros(1))
    step = 1e-6
    aside = np.array([0.0, step, 0.0])
    for angle in np.radians([2.0, 5.0, 11.0, 20.0]):
        place = np.stack([np.full(len(SCREW.heights), RADIUS), np.zeros(len(SCREW.heights)), SCREW.heights], axis=1)
        turned = magpylib.Collection(*(m.copy() for m in magnets))
        turned.rotate_from_angax(np.degrees(angle), "z", anchor=0)
        B = turned.getB(place)
        moment = magnetisation(B[None], SCREW, JS)[0] * SCREW.volumes[:, None] / MU_0
        along = (turned.getB(place + aside) - turned.getB(place - aside)) / (2 * step)
        on_screw = RADIUS * (moment * along).sum() + np.cross(moment, B)[:, 2].sum()
        assert found.at(np.array([angle]))[0] == pytest.approx(-on_screw, rel=5e-3, abs=5e-3 * found.peak_to_peak)


@pytest.mark.parametrize("screws", [2, 3, 4, 5, 6, 7, 8, 9, 12])
def test_screws_around_the_turn(screws):
    """Even screws leave only orders that are multiples of the least common one of screws and poles."""
    W = screw_energies(24)
    one = cogging(W, POLES, np.zeros(1))
    all_of_them = cogging(W, POLES, 0.3 + 2 * pi * np.arange(screws) / screws)
    common = np.lcm(screws, POLES)
    for order, torque, single in zip(all_of_them.orders, all_of_them.torques, one.torques, strict=True):
        if order % common:
            assert torque == 0.0
        else:
            assert abs(torque) == pytest.approx(screws * abs(single), rel=1e-9)
    if common > one.orders[-1]:
        assert all_of_them.peak_to_peak == 0.0 and all_of_them.main_order == 0


def test_two_groups_half_a_period_apart_cancel():
    W = screw_energies(24)
    one = cogging(W, POLES, np.zeros(1))
    other = cogging(W, POLES, np.array([pi / POLES]))
    both = all_coggings((one, other))
    assert both.main_order == 2 * POLES
    assert both.peak_to_peak < 0.5 * one.peak_to_peak


def test_energy_is_least_in_the_middle_of_a_gap_of_force():
    """Torque is what the energy falls by: the mean over a period is nil, and it is odd about a magnet's middle."""
    found = cogging(screw_energies(24), POLES, np.zeros(1))
    angles = np.linspace(0, 2 * pi / POLES, 49)
    np.testing.assert_allclose(found.at(angles), -found.at(-angles), atol=1e-3 * found.peak_to_peak)
