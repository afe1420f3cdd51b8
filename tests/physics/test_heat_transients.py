"""Heating in time: closed forms of one node, the stiff solver against them, pulses and cycles against the solver."""

from dataclasses import replace
from math import exp, log

import numpy as np
import pytest

from pcbstator.errors import LawRangeError
from pcbstator.physics.thermal.balance import current_at_temperature
from pcbstator.physics.thermal.transients import (
    held_network,
    pulse_currents,
    rise_time,
    settled_cycle,
    steady_cycle,
    stiff_temperatures,
)
from tests.physics.test_heat_network import ALPHA, lump, plate

BOARD = list(range(6))


def closed(time, current, start=25.0, conductance=0.5, resistance=2.0, capacity=100.0, ambient=25.0):
    """C T' = I^2 R (1 + alpha (T - 20)) - G (T - ambient), G and R constant."""
    rate = (conductance - ALPHA * current**2 * resistance) / capacity
    drive = current**2 * resistance * (1 + ALPHA * (ambient - 20.0)) / capacity
    return ambient + (start - ambient) * np.exp(-rate * time) + drive * -np.expm1(-rate * time) / rate


@pytest.mark.parametrize("current", [1.0, 3.0, 8.5])  # 8.5: runs away
def test_stiff_solver_against_the_closed_form(current):
    time, found = stiff_temperatures(lump(), [[120.0, current]], [25.0])
    assert len(time) > 20
    assert found[:, 0] == pytest.approx(closed(time, current), rel=2e-5)


def test_stiff_solver_stops_where_the_copper_law_ends():
    time, found = stiff_temperatures(lump(), [[1e4, 12.0], [1.0, 0.0]], [25.0])
    assert found.max() <= 300.001 and time[-1] < 1e4


def test_stiff_solver_goes_on_from_step_to_step():
    time, found = stiff_temperatures(lump(), [[60.0, 5.0], [90.0, 0.0]], [25.0])
    after = closed(60.0, 5.0)
    assert found[-1, 0] == pytest.approx(25.0 + (after - 25.0) * exp(-0.5 * 90.0 / 100.0), rel=1e-5)
    assert time[-1] == pytest.approx(150.0, rel=1e-12)


@pytest.mark.parametrize("duration", [1.0, 30.0, 300.0, 3e4])
def test_pulse_of_one_node_is_the_closed_form(duration):
    network = held_network(lump(), [65.0])
    current = float(pulse_currents(network, [duration], [25.0], [105.0])[0])
    assert closed(duration, current) == pytest.approx(105.0, rel=1e-6)


def test_pulse_without_cooling_by_the_logarithm():
    network = held_network(lump(conductance=1e-12), [65.0])
    current = float(pulse_currents(network, [10.0], [40.0], [105.0])[0])
    heat = log((1 + ALPHA * 85.0) / (1 + ALPHA * 20.0)) * 100.0 / (ALPHA * 2.0)
    assert current**2 * 10.0 == pytest.approx(heat, rel=1e-5)


def test_copper_hotter_than_its_node():
    """Copper hotter than its node by loss times thermal resistance, its electrical resistance growing with that."""
    network = held_network(lump(conductance=1e-12, copper_to_node=0.5), [65.0])
    current = float(pulse_currents(network, [1.0], [25.0], [105.0])[0])
    time, found = stiff_temperatures(lump(conductance=1e-12, copper_to_node=0.5), [[1.0, current]], [25.0])
    assert found[-1, 0] == pytest.approx(105.0, rel=1e-4)
    assert float(pulse_currents(held_network(lump(), [65.0]), [1.0], [25.0], [105.0])[0]) > 1.2 * current
    assert time[-1] == 1.0


def test_a_start_that_eddies_carry_over_the_limit_allows_nothing():
    network = held_network(lump(eddy=60.0), [65.0])
    assert pulse_currents(network, [1e4], [25.0], [105.0])[0] == 0.0


@pytest.mark.parametrize("eddy", [0.0, 0.4])
def test_pulses_against_the_stiff_solver(eddy):
    """Conductances held at half the rise: the real laws end within 3 % of the permitted rise, and on the safe side but
    for 0.5 %; up to a tenth of the time that a plate of this kind takes to warm."""
    network = plate(eddy=eddy)
    steady = current_at_temperature(network, (BOARD,), [105.0])
    held = held_network(network, 25.0 + (steady.temperature_c[0] - 25.0) / 2)
    limits = np.where(np.arange(7) < 6, 105.0, np.inf)
    times = [1.0, 10.0, 60.0]
    currents = pulse_currents(held, times, np.full(7, 25.0), limits)
    for duration, current in zip(times, currents, strict=True):
        _, found = stiff_temperatures(network, [[duration, current]], np.full(7, 25.0))
        share = (found[-1, :6].max() - 25.0) / 80.0
        assert 0.97 < share < 1.005, duration
    assert np.all(np.diff(currents) < 0) and currents[-1] > steady.current[0]


