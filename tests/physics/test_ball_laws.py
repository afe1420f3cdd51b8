"""Laws of a ball on a flat and of its contact: handbook coefficients, integrals over the patch, networks by hand."""

from math import pi, sqrt

import numpy as np
import pytest
from scipy.integrate import quad

from pcbstator.errors import LawRangeError
from pcbstator.physics.conductors.balls_on_rings import balls_on_rings
from pcbstator.physics.conductors.holm import LORENZ, foil_resistance, patch_resistance, patch_temperature
from pcbstator.physics.mechanics.hertz import (
    approach,
    contact_modulus,
    patch_radius,
    peak_pressure,
    rolling_moment,
    spin_moment,
    stress_below,
)
from pcbstator.physics.mechanics.uneven_balls import ball_loads, force_of_approach


@pytest.mark.parametrize(
    ("force", "diameter", "bodies"),
    [(10.0, 10e-3, (207e9, 0.3, 207e9, 0.3)), (0.3, 3e-3, (208e9, 0.3, 120e9, 0.34))],
)
def test_ball_on_flat_has_the_coefficients_of_the_handbook(force, diameter, bodies):
    """Roark's Formulas for Stress and Strain, sphere on a flat plate: a = 0.721 (P D C)^(1/3),
    sigma = 0.918 (P/(D² C²))^(1/3), y = 1.04 (P² C²/D)^(1/3) with C = (1 − nu1²)/E1 + (1 − nu2²)/E2; three digits are
    printed, from memory.
    """
    e1, nu1, e2, nu2 = bodies
    soft = (1 - nu1**2) / e1 + (1 - nu2**2) / e2
    patch = patch_radius(force, diameter / 2, contact_modulus(*bodies))
    assert patch == pytest.approx(0.721 * (force * diameter * soft) ** (1 / 3), rel=0.0005 / 0.721)
    wanted = 0.918 * (force / (diameter * soft) ** 2) ** (1 / 3)
    assert peak_pressure(force, patch) == pytest.approx(wanted, rel=0.0005 / 0.918)
    wanted = 1.04 * ((force * soft) ** 2 / diameter) ** (1 / 3)
    assert approach(patch, diameter / 2) == pytest.approx(wanted, rel=0.005 / 1.04)


def test_pressure_and_moments_are_integrals_over_the_patch():
    force, patch, lost, friction = 2.0, 40e-6, 0.15, 0.25
    peak = float(peak_pressure(force, patch))

    def pressure(u):
        return peak * sqrt(1 - u**2)

    whole = quad(lambda u: pressure(u) * 2 * pi * u, 0, 1)[0] * patch**2
    assert whole == pytest.approx(force, rel=1e-7)
    # The half ahead of the ball resists with the moment of its pressure; a part of that is not given back behind.
    ahead = quad(lambda u: pressure(u) * u**2, 0, 1)[0] * 2 * patch**3
    assert float(rolling_moment(force, patch, lost)) == pytest.approx(lost * ahead, rel=1e-7)
    spun = quad(lambda u: pressure(u) * 2 * pi * u**2, 0, 1)[0] * patch**3 * friction
    assert float(spin_moment(force, patch, friction)) == pytest.approx(spun, rel=1e-7)


@pytest.mark.parametrize("depth", [0.3, 1.0, 4.0])
def test_stress_below_is_the_sum_of_point_loads(depth):
    """Boussinesq's stress under a point load, 3 P z³/(2 pi (r² + z²)^2.5), over the Hertz pressure."""

    def ring(u):
        return sqrt(1 - u**2) * 2 * pi * u * 3 * depth**3 / (2 * pi * (u**2 + depth**2) ** 2.5)

    assert float(stress_below(1.0, 1.0, depth)) == pytest.approx(quad(ring, 0, 1)[0], rel=1e-7)


def test_constriction_is_that_of_a_conducting_disc():
    """Current density I/(2 pi a sqrt(a² − r²)) on a disc of one potential; the potential in its middle is the sum of
    rho·i/(2 pi r) over it, which gives rho/(4 a) for one side.
    """
    rho, patch = 1.7241e-8, 30e-6
    density = quad(lambda angle: 1.0, 0, pi / 2)[0] / (2 * pi * patch)  # r = a sin(angle) takes the root away
    middle = rho / (2 * pi) * density * 2 * pi
    assert middle == pytest.approx(rho / (4 * patch), rel=1e-12)
    assert float(patch_resistance(patch, rho, rho)) == pytest.approx(2 * middle, rel=1e-12)  # rho/(2 a)
    assert float(patch_resistance(patch, rho, 3 * rho)) == pytest.approx(4 * middle, rel=1e-12)


