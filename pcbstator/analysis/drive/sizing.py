"""Sizing: what the job asks for against what current, voltage and heat allow."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pcbstator.analysis.drive.equivalent_machine import Machine
from pcbstator.analysis.drive.load_cycle import (
    Cycle,
    LoadValues,
    peak_torque,
    required_torque,
    spot_extra,
    with_friction,
)
from pcbstator.analysis.drive.torque_limits import NAMES, Limits
from pcbstator.design.sections.job import Drive
from pcbstator.physics.drive.motion import largest_that_fits, rms
from pcbstator.physics.drive.supply import no_load_speed, voltage_needed

FloatArray = NDArray[np.float64]

BOUNDLESS = 1e9  # kg m2 or N m; where nothing limits, nothing is given out


@dataclass(frozen=True, eq=False)
class Need:
    """What a cycle asks for at its samples: torque at the load [N m], and peak terminal current [A] that it takes with
    the magnets as the design has them, what brakes included.
    """

    torque: FloatArray
    current: FloatArray


def needed(limits: Limits, cycle: Cycle, load: LoadValues, hold: float) -> Need:
    """What a cycle asks for; ``hold`` [N m] at rest."""
    torque = required_torque(cycle, load, load.inertia + limits.machine.rotor_inertia * limits.ratio**2, hold)
    return Need(torque, (torque + limits.drag(cycle.samples.speeds)) / limits.torque_constant)


def voltage_used(limits: Limits, drive: Drive, speeds: FloatArray, current: FloatArray) -> FloatArray:
    """Part of the largest voltage that currents [A] take at speeds [rad/s] of the load, supply sagged, copper hot."""
    machine = limits.machine
    voltage = voltage_needed(
        speeds * limits.ratio, current, machine.hot_resistance, machine.inductance, machine.pole_pairs, machine.psi,
        machine.driver.lost,
    )  # fmt: skip
    return np.asarray(voltage / machine.voltage_limit(drive.supply - drive.sag))


def what_there_is(limits: Limits, top_speed: float) -> dict[str, Any]:
    """Torque available at the top speed [rad/s] of the load, and the speed without load."""
    found: dict[str, Any] = {}
    continuous = limits.continuous_by(top_speed)
    if continuous is not None:
        found |= {
            "available_continuous": float(continuous[0]),
            "continuous_limited_by": NAMES[int(continuous[1])],
            "warm_magnets": limits.continuous_strength,
        }
    if limits.drive is not None:
        machine, (peak, by) = limits.machine, limits.peak_by(top_speed)
        ideal = no_load_speed(machine.voltage_limit(limits.drive.supply), machine.pole_pairs, machine.psi)
        found |= {
            "no_load_speed": ideal / limits.ratio,
            "available_peak": float(peak),
            "peak_limited_by": NAMES[int(by)],
        }
    return found


def sizing(limits: Limits, cycle: Cycle, load: LoadValues, need: Need) -> dict[str, Any]:
    """The job against what there is; magnets as warm as the job makes them."""
    strength, mean = limits.job_strength, rms(cycle.samples, need.torque)
    peak = peak_torque(need.torque, load)
    top_drag = np.abs(limits.drag(cycle.samples.speeds)).max()
    most = max(float(np.abs(need.current).max()), (peak + float(top_drag)) / limits.torque_constant) / strength
    heating = rms(cycle.samples, need.current) / strength
    found: dict[str, Any] = {
        "required_peak": peak,
        "required_rms": mean,
        "peak_current": most,
        "rms_current": heating,
        "copper_heat": limits.machine.copper_loss(heating),
    }
    continuous = limits.continuous(cycle.top_speed)
    if continuous is not None and mean > 0:
        found["continuous_reserve"] = float(continuous) / mean - 1
    if limits.drive is not None:
        found["peak_reserve"] = float(limits.peak(cycle.top_speed)) / peak - 1 if peak > 0 else None
        found |= _supplied(limits, limits.drive, cycle, need)
        factors = driver_factors(limits, limits.drive, cycle, load, need)
        if limits.heat_current is not None and heating > 0:
            factors["heat"] = limits.heat_current / heating
        found["limited_by"] = min(factors, key=lambda name: factors[name], default=None)
    return found


def driver_factors(limits: Limits, drive: Drive, cycle: Cycle, load: LoadValues, need: Need) -> dict[str, float]:
    """Factors by which the torque of a cycle may grow until it meets the driver's current limit, and its voltage."""
    speeds, torque, constant = cycle.samples.speeds, need.torque, limits.job_torque_constant
    peak, drag = peak_torque(torque, load), np.abs(limits.drag(speeds))
    if peak <= 0:
        return {}
    found = {"current": max(constant * drive.current_limit - float(drag.max()), 0.0) / peak}
    driving = torque * speeds > 0  # where it brakes, the EMF helps
    if driving.any():
        allowed = constant * limits.voltage_current(speeds, limits.job_strength) - drag
        asked = np.abs(torque) + spot_extra(load)
        found["voltage"] = max(float((allowed[driving] / asked[driving]).min()), 0.0)
    return found


