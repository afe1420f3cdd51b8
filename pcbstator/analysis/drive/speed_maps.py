"""Curves and maps over speed for the report: they hold the speeds of the job, on a logarithm where those are slow."""

from __future__ import annotations

from collections.abc import Sequence
from math import pi
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pcbstator.analysis.drive.torque_limits import NAMES, Limits

FloatArray = NDArray[np.float64]

CURVE_POINTS = 41
MAP_POINTS = 8
SLOW = 1 / 20  # of an axis: what lies lower is not seen on even steps
MARGIN = 2.0  # below the least value of a logarithmic axis


def axis_values(highest: float, wanted: Sequence[float], count: int) -> FloatArray:
    """Values of an axis up to ``highest``, or to what is wanted: even steps from 0, or even ratios where what is wanted
    is small; the wanted ones are among them."""
    known = [value for value in wanted if value > 0]
    end = max([highest, *known])
    if known and min(known) < SLOW * end:
        steps = np.geomspace(min(known) / MARGIN, end, count)
    else:
        steps = np.linspace(0.0, end, count)
    return np.unique(np.concatenate([steps, known]))


def speed_torque(limits: Limits, ideal: float, job_speeds: Sequence[float]) -> tuple[dict[str, Any], ...]:
    """Peak and continuous torque with what limits each, up to the speed without load; speeds [rad/s] of the load."""
    speeds = axis_values(ideal, job_speeds, CURVE_POINTS)
    columns = {"speed_rpm": (speeds * 30 / pi).tolist()}
    for word, found in (("peak", limits.peak_by(speeds)), ("continuous", limits.continuous_by(speeds))):
        if found is not None:
            columns[f"{word}_torque_n_m"] = found[0].tolist()
            columns[f"{word}_limited_by"] = [NAMES[by] for by in found[1].tolist()]
    return tuple(dict(zip(columns, row, strict=True)) for row in zip(*columns.values(), strict=True))


def loss_map(
    limits: Limits, ideal: float, job_speeds: Sequence[float], job_torques: Sequence[float]
) -> tuple[dict[str, float], ...]:
    """Loss and efficiency wherever current and voltage reach; copper and all that brakes, magnets as in the job."""
    machine = limits.machine
    speeds = _cells(axis_values(ideal, job_speeds, MAP_POINTS + 1))
    torques = _cells(axis_values(float(limits.peak(0.0)), job_torques, MAP_POINTS + 1))
    points = []
    for speed in speeds:
        most, drag = float(limits.peak(speed)), float(limits.drag(speed))
        for torque in torques:
            if torque <= most:
                loss = machine.copper_loss((torque + drag) / limits.job_torque_constant) + drag * speed
                work = torque * speed
                points.append((speed * 30 / pi, torque, loss, work / (work + loss)))
    names = ("speed_rpm", "torque_n_m", "loss_w", "efficiency")
    return tuple({name: float(value) for name, value in zip(names, point, strict=True)} for point in points)


def _cells(values: FloatArray) -> FloatArray:
    """At most MAP_POINTS of the values, evenly, without the first: cells of a map do not overlap."""
    if values[0] > 0:
        return np.geomspace(values[0], values[-1], MAP_POINTS)
    return np.linspace(0.0, values[-1], MAP_POINTS + 1)[1:]
