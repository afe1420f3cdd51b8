"""What records of motion give back: closed forms, certified digits, and whether the stated uncertainty holds."""

import tomllib
from pathlib import Path

import numpy as np
import pytest
from scipy.signal import lfilter

from pcbstator.errors import LawRangeError
from pcbstator.physics.drive.friction import spot_friction
from pcbstator.physics.drive.identification.friction_places import friction_curve, torque_at_places
from pcbstator.physics.drive.identification.linear_fit import linear_fit
from pcbstator.physics.drive.identification.lost_motion import lost_at_reversal, sides_of
from pcbstator.physics.drive.identification.motion_fit import (
    coast_down_fit,
    inertia_from_two,
    move_fit,
    one_way_parts,
)
from pcbstator.physics.drive.identification.sensor_table import sensor_curve
from pcbstator.physics.drive.identification.turn_spectrum import even_speed, turn_spectrum
from pcbstator.physics.drive.positioning import ring_eccentricity_error

CERTIFIED = tomllib.loads((Path(__file__).parents[1] / "published" / "least_squares.toml").read_text(encoding="utf-8"))
TURN = 2 * np.pi


@pytest.mark.parametrize(("name", "digits"), [("norris", 1e-11), ("longley", 1e-7)])
def test_least_squares_give_the_certified_digits(name, digits):
    data = CERTIFIED[name]
    columns = np.column_stack([np.ones(len(data["y"])), np.array(data["x"], dtype=float).T])
    fit = linear_fit(columns, data["y"])
    rows, count = columns.shape
    np.testing.assert_allclose(fit.factors, data["values"], rtol=digits)
    np.testing.assert_allclose(fit.deviations, data["deviations"], rtol=digits)
    deviation = np.sqrt(fit.residuals @ fit.residuals / (rows - count))
    assert deviation == pytest.approx(data["residual_deviation"], rel=digits)


def test_noise_that_neighbours_share_makes_a_mean_less_certain():
    """Of a first-order autoregression, a = 0.6, a mean scatters by √((1 + a)/(1 − a)), twice as far as of white noise
    (textbook on time series); 2000 draws, whose own scatter is 1.6 %.
    """
    random, rows, part = np.random.default_rng(2), 400, 0.6
    fresh = random.standard_normal((2000, rows + 50))
    noise = lfilter([1.0], [1.0, -part], fresh, axis=1)[:, 50:]  # settled
    fits = [linear_fit(np.ones((rows, 1)), row, neighbours=True) for row in noise]
    white = 1 / np.sqrt((1 - part**2) * rows)
    assert np.std([fit.factors[0] for fit in fits]) == pytest.approx(2 * white, rel=0.05)
    assert np.mean([fit.deviations[0] for fit in fits]) == pytest.approx(2 * white, rel=0.05)


def test_factors_that_cannot_be_told_apart_are_refused():
    ones = np.ones((9, 1))
    for columns in (np.hstack([ones, 2 * ones]), np.hstack([ones, 0 * ones]), np.eye(9)):
        with pytest.raises(LawRangeError):
            linear_fit(columns, np.arange(9.0))


@pytest.mark.parametrize("turns", [1, 3])
def test_deviation_of_an_amplitude_is_that_of_noise_over_the_rows(turns):
    """sqrt(2/N) of the noise, for each part of the vector: textbook, variance of a Fourier sum."""
    random, rows, noise = np.random.default_rng(3), 3000, 0.2
    angles = np.linspace(0.0, turns * TURN, rows + 1)[:-1] + 0.3
    angles = np.append(angles, 0.3 + turns * TURN)
    found = [turn_spectrum(angles, noise * random.standard_normal(rows + 1)) for _ in range(60)]
    expected = noise * np.sqrt(2 / rows)
    stated = np.mean([each.deviations[5:60] for each in found])
    real = np.std([each.vectors[5:60].real for each in found])
    assert stated == pytest.approx(expected, rel=0.04)
    assert real == pytest.approx(expected, rel=0.04)


@pytest.mark.parametrize("sense", [1.0, -1.0])
def test_an_order_in_noise_comes_back_within_its_deviation(sense):
    random, off = np.random.default_rng(5), []
    for phase in np.linspace(0.0, TURN, 60, endpoint=False):
        angles = sense * np.linspace(0.1, 2.4 * TURN, 4000)
        values = 0.05 * np.cos(12 * angles - phase) + 0.3 * random.standard_normal(4000) + 5.0
        found = turn_spectrum(angles, values)
        off.append((found.vectors[11] - 0.05 * np.exp(-1j * phase)) / found.deviations[11])
    parts = np.array([np.real(off), np.imag(off)])
    assert np.sqrt((parts**2).mean()) == pytest.approx(1.0, rel=0.15)  # of 120 values: 3 deviations are 0.19


