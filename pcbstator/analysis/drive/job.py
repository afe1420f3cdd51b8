"""From the sections [load], [motion] and [drive] to their results; each absence leaves out what needs it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from pcbstator.analysis.drive.budget.error_budget import motion_errors
from pcbstator.analysis.drive.cycle_heat import continuous_current, cycle_heat, heat_of_job, warm_strength
from pcbstator.analysis.drive.driver_fit import Asked, drive_results
from pcbstator.analysis.drive.equivalent_machine import Machine, job_temperature, machine_of
from pcbstator.analysis.drive.gains import shaft_of
from pcbstator.analysis.drive.load_cycle import Cycle, LoadValues, cycle_of, load_values
from pcbstator.analysis.drive.positioning import Positioning
from pcbstator.analysis.drive.records import DriveResult, MotionResult
from pcbstator.analysis.drive.sizing import Need, largest_load, needed, sizing, what_there_is
from pcbstator.analysis.drive.speed_maps import loss_map, speed_torque
from pcbstator.analysis.drive.torque_limits import Limits
from pcbstator.analysis.electrical.delta_loop import loop_current_rms
from pcbstator.analysis.electrical.records import ElectricalResult
from pcbstator.analysis.magnetic.losses import Braking
from pcbstator.analysis.magnetic.records import MagneticResult
from pcbstator.analysis.magnetic.surroundings import SurroundingsResult
from pcbstator.analysis.thermal.cooling import magnet_strength
from pcbstator.analysis.thermal.job_heat import JobHeat
from pcbstator.analysis.thermal.records import ThermalResult
from pcbstator.physics.conductors.delta_loop import DeltaLoop, loop_loss

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign

__all__ = ["Motor", "Wanted", "has_job", "job_results", "job_temperature", "with_built_ripple"]

FloatArray = NDArray[np.float64]


def has_job(design: SizedDesign) -> bool:
    """Whether the design says anything of its job."""
    return not (design.load is None and design.motion is None and design.drive is None)


@dataclass(frozen=True, eq=False)
class Motor:
    """What the job asks of a motor: rotor_inertia [kg m2], thermal: its steady figures; loop: of a delta, at 20 C."""

    magnetic: MagneticResult
    rotor_inertia: float
    thermal: ThermalResult
    braking: Braking = Braking()
    loop: DeltaLoop | None = None


class Wanted(NamedTuple):
    """What is wanted beside the plain sizing. whole: curve, map, the largest load, and how far the cycle could grow;
    driver: the driver's results; margins: those of its loops; heat: temperatures of the repeated cycle, with the ripple
    of the switching; errors: of position and speed.
    """

    whole: bool = True
    driver: bool = True
    margins: bool = True
    heat: bool = True
    errors: bool = True


EVERYTHING = Wanted()


@dataclass(frozen=True)
class _Job:
    """What the results of a job are made of."""

    limits: Limits
    cycle: Cycle | None
    load: LoadValues | None
    hold: float
    need: Need | None = None
    heat: JobHeat | None = None


def job_results(
    design: SizedDesign,
    electrical: ElectricalResult,
    motor: Motor,
    cycle: Cycle | None = None,
    wanted: Wanted = EVERYTHING,
    surroundings: SurroundingsResult | None = None,
    waves: FloatArray | None = None,
) -> tuple[MotionResult | None, DriveResult | None]:
    """Sizing with the heat of the job, and driver fit with gains. cycle, surroundings, and waves, the torque of drawn
    motors (see ``built_torque_ripple``): where they are known already.
    """
    brakes = motor.braking
    machine = machine_of(
        design, electrical, motor.magnetic, motor.rotor_inertia, brakes.copper + brakes.steel, motor.loop,
        brakes.hysteresis,
    )  # fmt: skip
    if machine is None:
        return None, None
    job, drive = _job(design, machine, motor, cycle or cycle_of(design)), design.drive
    motion = _motion_results(design, job, motor.thermal, wanted)
    if drive is None:
        return motion, None
    turned, ratio = job.load or load_values(None, None), drive.gear_ratio
    shaft, fit = shaft_of(machine, design.load, turned, ratio), None
    if wanted.driver:
        asked = _asked_of_driver(design, job, motion)
        fit = drive_results(machine, drive, shaft, turned, ratio, asked, wanted.whole, wanted.margins)
    if not wanted.errors:
        return motion, fit
    modulation = min(1.0, motion.voltage_part or 0.1)
    place = Positioning(
        machine, drive, design.load, design.bearing, design.motion, design.requirement, modulation, surroundings,
        built=waves,
    )  # fmt: skip
    return replace(motion, positioning=place, **motion_errors(place)), fit


def with_built_ripple(motion: MotionResult | None, waves: FloatArray | None) -> MotionResult | None:
    """The motion with the torque ripple of drawn motors in its errors; waves: see ``built_torque_ripple``."""
    if motion is None or motion.positioning is None or waves is None:
        return motion
    return replace(motion, **motion_errors(replace(motion.positioning, built=waves)))


def _job(design: SizedDesign, machine: Machine, motor: Motor, cycle: Cycle | None) -> _Job:
    """What the job asks for, what that heats, and what there is then."""
    drive, ratio, thermal = design.drive, design.drive.gear_ratio if design.drive else 1.0, motor.thermal
    stated = design.load is not None or design.bearing is not None
    load = load_values(design.load, design.bearing) if stated else None
    hold = design.motion.hold if design.motion else 0.0
    top, rotor = cycle.top_speed if cycle else 0.0, thermal.rotor_temperature_c
    limits = replace(
        Limits(machine, drive, ratio),
        heat_current=continuous_current(design, machine, motor.braking, thermal, top * ratio),
        continuous_strength=1.0 if rotor is None else magnet_strength(design, rotor),
        continuous_c=20.0 if thermal.board_mean_c is None else thermal.board_mean_c,
    )
    if cycle is None or load is None:
        return _Job(limits, cycle, load, hold)
    need = needed(limits, cycle, load, hold)
    heat = heat_of_job(design, machine, motor.braking, thermal, cycle, ratio, need)
    if heat is not None:
        strength = warm_strength(design, heat, machine, cycle, need)
        limits = replace(limits, job_strength=strength)
        if heat.heat.driver is not None and strength < 1:  # weaker magnets take more current through the driver
            heat = heat_of_job(design, machine, motor.braking, thermal, cycle, ratio, need, strength)
    return _Job(limits, cycle, load, hold, need, heat)


def _motion_results(design: SizedDesign, job: _Job, thermal: ThermalResult, wanted: Wanted) -> MotionResult:
    """Everything that the given sections allow."""
    limits, cycle, load, need = job.limits, job.cycle, job.load, job.need
    found = what_there_is(limits, cycle.top_speed if cycle else 0.0)
    if cycle is not None:
        found |= _turning(limits, cycle)
    if load is not None:
        found["load_inertia"] = load.inertia
        found["total_inertia"] = load.inertia + limits.machine.rotor_inertia * limits.ratio**2
    if cycle is not None and load is not None and need is not None:
        found |= sizing(limits, cycle, load, need)
        if wanted.heat:
            found |= cycle_heat(limits, thermal, cycle, load, need, job.heat, job.hold, wanted.whole)
        if wanted.whole and limits.drive is not None:
            found |= largest_load(limits, cycle, load, job.hold)
    if wanted.whole and limits.drive is not None:
        ideal, torques = found["no_load_speed"], [found.get("required_peak", 0.0), found.get("required_rms", 0.0)]
        speeds = job_speeds(design, cycle)
        found["curve"] = speed_torque(limits, ideal, speeds)
        found["map"] = loss_map(limits, ideal, speeds, torques)
    return MotionResult(**found)


def _turning(limits: Limits, cycle: Cycle) -> dict[str, Any]:
    """What the motion is like, and what turning alone costs."""
    machine, top = limits.machine, cycle.top_speed
    found: dict[str, Any] = {
        "top_speed": top,
        "move_time": cycle.move_time,
        "cycle_time": cycle.samples.duration,
        "drag": float(limits.drag(top)),
    }
    if machine.loop is not None:
        losses = loop_loss(machine.loop, cycle.samples.speeds * limits.ratio)
        found["loop_current"] = loop_current_rms(machine.loop, top * limits.ratio)
        found["loop_heat"] = float(cycle.samples.weights @ losses) / cycle.samples.duration
    return found


def job_speeds(design: SizedDesign, cycle: Cycle | None) -> list[float]:
    """Speeds [rad/s] of the load that the job speaks of: the slow one that is required, and the motion's highest."""
    asked = design.requirement.slow_speed if design.requirement else None
    return [each for each in (asked, cycle.top_speed if cycle else None) if each]


def _asked_of_driver(design: SizedDesign, job: _Job, motion: MotionResult) -> Asked:
    """What the job asks of the driver, at the motor."""
    speeds = [speed * job.limits.ratio for speed in job_speeds(design, job.cycle)]
    top = job.cycle.top_speed * job.limits.ratio if job.cycle else None
    return Asked(top, min(speeds, default=None), motion.voltage_part, motion.peak_current)
