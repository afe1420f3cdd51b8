"""Electrical zero, sense and order of the phases from places where a direct current holds the rotor."""

from dataclasses import replace

import numpy as np
import pytest

import pcbstator
from pcbstator.bench.built.commissioning import commissioned, resting_angle, table_parameters
from pcbstator.bench.load import bench_from_tables
from pcbstator.bench.logs.result import CorrectionTable
from pcbstator.bench.machine_state import machine_state
from pcbstator.errors import DesignError
from tests.command import DESIGNS

# Currents of the phases with one ampere in at the terminal of A and out at all the others joined, by Kirchhoff's laws
# with equal phases: in a delta of three the phase between the two joined terminals is shorted and carries nothing.
CURRENTS = {"star": (1.0, -0.5, -0.5), "delta": (0.5, 0.0, -0.5), "open": (1.0, 0.0, 0.0)}
OFFSET = 0.37  # of the sensor's zero, turns


@pytest.fixture(scope="module", params=DESIGNS, ids=lambda path: path.stem)
def state(request):
    return machine_state(pcbstator.load_design(request.param).with_values({"build": None}))


@pytest.fixture(scope="module")
def stage():
    path = next(path for path in DESIGNS if path.stem == "photogrammetry-stage")
    return machine_state(pcbstator.load_design(path))


@pytest.mark.parametrize("connection", CURRENTS)
def test_the_rotor_rests_where_the_linked_current_has_its_largest_energy(state, connection):
    """Torque is the slope of the sum of current times linkage over the angle (any textbook on electromechanics), so
    the stable place is its maximum; on a fine grid, by the linkages of the prediction themselves.
    """
    state = replace(state, connection=connection)
    angles = np.linspace(0, 2 * np.pi / state.pole_pairs, 36_001)
    linkages = (state.linkages @ np.exp(-1j * np.outer(state.orders, angles))).real
    energy = np.array(CURRENTS[connection]) @ linkages
    highest = angles[np.argmax(energy)]
    apart = state.pole_pairs * (resting_angle(state) - highest)
    assert abs(np.degrees((apart + np.pi) % (2 * np.pi) - np.pi)) < 1.5  # harmonics flatten the top; electrical


def test_it_is_half_a_turn_from_where_a_magnet_points_down_into_coil_a(stage):
    """By the definitions: at angle 0 a magnet at +x points into the board, and coil 0, A+, is there, whose current runs
    counter-clockwise and makes a field upwards; like fields attract half an electrical turn on.
    """
    assert np.degrees(stage.pole_pairs * resting_angle(stage)) == pytest.approx(180.0, abs=0.5)


def test_zero_and_order_come_back(state):
    """Places of rest A, B, C seen by a sensor with a zero of its own: the zero and the order come back."""
    places = np.array([resting_angle(state, phase) for phase in range(3)])
    reading = _reading(np.degrees(places) + 360 * OFFSET)
    found = commissioned(reading, state)
    zero = state.pole_pairs * (places[0] + 2 * np.pi * OFFSET)
    assert np.degrees((found.zero - zero + np.pi) % (2 * np.pi) - np.pi) == pytest.approx(0.0, abs=0.1)
    assert (found.order, found.sense, found.contradictions) == ("ABC", 1, ())


def test_a_sensor_that_falls_and_wires_that_are_exchanged(stage):
    places = np.degrees([resting_angle(stage, phase) for phase in (0, 2, 1)])
    found = commissioned(_reading(-places, sense="falls"), stage)
    assert (found.order, found.sense, found.contradictions) == ("ACB", -1, ())
    assert "exchange the wires B and C" in found.words[0]
    assert "set its sense, not the wires" in found.words[1]
    assert np.degrees(found.zero) == pytest.approx(180.0, abs=0.5)  # A stays where it was


def test_the_electrical_zero_turns_a_reading_into_the_electrical_angle(stage):
    """What drive.h says: pole pairs times the angle less the zero is 0 with the rotor's field along A, and its torque
    with current along q is positive all round.
    """
    found = commissioned(_reading(np.degrees([resting_angle(stage, k) for k in range(3)]) + 77.0), stage)
    for rotor in np.linspace(0, 0.5, 7):
        reading = rotor + np.radians(77.0)
        electrical = stage.pole_pairs * found.sense * reading - found.zero
        currents = -np.sin(electrical - 2 * np.pi / 3 * np.arange(3))  # a quarter turn ahead of the field
        slopes = (stage.linkages * -1j * stage.orders) @ np.exp(-1j * stage.orders * rotor)
        whole = stage.work.magnetic.torque_constant
        assert currents @ slopes.real == pytest.approx(whole, rel=0.03)  # of the fundamental; ripple by harmonics


def test_the_table_is_taken_off_first(stage):
    """An error of the sensor of half a degree would be six electrical degrees."""
    true = np.degrees([resting_angle(stage, phase) for phase in range(3)])
    even = np.arange(256) * 360 / 256
    table = CorrectionTable("sensor", 0.5 * np.sin(np.radians(even)), 0.0, 0.35, 0.0, 0.5, 0.0, ())
    seen = true + 0.5 * np.sin(np.radians(true))
    assert commissioned(_reading(seen), stage, table).scatter < np.radians(0.1)
    parameters = table_parameters(table)
    assert parameters["sensor_table_count"] == len(parameters["sensor_table_rad"]) == 256


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"pole_pairs": 24}, "24 pole pairs counted, the design has 12 (poles counted for pole pairs)"),
        ({"phase_order": "ACB"}, "in the order ABC"),
        ({"sensor_deg": [0.0, 120 / 7, 240 / 7]}, "7 pole pairs would fit"),
    ],
)
def test_contradictions_are_told_in_words_and_nothing_goes_to_the_drive(stage, more, words):
    table = {"sensor_deg": [15.0, 25.0, 35.0], "sense": "rises"} | more
    found = commissioned(bench_from_tables({"commissioning": [table]}).commissioning[0], stage)
    assert words in found.contradictions[0]
    assert found.parameters() == {}


@pytest.mark.parametrize("key", [{"sense": "up"}, {"sensor_degrees": [1.0]}, {"pole_pairs": 0}, {"sensor_deg": "a"}])
def test_the_door_is_strict(key):
    with pytest.raises(DesignError) as told:
        bench_from_tables({"commissioning": [{"sensor_deg": [15.0], "sense": "rises"} | key]})
    assert "commissioning[1]" in str(told.value)


def _reading(places, sense="rises"):
    tables = {"commissioning": [{"sensor_deg": [float(each) for each in places], "sense": sense}]}
    return bench_from_tables(tables).commissioning[0]
