"""Each error of the driver alone in the simulation: the order it must show at, with the size of its closed form."""

from dataclasses import replace
from itertools import pairwise
from math import pi

import numpy as np
import pytest

from pcbstator.physics.drive.control import current_gains
from pcbstator.physics.drive.driver_errors import (
    current_gain_ripple,
    current_gain_vector,
    current_offset_ripple,
    current_offset_vector,
    leg_loss_ripple,
)
from pcbstator.physics.drive.plant import Plant, PlantValues
from pcbstator.physics.drive.simulation import ControlValues, SensorValues, simulated

PAIRS, PSI, R, L, J, PERIOD = 12, 7.5e-3, 18.0, 1.3e-4, 2e-3, 1e-4
BANDWIDTH = 500.0  # Hz, of the current loop
ELECTRICAL = 2 * pi * 10.0  # rad/s: far below it, far above the speed loop
FRICTION = 0.2
EXACT = SensorValues(1e-9)


def kt(phases):
    return phases / 2 * PAIRS * PSI


def turning(phases, friction, sensor=EXACT, electrical=ELECTRICAL, **plant):
    """Torque over ten electrical turns at constant speed, sampled; and the mean angle by which the load lags there.

    Loops of speed and position so slow that they leave the ripple alone; friction is fed forward.
    """
    values = PlantValues(phases, PAIRS, R, L, (1j * PAIRS * PSI,) * 16, J, running=friction, **plant)
    control = ControlValues(
        PERIOD, current_gains(R, L, BANDWIDTH), J * 2 * pi * 0.5, 0.0, 0.8, 4000.0, 5.0, 200.0,
        torque_constant=kt(phases), inertia=J, friction=friction,
    )  # fmt: skip
    speed = electrical / PAIRS
    times = np.arange(150_000) * PERIOD
    rising = np.minimum(times, 0.5)
    reference = speed * (rising**2 + np.maximum(times - 0.5, 0.0)), 2 * speed * rising, 2 * speed * (times < 0.5)
    run = simulated(values, control, sensor, reference)
    last = round(10 * 2 * pi / electrical / PERIOD)
    return kt(phases) * run.current[-last:], float((run.wanted - run.angles)[-last:].mean())


def orders(torque, *numbers):
    """Amplitudes of electrical orders of ten whole turns."""
    found = 2 * np.abs(np.fft.rfft(torque)) / len(torque)
    return [float(found[10 * number]) for number in numbers]


@pytest.mark.parametrize("phases", [2, 3, 5])
def test_an_offset_shows_once_per_electrical_turn(phases):
    sensor = replace(EXACT, current_offset=current_offset_vector(0.01, phases))
    first, second, sixth = orders(turning(phases, 0.0, sensor)[0], 1, 2, 2 * phases)
    assert first == pytest.approx(current_offset_ripple(0.01, kt(phases), phases), rel=5e-3)
    assert max(second, sixth) < 5e-3 * first


@pytest.mark.parametrize("phases", [2, 3, 5])
def test_unequal_gains_show_twice_and_shift_the_mean(phases):
    mean, image = current_gain_vector(0.006, phases)
    sensor = replace(EXACT, current_gain_error=mean, current_image=image)
    torque, lag = turning(phases, FRICTION, sensor)
    first, second, sixth = orders(torque, 1, 2, 2 * phases)
    ripple, excess = current_gain_ripple(0.006, FRICTION, phases)
    assert second == pytest.approx(ripple, rel=1e-2)
    assert max(first, sixth) < 1e-2 * second
    stiffness = J * 2 * pi * 0.5 * 0.8  # too much torque turns the load ahead, until the loops take it back
    assert -lag * stiffness == pytest.approx(excess, rel=2e-2, abs=3e-6)  # the square of the spread


@pytest.mark.parametrize("phases", [2, 3, 5])
def test_what_the_legs_lose_shows_at_twice_the_phases(phases):
    """Not compensated: the sixth electrical order with three phases. The loop's delays, which the closed form
    leaves out, grow with the frequency."""
    torque, _ = turning(phases, FRICTION, electrical=ELECTRICAL / 2, leg_loss=0.2)
    first, second, wanted = orders(torque, 1, 2, 2 * phases)
    assert wanted == pytest.approx(leg_loss_ripple(0.2, phases, kt(phases), R, L, BANDWIDTH, ELECTRICAL / 2), rel=3e-2)
    assert max(first, second) < 1e-2 * wanted


def test_a_perfect_driver_makes_no_ripple():
    torque, lag = turning(3, FRICTION)
    assert max(orders(torque, 1, 2, 6)) < 1e-7 * FRICTION and abs(lag) < 1e-6


def test_legs_drive_a_current_with_what_they_leave():
    """A vector along phase A, rotor held: (V − 4/3 leg loss)/R; a current by itself dies out and never turns round."""
    values = PlantValues(3, PAIRS, R, L, (0j,) * 16, 1e9, leg_loss=0.3)
    body = Plant(values, PERIOD)
    body.advance(6 + 0j, 0.0, 50)
    assert body.state.current == pytest.approx((6 - 0.4) / R, rel=1e-9)
    sizes = []
    for _ in range(60):
        body.advance(0j, 0.0)
        sizes.append(body.state.current.real)
    assert all(later <= 0.6 * earlier for earlier, later in pairwise(sizes[1:]) if earlier > 1e-12)
    assert abs(sizes[-1]) < 1e-9
