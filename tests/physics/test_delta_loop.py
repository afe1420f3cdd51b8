"""The current around a delta: closed forms against steps of time, and what must hold at both ends of the speeds."""

from dataclasses import replace
from math import pi

import numpy as np
import pytest

from pcbstator.errors import LawRangeError
from pcbstator.physics.conductors.delta_loop import DeltaLoop, loop_currents, loop_loss, loop_torque
from pcbstator.physics.drive.plant import Plant, PlantValues
from pcbstator.physics.drive.simulation import ControlValues, SensorValues, simulated

PAIRS = 8
ORDERS = PAIRS * np.array([3.0, 9.0, 15.0])
EMF = np.array([0.01, 0.002, 0.0007])
LOOP = DeltaLoop(3, ORDERS, EMF, 0.6, 5e-5)


def stepped(loop, speed, phases=(0.3, 1.9, -0.7)):
    """Mean square of the current and mean of EMF times current of a phase, by Runge-Kutta steps of the R-L circuit over
    a turn of the lowest harmonic, after the transient has died out.
    """
    period = 2 * pi / (loop.orders[0] * speed)
    count = 4000

    def slope(time, current):
        emf = speed * (loop.emf * np.cos(loop.orders * speed * time + np.array(phases))).sum()
        return (emf - loop.resistance * current) / loop.inductance, emf

    h, current = period / count, 0.0
    turns = int(np.ceil(12 * loop.inductance / loop.resistance / period)) + 1
    square = work = 0.0
    for k in range(turns * count):
        time = k * h
        a, emf = slope(time, current)
        if k >= (turns - 1) * count:
            square, work = square + current**2 / count, work + emf * current / count
        b, _ = slope(time + h / 2, current + h / 2 * a)
        c, _ = slope(time + h / 2, current + h / 2 * b)
        d, _ = slope(time + h, current + h * c)
        current += h / 6 * (a + 2 * b + 2 * c + d)
    return square, work


@pytest.mark.parametrize("speed", [20.0, 500.0, 3000.0])  # resistance, both, inductance limits
def test_steady_loop_against_steps_of_time(speed):
    square, work = stepped(LOOP, speed)
    assert (loop_currents(LOOP, speed) ** 2).sum() / 2 == pytest.approx(square, rel=1e-4)
    assert loop_loss(LOOP, speed) == pytest.approx(3 * LOOP.resistance * square, rel=1e-4)
    assert loop_torque(LOOP, speed) * speed == pytest.approx(3 * work, rel=1e-4)  # what the shaft gives


def test_loss_grows_with_the_square_of_speed_and_then_no_more():
    """Slow: E²/R. Fast: the current is linkage over inductance, whatever the speed."""
    slow, fast = 1e-3, 1e8
    assert loop_loss(LOOP, slow) == pytest.approx(1.5 * (slow**2 * EMF**2).sum() / 0.6, rel=1e-9)
    assert loop_currents(LOOP, fast) == pytest.approx(EMF / ORDERS / 5e-5, rel=1e-6)
    assert loop_torque(LOOP, fast) == pytest.approx(0.0, abs=1e-6)


def test_loop_without_resistance_is_refused():
    for changes in ({"resistance": 0.0}, {"inductance": -1e-9}):
        with pytest.raises(LawRangeError, match="loop of a delta"):
            replace(LOOP, **changes)


# ----------------------------------------------------------------- the drive in time
ANGLES = np.arange(720) * 2 * pi / 720
COMMON = tuple((EMF[:, None] * np.sin(np.outer(ORDERS / PAIRS, ANGLES) + 0.4)).sum(axis=0).tolist())
PLANT = PlantValues(
    3, PAIRS, 0.6, 1e-4, (1j * PAIRS * 5e-3,) * 720, 1e3, loop_slopes=COMMON, loop_inductance=LOOP.inductance
)


@pytest.mark.parametrize("speed", [50.0, -50.0, 400.0])
def test_plant_heats_and_brakes_by_the_loop_as_the_closed_form_says(speed):
    """Held speed, ten thousand steps, with the loop less without it: the two currents do not meet."""
    period = 2 * pi / (PAIRS * abs(speed)) / 500
    heat, brake = [], []
    for plant in (PLANT, replace(PLANT, loop_slopes=())):
        body = Plant(plant, period)
        state = body.state
        state.speed = state.load_speed = speed
        body.advance(0j, 0.0, 5000)
        begin, momentum = state.heat, (state.speed - speed) * plant.inertia
        body.advance(0j, 0.0, 5000)
        heat.append((state.heat - begin) / (5000 * period))
        brake.append(((state.speed - speed) * plant.inertia - momentum) / (5000 * period))
    assert heat[0] - heat[1] == pytest.approx(float(loop_loss(LOOP, speed)), rel=2e-3)
    assert brake[1] - brake[0] == pytest.approx(float(loop_torque(LOOP, speed)), rel=2e-3)


def test_energy_is_kept_with_a_loop():
    """A run-up: electrical in = heat, the loop's included, and what is stored, also in the loop."""
    plant = replace(PLANT, inertia=1e-4, loop_slopes=tuple(3 * value for value in COMMON))
    kt = 1.5 * PAIRS * 5e-3
    control = ControlValues(5e-5, (0.3, 2000.0), 0.02, 0.05, 20.0, 800.0, 20.0, 60.0, torque_constant=kt)
    time = 5e-5 * np.arange(8000)
    reference = 100 * time**2, 200 * time, np.full_like(time, 200.0)
    with_loop, without = (
        simulated(each, control, SensorValues(1e-6), reference) for each in (plant, replace(plant, loop_slopes=()))
    )
    assert with_loop.balance < 1e-3
    assert with_loop.energy["heat"] > 1.2 * without.energy["heat"]


def test_a_loop_of_a_plant_must_be_whole():
    for changes in ({"loop_inductance": 0.0}, {"loop_slopes": COMMON[:-1]}):
        with pytest.raises(LawRangeError, match="a loop must have"):
            replace(PLANT, **changes)
