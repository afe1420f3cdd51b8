"""What to buy for a design whose job is known."""

from __future__ import annotations

from math import sqrt
from typing import TYPE_CHECKING

from pcbstator.analysis.drive.gains import shaft_of
from pcbstator.analysis.drive.load_cycle import load_values
from pcbstator.analysis.drive.records import DriveResult, MotionResult
from pcbstator.analysis.order.driver import (
    Job,
    continuous_bounds,
    control_bounds,
    peak_bounds,
    pwm_bounds,
    sense_bounds,
    supply_bounds,
    supply_current_bounds,
)
from pcbstator.analysis.order.parts import count_bounds, screw_bounds, sensor_place, wire_bounds
from pcbstator.analysis.order_result import OrderResult
from pcbstator.analysis.thermal.records import ThermalResult

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign


def order_results(
    design: SizedDesign, motion: MotionResult | None, fit: DriveResult | None, thermal: ThermalResult
) -> OrderResult | None:
    """The ranges; None where nothing is known of the job and there are no holes for screws."""
    screws = screw_bounds(design)
    found = {} if screws is None else dict(zip(("screw", "screw_length", "screw_material"), screws, strict=True))
    drive = design.drive
    if motion is None or fit is None or drive is None or not motion.peak_current or motion.rms_current is None:
        return OrderResult(**found) if found else None  # type: ignore[arg-type]
    reserve = 1.0
    if design.requirement is not None and design.requirement.torque_reserve is not None:
        reserve += design.requirement.torque_reserve
    current, rms = motion.peak_current * reserve, motion.rms_current / sqrt(2) * reserve
    job = Job(design, drive, motion, fit, thermal, current, rms, reserve)
    shaft = shaft_of(job.machine, design.load, load_values(design.load, design.bearing), drive.gear_ratio)
    sense, bits = sense_bounds(job)
    wire, gauge = wire_bounds(job)
    control = control_bounds(job)
    place, offset = sensor_place(job)
    return OrderResult(
        continuous=continuous_bounds(job),
        peak=peak_bounds(job),
        supply=supply_bounds(job),
        supply_current=supply_current_bounds(job),
        sense_range=sense,
        sense_bits=bits,
        pwm=pwm_bounds(job, control),
        control=control,
        wire=wire,
        gauge=gauge,
        counts=count_bounds(job, shaft),
        offset=offset,
        place=place,
        **found,  # type: ignore[arg-type]
    )
