"""The drive in time against closed forms: winding, flywheel, friction, loops, energy, order of convergence."""

from dataclasses import replace
from math import exp, log, pi, sqrt

import numpy as np
import pytest

from pcbstator.errors import LawRangeError
from pcbstator.physics.drive.control import current_gains, second_order_step
from pcbstator.physics.drive.friction import friction_error
from pcbstator.physics.drive.motion import rest_to_rest, sampled_moves
from pcbstator.physics.drive.plant import Plant, PlantValues
from pcbstator.physics.drive.simulation import ControlValues, SensorValues, simulated
from pcbstator.physics.drive.supply import short_circuit_current

PAIRS, PSI, R, L, J = 12, 7.5e-3, 18.0, 1.3e-4, 2e-3
KT = 1.5 * PAIRS * PSI
PERIOD = 1e-4
PLANT = PlantValues(3, PAIRS, R, L, (1j * PAIRS * PSI,) * 360, J)
FINE = SensorValues(1e-9)
STILL = (np.zeros(20_000),) * 3


def control(speed_hz=20.0, position=25.0, integral=0.0, **changes):
    """A cascade with a fast observer and plenty of current and voltage unless stated."""
    rate = 2 * pi * speed_hz
    values = ControlValues(
        PERIOD, current_gains(R, L, 500.0), J * rate, integral, position, 1500.0, 5.0, 200.0,
        torque_constant=KT, inertia=J,
    )  # fmt: skip
    return replace(values, **changes)


def coasting(plant, speed, steps, vector=0j, push=0.0, substeps=1):
    """A plant by itself, started at a speed."""
    body = Plant(plant, PERIOD, substeps)
    body.state.speed = body.state.load_speed = speed
    body.advance(vector, push, steps)
    return body.state


# ----------------------------------------------------------------- winding
def test_current_rises_as_r_and_l_say():
    """Closed form at standstill: V/R (1 − exp(−t R/L)), in steps longer than L/R."""
    plant = replace(PLANT, inertia=1e9)
    body = Plant(plant, 3e-6)
    for count in range(1, 9):
        body.advance(6 + 0j, 0.0)
        assert body.state.current.real == pytest.approx(6 / R * (1 - exp(-count * 3e-6 * R / L)), rel=1e-6)


def test_short_circuit_current_of_a_turning_rotor():
    """The machine's own law, held speed, terminals joined."""
    plant = replace(PLANT, inertia=1e6)
    body = coasting(plant, 50.0, 200)
    assert abs(body.current) == pytest.approx(short_circuit_current(50.0, R, L, PAIRS, PSI), rel=1e-4)


def test_voltage_limits_the_speed_without_load():
    """A bridge at its limit, nothing turned: the speed at which the EMF equals the voltage."""
    values = control(current_limit=1.0, voltage_limit=10.0, speed_gain=0.5, position_gain=5.0)
    times = np.arange(60_000) * PERIOD
    speed = 10.0 / (PAIRS * PSI)
    light = replace(PLANT, inertia=1e-4)
    run = simulated(light, values, FINE, (2 * speed * times, 2 * speed + 0 * times, 0 * times), keep=100)
    assert run.speeds[-1] == pytest.approx(speed, rel=1e-2)
    assert run.voltage.max() <= 10.0 * (1 + 1e-9)


# ----------------------------------------------------------------- bodies and friction
def test_a_flywheel_stops_under_coulomb_friction_after_j_w_over_f():
    plant = replace(PLANT, slopes=(0j,) * 360, running=0.01, standstill=0.01)
    until = J * 3.0 / 0.01
    assert coasting(plant, 3.0, round(until / PERIOD) - 10).speed == pytest.approx(10 * PERIOD * 0.01 / J, rel=1e-6)
    body = coasting(plant, 3.0, round(until / PERIOD) + 10)
    assert body.speed == 0.0 and body.angle == pytest.approx(3.0 * until / 2, rel=1e-4)