def test_rise_time_of_one_node():
    rate = (0.5 - ALPHA * 9.0 * 2.0) / 100.0
    target = 25.0 + 9.0 * 2.0 * (1 + ALPHA * 5.0) / 100.0 / rate * (1 - exp(-1))
    assert rise_time(held_network(lump(), [65.0]), 3.0, 0, target) == pytest.approx(1 / rate, rel=1e-6)
    assert rise_time(held_network(lump(), [65.0]), 3.0, 0, 299.0) is None
    gone = rise_time(held_network(lump(), [65.0]), 12.0, 0, 299.0)  # runs away, and is there in finite time
    assert closed(gone, 12.0) == pytest.approx(299.0, rel=1e-6)


def test_rise_time_of_a_plate_against_the_stiff_solver():
    """Conductances held at half the rise: within 4 % of the rise."""
    network = plate()
    steady = current_at_temperature(network, (BOARD,), [105.0])
    current, chosen = float(steady.current[0]), int(np.argmax(steady.temperature_c[0, :6]))
    held = held_network(network, 25.0 + (steady.temperature_c[0] - 25.0) / 2)
    time = rise_time(held, current, chosen, 25.0 + 80.0 * (1 - exp(-1)))
    _, found = stiff_temperatures(network, [[time, current]], np.full(7, 25.0))
    above = network.copper_to_node[chosen] * network.resistance[chosen] * current**2 * (1 + ALPHA * 55.0)
    assert (found[-1, chosen] - above - 25.0) / 80.0 == pytest.approx(1 - exp(-1), rel=0.04)


@pytest.mark.parametrize(("on", "off", "current"), [(10.0, 50.0, 4.0), (40.0, 20.0, 2.5), (1.0, 1.0, 3.0)])
def test_cycle_of_one_node_is_the_closed_form(on, off, current):
    """Highest at the end of the on time: the fixed point of one step up and one down."""
    rate = (0.5 - ALPHA * current**2 * 2.0) / 100.0
    drive = current**2 * 2.0 * (1 + ALPHA * 5.0) / 100.0
    gain, up, down = drive * -np.expm1(-rate * on) / rate, exp(-rate * on), exp(-0.5 * off / 100.0)
    expected = 25.0 + gain / (1 - up * down)
    found = steady_cycle(held_network(lump(), [65.0]), [[on, current], [off, 0.0]]).highest_c
    assert float(found[0]) == pytest.approx(expected, rel=1e-9)
    halves = [[on / 2, current], [on / 2, current], [off, 0.0]]
    assert steady_cycle(held_network(lump(), [65.0]), halves).highest_c == pytest.approx(found, rel=1e-9)


def test_cycle_against_the_stiff_solver():
    """A plate after many cycles. Conductances are held at its own mean temperatures: 1 % of the rise."""
    network = replace(plate(), capacity=np.append(np.full(6, 2.0), 4.0))  # settles within a few hundred seconds
    steady = current_at_temperature(network, (BOARD,), [105.0])
    cycle = [[20.0, 1.4 * float(steady.current[0])], [30.0, 0.3 * float(steady.current[0])]]
    peak = float(settled_cycle(network, cycle, np.full(7, 60.0)).highest_c[:6].max())
    start = np.append(np.full(6, 60.0), 45.0)
    _, found = stiff_temperatures(network, cycle * 25, start, samples=20)
    last = found[-40:, :6].max()
    assert peak - 25.0 == pytest.approx(last - 25.0, rel=0.01)


def test_a_cycle_that_runs_away():
    assert steady_cycle(held_network(lump(), [65.0]), [[100.0, 20.0], [1.0, 0.0]]) is None


@pytest.mark.parametrize("call", [
    lambda: pulse_currents(held_network(lump(), [65.0]), [0.0], [25.0], [105.0]),
    lambda: pulse_currents(held_network(lump(), [65.0]), [1.0], [110.0], [105.0]),
    lambda: steady_cycle(held_network(lump(), [65.0]), [[0.0, 1.0]]),
    lambda: steady_cycle(held_network(lump(), [65.0]), [[1.0, 1.0, 1.0]]),
])  # fmt: skip
def test_outside_the_range(call):
    with pytest.raises(LawRangeError):
        call()
