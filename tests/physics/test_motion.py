"""Moves from rest to rest and what they cost, against closed forms and a numerical integration of the limits."""

from math import inf, pi, sqrt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pcbstator.errors import LawRangeError
from pcbstator.physics.drive.motion import Piece, cycle_samples, rest_to_rest, rest_to_rest_time, rms, sampled_moves

sizes = st.floats(1e-3, 1e3)


@settings(deadline=None)
@given(sizes, sizes, sizes, st.one_of(st.just(inf), st.floats(1e-2, 1e5)))
def test_a_move_ends_at_rest_at_its_end_within_its_limits(distance, speed, acceleration, jerk):
    """Closed form: the pieces integrate to the distance; no limit is passed; speed and acceleration end at 0."""
    pieces = rest_to_rest(distance, speed, acceleration, jerk)
    last = pieces[-1]
    angle, rate, change = last.at(np.array([last.duration]))
    assert angle[0] == pytest.approx(distance, rel=1e-9)
    assert abs(rate[0]) < 1e-7 * max(piece.speed for piece in pieces)
    if jerk != inf:
        assert abs(change[0]) < 1e-7 * acceleration
    for piece in pieces:
        _, rates, changes = piece.at(np.linspace(0, piece.duration, 9))
        assert rates.max() <= speed * (1 + 1e-9) and abs(changes).max() <= acceleration * (1 + 1e-9)
        assert abs(piece.jerk) <= jerk


@settings(deadline=None)
@given(sizes, sizes, sizes)
def test_time_of_a_trapezoid(distance, speed, acceleration):
    """Textbook: d/v + v/a where top speed is reached, 2·sqrt(d/a) otherwise."""
    if distance >= speed**2 / acceleration:
        wanted = distance / speed + speed / acceleration
    else:
        wanted = 2 * sqrt(distance / acceleration)
    assert rest_to_rest_time(distance, speed, acceleration) == pytest.approx(wanted, rel=1e-9)


def test_time_of_an_s_curve_in_all_its_cases():
    """Textbook forms of the symmetric S-curve: with cruise d/v + v/a + a/j; without the limits of speed or acceleration
    four bends of equal length, d = 2·j·t³, so 4·cbrt(d/(2j))."""
    assert rest_to_rest_time(10.0, 2.0, 1.0, 4.0) == pytest.approx(10 / 2 + 2 / 1 + 1 / 4, rel=1e-12)
    assert rest_to_rest_time(0.016, 99.0, 99.0, 1.0) == pytest.approx(4 * np.cbrt(0.008), rel=1e-12)
    # Speed is reached, acceleration is not: bends of sqrt(v/j) each, and cruise.
    assert rest_to_rest_time(10.0, 1.0, 9.0, 4.0) == pytest.approx(10 / 1 + 2 * sqrt(1 / 4), rel=1e-12)
    # Acceleration is reached, speed is not: v (v/a + a/j) = d.
    top = (-0.25 + sqrt(0.25**2 + 4 * 3.0)) / 2
    assert rest_to_rest_time(3.0, 99.0, 1.0, 4.0) == pytest.approx(2 * (top + 0.25), rel=1e-12)


def test_an_s_curve_is_faster_than_any_other_that_keeps_its_limits():
    """Second method: the same limits driven by a slightly lower jerk or acceleration take longer."""
    best = rest_to_rest_time(3.0, 2.0, 1.0, 4.0)
    assert rest_to_rest_time(3.0, 2.0, 1.0, 3.9) > best < rest_to_rest_time(3.0, 2.0, 0.99, 4.0)
    assert rest_to_rest_time(3.0, 2.0, 1.0, 1e9) == pytest.approx(rest_to_rest_time(3.0, 2.0, 1.0), rel=1e-6)


def test_rms_torque_of_a_trapezoid_with_friction_and_rest():
    """Closed form: sqrt(((Ja + F)² + (Ja − F)²)·v/a + F²·cruise) over the whole cycle."""
    speed, acceleration, distance, rest, inertia, friction = 2.0, 5.0, 3.0, 0.7, 0.01, 0.02
    samples = cycle_samples([(0.0, rest_to_rest(distance, speed, acceleration), 1.0, rest)])
    torque = samples.moving * (inertia * samples.accelerations + np.sign(samples.speeds) * friction)
    rise, cruise = speed / acceleration, distance / speed - speed / acceleration
    total = 2 * rise + cruise + rest
    square = (0.07**2 + 0.03**2) * rise + friction**2 * cruise
    assert samples.duration == pytest.approx(total, rel=1e-12)
    assert rms(samples, torque) == pytest.approx(sqrt(square / total), rel=1e-12)


def test_rms_of_a_torque_that_turns_with_the_angle():
    """Gravity over whole turns at constant speed: U/sqrt(2)."""
    turn = Piece(2.0, 0.0, 0.0, 2 * pi, 0.0)  # two turns
    samples = cycle_samples([(0.3, (turn,), 1.0, 0.0)])
    assert rms(samples, 0.4 * np.sin(samples.angles)) == pytest.approx(0.4 / sqrt(2), rel=1e-12)


@settings(deadline=None)
@given(st.floats(0.1, 5), st.floats(0.1, 5), st.floats(0.1, 50), st.one_of(st.just(inf), st.floats(1.0, 500.0)))
def test_samples_of_a_reference_belong_together(distance, speed, acceleration, jerk):
    """Second method: the sampled speed is the difference of the sampled angles, to the order of the step."""
    step = 1e-3
    moves = [(0.5, rest_to_rest(distance, speed, acceleration, jerk), -1.0, 0.05)]
    angles, speeds, _ = sampled_moves(moves, step, 200_000)
    assert angles[0] == 0.5 and angles[-1] == pytest.approx(0.5 - distance, abs=1e-9)
    assert np.abs(np.diff(angles) / step - (speeds[1:] + speeds[:-1]) / 2).max() <= acceleration * step


def test_nonsense_is_refused():
    for values in ((0.0, 1.0, 1.0), (1.0, -1.0, 1.0), (1.0, 1.0, 0.0), (1.0, 1.0, 1.0, 0.0)):
        with pytest.raises(LawRangeError):
            rest_to_rest(*values)