def test_a_flywheel_fades_under_viscous_friction():
    plant = replace(PLANT, slopes=(0j,) * 360, viscous=0.004)
    assert coasting(plant, 3.0, 5000).speed == pytest.approx(3.0 * exp(-0.004 / J * 0.5), rel=2e-4)


def test_standstill_friction_holds_up_to_its_value():
    plant = replace(PLANT, slopes=(0j,) * 360, running=0.01, standstill=0.02)
    assert coasting(plant, 0.0, 1000, push=0.0199).angle == 0.0
    assert coasting(plant, 0.0, 1000, push=0.0201).angle > 0.0


def test_two_bodies_swing_at_their_frequency_and_lose_what_damping_says():
    """Closed form: sqrt(k (J + J')/(J J')), amplitude falling by exp(−zeta w t), zeta as the coupling's."""
    plant = replace(PLANT, slopes=(0j,) * 360, inertia=2e-4, load_inertia=1e-3, stiffness=4.0)
    rate = sqrt(4.0 * 1.2e-3 / (2e-4 * 1e-3))
    body = Plant(plant, PERIOD, 4)
    body.state.angle = 0.01
    twists = []
    for _ in range(3000):
        body.advance(0j, 0.0)
        twists.append(body.state.angle - body.state.load_angle)
    peaks = [k for k in range(1, 2999) if twists[k - 1] < twists[k] > twists[k + 1] and twists[k] > 1e-5]
    swing = (peaks[5] - peaks[0]) * PERIOD / 5
    assert swing == pytest.approx(2 * pi / (rate * sqrt(1 - 0.05**2)), rel=1e-2)
    assert log(twists[peaks[0]] / twists[peaks[4]]) / (4 * swing * rate) == pytest.approx(0.05, rel=3e-2)


def test_play_lets_the_load_lie_anywhere_within_it():
    """The motor moved to and fro: the load is left behind by the whole play, between directions."""
    plant = replace(PLANT, inertia=5e-4, load_inertia=1.5e-3, stiffness=200.0, play=0.02, running=0.01, standstill=0.01)
    angles = []
    for sense in (1.0, -1.0):
        moves = [(-0.2 * sense, (), 1.0, 0.05), (-0.2 * sense, rest_to_rest(0.2, 0.3, 3.0), sense, 0.5)]
        run = simulated(plant, control(integral=5.0), FINE, sampled_moves(moves, PERIOD, 90_000), substeps=4)
        assert run.motor[-1] == pytest.approx(0.0, abs=2e-4)
        angles.append(run.angles[-1])
    assert angles[1] - angles[0] == pytest.approx(0.02, rel=3e-2)


# ----------------------------------------------------------------- loops
@pytest.mark.parametrize("damping", [0.4, 0.6, 0.8, 1.2])
def test_step_of_the_position_is_a_damped_second_order(damping):
    """Closed form: w² = Ks·Kp/J, 2 z w = Ks/J; a step small enough for all limits, fast current loop and observer."""
    rate = 2 * pi * 1.5
    values = control(speed_gain=2 * damping * rate * J, position_gain=rate / (2 * damping), observer=3000.0)
    wanted = np.full(25_000, 0.01)
    wanted[0] = 0.0
    run = simulated(PLANT, values, FINE, (wanted, 0 * wanted, 0 * wanted))
    overshoot, settling = second_order_step(damping)
    assert run.angles.max() / 0.01 - 1 == pytest.approx(overshoot, abs=0.015)
    assert run.angles[-1] == pytest.approx(0.01, rel=1e-3)
    outside = run.times[np.abs(run.angles - 0.01) > 0.01 * 0.02][-1]
    envelope = settling / rate
    assert outside < 1.05 * envelope
    assert outside > (0.6 if damping < 1 else 0.9) * envelope  # a swing may end well within its envelope


