"""Errors of the driver in closed form, against sums over the phases and the Fourier series taken sample by sample."""

from itertools import product
from math import pi

import numpy as np
import pytest

from pcbstator.errors import LawRangeError
from pcbstator.physics.drive.driver_errors import (
    current_gain_ripple,
    current_gain_vector,
    current_offset_ripple,
    current_offset_vector,
    leg_loss_harmonics,
    leg_loss_ripple,
    leg_voltage_loss,
)

TURN = np.arange(7200) * 2 * pi / 7200
PHASES = [2, 3, 5, 7]


def directions(phases):
    return np.arange(phases) * (pi / 2 if phases == 2 else 2 * pi / phases)


def seen(current, gains, offsets):
    """The current in the rotor's frame over an electrical turn, as sensors in every phase make it, phase by phase."""
    angles = directions(len(gains))
    phases = (current * np.exp(1j * (TURN - angles[:, None]))).real
    read = (1 + np.asarray(gains)[:, None]) * phases + np.asarray(offsets)[:, None]
    return 2 / len(gains) * (read * np.exp(1j * (angles[:, None] - TURN))).sum(axis=0)


def order(values, number):
    """Amplitude of an order of the q axis over the turn."""
    return 2 * abs(np.mean(values.imag * np.exp(-1j * number * TURN)))


@pytest.mark.parametrize("phases", PHASES)
def test_no_signs_of_the_offsets_are_worse(phases):
    worst = max(
        order(seen(0j, (0.0,) * phases, signs), 1) for signs in product((1.0, -1.0), repeat=phases)
    )  # fmt: skip
    assert abs(current_offset_vector(1.0, phases)) == pytest.approx(worst, rel=1e-9)
    assert current_offset_ripple(0.01, 0.7, phases) == pytest.approx(0.7 * 0.01 * worst, rel=1e-9)


@pytest.mark.parametrize("phases", PHASES)
def test_no_signs_of_the_gains_are_worse(phases):
    """At equal spread; and the mean that belongs to these signs, which is that of the real current upside down."""
    readings = [seen(2j, np.array(signs) * 0.01, (0.0,) * phases) for signs in product((0.5, -0.5), repeat=phases)]
    worst = max(order(reading, 2) for reading in readings)
    mean, vector = current_gain_vector(0.01, phases)
    assert 2 * abs(vector) == pytest.approx(worst, rel=1e-9)
    means = [reading.imag.mean() / 2 - 1 for reading in readings if order(reading, 2) > 0.999 * worst]
    assert min(abs(found - mean) for found in means) < 1e-12
    assert current_gain_ripple(0.01, 2.0, phases) == pytest.approx((worst, -2 * mean), rel=1e-9)


@pytest.mark.parametrize("phases", PHASES)
def test_harmonics_of_what_the_legs_lose(phases):
    """Sign of each phase's current, summed as vectors, in the frame of the current: Fourier sums of the course."""
    angles = directions(phases)
    lost = np.sign(np.cos(TURN + 1e-5 - angles[:, None]))
    vector = 2 / phases * (lost * np.exp(1j * (angles[:, None] - TURN))).sum(axis=0)
    along, across = vector.real, vector.imag
    number = 2 * phases
    found = [along.mean()] + [2 * abs(np.mean(part * np.exp(-1j * number * TURN))) for part in (along, across)]
    assert leg_loss_harmonics(phases) == pytest.approx(found, rel=2e-3)


def test_ripple_of_the_legs_loss_at_its_ends():
    """Very fast: nothing but the winding is in its way; very slow: the loop takes it out in step with the speed."""
    fast = leg_loss_ripple(0.2, 3, 0.5, 2.0, 1e-9, 50.0, 1e6)
    assert fast == pytest.approx(0.5 * 0.2 * 8 / (35 * pi) / 2.0, rel=1e-4)
    slow, slower = (leg_loss_ripple(0.2, 3, 0.5, 2.0, 1e-4, 500.0, speed) for speed in (0.02, 0.01))
    assert slow == pytest.approx(2 * slower, rel=1e-6)


def test_nonsense_is_refused():
    with pytest.raises(LawRangeError, match="2 or odd"):
        current_offset_vector(0.1, 4)
    with pytest.raises(LawRangeError, match="half of a period"):
        leg_voltage_loss(24.0, 1e-3, 40e3, 0.0)
