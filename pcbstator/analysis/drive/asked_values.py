"""Slow speed, small step, band around a target, and limits of moves: as required, else as the motion has them, else
usual ones.

The error budget and the simulation take them from here, so that both speak of the same.
"""

from __future__ import annotations

from math import inf, pi, radians
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pcbstator.design.sections.job import Motion
    from pcbstator.design.sections.requirement import Requirement

SLOW = 1.5 * pi / 30  # rad/s: a slow turn that must look continuous (common practice, no source)
SMALL_STEP = radians(0.5)  # a small step that must stay visible and even (common practice, no source)
BAND = radians(0.05)  # around a target, or two counts of the sensor (common practice, no source)
WINDOW = 0.02  # s; an eye or a camera sees no faster unevenness (common practice, no source)
MODERATE = 20 * pi / 30  # rad/s: no faster between stops (common practice, no source)
GENTLE = 0.3  # of the torque at the current limit, to accelerate with where nothing is stated
JERKED = 0.02  # s in which the acceleration then comes
DEFAULT = "default"


def slow_speed(requirement: Requirement | None, motion: Motion | None) -> tuple[float, str]:
    """Speed [rad/s] of the slow turn, and the key that it is from."""
    if requirement is not None and requirement.slow_speed is not None:
        return requirement.slow_speed, "requirement.slow_speed_rpm"
    steady = motion is not None and motion.move is None and motion.stops is None and motion.table is None
    if steady and motion is not None and motion.speed and motion.speed < SLOW:
        return motion.speed, "motion.speed_rpm"
    return SLOW, DEFAULT


def small_step(requirement: Requirement | None, motion: Motion | None) -> tuple[float, str]:
    """The small step [rad], and the key that it is from."""
    if requirement is not None and requirement.smallest_step is not None:
        return requirement.smallest_step, "requirement.smallest_step_deg"
    if motion is not None and motion.move is not None and abs(motion.move) < SMALL_STEP:
        return abs(motion.move), "motion.move_deg"
    return SMALL_STEP, DEFAULT


def stated_limits(motion: Motion | None) -> tuple[float, float | None, float | None]:
    """Speed [rad/s], infinite where no moves state one, acceleration [rad/s2] and jerk [rad/s3] of the motion."""
    if motion is None:
        return inf, None, None
    goes = motion.move is not None or motion.stops is not None
    return (motion.speed if goes and motion.speed else inf), motion.acceleration, motion.jerk


def moderate_limits(
    torque: float,
    inertia: float,
    ideal: float,
    top: float = inf,
    acceleration: float | None = None,
    jerk: float | None = None,
) -> tuple[float, float, float]:
    """Speed, acceleration and jerk between stops [SI]; what is not stated follows from the torque [N m] at the current
    limit, the inertia [kg m2] and the no-load speed ``ideal`` [rad/s].
    """  # fmt: skip
    acceleration = acceleration or GENTLE * torque / inertia
    return min(top, MODERATE, ideal / 2), acceleration, jerk or acceleration / JERKED


def usual_band(count: float) -> float:
    """Band [rad] to either side of a target where none is required, with a sensor of this count [rad]."""
    return max(BAND, 2 * count)


def band(requirement: Requirement | None, count: float) -> tuple[float, str]:
    """Band [rad] to either side of a target within which the load has settled, and the key that it is from."""
    if requirement is not None and requirement.position_error is not None:
        return requirement.position_error, "requirement.position_error_deg"
    return usual_band(count), DEFAULT