def test_the_step_itself_follows_its_formula():
    """The whole course, under-damped: 1 − exp(−zwt)(cos + z/sqrt(1 − z²) sin)."""
    damping, rate = 0.5, 2 * pi * 1.5
    values = control(speed_gain=2 * damping * rate * J, position_gain=rate / (2 * damping), observer=3000.0)
    wanted = np.full(20_000, 0.01)
    wanted[0] = 0.0
    run = simulated(PLANT, values, FINE, (wanted, 0 * wanted, 0 * wanted))
    damped = rate * sqrt(1 - damping**2)
    course = 1 - np.exp(-damping * rate * run.times) * (
        np.cos(damped * run.times) + damping / sqrt(1 - damping**2) * np.sin(damped * run.times)
    )
    assert run.angles / 0.01 == pytest.approx(course, abs=0.02)


def test_steady_error_of_a_slow_turn_under_coulomb_friction():
    """Closed form without integral action: F/(Ks·Kp), speed fed forward, friction not."""
    plant = replace(PLANT, running=0.01, standstill=0.01)
    times = np.arange(30_000) * PERIOD
    values = control()
    run = simulated(plant, values, FINE, (0.15 * times, 0.15 + 0 * times, 0 * times), keep=10)
    wanted = friction_error(0.01, values.speed_gain, values.position_gain)
    assert run.wanted[-1] - run.angles[-1] == pytest.approx(wanted, rel=1e-2)


def test_dead_band_of_standstill_friction_without_integral_action():
    """A target that creeps away is followed at first when F/(Ks·Kp) is reached."""
    plant = replace(PLANT, running=0.01, standstill=0.015)
    values = control()
    band = friction_error(0.015, values.speed_gain, values.position_gain)
    wanted = np.linspace(0, 2 * band, 40_000)
    run = simulated(plant, values, FINE, (wanted, 0 * wanted, 0 * wanted))
    first = int(np.flatnonzero(run.angles > 1e-6)[0])
    assert wanted[first] == pytest.approx(band, rel=2e-2)


