"""Closed loops in modes against the textbook's second order, Lyapunov's equation, and samples one by one."""

from __future__ import annotations

from dataclasses import replace
from math import pi, sqrt

import numpy as np
import pytest
from scipy.linalg import solve_discrete_lyapunov

from pcbstator.errors import LawRangeError
from pcbstator.physics.drive.control import current_gains, speed_gains
from pcbstator.physics.drive.loop_response import (
    ANGLE,
    INPUTS,
    SEEN,
    SPEED,
    LoopValues,
    closed_loops,
    observer_noise,
    sampled_loops,
    second_order_answer,
)
from pcbstator.physics.drive.motion import Piece, rest_to_rest, sampled_moves
from pcbstator.physics.drive.standing_error import held_error, modes_after, release_time, swing_errors

PERIOD = 5e-5
LOOPS = LoopValues(
    PERIOD, 2.0, 2e-3, 0.1, 0.15, 5e-3, current_gains(2.0, 2e-3, 800.0), *speed_gains(5e-3, 8.0), 10.0, 200.0,
    viscous=1e-3, delay=1e-4,
)  # fmt: skip


def test_ideal_loops_come_to_a_second_order():
    """Without integral, with a current loop and an observer a thousand times faster, and samples faster still."""
    fast = LoopValues(1e-6, 2.0, 2e-3, 0.0, 0.15, 5e-3, current_gains(2.0, 2e-3, 20e3), 0.25, 0.0, 10.0, 5e4)
    loops = closed_loops(replace(fast, waits=True))
    rates = np.array([0.01, 1.0, 10.0, 30.0, 100.0])
    ideal = second_order_answer(rates, 5e-3, 0.25 * 10.0, 0.25)
    assert np.abs(loops.answer(rates, "torque") / ideal - 1).max() < 0.02
    natural, damping = sqrt(2.5 / 5e-3), 0.25 / 2 / sqrt(2.5 * 5e-3)
    assert damping > 1  # two real poles
    slow = natural * (damping - sqrt(damping**2 - 1))
    assert loops.slowest == pytest.approx(1 / slow, rel=0.02)


def test_modes_answer_as_the_samples_do():
    """The same matrix, once stepped and once inverted at a rate."""
    matrix, enters = sampled_loops(LOOPS)
    loops = closed_loops(LOOPS)
    for source in INPUTS:
        entering = enters[:, INPUTS.index(source)]
        state, found = np.zeros(8), []
        for _ in range(2000):
            found.append(state[[ANGLE, SEEN]])
            state = matrix @ state + entering
        stepped = loops.after_step(np.arange(2000) * PERIOD, source)
        assert stepped == pytest.approx(np.array(found)[:, 0], rel=1e-6, abs=1e-9 * np.abs(stepped).max())
        z = np.exp(1j * 40.0 * PERIOD)
        there = np.linalg.solve(z * np.eye(8) - matrix, entering)[SPEED]
        assert complex(loops.answer(40.0, source, SPEED)) == pytest.approx(complex(there), rel=1e-8)


@pytest.mark.parametrize("values", [LOOPS, LOOPS.waiting()])
def test_noise_by_lyapunov(values):
    matrix, enters = sampled_loops(values)
    if values.waits:
        matrix, enters = matrix[:7, :7], enters[:7]
    entering = enters[:, [INPUTS.index("reading")]]
    covariance = solve_discrete_lyapunov(matrix, entering @ entering.T)
    loops = closed_loops(values)
    assert loops.noise("reading") == pytest.approx(sqrt(covariance[ANGLE, ANGLE]), rel=1e-6)
    assert loops.noise("reading", SEEN) == pytest.approx(sqrt(covariance[SEEN, SEEN]), rel=1e-6)


def test_noise_of_speed_over_a_window_by_lyapunov():
    """Angle now less angle a window ago: twice the variance less twice the covariance apart."""
    matrix, enters = sampled_loops(LOOPS)
    entering = enters[:, [INPUTS.index("reading")]]
    covariance = solve_discrete_lyapunov(matrix, entering @ entering.T)
    apart = (np.linalg.matrix_power(matrix, 400) @ covariance)[ANGLE, ANGLE]
    deviation = sqrt(2 * (covariance[ANGLE, ANGLE] - apart)) / (400 * PERIOD)
    assert closed_loops(LOOPS).noise_of_speed("reading", 400 * PERIOD) == pytest.approx(deviation, rel=1e-6)


