"""Parts of the error at rest, after a move and a rest, each as if it were alone."""

from __future__ import annotations

from dataclasses import dataclass
from math import degrees

import numpy as np
from numpy.typing import NDArray

from pcbstator.analysis.drive.driver_fit import sensor_error
from pcbstator.analysis.drive.positioning import Positioning, bearing_angle
from pcbstator.physics.drive.coverage import (
    NORMAL_95,
    SHARE,
    SINE_DEVIATION,
    UNIFORM_DEVIATION,
    normal_half_width,
    uniform_half_width,
)
from pcbstator.physics.drive.friction import spot_friction, stribeck_friction
from pcbstator.physics.drive.loop_response import ANGLE, SEEN
from pcbstator.physics.drive.standing_error import (
    Arrival,
    Places,
    arrival,
    held_error,
    modes_after,
    release_time,
    swing_errors,
)

FloatArray = NDArray[np.float64]

DEVIATIONS = {
    "uniform": UNIFORM_DEVIATION / SHARE,
    "normal": 1 / NORMAL_95,
    "sine": SINE_DEVIATION,
    "two values": 1.0,
}
CHANCE, SIDE, PLACE = "by chance", "fixed by the side", "fixed by the place"
UNKNOWN_FRICTION = 0.3  # of the running friction, that is other than fed forward (common practice, no source)
FADES = 3.0  # fading speeds from which nothing of the standstill friction matters
SLOWEST = 12.0  # time constants of the slowest mode, after which nothing moves
SETTLING_TIMES = 200
SPOT_PLACES = np.linspace(-0.5, 0.5, 3)  # of the width of a spot, where it stops


@dataclass(frozen=True)
class Part:
    """Of the budget: half of the width that holds 95 % [rad], ``speed`` of its ripple over the mean [-]."""

    name: str
    when: str
    error: float
    behaviour: str
    distribution: str
    why: str
    key: str
    repeatable: bool = False
    speed: float | None = None

    @property
    def deviation(self) -> float:
        """Standard, over all places and sides [rad]."""
        return self.error * DEVIATIONS[self.distribution]

    def row(self) -> dict[str, str | float | bool]:
        """Plain, in degrees."""
        found: dict[str, str | float | bool] = {
            "part": self.name,
            "when": self.when,
            "error_deg": degrees(self.error),
            "repeatable": self.repeatable,
            "behaviour": self.behaviour,
            "distribution": self.distribution,
            "why": self.why,
            "key": self.key,
        }
        return found if self.speed is None else found | {"speed_ripple_percent": 100 * self.speed}


def rest_parts(job: Positioning, end: Arrival, arrived: float) -> list[Part]:
    """All parts at rest, nil where nothing is stated; end: of the move; arrived: error there by friction [rad]."""
    bearing, friction = bearing_angle(job.drive, job.bearing), friction_left(job, arrived)
    last = unfed_left(job, end, job.values.standstill)
    unknown = unfed_left(job, end, UNKNOWN_FRICTION * job.values.running)
    return [
        Part("sensor resolution", "at rest", uniform_half_width(job.count / 2), CHANCE, "uniform",
             "anywhere within half a count", "drive.sensor_counts"),
        Part("sensor noise", "at rest", normal_half_width(noise_left(job)), CHANCE, "normal",
             "what the loops pass of it", "drive.sensor_noise_deg"),
        Part("sensor eccentricity", "at rest", sensor_error(job.drive) / job.ratio, PLACE, "sine",
             "at the worst place; repeats every turn: a table takes it out", "drive.sensor_offset_mm", True),
        Part("bearing play at the mark", "at rest", bearing / 2, SIDE, "two values",
             "half the sideways play, at mark_radius_mm", "bearing.radial_play_mm"),
        Part("play of the coupling", "at rest", job.play / 2, SIDE, "two values",
             "half of play_deg; no gain takes it out", "load.play_deg"),
        Part("friction", "at rest", friction[0], SIDE, "two values", friction[1], "bearing.standstill_friction_n_m"),
        Part("friction other than fed forward", "at rest", uniform_half_width(unknown), CHANCE, "uniform",
             f"running friction within {UNKNOWN_FRICTION:.0%} of what is fed forward", "bearing.friction_n_m"),
        Part("integral of the last stop", "at rest", uniform_half_width(last), CHANCE, "uniform",
             "what it held there against friction, and has not yet given up", "bearing.standstill_friction_n_m"),
        Part("unbalance", "at rest", torque_left(job, job.values.unbalance, 1.0), PLACE, "sine",
             "gravity at the target, which the integral has to take over", "load.unbalance_n_m"),
        Part("current-sense offset", "at rest",
             torque_left(job, job.current_offset * job.loop_values.torque_constant, job.order), PLACE, "sine",
             "its torque at the target, which the integral has to take over", "drive.current_offset_percent"),
    ]  # fmt: skip


