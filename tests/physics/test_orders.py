"""Orders of a turn: planted amplitudes are found, Parseval holds, and which orders all phases make together."""

import numpy as np
import pytest

from pcbstator.errors import LawRangeError
from pcbstator.physics.drive.orders import order_amplitudes, phase_torque_order


def test_planted_orders_are_found_whatever_the_start_and_the_samples():
    planted = {1: 3e-3, 2: 1e-3, 12: 4e-4, 72: 1e-4}
    rng = np.random.default_rng(2)
    turned = 1.7 + np.sort(rng.uniform(0.0, 7.5, 60_000))
    off = 2e-3 + sum(size * np.sin(k * turned + 0.3 * k) for k, size in planted.items())
    found = order_amplitudes(turned, off)
    for k, size in planted.items():
        assert found[k] == pytest.approx(size, rel=0.01)
    assert found[0] == pytest.approx(2e-3, rel=1e-3)
    others = np.delete(found[:200], [0, *planted])
    assert others.max() < 0.02 * min(planted.values())


def test_half_the_sum_of_the_squares_is_the_variance():
    """Parseval, on what repeats with the turn: a squared cosine on a tenth of it."""
    turned = np.linspace(0.0, 2 * np.pi, 40_001)
    spot = np.where(turned < 0.6, np.cos(np.pi * (turned - 0.3) / 0.6) ** 2, 0.0)
    found = order_amplitudes(turned, spot)
    variance = 0.6 * 3 / 8 / (2 * np.pi) - (0.6 / 2 / (2 * np.pi)) ** 2  # by hand
    assert np.sum(found[1:] ** 2) / 2 == pytest.approx(variance, rel=1e-3)


def test_less_than_a_turn_has_no_orders():
    turned = np.linspace(0.0, 6.2, 100)
    with pytest.raises(LawRangeError, match="a whole turn"):
        order_amplitudes(turned, turned)


@pytest.mark.parametrize(("phases", "apart"), [(2, np.pi / 2), (3, 2 * np.pi / 3), (5, 2 * np.pi / 5)])
def test_odd_harmonics_of_all_phases_leave_multiples_of_twice_the_phases(phases, apart):
    """Second method: random odd harmonics of EMF and current, multiplied and summed phase by phase."""
    rng = np.random.default_rng(3)
    angle = np.linspace(0, 2 * np.pi, 512, endpoint=False)

    def wave(factors, at):
        return sum(a * np.sin(h * at) + b * np.cos(h * at) for h, (a, b) in zip(range(1, 16, 2), factors, strict=True))

    emf, current = rng.normal(size=(2, 8, 2))
    torque = sum(wave(emf, angle - k * apart) * wave(current, angle - k * apart) for k in range(phases))
    orders = np.flatnonzero(np.abs(np.fft.rfft(torque)) > 1e-6)
    least = phase_torque_order(phases)
    assert set(orders) == set(range(0, 31, least))
