"""A push by hand against the loops: how far it turns the load, from where on the sensor tells it, what is left."""

from __future__ import annotations

from dataclasses import dataclass
from math import degrees
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pcbstator.analysis.drive.run_measures import Reference
from pcbstator.analysis.drive.scenario_values import ScenarioValues
from pcbstator.analysis.drive.stand import Stand
from pcbstator.physics.drive.simulation import Trace

FloatArray = NDArray[np.float64]

RISE = 0.2  # s, of a hand's push (common practice, no source)
NUDGE = 0.2  # s that a nudge lasts between rise and fall
LASTING = 1.0  # s that the long push lasts
PUSHES = 8  # sizes of the nudges, each to either side
MOST = 0.9  # of the torque at the current limit, the largest nudge
TOLD = 2.0  # times what the sensor shows at rest: a nudge that shows more is told safely (common practice, no source)
SHOWN = tuple(np.radians([0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0]).tolist())  # deflections to tell the torque for


@dataclass(frozen=True)
class Nudge:
    """A push [N m] with its sign, and the largest turn that it makes, of the load and as believed [rad]."""

    push: float
    turned: float
    believed: float


def hold_reference(arriving: Reference, seconds: float, period: float) -> Reference:
    """A move, then still for some time [s]."""
    count = round(seconds / period)
    still = np.zeros(count)
    angle, speed, acceleration = arriving
    return (
        np.concatenate([angle, still + angle[-1]]), np.concatenate([speed, still]), np.concatenate([acceleration, still])
    )  # fmt: skip


def long_push(begin: float, push: float, times: FloatArray) -> FloatArray:
    """A push that rises, lasts a second and falls [N m] at times [s]."""
    marks = begin + np.array([0.0, RISE, RISE + LASTING, 2 * RISE + LASTING])
    return np.asarray(push * np.interp(times, marks, [0.0, 1.0, 1.0, 0.0]))


def nudge_sizes(stand: Stand, values: ScenarioValues) -> FloatArray:
    """Sizes of the nudges [N m], by the deflection that the loops would allow without their integral."""
    friction = stand.plant.standstill + max(stand.plant.spots, default=0.0)
    stiffness = stand.control.speed_gain * stand.control.position_gain
    most = MOST * stand.control.torque_constant * stand.control.current_limit
    least = min(values.band / 2, most / stiffness / 4)
    return friction + stiffness * np.geomspace(least, most / stiffness, PUSHES)


def nudge_pushes(begin: float, sizes: FloatArray, apart: float, times: FloatArray) -> FloatArray:
    """Nudges of growing size, each forward and then back, a time apart [N m] at times [s]."""
    pushes = np.zeros_like(times)
    for number, push in enumerate(np.column_stack([sizes, -sizes]).ravel()):
        start = begin + number * apart
        marks = start + np.array([0.0, RISE, RISE + NUDGE, 2 * RISE + NUDGE])
        pushes += push * np.interp(times, marks, [0.0, 1.0, 1.0, 0.0])
    return pushes


def nudges(trace: Trace, begin: float, sizes: FloatArray, apart: float) -> tuple[list[Nudge], float]:
    """What each nudge did, and what the sensor shows at rest before them at most [rad]."""
    believed = trace.believed - trace.wanted
    found, quiet = [], 0.0
    for number, push in enumerate(np.column_stack([sizes, -sizes]).ravel().tolist()):
        start = begin + number * apart
        during = (trace.times >= start) & (trace.times < start + 2 * RISE + NUDGE)
        before = (trace.times >= start - 0.1 * apart) & (trace.times < start)
        from_rest = trace.angles[during] - float(trace.angles[before].mean())
        quiet = max(quiet, float(np.abs(believed[before]).max()))
        sense = 1.0 if push > 0 else -1.0
        found.append(Nudge(push, float((sense * from_rest).max()), float((sense * believed[during]).max())))
    return found, quiet


def nudge_numbers(found: list[Nudge], quiet: float, stand: Stand, values: ScenarioValues) -> dict[str, Any]:
    """Torque for given deflections, and the smallest nudge that is told safely, the worse of both senses."""
    sides = [[nudge for nudge in found if nudge.push * sense > 0] for sense in (1.0, -1.0)]
    least = TOLD * max(quiet, stand.sensor.count)
    told = [_first_told(side, least) for side in sides]
    numbers: dict[str, Any] = {
        "push_for_deflection": [
            {"deflection_deg": degrees(angle), "push_n_m": max(torques)}
            for angle in SHOWN
            if len(torques := [torque for side in sides if (torque := _torque_for(side, angle)) is not None]) == 2
        ],
        "believed_at_rest_deg": degrees(quiet),
        "told_above_believed_deg": degrees(least),
        "of_that_bearing_deg": degrees(stand.bearing),
    }
    if all(told):
        numbers["smallest_told_deflection_deg"] = degrees(max(one[0] for one in told if one) + stand.bearing)
        numbers["smallest_told_push_n_m"] = max(one[1] for one in told if one)
    return numbers


def _torque_for(side: list[Nudge], angle: float) -> float | None:
    """Torque [N m] that turns the load by an angle, between the nudges; None outside them."""
    turned = np.maximum.accumulate([nudge.turned for nudge in side])
    if not turned[0] <= angle <= turned[-1]:
        return None
    return float(np.interp(angle, turned, [abs(nudge.push) for nudge in side]))


def _first_told(side: list[Nudge], least: float) -> tuple[float, float] | None:
    """Deflection [rad] of the load and push [N m] from which on the sensor shows more than ``least``; None for none."""
    shown = np.maximum.accumulate([nudge.believed for nudge in side])
    if shown[-1] < least:
        return None
    turned = [nudge.turned for nudge in side]
    pushes = [abs(nudge.push) for nudge in side]
    return float(np.interp(least, shown, turned)), float(np.interp(least, shown, pushes))


def holding_numbers(
    trace: Trace, error: FloatArray, begin: float, push: float, values: ScenarioValues
) -> dict[str, Any]:
    """How far a long push moves the load from its target, where it stands afterwards, and from when on.

    error: of the load [rad]; begin: of the push [s].
    """
    away = np.abs(error)
    pushed = (trace.times >= begin) & (trace.times < begin + RISE + LASTING)
    released = begin + 2 * RISE + LASTING
    after = trace.times >= released
    outside = np.flatnonzero(away[after] > values.band)
    ending = after & (trace.times >= trace.times[-1] - 0.1 * (trace.times[-1] - released))
    found: dict[str, Any] = {
        "push_n_m": push,
        "largest_deflection_deg": degrees(float(away[trace.times >= begin].max())),
        "deflection_at_end_of_push_deg": degrees(float(away[pushed][-1])),
        "deflection_after_release_deg": degrees(float(away[ending].max())),
        "believed_deflection_after_release_deg": degrees(float(np.abs((trace.believed - trace.wanted)[ending]).mean())),
        "returned_within_deg": degrees(values.band),
        "returned": bool(away[ending].max() <= values.band),
    }
    if found["returned"]:
        found["return_time_s"] = float(trace.times[after][outside[-1] + 1] - released) if outside.size else 0.0
    return found
