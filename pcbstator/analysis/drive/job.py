"""From the sections [load], [motion] and [drive] to their results; each absence leaves out what needs it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from pcbstator.analysis.drive.cycle_heat import (
    Heated,
    continuous_current,
    cycle_growth,
    cycle_temperatures,
    heated,
    shortest_rest,
)
from pcbstator.analysis.drive.driver_fit import Asked, drive_results
from pcbstator.analysis.drive.equivalent_machine import Machine, job_temperature, machine_of
from pcbstator.analysis.drive.gains import shaft_of
from pcbstator.analysis.drive.load_cycle import Cycle, LoadValues, cycle_of, load_values, without_load
from pcbstator.analysis.drive.positioning import error_budget
from pcbstator.analysis.drive.records import DriveResult, MotionResult
from pcbstator.analysis.drive.ripple import RippleHeat, ripple_heat
from pcbstator.analysis.drive.sizing import Need, driver_factors, largest_load, needed, sizing, what_there_is
from pcbstator.analysis.drive.speed_maps import loss_map, speed_torque
from pcbstator.analysis.drive.torque_limits import Limits
from pcbstator.analysis.electrical.delta_loop import loop_current_rms
from pcbstator.analysis.electrical.records import ElectricalResult
from pcbstator.analysis.magnetic.records import MagneticResult
from pcbstator.analysis.mechanical.records import MechanicalResult
from pcbstator.analysis.thermal.cooling import magnet_strength
from pcbstator.analysis.thermal.records import ThermalResult
from pcbstator.physics.conductors.delta_loop import DeltaLoop, loop_loss

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign

__all__ = ["has_job", "job_results", "job_temperature"]


def has_job(design: SizedDesign) -> bool:
    """Whether the design says anything of its job."""
    return not (design.load is None and design.motion is None and design.drive is None)


@dataclass(frozen=True)
class _Job:
    """What the results of a job are made of."""

    limits: Limits
    cycle: Cycle | None
    load: LoadValues | None
    need: Need | None
    ripple: RippleHeat | None
    found: Heated
    hold: float


def job_results(
    design: SizedDesign,
    electrical: ElectricalResult,
    magnetic: MagneticResult,
    mechanical: MechanicalResult,
    thermal: ThermalResult,
    drag: float,
    loop: DeltaLoop | None = None,
    steel: float = 0.0,
    full: bool = True,
) -> tuple[MotionResult | None, DriveResult | None]:
    """Sizing with the heat of the job, and driver fit with gains; ``drag``: braking torque per speed of the motor
    [N m s/rad], ``steel``: the part of it that steel beyond the board takes; ``loop``: of a delta, at 20 C; ``full``:
    also curve, map, largest loads, and how far the cycle could grow, which many designs at once go without.
    """
    machine = machine_of(design, electrical, magnetic, mechanical.rotor_inertia, drag, loop)
    if machine is None:
        return None, None
    job, drive, load = _job(design, machine, thermal, steel), design.drive, design.load
    motion = _motion_results(design, job, thermal, full)
    if drive is None:
        return motion, None
    turned, ratio = job.load or without_load(), drive.gear_ratio
    shaft = shaft_of(machine, load, turned, ratio)
    ripple = float(job.ripple.mean_square(1.0)) if job.ripple else 0.0
    fit = drive_results(machine, drive, shaft, turned, ratio, _asked_of_driver(design, job, motion), ripple, full)
    budget = error_budget(drive, fit.gains, turned, load.play if load else 0.0, magnetic.torque_ripple, ratio)
    return replace(motion, error_budget=budget), fit


def _job(design: SizedDesign, machine: Machine, thermal: ThermalResult, steel: float) -> _Job:
    """What the job asks for, what that heats, and what there is then."""
    drive, ratio = design.drive, design.drive.gear_ratio if design.drive else 1.0
    cycle, load = cycle_of(design), load_values(design.load) if design.load else None
    hold = design.motion.hold if design.motion else 0.0
    cold, ripple = Limits(machine, drive, ratio), ripple_heat(machine, drive) if drive else None
    need, found = None, Heated()
    if cycle is not None and load is not None:
        need = needed(cold, cycle, load, hold, ripple)
        found = heated(design, machine, thermal, cycle, need, ratio, steel)
    rotor, reached = thermal.rotor_temperature_c, found.temperatures
    limits = replace(
        cold,
        heat_current=continuous_current(design, cold, thermal, cycle.top_speed if cycle else 0.0, steel, ripple),
        job_strength=found.strength,
        continuous_strength=1.0 if rotor is None else magnet_strength(design, rotor),
        job_c=20.0 if reached is None else reached.board,
        continuous_c=20.0 if thermal.board_mean_c is None else thermal.board_mean_c,
    )
    return _Job(limits, cycle, load, need, ripple, found, hold)


def _motion_results(design: SizedDesign, job: _Job, thermal: ThermalResult, full: bool) -> MotionResult:
    """Everything that the given sections allow."""
    limits, cycle, load, need = job.limits, job.cycle, job.load, job.need
    found = what_there_is(limits, cycle.top_speed if cycle else 0.0)
    if cycle is not None:
        found |= _turning(limits, cycle)
    if load is not None:
        found |= {
            "load_inertia": load.inertia,
            "total_inertia": load.inertia + limits.machine.rotor_inertia * limits.ratio**2,
        }
    if cycle is not None and load is not None and need is not None:
        found |= sizing(limits, cycle, load, need) | cycle_temperatures(job.found)
        if full:
            driver = driver_factors(limits, limits.drive, cycle, load, need) if limits.drive else {}
            found |= cycle_growth(thermal, need, job.found, driver)
            found["cycle_shortest_rest"] = shortest_rest(limits, cycle, load, job.hold, job.ripple, job.found)
            if limits.drive is not None:
                found |= largest_load(limits, cycle, load, job.hold)
    if full and limits.drive is not None:
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