def test_noise_of_a_critically_damped_observer():
    """As sampled, against the closed form of white noise: 5 f/4 of its density."""
    f, h = 200.0, PERIOD
    matrix = np.array([[1 - 2 * f * h, h], [-(f**2) * h, 1.0]])
    entering = np.array([[2 * f * h], [f**2 * h]])
    covariance = solve_discrete_lyapunov(matrix, entering @ entering.T)
    assert observer_noise(f, h) == pytest.approx(sqrt(covariance[0, 0]), rel=0.01)


def test_loops_that_swing_up_are_refused():
    with pytest.raises(LawRangeError, match="swing up"):
        closed_loops(replace(LOOPS, position_gain=2000.0))


def test_slowly_the_load_follows_the_sensor_and_the_integral_holds():
    loops = closed_loops(LOOPS)
    assert complex(loops.answer(1e-2, "reading")) == pytest.approx(-1.0, abs=1e-2)
    assert abs(complex(loops.answer(1e-2, "torque"))) < 1e-2 / LOOPS.stiffness
    waiting = closed_loops(LOOPS.waiting())
    assert complex(waiting.answer(1e-2, "torque")).real == pytest.approx(1 / LOOPS.stiffness, rel=1e-2)


def test_a_move_in_modes_is_the_move_sample_by_sample():
    matrix, enters = sampled_loops(LOOPS)
    loops = closed_loops(LOOPS)
    pieces = rest_to_rest(0.5, 1.0, 10.0, 200.0)
    total = sum(piece.duration for piece in pieces)
    count = round(total / PERIOD)
    reference = sampled_moves([(0.0, pieces, 1.0, 0.1)], PERIOD, count + 400)
    jerks = np.diff(reference[2], append=0.0) / PERIOD
    state = np.zeros(8)
    for acceleration, jerk in zip(reference[2][:count], jerks[:count], strict=True):
        state = matrix @ state + enters[:, INPUTS.index("acceleration")] * acceleration
        state = state + enters[:, INPUTS.index("jerk")] * jerk
    found = float((loops.leaves[ANGLE] @ modes_after(loops, pieces)).real)
    assert found == pytest.approx(state[ANGLE], rel=0.02)


def test_what_a_swinging_torque_leaves_sample_by_sample():
    """Over a move and a rest; the torque at the start had been taken over, so only its changes count."""
    matrix, enters = sampled_loops(LOOPS)
    pieces, order, rest = rest_to_rest(0.5, 1.0, 10.0, 200.0), 3.0, 0.05
    reference = sampled_moves([(0.0, pieces, 1.0, rest)], PERIOD, 100_000)[0]
    states = np.zeros((8, 2))
    entering = enters[:, [INPUTS.index("torque")]]
    for angle in reference:
        change = np.exp(1j * order * (angle - 0.5)) - np.exp(-1j * order * 0.5)
        states = matrix @ states + entering * np.array([change.real, change.imag])
    found = swing_errors(closed_loops(LOOPS), pieces, order, np.array([rest]))
    assert float(found[0]) == pytest.approx(float(np.hypot(*states[ANGLE])), rel=0.01)


def test_friction_holds_until_the_integral_has_grown():
    """Friction's dead band by hand: F/(Ks·Kp) at once; the integral adds Ki·Kp·e a second."""
    stiffness, time = LOOPS.stiffness, LOOPS.integral_time
    assert held_error(0.01, stiffness, time, 0.0) == pytest.approx(0.01 / (LOOPS.speed_gain * LOOPS.position_gain))
    left = held_error(0.01, stiffness, time, 0.7)
    grown = stiffness * left + LOOPS.speed_integral * LOOPS.position_gain * left * 0.7
    assert grown == pytest.approx(0.01, rel=1e-12)
    assert release_time(0.01, stiffness, time, left) == pytest.approx(0.7, rel=1e-12)


def test_a_piece_of_constant_speed_leaves_nothing():
    assert np.abs(modes_after(closed_loops(LOOPS), [Piece(1.0, 0.0, 0.0, 2 * pi, 0.0)])).max() == 0.0
