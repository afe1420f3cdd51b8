"""Parts of the error budget that are no matter of chance once it is taken out: neither more nor less than simulated."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pcbstator.analysis.drive.budget.moving_errors import WINDOW, moving_parts
from pcbstator.analysis.drive.budget.rest_errors import arrived_by_friction, end_of_move, limited, rest_parts
from pcbstator.design.sections.requirement import Requirement
from pcbstator.physics.drive.coverage import SHARE
from pcbstator.physics.drive.standing_error import held_error
from pcbstator.physics.drive.turning_error import of_counts
from tests.agreement.test_error_budget import AGREE, DRIVEN, alone, at, built, half, turned

CLAMPED = {"running": 1e3, "standstill": 1e3}  # N m: nothing turns
PLACES = 61  # within a count


def still(stand, place: float, wanted: float, seconds: float):
    """A run of a load that stands at a place [rad] while another is wanted."""
    angles = np.full(round(seconds / stand.control.period), wanted)
    angles[0] = place
    return stand.run((angles, np.zeros_like(angles), np.zeros_like(angles)), points=10**6)


@pytest.mark.parametrize("name", DRIVEN)
def test_resolution_at_rest(name):
    """What the sensor says of a load that cannot move, anywhere within a count: 95 % are nearer than the part says."""
    stand, job = built(name)
    clamped = alone(stand, plant=CLAMPED, sensor={"count": job.count})
    found = []
    for place in (np.arange(PLACES) + 0.5) / PLACES * job.count + 1.0:
        trace = still(clamped, float(place), float(place), 20 * stand.control.period)
        found.append(abs(float(trace.believed[-1]) - float(place)))
    end = end_of_move(job)
    (part,) = (one for one in rest_parts(job, end, arrived_by_friction(job, end)) if one.name == "sensor resolution")
    assert part.error == pytest.approx(float(np.quantile(found, SHARE)), rel=0.03)


@pytest.mark.parametrize("name", DRIVEN)
def test_counts_that_go_by_without_beats(name):
    """At five and a half times the speed loop's bandwidth, far below the rate of sampling: angle and speed of a steady
    saw-tooth. (Slower counts shake the load so that it lingers on each, which no linear law tells; the finding
    ``drive.slow_speed`` does.)
    """
    stand, job = built(name)
    job = at(job, 1.5)
    count = job.slow_speed / (5.5 * job.gains.speed_bandwidth)
    errors, speeds = turned(alone(stand, sensor={"count": count}), job, 3.0)
    found = of_counts(job.moved, job.slow_speed, count, WINDOW)
    assert found.angle == pytest.approx(float(np.quantile(np.abs(errors), SHARE)), rel=AGREE)
    assert found.speed == pytest.approx(half(speeds), rel=AGREE)


@pytest.mark.parametrize("name", DRIVEN)
def test_the_part_of_counts_is_that_of_the_sensor(name):
    _, job = built(name)
    (part,) = (one for one in moving_parts(job) if one.name == "sensor resolution")
    found = of_counts(job.loops, job.slow_speed, job.count, WINDOW)
    assert (part.error, part.speed) == (found.angle, found.speed / job.slow_speed)


@pytest.mark.parametrize("name", DRIVEN)
@pytest.mark.parametrize("rest", [0.3, 1.5])
def test_friction_holds_just_this_error_until_the_integral_has_acted(name, rest):
    """An eighth less still stands after the rest, an eighth more has been freed; the budget's part is that error."""
    stand, job = built(name)
    loops, friction = job.loop_values, 0.05 * stand.control.torque_constant * stand.control.current_limit
    rubbing = alone(stand, plant={"running": friction, "standstill": friction})
    edge = held_error(friction, loops.stiffness, loops.integral_time, rest)
    moved = []
    for part in (0.88, 1.12):
        trace = still(rubbing, 0.0, part * edge, rest)
        moved.append(float(np.abs(trace.angles - trace.angles[0]).max()) > 0.01 * edge)
    assert moved == [False, True]
    left, _ = limited(replace(job, requirement=Requirement(settling_time_s=rest)), 10 * edge, friction)
    assert left == pytest.approx(max(edge, job.count), rel=1e-9)
