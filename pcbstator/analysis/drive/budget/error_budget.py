"""The error budget: parts at rest and moving, and the errors of stops, steps and a slow turn that they come to."""

from __future__ import annotations

from collections.abc import Callable
from math import hypot, pi, sin, sqrt
from typing import Any

import numpy as np

from pcbstator.analysis.drive.budget.moving_errors import moving_parts
from pcbstator.analysis.drive.budget.rest_errors import (
    CHANCE,
    SIDE,
    Part,
    end_of_move,
    friction_left,
    noise_left,
    rest_parts,
    settling,
    stop_by_friction,
)
from pcbstator.analysis.drive.budget.surrounding_parts import (
    COGGING,
    surrounding_moving_parts,
    surrounding_rest_parts,
    surrounding_step_errors,
)
from pcbstator.analysis.drive.driver_fit import sensor_error
from pcbstator.analysis.drive.positioning import Positioning
from pcbstator.errors import LawRangeError
from pcbstator.physics.drive.coverage import (
    normal_half_width,
    of_all,
    together,
    triangular_half_width,
    uniform_half_width,
)
from pcbstator.physics.drive.loop_response import SEEN, Loops
from pcbstator.physics.drive.standing_error import held_error, offset_left, release_time

Hunting = tuple[float, float]  # how far friction holds one stop off its target, how far that throws the next [rad]

FADING = (
    "friction",
    "integral of the last stop",
    "unbalance",
    "current-sense offset",
    COGGING,
)  # parts at rest that the integral takes out in time
SAFE = 4.9  # standard deviations: wrong once in a million (tables of the normal distribution)
STEP_TIMES = 160  # at which the answer to a push is looked at
HALVINGS = 60


def motion_errors(job: Positioning) -> dict[str, Any]:
    """Fields of ``MotionResult``; nothing where the loops swing up."""
    try:
        end = end_of_move(job)
        arrived, holds = stop_by_friction(job, end)
        at_rest = rest_parts(job, end, arrived) + surrounding_rest_parts(job)
        moving = moving_parts(job) + surrounding_moving_parts(job)
        creeping = sum(part.error for part in at_rest if part.name in FADING)
        hunting = _hunting(job)
        return _at_rest(job, at_rest, (arrived, holds), hunting) | _moving(job, moving) | {
            **_small_step(job, arrived, hunting),
            "error_budget": tuple(part.row() for part in (*at_rest, *moving)),
            "told_push": _told_push(job, creeping),
            "push_stiffness": push_stiffness(job.moved),
        }  # fmt: skip
    except LawRangeError:
        return {}


def _split(parts: list[Part]) -> tuple[list[float], list[float]]:
    """Sizes of what is fixed at a place from a side, and of what changes by chance."""
    fixed = [part.error for part in parts if part.behaviour != CHANCE]
    return fixed, [part.error for part in parts if part.behaviour == CHANCE]


def _at_rest(
    job: Positioning, parts: list[Part], arrived: tuple[float, float], hunting: Hunting | None
) -> dict[str, Any]:
    fixed, by_chance = _split(parts)
    friction = next(part.error for part in parts if part.name == "friction")
    worst = together(fixed, by_chance)
    fading = [part for part in parts if part.name in FADING]
    lasting = together(*_split([part for part in parts if part not in fading]))
    settles = _settling(job, job.settled_within - lasting, arrived, hunting) if worst <= job.settled_within else None
    return {
        "rest_error": worst,
        "usual_rest_error": of_all([part.deviation for part in parts], worst),
        "repeatable_rest_error": sum(part.error for part in parts if part.repeatable),
        "repeatability": hypot(2 * hypot(*by_chance), friction),
        "direction_offset": 2 * sum(part.error for part in parts if part.behaviour == SIDE)
        + sqrt(2) * hypot(*by_chance),
        "rest_time": job.rest,
        "settled_within": job.settled_within,
        "settling_time": settles,
    }


def _moving(job: Positioning, parts: list[Part]) -> dict[str, Any]:
    return {
        "slow_speed": job.slow_speed,
        "moving_error": together(*_split(parts)),
        "slow_speed_ripple": sum(part.speed or 0.0 for part in parts),
    }