@pytest.mark.parametrize("sense", [1.0, -1.0])
def test_an_order_among_very_many_rows(sense):
    """20 000 in a turn that is 30 % uneven, taken together eight and more at a place."""
    turned = np.linspace(0.1, 2.4 * TURN, 48_000)
    angles = sense * (turned + 0.3 * np.sin(turned))
    found = turn_spectrum(angles, 5.0 + 0.05 * np.cos(12 * angles - 0.7))
    assert found.turns == 2 and len(found.places) <= 20_000 / 8
    assert found.vectors[11] == pytest.approx(0.05 * np.exp(-0.7j), rel=2e-3)
    assert np.abs(np.delete(found.vectors[:100], 11)).max() < 1e-4
    assert found.curve == pytest.approx(0.05 * np.cos(12 * found.places - 0.7), abs=2e-4)


def test_orders_need_a_whole_turn_and_rows():
    with pytest.raises(LawRangeError, match=r"whole turn; got 0\.50"):
        turn_spectrum(np.linspace(0, np.pi, 500), np.zeros(500))
    with pytest.raises(LawRangeError, match="32 rows"):
        turn_spectrum(np.linspace(0, 2 * TURN, 40), np.zeros(40))
    with pytest.raises(LawRangeError, match="whole turn"):
        even_speed([0.0, 1.0, 2.0], [0.0, 1.0, 2.0])


def test_a_swing_once_a_turn_is_not_taken_for_speed():
    times = np.linspace(0.0, 1.2 * TURN, 5000)
    angles = times + 0.05 * np.sin(times + 0.4)
    assert even_speed(times, angles) == pytest.approx(1.0, rel=1e-5)
    assert even_speed(times, -angles) == pytest.approx(-1.0, rel=1e-5)
    assert abs(np.polyfit(times, angles, 1)[0] - 1.0) > 1e-3  # which a line would do


def coast(times, start, constant, linear):
    """Closed form of dw/dt = −(constant + linear w)."""
    return (start + constant / linear) * np.exp(-linear * times) - constant / linear


def test_coast_down_with_constant_and_linear_drag_within_its_uncertainty():
    times, random, off = np.linspace(0.0, 6.0, 1500), np.random.default_rng(7), []
    for _ in range(60):
        fit = coast_down_fit(times, coast(times, 30.0, 2.0, 0.2) + 0.05 * random.standard_normal(1500))
        assert fit.factors[2] == 0.0
        off.append((np.array(fit.factors[:2]) - [2.0, 0.2]) / fit.sigmas[:2])
    assert np.sqrt((np.array(off) ** 2).mean()) == pytest.approx(1.0, rel=0.3)  # both go together: 60 free values
    assert fit.factors[0] == pytest.approx(2.0, rel=0.02)


@pytest.mark.parametrize(("place", "wave"), [
    (0, lambda t: 30.0 - 3.0 * t),
    (1, lambda t: 30.0 * np.exp(-3.0 * t / 10)),
    (2, lambda t: 30.0 / (1 + 30.0 * 3.0 * t / 100)),
])  # fmt: skip
def test_each_drag_alone_is_named_alone(place, wave):
    times, random = np.linspace(0.0, 5.0, 800), np.random.default_rng(2)
    fit = coast_down_fit(times, -wave(times) + 0.02 * random.standard_normal(800))
    assert [at for at, value in enumerate(fit.factors) if value > 0] == [place]
    assert fit.factors[place] == pytest.approx([3.0, 0.3, 0.03][place], rel=0.005)


def test_inertia_from_two_coast_downs():
    times, random = np.linspace(0.0, 5.0, 1000), np.random.default_rng(4)
    inertia, added, off = 4e-4, 3e-4, []
    for _ in range(40):
        alone, loaded = (
            coast_down_fit(times, coast(times, 40.0, 2e-3 / j, 8e-5 / j) + 0.1 * random.standard_normal(1000))
            for j in (inertia, inertia + added)
        )
        found, sigma = inertia_from_two(alone, loaded, added, [10.0, 20.0, 30.0])
        off.append((found - inertia) / sigma)
        assert found == pytest.approx(inertia, rel=0.05)
    assert np.sqrt(np.mean(np.square(off))) == pytest.approx(1.0, rel=0.35)  # of 40 values: 3 deviations are 0.34
    with pytest.raises(LawRangeError, match="added body"):
        inertia_from_two(loaded, alone, added, [20.0])


