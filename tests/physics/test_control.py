"""Gains and margins against printed values, closed forms, poles, and another library's sampled models."""

import tomllib
from math import exp, pi, sqrt
from pathlib import Path

import numpy as np
import pytest
from scipy import signal

from pcbstator.physics.drive.control import (
    current_gains,
    current_open_loop,
    loop_frequencies,
    margins,
    motion_open_loops,
    shaft_response,
    speed_bandwidth_for_counts,
    speed_gains,
)

PUBLISHED = tomllib.loads((Path(__file__).parents[1] / "published" / "control.toml").read_text(encoding="utf-8"))


def test_current_gains_to_all_printed_digits():
    table = PUBLISHED["current_loop"]
    kp, ki = current_gains(table["resistance_ohm"], table["inductance_uh"] * 1e-6, table["bandwidth_hz"])
    assert float(f"{kp:.5g}") == table["proportional_v_per_a"] and float(f"{ki:.4g}") == table["integral_v_per_a_s"]


def test_pole_zero_cancellation_leaves_an_integrator():
    """Closed form: fast sampling, so the open loop is w/s with two samples' delay at the most: 90 degrees less that."""
    period, bandwidth = 1e-6, 1000.0
    frequencies = loop_frequencies(1.0, period)
    found = margins(
        current_open_loop(frequencies, period, 0.3, 20e-6, current_gains(0.3, 20e-6, bandwidth)), frequencies
    )
    assert found.crossover == pytest.approx(bandwidth, rel=1e-2)
    assert found.phase == pytest.approx(pi / 2 - 1.5 * 2 * pi * bandwidth * period, rel=1e-2)


def closed_poles(period, resistance, inductance, kp, ki):
    """Poles of the sampled current loop: (Kp (z − 1) + Ki T)·b/(z (z − 1)(z − a)) closed."""
    fade = exp(-resistance * period / inductance)
    gain = (1 - fade) / resistance
    open_poles = np.polymul([1, 0], np.polymul([1, -1], [1, -fade]))
    return np.roots(np.polyadd(open_poles, gain * np.array([kp, ki * period - kp])))


@pytest.mark.parametrize("resistance", [0.3, 3.0, 18.0])
def test_gain_margin_of_the_current_loop_is_where_its_poles_leave_the_circle(resistance):
    """Second method: poles of the closed loop, 1 % inside and outside the margin."""
    period, inductance = 5e-5, 130e-6
    kp, ki = current_gains(resistance, inductance, 1000.0)
    frequencies = loop_frequencies(1.0, period)
    factor = margins(current_open_loop(frequencies, period, resistance, inductance, (kp, ki)), frequencies).gain
    inside, outside = (
        abs(closed_poles(period, resistance, inductance, kp * part * factor, ki * part * factor)).max()
        for part in (0.99, 1.01)
    )
    assert inside < 1 < outside


def test_margins_of_an_integrator_with_a_sample_of_delay():
    """Closed form: z² − z + K T = 0 leaves the circle at K T = 1."""
    period, gain = 1e-3, 200.0
    frequencies = loop_frequencies(0.1, period)
    z = np.exp(2j * pi * frequencies * period)
    assert margins(gain * period / (z - 1) / z, frequencies).gain == pytest.approx(5.0, rel=1e-3)


def test_two_bodies_on_a_spring_against_another_librarys_sampled_model():
    """Zero-order hold of the four-state model by scipy, the same damping between the bodies."""
    motor, load, stiffness, period = 2e-4, 1e-3, 4.0, 1e-4
    whole = motor + load
    rate = sqrt(stiffness * whole / (motor * load))
    damping = 0.04 * rate * motor * load / whole
    system = np.array([
        [0, 1, 0, 0],
        [-stiffness / motor, -damping / motor, stiffness / motor, damping / motor],
        [0, 0, 0, 1],
        [stiffness / load, damping / load, -stiffness / load, -damping / load],
    ])  # fmt: skip
    inputs = np.array([[0], [1 / motor], [0], [0]])
    model = signal.cont2discrete((system, inputs, np.array([[1.0, 0, 0, 0]]), np.zeros((1, 1))), period)
    frequencies = np.array([1.0, 10.0, 20.0, 40.0, 100.0, 1000.0, 4000.0])
    wanted = [
        (model[2] @ np.linalg.solve(z * np.eye(4) - model[0], model[1]))[0, 0]
        for z in np.exp(2j * pi * frequencies * period)
    ]
    assert shaft_response(frequencies, period, motor, load, stiffness) == pytest.approx(np.array(wanted), rel=1e-6)


def test_far_below_the_resonance_it_is_one_body():
    rigid, soft = (shaft_response([0.1], 1e-4, *bodies) for bodies in ((1.2e-3,), (2e-4, 1e-3, 400.0)))
    assert soft == pytest.approx(rigid, rel=1e-3)


def simulated_poles(period, inertia, gains, observer):
    """Largest pole of the sampled loop of observer, position and speed loop on a rigid body, ideal torque.

    States: angle, speed, observed angle, observed speed, integral; written from the controller's equations.
    """
    kp, ki, position = gains
    matrix = np.zeros((5, 5))
    # torque = kp (position (0 − o) − w) + S
    torque = np.array([0, 0, -kp * position, -kp, 1.0])
    matrix[0] = np.array([1, period, 0, 0, 0]) + period**2 / 2 / inertia * torque
    matrix[1] = np.array([0, 1, 0, 0, 0]) + period / inertia * torque
    matrix[2] = [2 * observer * period, 0, 1 - 2 * observer * period, period, 0]
    matrix[3] = [observer**2 * period, 0, -(observer**2) * period, 1, 0]
    matrix[4] = [0, 0, -period * ki * position, -period * ki, 1]
    return abs(np.linalg.eigvals(matrix)).max()


@pytest.mark.parametrize("factor", [0.5, 1.0, 3.0, 5.0, 6.0, 7.0, 9.0])
def test_margins_of_the_motion_loops_agree_with_the_poles_of_the_whole(factor):
    """Second method: both loops have margin left exactly where the whole is stable."""
    period, inertia, bandwidth = 1e-4, 1e-3, 20.0
    kp, ki = (factor * gain for gain in speed_gains(inertia, bandwidth))
    observer, position = 4 * 2 * pi * bandwidth, 2 * pi * bandwidth / 5
    frequencies = loop_frequencies(0.05, period)
    shaft = shaft_response(frequencies, period, inertia)
    loops = motion_open_loops(frequencies, period, shaft, np.ones_like(frequencies), (kp, ki, position), observer, 0.0)
    # The inner loop alone decides about the position loop's encirclements; both are judged where the inner is stable.
    inner = margins(loops[0], frequencies)
    stable = inner.phase > 0 and margins(loops[1], frequencies).phase > 0
    assert stable == (simulated_poles(period, inertia, (kp, ki, position), observer) < 1)


def test_jump_of_a_count_at_that_bandwidth():
    """Second method: the observer run sample by sample on a step of one count."""
    inertia, count, torque = 2e-3, 1e-3, 0.01
    bandwidth = speed_bandwidth_for_counts(torque, inertia, count)
    f, period = 4 * 2 * pi * bandwidth, 1e-5
    angle = speed = peak = 0.0
    for _ in range(20_000):
        error = count - angle
        angle, speed = angle + period * (speed + 2 * f * error), speed + period * f * f * error
        peak = max(peak, speed)
    assert speed_gains(inertia, bandwidth)[0] * peak == pytest.approx(torque, rel=1e-2)