def _supplied(limits: Limits, drive: Drive, cycle: Cycle, need: Need) -> dict[str, Any]:
    """What voltage the cycle needs and what the supply feels; eddies brake as well."""
    machine, weights, strength = limits.machine, cycle.samples.weights, limits.job_strength
    current, motor = need.current / strength, cycle.samples.speeds * limits.ratio
    power = machine.copper_loss(1.0) * current**2 + machine.torque_constant * strength * current * motor
    power = power + machine.outer_loss(current)
    taken, back = float(weights @ np.maximum(power, 0.0)), float(weights @ np.maximum(-power, 0.0))
    return {
        "voltage_part": float(voltage_used(limits, drive, cycle.samples.speeds, current).max()),
        "cycle_energy": taken,
        "braking_energy": back,
        "supply_mean": (taken - back) / cycle.samples.duration / drive.supply,
        "supply_peak": max(0.0, float(power.max())) / drive.supply,
        **_lost_outside(machine, drive, current, weights / cycle.samples.duration),
    }


def _lost_outside(machine: Machine, drive: Drive, current: FloatArray, parts: FloatArray) -> dict[str, float]:
    """Mean heat of driver and wires in the motion, where the file says anything of them."""
    if not drive.losses_stated:
        return {}
    copper_c = machine.copper_c
    return {
        "driver_heat": float(parts @ machine.driver.driver(current, copper_c)),
        "wire_heat": float(parts @ machine.driver.cable(current, copper_c)),
    }


def largest_load(limits: Limits, cycle: Cycle, load: LoadValues, hold: float) -> dict[str, Any]:
    """Largest inertia and friction of the load with which the cycle still works, everything else as it is."""
    own = limits.machine.rotor_inertia * limits.ratio**2
    speeds = cycle.samples.speeds
    driving, at_rest = limits.peak(speeds), float(limits.peak(0.0))
    continuous = limits.continuous(cycle.top_speed)
    lasting = None if continuous is None else float(continuous)

    def works(inertia: float, resisting: LoadValues) -> bool:
        torque = required_torque(cycle, resisting, inertia + own, hold)
        asked = np.abs(torque) + np.where(speeds != 0, spot_extra(resisting), 0.0)
        # Where it brakes, the EMF helps: only the current counts.
        moves = bool(np.all(asked <= np.where(torque * speeds > 0, driving, at_rest)))
        starts = resisting.standstill + resisting.worst_spot <= at_rest
        return moves and starts and (lasting is None or rms(cycle.samples, torque) <= lasting)

    inertia = largest_that_fits(lambda value: works(value, load), BOUNDLESS)
    friction = largest_that_fits(
        lambda value: works(load.inertia, with_friction(load, value - load.running)), BOUNDLESS
    )
    return {
        "largest_inertia": inertia if inertia is not None and inertia < BOUNDLESS else None,
        "largest_friction": friction,
    }