def there_and_back(rows=4000):
    """A move with even accelerations and rests, both ways: times, angle, acceleration."""
    times = np.linspace(0.0, 8.0, rows)
    part = np.mod(times, 4.0)
    size = np.where(times < 4.0, 1.0, -1.0)
    acceleration = size * (
        np.where((part > 0.5) & (part < 1.3), 1.2, 0.0) - np.where((part > 2) & (part < 2.8), 1.2, 0.0)
    )
    speed = np.append(0.0, np.cumsum(np.diff(times) * (acceleration[1:] + acceleration[:-1]) / 2))
    angle = np.append(0.0, np.cumsum(np.diff(times) * (speed[1:] + speed[:-1]) / 2))
    return times, angle, speed, acceleration


@pytest.mark.parametrize(("noise", "viscous"), [(0.0, 0.0), (2e-4, 0.0), (2e-4, 0.02)])
def test_a_move_gives_inertia_and_friction_within_their_uncertainty(noise, viscous):
    times, angle, speed, acceleration = there_and_back()
    random, off = np.random.default_rng(9), []
    clean = 0.005 * acceleration + np.sign(np.round(speed, 6)) * 0.012 + viscous * speed
    for _ in range(25):
        torque = clean + 5e-4 * random.standard_normal(len(times))
        fit = move_fit(times, angle + noise * random.standard_normal(len(times)), torque)
        off.append([(fit.inertia - 0.005) / fit.inertia_sigma, (fit.friction - 0.012) / fit.friction_sigma])
        assert fit.inertia == pytest.approx(0.005, rel=0.02)
        assert fit.friction == pytest.approx(0.012, rel=0.02)
        assert fit.viscous == pytest.approx(viscous, rel=0.05)
    assert np.sqrt(np.mean(np.square(off))) < 1.4


@pytest.mark.parametrize("degrees_of_noise", [0.0, 5e-4, 3e-3])
def test_a_short_smooth_move_is_not_taken_for_a_pull(degrees_of_noise):
    """Along 10 degrees of a sine move a pull by the angle and the inertia are alike; unbalance is not made up."""
    times = np.linspace(0.0, 1.4, 2801)
    angle = np.radians(10) / 2 * (1 - np.cos(2 * np.pi * times / 1.4))
    acceleration = np.radians(10) / 2 * (2 * np.pi / 1.4) ** 2 * np.cos(2 * np.pi * times / 1.4)
    sense = np.sign(np.sin(2 * np.pi * times / 1.4))
    random = np.random.default_rng(4)
    for _ in range(10):
        noise = np.radians(degrees_of_noise) * random.standard_normal(len(times))
        fit = move_fit(times, angle + noise, 6.5e-3 * acceleration + 0.012 * sense)
        assert fit.pull == 0.0
        assert abs(fit.inertia - 6.5e-3) < 3 * fit.inertia_sigma + 1e-2 * 6.5e-3


def test_a_move_with_gaps_and_uneven_rows():
    times, angle, speed, acceleration = there_and_back(6000)
    kept = np.random.default_rng(1).random(6000) > 0.3
    kept[2000:2200] = False
    torque = 0.005 * acceleration + np.sign(np.round(speed, 6)) * 0.012
    fit = move_fit(times[kept], angle[kept], torque[kept])
    assert fit.inertia == pytest.approx(0.005, rel=0.01)
    assert fit.friction == pytest.approx(0.012, rel=0.01)


def test_unbalance_is_no_friction_and_no_inertia():
    times, angle, speed, acceleration = there_and_back()
    random, off = np.random.default_rng(13), []
    for _ in range(10):
        torque = 0.005 * acceleration + np.sign(np.round(speed, 6)) * 0.012 + 0.01 * np.sin(angle + 0.3)
        fit = move_fit(times, angle, torque + 3e-4 * random.standard_normal(len(times)))
        off.append([(fit.inertia - 0.005) / fit.inertia_sigma, (fit.friction - 0.012) / fit.friction_sigma])
        assert fit.inertia == pytest.approx(0.005, rel=0.02)
        assert fit.friction == pytest.approx(0.012, rel=0.02)
        assert fit.pull > 0.001
    assert np.sqrt(np.mean(np.square(off))) < 1.6


@pytest.mark.parametrize(("angles", "words"), [(np.zeros(100), "nothing moves"), (np.eye(100)[50], "fewer than 8")])
def test_moves_that_say_nothing_are_told(angles, words):
    with pytest.raises(LawRangeError, match=words):
        move_fit(np.linspace(0, 1, 100), angles, np.zeros(100))


