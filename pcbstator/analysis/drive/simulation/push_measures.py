"""A push by hand against the loops: how far it turns the load, from where on the sensor tells it, what is left.

Deflections are from where the load rested before the push, errors from the target.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import degrees, radians, sqrt
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pcbstator.analysis.drive.simulation.run_measures import Reference, errors
from pcbstator.analysis.drive.simulation.stand import Stand
from pcbstator.physics.drive.simulation import Trace

FloatArray = NDArray[np.float64]

QUIET = 1.0  # s of rest before a push at least
WATCHED = 3.0  # s in which nobody pushes and that say, with the last half of that second, what the sensor shows at rest
RISE = 0.2  # s, of a hand's push (common practice, no source)
NUDGE = 0.2  # s that a nudge lasts between rise and fall
LASTING = 1.0  # s that the long push lasts
AFTER = 1.8  # s after the long push
PUSHES = 8  # sizes of the nudges, each to either side
HALVINGS = 3  # of the step between a nudge that is not told and one that is
MOST = 0.9  # of the torque at the current limit, the largest nudge
TOLD = 2.0  # times what the sensor shows at rest: a nudge that shows more is told safely (common practice, no source)
SHOWN = (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0)  # deflections [deg] to tell the torque for


@dataclass(frozen=True, eq=False)
class Nudge:
    """A push [N m], turn of the load and what the sensor shows of it over time [rad], in the sense of the push."""

    push: float
    turned: FloatArray
    shown: FloatArray
    trace: Trace

    @property
    def largest(self) -> float:
        """Largest turn [rad]."""
        return float(self.turned.max())

    def told(self, least: float) -> bool:
        """Whether the sensor shows more [rad]."""
        return bool((self.shown > least).any())

    def turned_when(self, least: float) -> float:
        """Turn [rad] at which the sensor first shows more."""
        return float(self.turned[(self.shown > least).argmax()])


def hold_reference(arriving: Reference, seconds: float, period: float) -> Reference:
    """A move, then still for some time [s]."""
    still = np.zeros(round(seconds / period))
    angle, speed, acceleration = arriving
    return (
        np.concatenate([angle, still + angle[-1]]),
        np.concatenate([speed, still]),
        np.concatenate([acceleration, still]),
    )


def _push(begin: float, lasting: float, count: int, period: float) -> FloatArray:
    """A push of one that rises, lasts [s] and falls."""
    marks = begin + np.array([0.0, RISE, RISE + lasting, 2 * RISE + lasting])
    return np.asarray(np.interp(np.arange(count) * period, marks, [0.0, 1.0, 1.0, 0.0]))


def long_push(begin: float, push: float, count: int, period: float) -> FloatArray:
    """A push [N m] that lasts a second, at so many samples."""
    return push * _push(begin, LASTING, count, period)


def nudge_sizes(stand: Stand, band: float) -> list[float]:
    """Sizes of the nudges [N m]: from what the loops or friction set against half a band up."""
    stiffness = stand.control.speed_gain * stand.control.position_gain
    most = MOST * stand.control.torque_constant * stand.control.current_limit
    least = min(max(stiffness * band / 2, stand.plant.standstill / 4), most / 10)
    return np.geomspace(least, most, PUSHES).tolist()  # type: ignore[no-any-return]


def shown_at_rest(stand: Stand, arriving: Reference) -> float:
    """What the sensor shows of the target at most [rad] while nobody pushes: after a move and in the time of a push."""
    reference = hold_reference(arriving, WATCHED, stand.control.period)
    trace = stand.run(reference)
    still = trace.times >= len(arriving[0]) * stand.control.period - QUIET / 2
    return float(np.abs((trace.believed - trace.wanted)[still]).max())


def nudged(stand: Stand, arriving: Reference, push: float) -> Nudge:
    """A run of a nudge [N m] after a move."""
    period = stand.control.period
    begin = len(arriving[0]) * period
    reference = hold_reference(arriving, 2 * RISE + NUDGE, period)
    trace = stand.run(reference, push * _push(begin, NUDGE, len(reference[0]), period))
    believed = trace.believed - trace.wanted
    before = (trace.times >= begin - QUIET / 10) & (trace.times < begin)
    during = trace.times >= begin
    sense = 1.0 if push > 0 else -1.0
    turned = sense * (trace.angles[during] - float(trace.angles[before].mean()))
    return Nudge(push, turned, sense * believed[during], trace)


def all_nudges(stand: Stand, arriving: Reference, band: float) -> tuple[list[list[Nudge]], float]:
    """Nudges of growing size for each sense, those between the largest not told and the smallest told among them.

    Second: what the sensor must show to be told [rad].
    """
    sizes = nudge_sizes(stand, band)
    sides = [[nudged(stand, arriving, sense * size) for size in sizes] for sense in (1.0, -1.0)]
    least = TOLD * max(stand.sensor.count, shown_at_rest(stand, arriving))
    for side in sides:
        for _ in range(HALVINGS):
            told = next((k for k, nudge in enumerate(side) if nudge.told(least)), None)
            if told:
                push = side[told].push * sqrt(side[told - 1].push / side[told].push)
                side.insert(told, nudged(stand, arriving, push))
    return sides, least


def nudge_numbers(sides: list[list[Nudge]], least: float, stand: Stand, asked: float | None) -> dict[str, Any]:
    """Torque for given deflections, and the smallest nudge that is told safely, the worse of both senses.

    least: what the sensor must show [rad]; asked: a deflection of the requirement [rad].
    """
    shown = sorted({*SHOWN, *([degrees(asked)] if asked is not None else [])})
    torques = []
    for angle in shown:
        both = [torque for side in sides if (torque := _torque_for(side, radians(angle))) is not None]
        if len(both) == len(sides):
            torques.append({"deflection_deg": angle, "push_n_m": max(both)})
    numbers: dict[str, Any] = {
        "push_for_deflection": torques,
        "told_above_believed_deg": degrees(least),
    }
    if stand.bearing:
        numbers["bearing_at_mark_deg"] = degrees(stand.bearing)
    told = [next((nudge for nudge in side if nudge.told(least)), None) for side in sides]
    if all(told):
        turned = max(nudge.turned_when(least) for nudge in told if nudge)
        numbers["smallest_told_deflection_deg"] = degrees(turned)
        numbers["smallest_told_push_n_m"] = max(abs(nudge.push) for nudge in told if nudge)
    return numbers


def _torque_for(side: list[Nudge], angle: float) -> float | None:
    """Torque [N m] that turns the load by an angle, between the nudges; None outside them."""
    turned = np.maximum.accumulate([nudge.largest for nudge in side])
    if not turned[0] <= angle <= turned[-1]:
        return None
    return float(np.interp(angle, turned, [abs(nudge.push) for nudge in side]))


def holding_numbers(trace: Trace, reference: Reference, stand: Stand, begin: float, band: float) -> dict[str, Any]:
    """How far a long push turns the load, where it stands afterwards, and from when on.

    begin: of the push [s]; band: around where it rested before, in which it counts as returned [rad].
    """
    seen, believed = errors(trace, reference, stand)
    before = (trace.times >= begin - QUIET / 10) & (trace.times < begin)
    away = np.abs(trace.angles - float(trace.angles[before].mean()))
    during = (trace.times >= begin) & (trace.times < begin + RISE + LASTING)
    released = begin + 2 * RISE + LASTING
    after = trace.times >= released
    ending = trace.times >= released + 0.9 * AFTER
    outside = np.flatnonzero(away[after] > band)
    found: dict[str, Any] = {
        "push_n_m": stand.push,
        "largest_deflection_deg": degrees(float(away[trace.times >= begin].max())),
        "deflection_at_end_of_push_deg": degrees(float(away[during][-1])),
        "deflection_after_release_deg": degrees(float(away[ending].max())),
        "error_after_release_deg": degrees(float(np.abs(seen[ending]).max())),
        "believed_error_after_release_deg": degrees(float(abs(believed[ending].mean()))),
        "returned_within_deg": degrees(band),
        "returned": bool(away[ending].max() <= band),
    }
    if found["returned"]:
        found["return_time_s"] = float(trace.times[after][outside[-1] + 1] - released) if outside.size else 0.0
    return found
