"""Parts of the error budget from what stands in the rotor's field: the stray field at the sensor, screws that cog.

There are none where the design says nothing of them.
"""

from __future__ import annotations

from math import pi, sin

import numpy as np

from pcbstator.analysis.drive.asked_values import WINDOW
from pcbstator.analysis.drive.budget.rest_errors import PLACE, Part, torque_left
from pcbstator.analysis.drive.positioning import Positioning
from pcbstator.analysis.magnetic.surroundings import SurroundingsResult
from pcbstator.physics.drive.turning_error import of_orders
from pcbstator.physics.stray.steel_body import Cogging

NEGLIGIBLE = 1e-4  # of the largest part of a cogging torque
STRAY, COGGING = "stray field at the sensor", "cogging of steel screws"


def reads_on(job: Positioning) -> bool:
    """Whether the sensor still tells its own magnet from the stray field, so that a table can take the error out."""
    found = job.surroundings
    return found is None or found.sensor_error is None or found.sensor_error < pi / job.drive.sensor_pole_pairs


def surrounding_step_errors(job: Positioning, step: float) -> dict[str, float]:
    """Largest error [rad] of the way from one stop to the next, a small step [rad] on, by part."""
    found, ratio = job.surroundings, job.ratio
    if found is None:
        return {}
    parts = {}
    if found.sensor_error is not None:
        parts[STRAY] = sum(2 * size / ratio * _changed(order * ratio, step) for order, size in found.sensor_orders)
    if found.cogging is not None:
        swing = sum(
            2 * torque * _changed(order, step) for order, torque in zip(*_swings(found.cogging, ratio), strict=True)
        )
        parts[COGGING] = swing / job.loop_values.stiffness  # the integral does not help in so short a time
    return parts


def _key(found: SurroundingsResult) -> str:
    """The key that says what the first steel screws are of."""
    where = next((group.where for group in found.screws if group.cogs), "board.holes")
    return f"{where.partition('[')[0]}.material"


def _swings(cogging: Cogging, ratio: float) -> tuple[list[float], list[float]]:
    """Orders per turn of the load and peaks [N m] at the load of all parts of a cogging torque that count."""
    peaks = np.abs(cogging.torques)
    some = peaks > NEGLIGIBLE * peaks.max(initial=0.0)
    return (cogging.orders[some] * ratio).tolist(), (peaks[some] * ratio).tolist()


def _changed(order: float, step: float) -> float:
    """Half of the largest change of a sine over a step."""
    return abs(sin(min(pi / 2, order * step / 2)))


def surrounding_rest_parts(job: Positioning) -> list[Part]:
    """At rest: what the sensor reads wrong, and what the integral has to hold."""
    found, parts = job.surroundings, []
    if found is not None and found.sensor_error is not None:
        known = reads_on(job)
        why = "at the worst place" + ("; repeats every turn: a table takes it out" if known else "; it loses its angle")
        error = found.sensor_error / job.ratio
        parts.append(Part(STRAY, "at rest", error, PLACE, "sine", why, "drive.sensor_field_mt", known))
    if found is not None and found.cogging is not None:
        swings = zip(*_swings(found.cogging, job.ratio), strict=True)
        error = sum(torque_left(job, torque, order) for order, torque in swings)
        parts.append(
            Part(COGGING, "at rest", error, PLACE, "sine",
                 "its torque at the target, which the integral has to take over", _key(found))
        )  # fmt: skip
    return parts


def surrounding_moving_parts(job: Positioning) -> list[Part]:
    """While it turns at the slow speed."""
    found, parts, speed = job.surroundings, [], job.slow_speed
    if found is not None and found.sensor_orders:
        orders, sizes = (np.array(part) for part in zip(*found.sensor_orders, strict=True))
        seen = of_orders(job.loops, speed, orders * job.ratio, WINDOW, reading=sizes / job.ratio)
        often = " and ".join(f"{order * job.ratio:.3g}" for order in orders)
        parts.append(
            Part(STRAY, "moving", seen.angle, PLACE, "sine", f"{often} times per turn of the load",
                 "drive.sensor_field_mt", reads_on(job), seen.speed / speed)
        )  # fmt: skip
    if found is not None and found.cogging is not None:
        swings, torques = _swings(found.cogging, job.ratio)
        felt = of_orders(job.loops, speed, swings, WINDOW, torque=torques)
        often = "" if found.cogging_order is None else f", {found.cogging_order * job.ratio:.3g} times per turn"
        parts.append(
            Part(COGGING, "moving", felt.angle, PLACE, "sine", f"steel under the magnets{often}",
                 _key(found), True, felt.speed / speed)
        )  # fmt: skip
    return parts