def test_foil_is_a_sheet_of_rings():
    rho, thickness, inner, outer = 1.7241e-8, 35e-6, 30e-6, 1e-3
    summed = quad(lambda r: rho / (thickness * 2 * pi * r), inner, outer)[0]
    assert float(foil_resistance(inner, outer, rho, thickness)) == pytest.approx(summed, rel=1e-9)
    assert foil_resistance(inner, inner / 2, rho, thickness) == 0


def test_softening_voltages_of_copper_and_gold():
    """Printed by Holm: copper softens at 0.12 V, near 190 C, gold at 0.08 V, near 100 C (from memory, within 30 K)."""
    assert float(patch_temperature(0.12, 293.15)) - 273.15 == pytest.approx(190, abs=30)
    assert float(patch_temperature(0.08, 293.15)) - 273.15 == pytest.approx(100, abs=30)
    assert float(patch_temperature(0.001, 293.15)) - 293.15 == pytest.approx(0.001**2 / (8 * LORENZ * 293.15), rel=1e-3)


def test_force_over_approach_is_hertz_twice_and_a_spring():
    pair, radius, give = 85e9, 1.5e-3, 2e-4
    stiffness = 4 / 3 * pair * sqrt(radius)
    for force in (0.01, 0.5, 20.0):
        closer = 2 * float(approach(patch_radius(force, radius, pair), radius))
        assert float(force_of_approach(closer, stiffness)) == pytest.approx(force, rel=1e-9)
        assert float(force_of_approach(closer + give * force, stiffness, give)) == pytest.approx(force, rel=1e-9)
    assert force_of_approach(-1e-6, stiffness) == 0


def test_loads_of_two_heights_by_hand():
    """One ball higher by what it gives way under 1 N: the others begin to carry beyond that."""
    stiffness = 4e9
    step = 2 * (1.0 / stiffness) ** (2 / 3)
    loads = ball_loads([0.0, step, step], 2**1.5 + 2.0, stiffness)
    assert loads == pytest.approx([2**1.5, 1.0, 1.0], rel=1e-9)
    assert ball_loads([0.0, step, step], 1.0, stiffness) == pytest.approx([1.0, 0.0, 0.0], abs=1e-9)
    soft = ball_loads(np.linspace(0, 1e-5, 12), 6.0, stiffness, give=1.0)  # a bed so soft that heights do not matter
    assert soft == pytest.approx(np.full(12, 0.5), rel=1e-4)


def test_sharing_of_three_balls_by_hand():
    """Three balls a third of a turn apart, leads at the first. By symmetry the other two are at one potential: each
    ring is two thirds in parallel from there, 1/6 of its resistance around, and both balls are in parallel.
    """
    ball, around = 2.0, 6.0
    path = around / 3 / 2
    beyond = path + ball / 2 + path
    resistance, shares = balls_on_rings([0.0, 2 * pi / 3, 4 * pi / 3], [ball] * 3, around, around, 0.0, 0.0)
    assert resistance == pytest.approx(1 / (1 / ball + 1 / beyond), rel=1e-9)
    first = beyond / (ball + beyond)
    assert shares == pytest.approx([first, (1 - first) / 2, (1 - first) / 2], rel=1e-9)


def test_one_ball_and_leads_elsewhere_by_hand():
    """A quarter and three quarters of each ring in parallel, and the ball between."""
    resistance, shares = balls_on_rings([0.0], [1.0], 4.0, 8.0, pi / 2, -pi / 2)
    assert resistance == pytest.approx(4 * 3 / 16 + 1 + 8 * 3 / 16, rel=1e-9)
    assert shares == pytest.approx([1.0], rel=1e-9)


def test_rings_without_resistance_share_by_the_balls_alone():
    balls = np.array([1.0, 2.0, 4.0, 4.0])
    resistance, shares = balls_on_rings(np.arange(4) * pi / 2, balls, 1e-6, 1e-6, 0.3, 2.0)
    assert shares == pytest.approx(1 / balls / np.sum(1 / balls), rel=1e-5)
    assert resistance == pytest.approx(0.5, rel=1e-5)


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: patch_radius(0.0, 1e-3, 1e11), lambda: patch_resistance(-1e-6, 1e-8, 1e-8),
        lambda: ball_loads([0.0], 0.0, 1e9), lambda: force_of_approach(1e-6, 1e9, -1.0),
        lambda: balls_on_rings([0.0, 1.0], [1.0], 1.0, 1.0, 0.0, 0.0), lambda: patch_temperature(0.1, 0.0),
    ],
)  # fmt: skip
def test_out_of_range_is_refused(wrong):
    with pytest.raises(LawRangeError):
        wrong()
