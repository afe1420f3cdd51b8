"""What the traces of a simulation say, in numbers with their unit in the key.

Errors are against the target, at the load, as a camera beside it sees them; ``believed``: as the sensor tells them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import degrees
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from pcbstator.physics.drive.simulation import Trace

if TYPE_CHECKING:
    from pcbstator.analysis.drive.simulation.scenario_values import ScenarioValues
    from pcbstator.analysis.drive.simulation.stand import Stand

FloatArray = NDArray[np.float64]
Reference = tuple[FloatArray, FloatArray, FloatArray]

LAST = 0.1  # of a rest: its end, where it must be settled and the error counts
LEAST_REST = 5  # samples; a shorter stop is a turning point


@dataclass(frozen=True)
class Rest:
    """A rest after a move: target [rad], sense of the move, begin and end [s], errors at its end [rad].

    ``error``, ``believed``: means of the last tenth; ``worst``: the largest there, with its sign. ``settling``: time
    [s] from the end of the move until it stays within the band of the target; None where it does not.
    """

    target: float
    sense: float
    begin: float
    end: float
    error: float
    believed: float
    worst: float
    settling: float | None
    believed_settling: float | None


def common_numbers(traces: Sequence[Trace], stand: Stand) -> dict[str, Any]:
    """Current, voltage, heat and energies of all runs of a scenario."""
    spans = np.array([float(trace.times[-1]) + stand.control.period for trace in traces])
    squares = np.array([float(np.mean(trace.current**2)) for trace in traces])
    return {
        "duration_s": float(spans.sum()),
        "terminal_current_peak_a": max(float(np.abs(trace.current).max()) for trace in traces),
        "heating_terminal_current_peak_a": float(np.sqrt(spans @ squares / spans.sum())),
        "voltage_used_ratio": max(float(trace.voltage.max()) for trace in traces) / stand.control.voltage_limit,
        **({"copper_rise_k": rise} if (rise := max(trace.temperature for trace in traces)) > 0 else {}),
        "energy_j": {
            name: float(sum(trace.energy[name] for trace in traces)) for name in sorted(traces[0].energy)
        },
        "energy_balance_error_ratio": max(trace.balance for trace in traces),
    }  # fmt: skip


def errors(trace: Trace, reference: Reference, stand: Stand) -> tuple[FloatArray, FloatArray]:
    """Error of the load as a camera sees it, and as the sensor believes it [rad].

    The bearing's play lets the mark lag behind the last sense of motion by half of it.
    """
    sense = _last_sense(reference[1], np.rint(trace.times / stand.control.period).astype(int))
    return trace.angles - trace.wanted - sense * stand.bearing / 2, trace.believed - trace.wanted


def _last_sense(speeds: FloatArray, samples: NDArray[np.int_]) -> FloatArray:
    """Sense of the last motion asked for at these samples, 0 before the first."""
    moving = np.concatenate([[-1], np.flatnonzero(speeds)])
    last = moving[np.searchsorted(moving, samples, side="right") - 1]
    return np.where(last >= 0, np.sign(speeds[last]), 0.0)


def rests(trace: Trace, reference: Reference, stand: Stand, band: float) -> list[Rest]:
    """Every rest after a move, in turn; ``band`` [rad] to either side of the target."""
    period = stand.control.period
    seen, believed = errors(trace, reference, stand)
    still = _still(reference[1])
    senses = _last_sense(reference[1], np.array([first for first, _ in still], dtype=int))
    found = []
    for (first, last), sense in zip(still, senses, strict=True):
        begin, end = first * period, last * period
        inside = (trace.times >= begin) & (trace.times < end)
        ending = inside & (trace.times >= end - LAST * (end - begin))
        if not ending.any():
            continue
        worst = seen[ending][np.abs(seen[ending]).argmax()]
        settling, as_believed = (
            _settling(trace.times[inside], values[inside], begin, end, band) for values in (seen, believed)
        )
        found.append(
            Rest(
                target=float(reference[0][first]), sense=float(sense), begin=begin, end=end,
                error=float(seen[ending].mean()), believed=float(believed[ending].mean()), worst=float(worst),
                settling=settling, believed_settling=as_believed,
            )
        )  # fmt: skip
    return found


def _still(speeds: FloatArray) -> list[tuple[int, int]]:
    """First sample and the one after the last of every rest after a move."""
    still = np.concatenate([[False], speeds == 0, [False]])
    edges = np.flatnonzero(still[1:] != still[:-1])
    pairs = zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True)
    return [(first, last) for first, last in pairs if first > 0 and last - first >= LEAST_REST]


def _settling(times: FloatArray, values: FloatArray, begin: float, end: float, band: float) -> float | None:
    """Time from the begin of a rest until the error stays within the band; None where its last tenth is not within."""
    outside = np.flatnonzero(np.abs(values) > band)
    if not outside.size:
        return 0.0
    last = int(outside[-1])
    if last + 1 >= len(times) or times[last] >= end - LAST * (end - begin):
        return None
    return float(times[last + 1] - begin)


def settling_numbers(found: Sequence[Rest], values: ScenarioValues) -> dict[str, Any]:
    """Whether it settles at every target, and the longest time that this takes."""
    times = [rest.settling for rest in found if rest.settling is not None]
    believed = [rest.believed_settling for rest in found if rest.believed_settling is not None]
    numbers: dict[str, Any] = {
        "settled_within_deg": degrees(values.band),
        "band_from": values.band_from,
        "settled": len(times) == len(found),
        "believed_settled": len(believed) == len(found),
    }
    if numbers["settled"]:
        numbers["settling_time_s"] = max(times)
    else:
        numbers["unsettled"] = len(found) - len(times)
    if numbers["believed_settled"]:
        numbers["believed_settling_time_s"] = max(believed)
    return numbers


def settling_remark(name: str, found: Sequence[Rest], values: ScenarioValues) -> list[str]:
    """A sentence where it does not settle everywhere."""
    away = [rest for rest in found if rest.settling is None]
    if not away:
        return []
    worst = max(away, key=lambda rest: abs(rest.worst))
    rest = max(one.end - one.begin for one in away)
    return [
        f"{name}: {len(away)} of {len(found)} moves do not settle within {degrees(values.band):.3g} degrees of the "
        f"target in a rest of {rest:.3g} s; the worst ends {degrees(abs(worst.worst)):.3g} degrees away, at "
        f"{degrees(worst.target) % 360:.3g} degrees"
    ]


def following_numbers(
    trace: Trace, reference: Reference, stand: Stand, values: ScenarioValues
) -> tuple[dict[str, Any], list[Rest]]:
    """How closely the load follows the angle asked for, and where it stands after each move."""
    seen, believed = errors(trace, reference, stand)
    moving = reference[1][np.rint(trace.times / stand.control.period).astype(int)] != 0
    numbers: dict[str, Any] = {}
    for word, error in (("", seen), ("believed_", believed)):
        numbers[f"{word}largest_error_deg"] = degrees(float(np.abs(error).max()))
        if moving.any():
            numbers[f"{word}rms_error_deg"] = degrees(float(np.sqrt(np.mean(error[moving] ** 2))))
    found = rests(trace, reference, stand, values.band)
    if found:
        numbers |= {
            "moves": len(found),
            "error_after_rest_deg": degrees(max(abs(rest.worst) for rest in found)),
            "believed_error_after_rest_deg": degrees(max(abs(rest.believed) for rest in found)),
            **settling_numbers(found, values),
        }
    return numbers, found
