"""What is said of traces, on traces made by hand."""

from math import degrees, log
from types import SimpleNamespace

import numpy as np
import pytest

from pcbstator.analysis.drive.simulation import place_measures as places
from pcbstator.analysis.drive.simulation import run_measures as runs
from pcbstator.analysis.drive.simulation.scenario_values import places_around
from pcbstator.analysis.drive.simulation.turn_measures import listed_orders
from pcbstator.physics.drive.orders import order_amplitudes
from pcbstator.physics.drive.simulation import Trace

PERIOD = 1e-3
BAND = np.radians(0.1)


def made(error, believed=None, sense=1.0):
    """A move of a second by a radian, then a rest; ``error`` [rad] over the time since its end. Trace and reference."""
    times = np.arange(3000) * PERIOD
    moving = times < 1.0
    wanted = sense * np.minimum(times, 1.0)
    reference = (wanted, np.where(moving, sense, 0.0), np.zeros_like(times))
    off = np.where(moving, 0.0, error(times - 1.0))
    told = 0 * times if believed is None else np.where(moving, 0.0, believed(times - 1.0))
    nothing = np.zeros_like(times)
    trace = Trace(
        times=times, wanted=wanted, angles=wanted + off, speeds=nothing, motor=wanted + off, believed=wanted + told,
        current=nothing, voltage=nothing, push=nothing, energy={"electrical": 0.0}, temperature=0.0,
    )  # fmt: skip
    return trace, reference


def stand(bearing=0.0):
    return SimpleNamespace(control=SimpleNamespace(period=PERIOD), bearing=bearing)


def values(band=BAND):
    return SimpleNamespace(band=band, band_from="default")


def only_rest(*made_trace, bearing=0.0):
    (rest,) = runs.rests(*made_trace, stand(bearing), BAND)
    return rest


def test_settling_on_a_decay_is_the_logarithm():
    """2 degrees that fade with 0.15 s are within 0.1 degrees after 0.15 · ln 20."""
    rest = only_rest(*made(lambda t: np.radians(2.0) * np.exp(-t / 0.15)))
    assert rest.settling == pytest.approx(0.15 * log(20), abs=2 * PERIOD)
    assert rest.error == pytest.approx(0.0, abs=np.radians(1e-4))
    assert (rest.target, rest.sense) == (1.0, 1.0)


def test_what_stays_outside_never_settles_however_sure_the_sensor_is():
    trace, reference = made(lambda t: 0 * t + np.radians(0.404), lambda t: 0 * t + np.radians(0.01))
    numbers, found = runs.following_numbers(trace, reference, stand(), values())
    assert numbers["settled"] is False and "settling_time_s" not in numbers and numbers["unsettled"] == 1
    assert numbers["error_after_rest_deg"] == pytest.approx(0.404)
    assert numbers["believed_settled"] is True and numbers["believed_settling_time_s"] == 0.0
    assert numbers["believed_error_after_rest_deg"] == pytest.approx(0.01)
    (told,) = runs.settling_remark("moves", found, values())
    assert "1 of 1 moves do not settle within 0.1 degrees" in told and "0.404 degrees away, at 57.3 degrees" in told


def test_what_leaves_the_band_again_has_not_settled():
    late = made(lambda t: np.where(t > 1.9, np.radians(0.2), 0.0))
    early = made(lambda t: np.where((t > 0.7) & (t < 0.8), np.radians(0.2), 0.0))
    assert only_rest(*late).settling is None
    assert only_rest(*early).settling == pytest.approx(0.8, abs=2 * PERIOD)


@pytest.mark.parametrize("sense", [1.0, -1.0])
def test_the_mark_lags_by_half_the_play_of_the_bearing(sense):
    """And the sensor knows nothing of it."""
    rest = only_rest(*made(lambda t: 0 * t, sense=sense), bearing=np.radians(0.5))
    assert degrees(rest.error) == pytest.approx(-0.25 * sense)
    assert rest.believed == 0.0


def test_following_counts_while_it_moves():
    trace, reference = made(lambda t: 0 * t + 1.0)
    numbers, _ = runs.following_numbers(trace, reference, stand(), values())
    assert numbers["rms_error_deg"] == 0.0 and numbers["largest_error_deg"] == pytest.approx(degrees(1.0))


def stop(target, error, believed=0.0, sense=1.0):
    return runs.Rest(target, sense, 0.0, 1.0, error, believed, error, None, 0.0)