def noise_left(job: Positioning) -> float:
    """Standard deviation [rad] of the load by the sensor's noise; the integral waits where the noise is within it."""
    if job.noise == 0:
        return 0.0
    waiting = job.waiting
    if 2 * job.noise * waiting.noise("reading", SEEN) < job.count:
        return job.noise * waiting.noise("reading")
    return job.noise * job.moved.noise("reading")


def friction_left(job: Positioning, arrived: float) -> tuple[float, str]:
    """Error [rad] at which friction holds the load after the rest, and why; ``arrived``: at the end of the move."""
    if job.values.standstill <= 0:
        return 0.0, "none stated"
    return limited(job, arrived, job.values.standstill + job.values.worst_spot)


def end_of_move(job: Positioning) -> Arrival:
    """The end of the longest move, to look up where friction stops the load."""
    return arrival(job.moved, job.move, FADES * job.values.fading_speed)


def stop_by_friction(job: Positioning, end: Arrival) -> tuple[float, float]:
    """Error [rad] at which friction stops the load at the end of a move, at the worst place, and what the integral
    holds there towards the target [N m].
    """
    values = job.values
    if values.standstill <= 0:
        return 0.0, 0.0
    fading = values.fading_speed
    worst = max(range(len(values.spots)), key=lambda spot: values.spots[spot][2], default=0)
    spots = values.spots[worst : worst + 1]
    places = [float(middle + part * width) for middle, width, _ in spots for part in SPOT_PLACES]

    def friction(speed: FloatArray) -> FloatArray:
        return stribeck_friction(speed, values.running, values.standstill, fading) - values.running

    def spots_before(target: float) -> Places:
        return lambda away: spot_friction(target - away, spots)

    stops = [end.stop(friction, spots_before(place)) for place in places] or [end.stop(friction)]
    error, integral = max(stops, key=lambda stop: abs(stop[0]))
    return abs(error), integral if error < 0 else -integral


def arrived_by_friction(job: Positioning, end: Arrival) -> float:
    """Error [rad] at which friction stops the load at the end of a move, at the worst place."""
    return stop_by_friction(job, end)[0]


def held(job: Positioning) -> float:
    """Error [rad] at which friction can still hold the load after the rest, to a count."""
    loops, friction = job.loop_values, job.values.standstill + job.values.worst_spot
    after = held_error(friction, loops.stiffness, loops.integral_time, job.rest)
    return max(after, min(job.count, friction / loops.stiffness))


def limited(job: Positioning, arrived: float, friction: float) -> tuple[float, str]:
    """What is left [rad] of an error by the integral, and why; ``friction`` holds the load [N m]."""
    loops = job.loop_values
    held = held_error(friction, loops.stiffness, loops.integral_time, job.rest)
    if arrived <= max(held, job.count):
        within = "within the dead band of the integral" if arrived <= job.count else "before the integral frees it"
        return arrived, f"where the move ends, {within}"
    if held >= job.count:
        return held, f"what friction can still hold after {job.rest:.2g} s of the integral"
    return job.count, "the dead band of one count within which the integral waits"


def unfed_left(job: Positioning, end: Arrival, torque: float) -> float:
    """Error [rad] by a steady torque [N m] from the start of the move that the loops do not know, after the rest."""
    if torque <= 0:
        return 0.0
    standing = job.values.standstill + job.values.worst_spot
    return limited(job, abs(end.error(lambda speed: np.full_like(speed, torque))), standing)[0]


def torque_left(job: Positioning, torque: float, order: float) -> float:
    """Error [rad] by a torque that swings over the turn, at the worst place, after a move and the rest.

    Friction keeps the load where the move ends until the integral frees it; without it the load follows the integral.
    """
    if torque <= 0:
        return 0.0
    pieces = job.move
    arrived, later = torque * swing_errors(job.moved, pieces, order, np.array([0.0, job.rest]))
    friction = job.values.standstill + job.values.worst_spot
    if friction > 0:
        return limited(job, float(arrived), friction)[0]
    return float(arrived if arrived <= job.count else min(arrived, max(job.count, later)))


def settling(job: Positioning, room: float, arrived: float, held: float = 0.0) -> float | None:
    """Time [s] from the end of a move until the load stays within some room [rad] for good; None if never.

    arrived: error at the end by friction [rad]; held: what the integral holds there towards the target [N m].
    """
    if room <= 0:
        return None
    loops, values = job.moved, job.loop_values
    times = np.linspace(0.0, SLOWEST * loops.slowest, SETTLING_TIMES)
    swings = np.abs((loops.faded(times) @ (modes_after(loops, job.move) * loops.leaves[ANGLE])).real)
    if job.values.unbalance > 0:
        swings = swings + job.values.unbalance * swing_errors(loops, job.move, 1.0, times)
    outside = np.flatnonzero(swings > room)
    settled = float(times[min(outside[-1] + 1, len(times) - 1)]) if outside.size else 0.0
    if arrived <= room:
        return settled
    if room < job.count:
        return None
    friction = job.values.standstill + job.values.worst_spot
    return max(settled, release_time(friction, values.stiffness, values.integral_time, room, held))
