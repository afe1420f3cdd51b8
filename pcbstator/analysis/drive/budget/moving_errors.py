"""Parts of the error and of the ripple of speed while it turns slowly, each as if it were alone."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from pcbstator.analysis.drive.asked_values import WINDOW
from pcbstator.analysis.drive.budget.rest_errors import CHANCE, PLACE, SIDE, Part
from pcbstator.analysis.drive.driver_fit import sensor_error
from pcbstator.analysis.drive.positioning import Positioning, bearing_angle
from pcbstator.physics.drive.driver_errors import current_gain_vector, leg_loss_wave
from pcbstator.physics.drive.friction import spot_friction
from pcbstator.physics.drive.turning_error import Unevenness, of_counts, of_many_places, of_noise, of_orders, of_places

FloatArray = NDArray[np.float64]

KEPT = 0.95  # of the drawn motors
TURN = np.arange(720) * 2 * np.pi / 720


def moving_parts(job: Positioning) -> list[Part]:
    """All parts while it turns at the slow speed; those of which nothing is stated have no error."""
    loops, speed, values = job.loops, job.slow_speed, job.values
    still = Unevenness(0.0, 0.0)
    eccentricity = sensor_error(job.drive) / job.ratio
    order = (1 if job.drive.sensor_radius is not None else 2) * job.ratio
    seen = of_orders(loops, speed, order, WINDOW, reading=eccentricity) if eccentricity else still
    heavy = of_orders(loops, speed, 1.0, WINDOW, torque=values.unbalance) if values.unbalance else still
    spots = of_places(loops, speed, WINDOW, torque=spot_friction(TURN, values.spots)) if values.spots else still
    noisy = of_noise(loops, speed, job.noise, WINDOW) if job.noise else still
    counted = of_counts(loops, speed, job.count, WINDOW)

    offset = of_orders(loops, speed, job.order, WINDOW, current=job.current_offset)
    current = job.torque / job.loop_values.torque_constant
    image = abs(current_gain_vector(job.drive.current_gain_error, job.machine.phases)[1]) * current
    gain = of_orders(loops, speed, 2 * job.order, WINDOW, current=image)
    legs = lost_in_legs(job, job.soft_current)

    def part(name: str, found: Unevenness, behaviour: str, distribution: str, why: str, key: str, table: bool) -> Part:
        return Part(name, "moving", found.angle, behaviour, distribution, why, key, table, found.speed / speed)

    return [
        part("sensor resolution", counted, CHANCE, "uniform", "counts that go by", "drive.sensor_counts", False),
        part("sensor noise", noisy, CHANCE, "normal", "what the loops pass of it", "drive.sensor_noise_deg", False),
        part("sensor eccentricity", seen, PLACE, "sine", f"{order:.3g} times per turn of the load",
             "drive.sensor_offset_mm", True),
        part("bearing play at the mark", Unevenness(bearing_angle(job.drive, job.bearing) / 2, 0.0), SIDE, "two values",
             "half the sideways play, behind the sense of motion", "bearing.radial_play_mm", False),
        part("play of the coupling", Unevenness(job.play / 2, 0.0), SIDE, "two values", "half of play_deg",
             "load.play_deg", False),
        _ripple_part(part, job),
        part("current-sense offset", offset, PLACE, "sine", "once per electrical turn",
             "drive.current_offset_percent", True),
        part("current-sense gain", gain, PLACE, "sine", "twice per electrical turn, at the torque of the turn",
             "drive.current_gain_error_percent", True),
        part("dead time and voltage drop", legs, PLACE, "sine",
             f"{2 * job.machine.phases} times per electrical turn, no more than its current exceeds its ripple",
             "drive.dead_time_ns", True),
        part("friction spots", spots, PLACE, "two values", "the turn over all spots", "bearing.friction_spots", True),
        part("unbalance", heavy, PLACE, "sine", "gravity, once per turn", "load.unbalance_n_m", True),
    ]  # fmt: skip


def _ripple_part(part: Callable[..., Part], job: Positioning) -> Part:
    """Of the motor as built where [build] says how, else of one whose magnets are all alike."""
    if job.built is None:
        why = "harmonics of the EMF at the torque of the turn, magnets alike and in place: [build] says what is built"
        return part("torque ripple", torque_ripple(job), PLACE, "sine", why, "rotor.magnet", True)
    why = "EMF of drawn motors at the torque of the turn: 95 % of them keep it"
    return part("torque ripple as built", built_torque_ripple(job, job.built), PLACE, "sine", why, "build", True)


def built_torque_ripple(job: Positioning, waves: FloatArray) -> Unevenness:
    """Of drawn motors, what 95 % of them keep; waves: torque over its mean, less one, over a turn of the rotor
    (motors, samples) [-].
    """
    even = float(np.mean([slope.imag for slope in job.machine.slopes])) * job.ratio
    found = of_many_places(
        job.loops, job.slow_speed, WINDOW, job.ratio, torque=job.torque * waves, voltage=-job.slow_speed * even * waves
    )
    angle, speed = (float(np.quantile(values, KEPT)) for values in found)
    return Unevenness(angle, speed)


def torque_ripple(job: Positioning) -> Unevenness:
    """Of the EMF's harmonics: torque at the current of the turn, and voltage at its speed."""
    slopes = np.array([slope.imag for slope in job.machine.slopes]) * job.ratio
    even = float(slopes.mean())
    torque = job.torque / even * (slopes - even)
    voltage = -job.slow_speed * (slopes - even)
    return of_places(job.loops, job.slow_speed, WINDOW, job.order, torque=torque, voltage=voltage)


def lost_in_legs(job: Positioning, soft: float) -> Unevenness:
    """Of dead time and voltage drop; ``soft``: current [A] below which ripple makes legs lose in proportion."""
    wave = leg_loss_wave(job.torque / job.loop_values.torque_constant, soft, job.machine.phases)
    return of_places(job.loops, job.slow_speed, WINDOW, job.order, voltage=-job.leg_loss * wave)