def test_the_worst_place_is_named_with_its_side():
    found = [
        places.Stops(0.0, (stop(0.0, 0.001), stop(0.0, 0.003)), (stop(0.0, 0.002, sense=-1.0),) * 2),
        places.Stops(1.0, (stop(1.0, -0.002),) * 2, (stop(1.0, -0.009, 0.001, sense=-1.0),) * 2),
    ]
    told = places.approach_numbers(found, stand(0.0), values())
    assert told["worst_error_deg"] == pytest.approx(degrees(0.009)) and told["worst_from"] == "above"
    assert told["worst_at_deg"] == pytest.approx(degrees(1.0))
    assert told["believed_error_there_deg"] == pytest.approx(degrees(0.001))
    assert told["repeatability_deg"] == pytest.approx(degrees(0.002)) and told["repeatability_at_deg"] == 0.0
    assert told["offset_between_directions_deg"] == pytest.approx(degrees(0.007))
    assert told["offset_at_deg"] == pytest.approx(degrees(1.0))


def test_steps_leave_out_the_first_and_tell_the_one_back_apart():
    stops = [stop(0.01 * k, error) for k, error in enumerate([0.0, 0.004, 0.0, 0.001])] + [stop(0.02, 0.009)]
    told = places.step_numbers([places.Steps(0.0, tuple(stops))], SimpleNamespace(
        small_step=0.01, small_step_from="default", band=BAND, band_from="default"))  # fmt: skip
    assert told["steps"] == 3 and told["largest_step_deg"] == pytest.approx(degrees(0.014))
    assert told["step_error_ratio"] == pytest.approx(0.4)
    assert told["smallest_step_after_reversal_deg"] == pytest.approx(degrees(0.031 - 0.029))


@pytest.mark.parametrize("turns", [0.5, 1.0, 3.7, 5.0, 16.0])
@pytest.mark.parametrize("count", [4, 16])
def test_places_go_all_around_the_turn_of_load_and_sensor(count, turns):
    found = np.array(places_around(count, turns))
    apart = 2 * np.pi / count
    assert len(found) == count
    for one, most in ((1.0, 1.2 * apart + 2 * np.pi / turns * (turns > 2)), (turns, 1.7 * apart)):
        if one >= 1:
            spread = np.sort(np.mod(found * one, 2 * np.pi))
            assert np.diff(np.append(spread, spread[0] + 2 * np.pi)).max() < most


def test_a_line_has_its_cause_and_what_spreads_is_a_spot_or_nothing():
    turned = np.linspace(0, 2 * np.pi, 8193)
    off = 1e-3 * np.sin(turned) + 1e-5 * np.sin(12 * turned)
    off += 2e-4 * np.where(np.abs(turned - 2) < 0.1, np.cos(np.pi * (turned - 2) / 0.2) ** 2, 0.0)
    off += np.random.default_rng(1).normal(0, 1e-9, len(turned))
    causes = [(1.0, "eccentricity"), (12.0, "offset"), (24.0, "gain"), (300.0, "dead time")]
    told = {row["order"]: row for row in listed_orders(order_amplitudes(turned, off), causes, 4 * np.pi / 0.2, 0.0)}
    assert told[1]["cause"] == "eccentricity"
    assert told[1]["angle_error_deg"] == pytest.approx(degrees(1e-3), rel=0.01)
    assert told[1]["speed_ripple_ratio"] == pytest.approx(1e-3, rel=0.01)
    assert all(row["cause"] == "friction spot" for order, row in told.items() if order not in (1, 12))
    assert 24 not in told and 300 not in told and any(row["cause"] == "friction spot" for row in told.values())


@pytest.mark.parametrize("seed", range(40))
def test_noise_has_no_orders(seed):
    """Nor does what shakes the angle at random get the name of a cause whose order it happens to have."""
    turned = np.linspace(0, 2 * np.pi, 8193)
    off = np.random.default_rng(seed).normal(0, 1e-4, len(turned))
    causes = [(1.0, "eccentricity"), (12.0, "offset"), (24.0, "gain"), (72.0, "dead time"), (144.0, "dead time")]
    assert listed_orders(order_amplitudes(turned, off), causes, 0.0, 0.0) == []


def test_a_line_without_a_known_cause_is_told_as_such():
    turned = np.linspace(0, 2 * np.pi, 8193)
    off = 1e-3 * np.sin(31 * turned) + np.random.default_rng(4).normal(0, 1e-5, len(turned))
    (row,) = listed_orders(order_amplitudes(turned, off), [(1.0, "eccentricity")], 0.0, 0.0)
    assert (row["order"], row["cause"]) == (31, "none of the known causes")
    (row,) = listed_orders(order_amplitudes(turned, off), [(1.0, "eccentricity")], 0.0, 0.2)
    assert row["cause"] == "sticking and slipping"
