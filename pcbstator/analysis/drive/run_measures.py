"""What the traces of a simulation say, in numbers with their unit in the key."""

from __future__ import annotations

from math import degrees, pi
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from pcbstator.physics.drive.simulation import Trace

if TYPE_CHECKING:
    from pcbstator.analysis.drive.stand import Stand

FloatArray = NDArray[np.float64]
Reference = tuple[FloatArray, FloatArray, FloatArray]

WINDOW = 0.02  # s; an eye or a camera sees no faster unevenness (common practice, no source)
SETTLED = np.radians(0.05)  # or two counts of the sensor


def common_numbers(trace: Trace, stand: Stand) -> dict[str, Any]:
    """Current, voltage, heat and energies of any run."""
    return {
        "duration_s": float(trace.times[-1] + stand.control.period),
        "terminal_current_peak_a": float(np.abs(trace.current).max()),
        "heating_terminal_current_peak_a": float(np.sqrt(np.mean(trace.current**2))),
        "voltage_used_ratio": float(trace.voltage.max()) / stand.control.voltage_limit,
        "copper_rise_k": trace.temperature,
        "energy_j": {name: float(value) for name, value in trace.energy.items()},
        "energy_balance_error_ratio": trace.balance,
    }


def _rests(reference: Reference, period: float) -> list[tuple[float, float]]:
    """Begin and end [s] of every rest after a move."""
    still = np.concatenate([[False], reference[1] == 0, [False]])
    edges = np.flatnonzero(still[1:] != still[:-1])
    return [(first * period, last * period) for first, last in zip(edges[::2], edges[1::2], strict=True) if first > 0]


def _resting_places(trace: Trace, reference: Reference, period: float) -> list[float]:
    """Mean angle [rad] of the load in the last tenth of every rest after a move."""
    found = []
    for begin, end in _rests(reference, period):
        inside = (trace.times >= end - 0.1 * (end - begin)) & (trace.times < end)
        if inside.any():
            found.append(float(trace.angles[inside].mean()))
    return found


def following_numbers(trace: Trace, reference: Reference, stand: Stand) -> dict[str, Any]:
    """How closely the load follows, and when it stands still after a move."""
    period = stand.control.period
    error = trace.angles - trace.wanted
    within = max(float(SETTLED), 2 * stand.sensor.count)
    found: dict[str, Any] = {
        "largest_error_deg": degrees(float(np.abs(error).max())),
        "rms_error_deg": degrees(float(np.sqrt(np.mean(error**2)))),
    }
    times, lasting = [], []
    for begin, end in _rests(reference, period):
        inside = (trace.times >= begin) & (trace.times < end)
        if inside.any():
            away = np.flatnonzero(np.abs(trace.angles[inside] - trace.angles[inside][-1]) > within)
            times.append(float(trace.times[inside][away[-1]] - begin) if away.size else 0.0)
            lasting.append(abs(float(error[inside][-1])))
    if times:
        found |= {
            "moves": len(times),
            "error_after_rest_deg": degrees(max(lasting)),
            "settled_within_deg": degrees(within),
            "settling_time_s": max(times),
        }
    return found


def smoothness_numbers(trace: Trace, speed: float) -> dict[str, Any]:
    """Evenness of a constant turn once it has run in: two seconds after it began."""
    later = trace.times >= min(2.0, trace.times[-1] / 2)
    times, angles = trace.times[later], trace.angles[later]
    apart = max(1, round(WINDOW / float(times[1] - times[0])))
    mean = (angles[apart:] - angles[:-apart]) / (times[apart:] - times[:-apart])
    error = angles - trace.wanted[later]
    standing = np.abs(trace.speeds[later]) < 0.01 * speed
    return {
        "speed_rpm": speed * 30 / pi,
        "speed_ripple_rms_ratio": float(np.std(mean)) / speed,
        "speed_ripple_peak_to_peak_ratio": float(np.ptp(mean)) / speed,
        "position_ripple_peak_to_peak_deg": degrees(float(np.ptp(error))),
        "standing_still_ratio": float(standing.mean()),
    }


def approach_numbers(trace: Trace, reference: Reference, target: float, stand: Stand) -> dict[str, Any]:
    """Where it stops from below and from above; the bearing's play shifts the mark with the sense of the approach."""
    places = _resting_places(trace, reference, stand.control.period)
    below = [degrees(place - target - stand.bearing / 2) for place in places[0::4]]
    above = [degrees(place - target + stand.bearing / 2) for place in places[2::4]]
    found: dict[str, Any] = {"approaches_from_each_side": min(len(below), len(above))}
    if not below or not above:
        return found
    return found | {
        "from_below_deg": below,
        "from_above_deg": above,
        "repeatability_deg": max(max(side) - min(side) for side in (below, above)),
        "offset_between_directions_deg": abs(sum(above) / len(above) - sum(below) / len(below)),
        "of_that_bearing_deg": degrees(stand.bearing),
    }


def step_numbers(trace: Trace, reference: Reference, step: float, stand: Stand) -> dict[str, Any]:
    """How even steps are that should be equal."""
    places = [float(trace.angles[0]), *_resting_places(trace, reference, stand.control.period)]
    steps = np.degrees(np.diff(places))
    if not len(steps):
        return {"steps": 0, "each_step_deg": [], "step_deg": degrees(step)}
    return {
        "steps": len(steps),
        "each_step_deg": steps.tolist(),
        "step_deg": degrees(step),
        "mean_step_deg": float(steps.mean()),
        "step_deviation_deg": float(steps.std()),
        "smallest_step_deg": float(steps.min()),
        "largest_step_deg": float(steps.max()),
    }


def holding_numbers(trace: Trace, push: float) -> dict[str, Any]:
    """How far a push moves the load, and where it stands afterwards."""
    pushed = trace.push > 0.99 * push
    found = {
        "push_n_m": push,
        "largest_deflection_deg": degrees(float(np.abs(trace.angles).max())),
        "deflection_after_release_deg": degrees(float(abs(trace.angles[-1]))),
    }
    if pushed.any():
        found["deflection_at_end_of_push_deg"] = degrees(float(abs(trace.angles[pushed][-1])))
    return found