def hunting(standstill, integral, dead_band=0.0, sensor=FINE):
    """Number of slips in the second half of ten seconds after a small step of the target, and the run."""
    plant = replace(PLANT, running=0.01, standstill=standstill, fading_speed=1e-3)
    wanted = np.full(100_000, 0.05)
    wanted[0] = 0.0
    values = control(integral=integral, dead_band=dead_band)
    run = simulated(plant, values, sensor, (wanted, 0 * wanted, 0 * wanted), keep=10)
    moving = np.abs(run.speeds[len(run.speeds) // 2 :]) > 0
    return int((moving[1:] & ~moving[:-1]).sum()), run


def test_integral_action_and_standstill_friction_hunt_for_ever():
    """Known of stick and slip (Armstrong-Helouvry et al. 1994, from memory): with integral action and more friction at
    rest than moving, a limit cycle; without either of them, rest. Closed forms within a cycle: while it sticks the
    torque rises by ki·Kp·error, and it slips when that reaches the standstill friction."""
    integral = J * (2 * pi * 20.0) ** 2 / 5
    slips, run = hunting(0.02, integral)
    assert slips >= 8
    late = slice(len(run.times) // 2, None)
    error, torque, speed = 0.05 - run.angles[late], KT * run.current[late], run.speeds[late]
    assert error.min() == pytest.approx(-error.max(), rel=2e-2)
    sticking = (speed[1:-1] == 0) & (speed[2:] == 0) & (speed[:-2] == 0)
    rise = (torque[2:] - torque[:-2])[sticking] / (run.times[2] - run.times[0])
    wanted = integral * 25.0 * np.abs(error[1:-1][sticking])
    assert np.median(np.abs(rise)) == pytest.approx(np.median(wanted), rel=5e-3)
    assert np.abs(torque[speed == 0]).max() == pytest.approx(0.02, rel=2e-2)
    assert hunting(0.02, 0.0)[0] == 0
    assert hunting(0.01, integral)[0] <= 1


def test_a_dead_band_of_the_integral_ends_the_hunting():
    rate = 2 * pi * 20.0
    count = 2 * pi / 16384
    slips, run = hunting(0.02, J * rate**2 / 5, dead_band=4 * count, sensor=SensorValues(count))
    assert slips == 0 and abs(run.angles[-1] - 0.05) < 5 * count


def test_a_sensor_off_its_centre_leaves_its_error_in_the_position():
    """The load stops where the sensor reads the target: off by the error of the sensor there."""
    angles = np.linspace(0, 2 * pi, 1024, endpoint=False)
    errors = 0.01 * np.sin(angles)
    moves = [(0.0, (), 1.0, 0.05), (0.0, rest_to_rest(1.2, 2.0, 20.0), 1.0, 1.5)]
    sensor = SensorValues(1e-6, tuple(errors.tolist()))
    run = simulated(PLANT, control(integral=1.0), sensor, sampled_moves(moves, PERIOD, 90_000), keep=10)
    place = run.angles[-1]
    assert place + 0.01 * np.sin(place) == pytest.approx(1.2, abs=2e-4)
    assert run.believed[-1] == pytest.approx(1.2, abs=2e-5)  # the controller takes itself to be there


def test_what_is_believed_trails_by_the_delay_of_the_sensor():
    """Known: an old angle of a constant speed is too small by speed times age."""
    times = np.arange(20_000) * PERIOD
    sensor = replace(FINE, delay=3e-4)
    run = simulated(PLANT, control(), sensor, (0.5 * times, 0.5 + 0 * times, 0 * times), keep=10)
    assert run.motor[-1] - run.believed[-1] == pytest.approx(0.5 * 3e-4, rel=1e-3)


# ----------------------------------------------------------------- energy and convergence
HARMONICS = tuple(
    PAIRS * PSI * (1j * (1 + 0.05 * np.cos(6 * t)) + 0.03 * np.sin(6 * t)) for t in np.arange(360) * 2 * pi / 360
)
ROUGH = replace(
    PLANT, slopes=HARMONICS, running=0.012, standstill=0.016, viscous=0.002, unbalance=0.01, leg_loss=0.04,
    soft_current=0.01, heat_capacity=1.2, temperature_coefficient=0.00393, ripple_rms=0.02,
    spots=tuple(np.where(np.arange(720) % 90 < 20, 0.004, 0.0).tolist()),
)  # fmt: skip
COGS = replace(ROUGH, cogging=tuple((6e-3 * np.cos(4 * np.arange(512) * 2 * pi / 512)).tolist()), motor_turns=3.0)
APART = replace(COGS, inertia=5e-4, load_inertia=1.5e-3, stiffness=30.0, play=0.005)


@pytest.mark.parametrize(
    ("plant", "substeps"), [(PLANT, 1), (ROUGH, 1), (COGS, 1), (APART, 4)], ids=["plain", "rough", "cogs", "apart"]
)
def test_energy_in_is_heat_work_and_what_is_stored(plant, substeps):
    """Over a cycle to 1e-3; heat, friction and work are summed each by its own law, none as the rest of the others."""
    moves = [(0.0, (), 1.0, 0.05), (0.0, rest_to_rest(1.5, 2.0, 8.0, 80.0), 1.0, 0.5),
             (1.5, rest_to_rest(1.5, 2.0, 8.0), -1.0, 0.5)]  # fmt: skip
    reference = sampled_moves(moves, PERIOD, 90_000)
    push = np.where(np.arange(len(reference[0])) % 9000 < 500, 0.01, 0.0)
    run = simulated(plant, control(integral=2.0), FINE, reference, push, substeps)
    assert run.energy["electrical"] > 0.05 and run.energy["friction"] >= 0
    assert run.balance < 1e-3


def test_a_stop_in_the_middle_of_a_move_has_its_energy_in_the_speed():
    """The same balance where much is stored: cut off at top speed, Jw²/2."""
    reference = sampled_moves([(0.0, rest_to_rest(9.0, 6.0, 60.0), 1.0, 0.0)], PERIOD, 4000)
    run = simulated(PLANT, control(), FINE, reference)
    assert run.energy["stored"] == pytest.approx(J * run.speeds[-1] ** 2 / 2, rel=1e-2)
    assert run.energy["stored"] > 0.02 and run.balance < 1e-3


@pytest.mark.parametrize(("plant", "order"), [(replace(PLANT, slopes=HARMONICS, viscous=0.01, unbalance=0.02), 0.9),
                                              (replace(ROUGH, standstill=0.012, spots=()), 0.7)])  # fmt: skip
def test_the_step_of_time_converges(plant, order):
    """The plant alone under a turning voltage, driven with ever finer steps: the error falls with their order.

    First order: the speed at the beginning of a step makes its EMF. With friction that reverses, a little less.
    """

    def end(steps):
        body = Plant(replace(plant, heat_capacity=float("inf")), 0.4 / steps, 1)
        time = (np.arange(steps) + 0.5) * 0.4 / steps
        body.advance(2.0 * np.exp(1j * (pi / 2 + 3.0 * time)), 0.04 * np.cos(9.0 * time), steps)
        return body.state.angle

    best = end(64_000)
    errors = [abs(end(steps) - best) for steps in (500, 1000, 2000, 4000)]
    assert errors[0] < 0.02 * abs(best)
    assert log(errors[0] / errors[-1]) / log(8) > order


def test_substeps_do_not_change_what_a_run_says():
    moves = [(0.0, (), 1.0, 0.05), (0.0, rest_to_rest(0.5, 1.0, 8.0), 1.0, 0.6)]
    reference = sampled_moves(moves, PERIOD, 90_000)
    one, four = (simulated(ROUGH, control(integral=2.0), FINE, reference, substeps=parts) for parts in (1, 4))
    assert np.abs(one.angles - four.angles).max() < 1e-3 * 0.5
    assert one.energy["heat"] == pytest.approx(four.energy["heat"], rel=1e-2)


def test_nonsense_is_refused():
    with pytest.raises(LawRangeError):
        simulated(PLANT, control(), FINE, (np.zeros(0),) * 3)
    with pytest.raises(LawRangeError, match="1 to 2000000 steps"):
        simulated(PLANT, control(), FINE, STILL, substeps=101)
    with pytest.raises(LawRangeError):
        replace(PLANT, resistance=0.0)
    with pytest.raises(LawRangeError):
        replace(PLANT, stiffness=3.0)


@pytest.mark.parametrize("plant", [replace(PLANT, inertia=1e-12), replace(APART, load_inertia=1e-12, viscous=0.0)])
def test_what_runs_away_is_told(plant):
    """So little inertia that one step of time throws it: an error, whether the plant runs alone or in its loops."""
    with pytest.raises(LawRangeError, match="cannot follow this load"):
        simulated(plant, control(), FINE, STILL, np.full(20_000, 100.0), substeps=8)
    with pytest.raises(LawRangeError, match="cannot follow this load"):
        Plant(plant, PERIOD).advance(5 + 0j, 100.0, 1000)


def test_numbers_that_are_none_are_told():
    """Not a number in the reference never reaches a table of the plant."""
    wanted = np.full(1000, np.nan)
    wanted[0] = 0.0
    with pytest.raises(LawRangeError, match="cannot follow"):
        simulated(ROUGH, control(), FINE, (wanted, wanted, wanted))


def test_runs_do_not_touch_each_other():
    """Runs of one plant in turn: each begins where its reference does, whatever ran before."""
    first, other = (np.full(2000, start) for start in (0.3, -2.0))
    alone = [simulated(ROUGH, control(), FINE, (start, 0 * start, 0 * start)) for start in (first, other)]
    again = simulated(ROUGH, control(), FINE, (first, 0 * first, 0 * first))
    assert alone[0].angles[0] == 0.3 and alone[1].angles[0] == -2.0
    assert np.array_equal(again.angles, alone[0].angles) and again.energy == alone[0].energy