def _small_step(job: Positioning, arrived: float, hunting: Hunting | None) -> dict[str, Any]:
    """Error of a small step in one direction, over the step, and what makes most of it: two stops apart.

    Where steps are alike the load stops alike, to what friction leaves at the end of a move; others hunt.
    """
    step = job.small_step
    order = (1 if job.drive.sensor_radius is not None else 2) * job.ratio
    eccentric = 2 * sensor_error(job.drive) / job.ratio * abs(sin(min(pi / 2, order * step / 2)))
    if hunting is not None:
        friction = ("friction that holds the load now on one side, now on the other", _apart(job, hunting))
    else:
        friction = ("friction left as a move ends", uniform_half_width(2 * friction_left(job, arrived)[0]))
    chances = dict([friction]) | {
        "sensor resolution": triangular_half_width(job.count),
        "sensor noise": normal_half_width(sqrt(2) * noise_left(job)),
    }
    fixed = {"sensor eccentricity": eccentric} | surrounding_step_errors(job, step)
    sizes = chances | fixed
    return {
        "small_step": step,
        "step_error": together(tuple(fixed.values()), tuple(chances.values())) / step,
        "step_error_from": max(sizes, key=sizes.__getitem__),
    }


def _hunting(job: Positioning) -> Hunting | None:
    """Where small steps hunt, how far friction holds one stop off its target, and how far that throws the next [rad].

    In a rest the integral winds up against an error that friction holds; so short a move does not unwind it, and it
    throws the next stop to the other side. Where that is farther than the first was, it goes on step by step, until the
    integral frees the load within its rest.
    """
    loops, friction = job.loop_values, job.values.standstill + job.values.worst_spot
    if friction <= 0:
        return None
    time = sum(piece.duration for piece in job.step_move)
    left, thrown = offset_left(job.moved, time), float(job.moved.after_step(np.array([time]), "torque")[0])
    wound = loops.stiffness * job.rest / loops.integral_time
    if abs(left - thrown * wound) < 1:
        return None
    one = held_error(friction, loops.stiffness, loops.integral_time, job.rest)
    return one, max(0.0, friction * thrown - left * one)


def _apart(job: Positioning, hunting: Hunting) -> float:
    """How far two stops that hunt are apart [rad]: the next stays as far off as friction holds with the integral
    against it, where it is thrown that far. Within a count the integral waits.
    """
    one, other = hunting
    count = min(job.count, (job.values.standstill + job.values.worst_spot) / job.loop_values.stiffness)
    return max(one, count) + max(min(2 * one, other), count)


def _settling(job: Positioning, room: float, arrived: tuple[float, float], hunting: Hunting | None) -> float | None:
    """Time [s] until the load stays within some room [rad] after the longest move and small steps that hunt, where
    those are asked for or no moves are.
    """
    found, loops = settling(job, room, *arrived), job.loop_values
    if found is None or hunting is None or not job.steps_count or hunting[1] <= room:
        return found
    friction = job.values.standstill + job.values.worst_spot  # with the integral against it
    return max(found, release_time(friction, loops.stiffness, loops.integral_time, room, -friction))


def _told_push(job: Positioning, creeping: float) -> float:
    """The smallest turn by hand that is told safely: what the sensor shows is twice what it shows of a stop, a count at
    least, and the stop may have been off to the other side. creeping: by which a stop may be off [rad].
    """
    noise = job.noise * job.waiting.noise("reading", SEEN) if job.noise else 0.0
    return 2 * max(job.count, creeping + SAFE * noise) + creeping + job.play


def push_stiffness(loops: Loops) -> float:
    """Torque [N m/rad] of a sudden steady push over the largest turn that it makes."""
    times = np.linspace(0.0, 4 * loops.slowest, STEP_TIMES)
    return 1 / float(loops.after_step(times, "torque").max())


def value_that_keeps(
    job: Positioning, section: str, field: str, result: str, limit: float, bounds: tuple[float, float]
) -> float | None:
    """Value of a key in ``drive`` or ``load`` at which a result comes to its limit, all else as it is.

    ``bounds``: a value that fails and one that may do, in SI; None where even that one does not.
    """
    fails, keeps = bounds

    def holds(value: float) -> bool:
        found = motion_errors(job.with_values(section, **{field: value})).get(result)
        return found is not None and found <= limit

    return _edge(holds, fails, keeps) if holds(keeps) else None


def _edge(holds: Callable[[float], bool], fails: float, keeps: float) -> float:
    """Between a value that fails and one that holds, the last that holds."""
    # The library's finders want a number that changes its sign, and may end on the side that fails.
    for _ in range(HALVINGS):
        middle = sqrt(fails * keeps) if fails > 0 and keeps > 0 else (fails + keeps) / 2
        if abs(keeps - fails) <= 1e-6 * max(abs(keeps), abs(fails)):
            break
        fails, keeps = (fails, middle) if holds(middle) else (middle, keeps)
    return keeps
