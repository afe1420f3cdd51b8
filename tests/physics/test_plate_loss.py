"""Loss in a steel plate under a turning field: limits in closed form, diffusion by differences, power by integrals."""

import numpy as np
import pytest

from pcbstator.constants import MU_0
from pcbstator.errors import LawRangeError
from pcbstator.materials import MagnetisationCurve, mild_steel
from pcbstator.physics.magnetics.plate_loss import (
    LossySteel,
    net_current_share,
    steinmetz_loss_density,
    turning_field_loss,
    wide_plate_eddy_loss,
)

RHO, K = 1.4e-7, 250.0


def straight(permeability):
    return MagnetisationCurve((0.0, permeability * MU_0 * 1e7), (0.0, 1e7))


def by_differences(frequency, B, thickness, mu, cells=4000):
    """A'' = (k² + i·w·mu/rho)·A for the vector potential along the current, B = k·A at the face, none behind."""
    z = np.linspace(0.0, thickness, cells + 1)
    step, gamma = z[1], K**2 + 2j * np.pi * frequency * mu * MU_0 / RHO
    A = np.zeros(cells + 1, complex)
    main = np.full(cells - 1, -2.0 - gamma * step**2)
    right = np.zeros(cells - 1, complex)
    right[0] = -B / K
    ahead, found = np.zeros(cells - 1, complex), np.zeros(cells - 1, complex)  # Thomas
    ahead[0], found[0] = 1 / main[0], right[0] / main[0]
    for i in range(1, cells - 1):
        pivot = main[i] - ahead[i - 1]
        ahead[i], found[i] = 1 / pivot, (right[i] - found[i - 1]) / pivot
    A[0], A[-2] = B / K, found[-1]
    for i in range(cells - 3, -1, -1):
        A[i + 1] = found[i] - ahead[i] * A[i + 2]
    J = 2 * np.pi * frequency * np.abs(A) / RHO
    return float(np.trapezoid(J**2 * RHO / 2, z))


SLABS = [(20.0, 0.001, 300.0), (100.0, 0.002, 800.0), (400.0, 0.003, 200.0)]


@pytest.mark.parametrize(("frequency", "thickness", "mu"), SLABS)
def test_eddies_in_a_slab(frequency, thickness, mu):
    """Joule heat of the currents by differences, second order, against the power through the face."""
    law = wide_plate_eddy_loss(np.array(frequency), np.array(0.4), np.array(K), thickness, np.array(mu), RHO)
    assert float(law) == pytest.approx(by_differences(frequency, 0.4, thickness, mu), rel=1e-3)


def test_thin_and_thick_plates():
    def law(frequency, thickness):
        place = np.array(frequency), np.array(0.4), np.array(K)
        return float(wide_plate_eddy_loss(*place, thickness, np.array(500.0), RHO))

    w = 2 * np.pi
    assert law(1.0, 1e-4) == pytest.approx((w * 0.4 / K) ** 2 * 1e-4 / (6 * RHO), rel=1e-3)
    depth = np.sqrt(RHO / (np.pi * 1e4 * 500 * MU_0))  # of the skin; P = w·B²/(2·k²·mu·depth)
    assert law(1e4, 0.02) == pytest.approx(w * 1e4 * 0.16 / (2 * K**2 * 500 * MU_0 * depth), rel=2e-3)
    assert law(4e4, 0.02) / law(1e4, 0.02) == pytest.approx(8.0, rel=2e-3)


@pytest.mark.parametrize("width", [0.004, 0.02, 0.1])
def test_currents_turn_round_within_the_width(width):
    """Stream function of a thin strip under cos(kx): psi ~ 1 − cosh(ky)/cosh(kb/2), by integrals of its slopes."""
    y = np.linspace(-width / 2, width / 2, 20001)
    psi = 1 - np.cosh(K * y) / np.cosh(K * width / 2)
    across = K * np.sinh(K * y) / np.cosh(K * width / 2)
    loss = np.trapezoid((K * psi) ** 2 + across**2, y) / 2
    assert float(net_current_share(np.array(K), width)) == pytest.approx(loss / (K**2 * width / 2), rel=1e-6)


def test_a_ring_is_its_pieces():
    """Two orders, straight steel, a plate so thin that all is closed form; hysteresis of B/(k·t) in all of it."""
    radii, t, speed, p = 0.03 + (np.arange(800) + 0.5) * 0.02 / 800, 1e-4, 20.0, 8
    entering = np.stack([np.linspace(0.02, 0.01, 800), np.full(800, -0.004)])
    steel = LossySteel(straight(800.0), RHO, 750.0, 1.6)
    loss = turning_field_loss(speed, p, np.array([1, 3]), radii, entering, t, steel)
    eddy = 0.0
    for order, B in zip((1, 3), entering, strict=True):
        k = order * p / radii
        share = 0.25 + 0.75 * (1 - np.tanh(k * 0.01) / (k * 0.01))
        eddy += np.trapezoid(share * (order * p * speed * B / k) ** 2 * t / (6 * RHO) * 2 * np.pi * radii, radii)
    assert loss.eddy == pytest.approx(eddy, rel=2e-3)
    along = entering[0] / (p / radii * t)
    loop = np.trapezoid(p * speed / (2 * np.pi) * 750 * along**1.6 * t * 2 * np.pi * radii, radii)
    assert loss.hysteresis == pytest.approx(loop, rel=2e-3)


def test_saturated_steel_lets_the_field_deeper():
    """It grows as the square of the field in straight steel, faster where steel saturates: mu falls, skin deepens."""
    radii, orders = np.linspace(0.03, 0.05, 9), np.array([1])

    def loss(curve, B):
        steel = LossySteel(curve, RHO, 0.0, 1.6)
        return turning_field_loss(100.0, 12, orders, radii, np.full((1, 9), B), 0.004, steel).eddy

    assert loss(straight(500.0), 0.6) / loss(straight(500.0), 0.3) == pytest.approx(4.0, rel=1e-9)
    assert loss(mild_steel(), 0.6) / loss(mild_steel(), 0.3) > 4.4
    assert turning_field_loss(0.0, 12, orders, radii, np.full((1, 9), 0.3), 0.004,
                              LossySteel(mild_steel(), RHO, 750.0, 1.6)) == (0.0, 0.0)  # fmt: skip


def test_hysteresis_law():
    assert float(steinmetz_loss_density(np.array(100.0), np.array(0.5), 750.0, 1.6)) == pytest.approx(75e3 * 0.5**1.6)
    with pytest.raises(LawRangeError, match="negative"):
        steinmetz_loss_density(np.array(-1.0), np.array(0.5), 750.0, 1.6)