def test_friction_spots_within_their_uncertainty():
    places, random, off = (np.arange(360) + 0.5) * TURN / 360, np.random.default_rng(6), []
    for middle in np.linspace(0.0, TURN, 40, endpoint=False):
        rough = 0.012 + spot_friction(places, [(middle, 0.25, 0.004)]) + 2e-4 * random.standard_normal(360)
        curve = friction_curve(rough)
        assert len(curve.spots) == 1
        assert curve.level == pytest.approx(0.012, abs=5 * curve.level_sigma)
        spot = curve.spots[0]
        away = (spot.middle - middle + np.pi) % TURN - np.pi
        off.append([away / spot.middle_sigma, (spot.width - 0.25) / spot.width_sigma,
                    (spot.extra - 0.004) / spot.extra_sigma])  # fmt: skip
    assert (np.sqrt(np.mean(np.square(off), axis=0)) < 1.4).all()


def test_even_friction_has_no_spot():
    random = np.random.default_rng(8)
    found = [friction_curve(0.012 + 4e-4 * random.standard_normal(360)).spots for _ in range(100)]
    assert sum(bool(each) for each in found) <= 1


def test_acceleration_is_taken_off_the_torque():
    times = np.linspace(0.0, 13.0, 30_000)
    angles = times + 0.1 * np.sin(3 * times)
    torque = 0.01 + 0.002 * -0.9 * np.sin(3 * times)
    for sense in (1.0, -1.0):
        found = torque_at_places(times, sense * angles, sense * torque, 0.002, 360)
        assert np.nanmax(np.abs(sense * found - 0.01)) < 1e-5  # of 1.8e-3 that accelerate


def test_eccentric_ring_comes_back_from_noise_with_its_table():
    random = np.random.default_rng(10)
    true = np.sort(random.random(5000)) * TURN
    offset, noise = 0.1e-3 / 20e-3, 2e-4
    error = ring_eccentricity_error(true - 0.8, 0.1e-3, 20e-3)
    sensor = true + error + 1.7 + noise * random.standard_normal(5000)
    curve = sensor_curve(np.mod(true, TURN), np.mod(sensor, TURN))
    first = curve.harmonics[0]
    assert first.order == 1
    assert first.amplitude == pytest.approx(offset, abs=4 * first.sigma + offset**3)
    assert first.sigma == pytest.approx(noise * np.sqrt(2 / 5000), rel=0.1)
    assert curve.rms_after == pytest.approx(noise, rel=0.03)
    assert curve.rms == pytest.approx(np.hypot(np.sqrt(np.mean(error**2)), noise), rel=0.01)


def test_noise_alone_makes_no_table():
    random, kept = np.random.default_rng(11), 0
    for rows in (12, 24, 200):
        for _ in range(100):
            true = np.arange(rows) * TURN / rows
            kept += bool(sensor_curve(true, true + 1e-3 * random.standard_normal(rows)).harmonics)
    assert kept <= 10  # one in a hundred is stated: 3 expected of 300, 10 is four deviations more


def test_a_sensor_that_runs_the_other_way_or_several_times():
    true = np.arange(36) * TURN / 36
    back = sensor_curve(true, np.mod(-true + 0.003 * np.sin(true), TURN))
    assert back.sense == -1
    assert back.harmonics[0].amplitude == pytest.approx(0.003, rel=1e-3)
    with pytest.raises(LawRangeError, match="the sensor turns 12 times"):
        sensor_curve(true[:35], 12 * true[:35])
    with pytest.raises(LawRangeError, match="180 degrees are missing"):
        sensor_curve(true[:19], true[:19])


def test_lost_motion_and_sides_within_their_uncertainty():
    random, off = np.random.default_rng(12), []
    for _ in range(300):
        steps = 0.1 + 1e-3 * random.standard_normal(8)
        steps[0] -= 0.06
        lost, sigma, *_ = lost_at_reversal(steps)
        sides = sides_of(1.0, 0.98 + 1e-3 * random.standard_normal(10), 1.03 + 1e-3 * random.standard_normal(10))
        off.append([(lost - 0.06) / sigma, (sides.offset - 0.05) / sides.offset_sigma])
    wide = np.sqrt(np.mean(np.square(off), axis=0))
    # Student's t: variance n/(n − 2), of 3 degrees of freedom 3, of 18 about 1.13.
    assert 1.2 < wide[0] < 2.6
    assert wide[1] == pytest.approx(np.sqrt(18 / 16), rel=0.15)


def test_parts_one_way_ignore_noise():
    angles = np.concatenate([np.linspace(0, 6, 500), np.linspace(6, 0, 500)])
    angles += 0.01 * np.random.default_rng(1).standard_normal(1000)
    (low, middle), (again, high) = one_way_parts(angles, 0.1)
    assert (low, high) == (0, 1000)
    assert abs(middle - 500) < 10
    assert abs(again - 500) < 10
