"""Sizing: what the job asks for against what current, voltage and heat allow."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf, pi
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pcbstator.analysis.drive.equivalent_machine import Machine
from pcbstator.analysis.drive.load_cycle import Cycle, LoadValues, peak_torque, required_torque, with_friction
from pcbstator.analysis.drive.records import MotionResult
from pcbstator.analysis.electrical.delta_loop import loop_current_rms
from pcbstator.design.job import Drive
from pcbstator.physics.conductors.delta_loop import loop_loss
from pcbstator.physics.drive.motion import largest_that_fits, rms
from pcbstator.physics.drive.supply import current_at_voltage_limit, no_load_speed, voltage_needed

FloatArray = NDArray[np.float64]

CURVE_POINTS = 41
MAP_POINTS = 8
HEAT_STEPS = 48  # of a cycle, for the heat of it
BOUNDLESS = 1e9  # kg m2 or N m; where nothing limits, nothing is given out


@dataclass(frozen=True)
class Limits:
    """What the motor gives, at the load's side of a gear."""

    machine: Machine
    drive: Drive | None
    ratio: float
    continuous_current: float | None  # peak terminal current [A] that the copper stands

    @property
    def torque_constant(self) -> float:
        """Torque at the load per peak ampere [N m/A]."""
        return self.machine.torque_constant * self.ratio

    @property
    def continuous(self) -> float | None:
        """Torque in continuous duty, at the continuous current [N m]."""
        return None if self.continuous_current is None else self.torque_constant * self.continuous_current

    def voltage_current(self, speed: FloatArray | float) -> FloatArray:
        """Peak current [A] that the sagging supply drives at speeds [rad/s] of the load, copper hot."""
        if self.drive is None:
            return np.full_like(np.asarray(speed, dtype=float), inf)
        m = self.machine
        limit = m.voltage_limit(self.drive.supply - self.drive.sag)
        motor = np.abs(speed) * self.ratio
        return current_at_voltage_limit(motor, limit, m.hot_resistance, m.inductance, m.pole_pairs, m.psi)

    def peak(self, speed: FloatArray | float) -> FloatArray:
        """Torque [N m] that current limit and voltage allow at speeds [rad/s] of the load."""
        most = inf if self.drive is None else self.drive.current_limit
        return np.asarray(self.torque_constant * np.clip(self.voltage_current(speed), 0.0, most))


def motion_results(
    limits: Limits, cycle: Cycle | None, load: LoadValues | None, hold: float, whole: bool = True
) -> MotionResult:
    """Everything that the given sections allow; whole: also curve, map and the largest load."""
    machine, drive, ratio = limits.machine, limits.drive, limits.ratio
    top = cycle.top_speed if cycle else 0.0
    found: dict[str, Any] = {"available_continuous": limits.continuous}
    if drive is not None:
        ideal = no_load_speed(machine.voltage_limit(drive.supply), machine.pole_pairs, machine.psi) / ratio
        found |= {"no_load_speed": ideal, "available_peak": float(limits.peak(top))}
        if whole:
            found |= {"curve": _curve(limits, ideal), "map": _loss_map(limits, ideal)}
    if cycle is not None:
        found |= {
            "top_speed": top,
            "move_time": cycle.move_time,
            "cycle_time": cycle.samples.duration,
            "drag": float(machine.braking_torque(top * ratio)) * ratio,
        }
        if machine.loop is not None:
            losses = loop_loss(machine.loop, cycle.samples.speeds * ratio)
            found |= {
                "loop_current": loop_current_rms(machine.loop, top * ratio),
                "loop_heat": float(cycle.samples.weights @ losses) / cycle.samples.duration,
            }
    if load is not None:
        found |= {"load_inertia": load.inertia, "total_inertia": load.inertia + machine.rotor_inertia * ratio**2}
    if cycle is not None and load is not None:
        found |= _sizing(limits, cycle, load, hold)
        if whole and drive is not None:
            found |= _largest(limits, cycle, load, hold)
    return MotionResult(**found)


def _sizing(limits: Limits, cycle: Cycle, load: LoadValues, hold: float) -> dict[str, Any]:
    machine, ratio = limits.machine, limits.ratio
    torque = required_torque(cycle, load, load.inertia + machine.rotor_inertia * ratio**2, hold)
    currents = np.abs(torque) / limits.torque_constant / machine.peak_current(1.0)
    peak, mean = peak_torque(torque, load), rms(cycle.samples, torque)
    found: dict[str, Any] = {
        "required_peak": peak,
        "required_rms": mean,
        "peak_current": peak / limits.torque_constant,
        "rms_current": mean / limits.torque_constant,
        "heat_steps": _in_steps(cycle.samples.weights, currents),
        "copper_heat": machine.copper_loss(mean / limits.torque_constant),
    }
    if limits.continuous is not None and mean > 0:
        found["continuous_reserve"] = limits.continuous / mean - 1
    if limits.drive is not None:
        found["peak_reserve"] = float(limits.peak(cycle.top_speed)) / peak - 1 if peak > 0 else None
        found |= _supplied(limits, limits.drive, cycle, torque)
        parts = {
            "current": peak / limits.torque_constant / limits.drive.current_limit,
            "voltage": found["voltage_part"],
            "heat": mean / limits.continuous if limits.continuous else 0.0,
        }
        found["limited_by"] = max(parts, key=lambda name: parts[name])
    return found


