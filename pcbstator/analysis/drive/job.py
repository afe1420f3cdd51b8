"""From the sections [load], [motion] and [drive] to their results; each absence leaves out what needs it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from pcbstator.analysis.drive.driver_fit import drive_results
from pcbstator.analysis.drive.equivalent_machine import job_temperature, machine_of
from pcbstator.analysis.drive.error_budget import motion_errors
from pcbstator.analysis.drive.gains import shaft_of
from pcbstator.analysis.drive.load_cycle import Cycle, cycle_of, load_values, without_load
from pcbstator.analysis.drive.positioning import Positioning
from pcbstator.analysis.drive.records import DriveResult, MotionResult
from pcbstator.analysis.drive.sizing import Limits, motion_results
from pcbstator.analysis.electrical.records import ElectricalResult
from pcbstator.analysis.magnetic.records import MagneticResult
from pcbstator.physics.conductors.delta_loop import DeltaLoop

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign

__all__ = ["has_job", "job_results", "job_temperature"]


def has_job(design: SizedDesign) -> bool:
    """Whether the design says anything of its job."""
    return not (design.load is None and design.motion is None and design.drive is None)


@dataclass(frozen=True, eq=False)
class Motor:
    """What the job asks of a motor. continuous_current: rms of a phase [A], None where it is not known; drag: braking
    torque per speed of the motor [N m s/rad]; loop: of a delta, at 20 C.
    """

    magnetic: MagneticResult
    rotor_inertia: float
    continuous_current: float | None
    drag: float
    loop: DeltaLoop | None = None


def job_results(
    design: SizedDesign,
    electrical: ElectricalResult,
    motor: Motor,
    cycle: Cycle | None = None,
    whole: bool = True,
    driver: bool = True,
) -> tuple[MotionResult | None, DriveResult | None]:
    """Sizing, and driver fit with gains. cycle: where it is known already; whole: also curve, map and the largest load;
    driver: also the driver's results.
    """
    machine = machine_of(design, electrical, motor.magnetic, motor.rotor_inertia, motor.drag, motor.loop)
    if machine is None:
        return None, None
    drive, ratio = design.drive, design.drive.gear_ratio if design.drive else 1.0
    stands = motor.continuous_current
    limits = Limits(machine, drive, ratio, None if stands is None else machine.peak_current(stands))
    load = load_values(design.load) if design.load else None
    cycle = cycle or cycle_of(design)
    motion = motion_results(limits, cycle, load, design.motion.hold if design.motion else 0.0, whole)
    if drive is None:
        return motion, None
    turned = load or without_load()
    shaft = shaft_of(machine, design.load, turned, ratio)
    top = cycle.top_speed * ratio if cycle else None
    fit = drive_results(machine, drive, shaft, turned, ratio, top, motion.voltage_part) if driver else None
    modulation = min(1.0, motion.voltage_part or 0.1)
    errors = motion_errors(Positioning(machine, drive, design.load, design.motion, design.requirement, modulation))
    return replace(motion, **errors), fit