def _in_steps(durations: FloatArray, currents: FloatArray) -> FloatArray:
    """Duration [s] and rms phase current [A] of at most HEAT_STEPS steps that follow each other."""
    parts = np.array_split(np.arange(len(durations)), min(HEAT_STEPS, len(durations)))
    times = np.array([durations[part].sum() for part in parts])
    squares = np.array([durations[part] @ currents[part] ** 2 for part in parts])
    long = times > 0  # the ends of a quadrature weigh nothing
    return np.stack([times[long], np.sqrt(squares[long] / times[long])], axis=1)


def _supplied(limits: Limits, drive: Drive, cycle: Cycle, torque: FloatArray) -> dict[str, Any]:
    """What voltage the cycle needs and what the supply feels; eddies brake as well."""
    machine, weights = limits.machine, cycle.samples.weights
    speeds = cycle.samples.speeds * limits.ratio
    current = torque / limits.torque_constant + machine.braking_torque(speeds) / machine.torque_constant
    voltage = voltage_needed(
        speeds, current, machine.hot_resistance, machine.inductance, machine.pole_pairs, machine.psi
    )
    power = machine.copper_loss(1.0) * current**2 + machine.torque_constant * current * speeds
    taken, back = float(weights @ np.maximum(power, 0.0)), float(weights @ np.maximum(-power, 0.0))
    return {
        "voltage_part": float(voltage.max()) / machine.voltage_limit(drive.supply - drive.sag),
        "cycle_energy": taken,
        "braking_energy": back,
        "supply_mean": (taken - back) / cycle.samples.duration / drive.supply,
        "supply_peak": max(0.0, float(power.max())) / drive.supply,
    }


def _largest(limits: Limits, cycle: Cycle, load: LoadValues, hold: float) -> dict[str, Any]:
    """Largest inertia and friction of the load with which the cycle still works, everything else as it is."""
    own = limits.machine.rotor_inertia * limits.ratio**2
    speeds = cycle.samples.speeds
    driving, at_rest = limits.peak(speeds), float(limits.peak(0.0))

    def works(inertia: float, resisting: LoadValues) -> bool:
        torque = required_torque(cycle, resisting, inertia + own, hold)
        spot = resisting.worst_spot - (resisting.mean_friction - resisting.running)
        needed = np.abs(torque) + np.where(speeds != 0, max(0.0, spot), 0.0)
        # Where it brakes, the EMF helps: only the current counts.
        moves = bool(np.all(needed <= np.where(torque * speeds > 0, driving, at_rest)))
        starts = resisting.standstill + resisting.worst_spot <= at_rest
        return moves and starts and (limits.continuous is None or rms(cycle.samples, torque) <= limits.continuous)

    inertia = largest_that_fits(lambda value: works(value, load), BOUNDLESS)
    friction = largest_that_fits(
        lambda value: works(load.inertia, with_friction(load, value - load.running)), BOUNDLESS
    )
    return {
        "largest_inertia": inertia if inertia is not None and inertia < BOUNDLESS else None,
        "largest_friction": friction,
    }


def _curve(limits: Limits, ideal: float) -> tuple[dict[str, float], ...]:
    """Peak and continuous torque from standstill to the speed without load."""
    speeds = np.linspace(0.0, ideal, CURVE_POINTS)
    peaks = limits.peak(speeds)
    return tuple(
        {"speed_rpm": float(speed * 30 / pi), "peak_torque_n_m": float(peak)}
        | ({} if limits.continuous is None else {"continuous_torque_n_m": float(min(peak, limits.continuous))})
        for speed, peak in zip(speeds, peaks, strict=True)
    )


def _loss_map(limits: Limits, ideal: float) -> tuple[dict[str, float], ...]:
    """Loss and efficiency wherever current and voltage reach; copper and all that brakes."""
    machine, ratio = limits.machine, limits.ratio
    speeds = np.linspace(0.0, ideal, MAP_POINTS + 1)[1:]
    torques = np.linspace(0.0, float(limits.peak(0.0)), MAP_POINTS + 1)[1:]
    points = []
    for speed in speeds:
        most, drag = float(limits.peak(speed)), float(machine.braking_torque(speed * ratio)) * ratio
        for torque in torques:
            if torque + drag <= most:
                loss = machine.copper_loss((torque + drag) / limits.torque_constant) + drag * speed
                work = torque * speed
                points.append((speed * 30 / pi, torque, loss, work / (work + loss)))
    names = ("speed_rpm", "torque_n_m", "loss_w", "efficiency")
    return tuple({name: float(value) for name, value in zip(names, point, strict=True)} for point in points)
