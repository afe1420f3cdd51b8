"""How the driver fits the motor, and the gains to type into it: at the motor, whatever the gear."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, cos, inf, log2, pi
from typing import Any

from pcbstator.analysis.drive.equivalent_machine import Machine
from pcbstator.analysis.drive.gains import Gains, Shaft, chosen_gains, loop_margins
from pcbstator.analysis.drive.load_cycle import LoadValues
from pcbstator.analysis.drive.records import DriveResult
from pcbstator.analysis.drive.ripple import cures, ripple_at, ripple_square
from pcbstator.design.sections.job import Drive
from pcbstator.physics.drive.positioning import magnet_eccentricity_peak, ring_eccentricity_peak
from pcbstator.physics.drive.supply import no_load_speed, pulse_ripple, short_circuit_current, space_vector_ripple

RIPPLE_PART = 0.2  # of the current, peak to peak (common practice, no source)
MOST_COUNTS = 1 << 28  # as drive.sensor_counts allows


@dataclass(frozen=True)
class Asked:
    """What the job asks of the driver, at the motor: top and slow speed [rad/s], most voltage of what there is [-],
    peak current of a terminal [A]; None where there is no motion or no load."""

    top_speed: float | None = None
    slow_speed: float | None = None
    modulation: float | None = None
    current: float | None = None


def sensor_error(drive: Drive) -> float:
    """Largest error [rad] of the sensor's angle through its place, to either side."""
    if drive.sensor_offset == 0:
        return 0.0
    if drive.sensor_radius is not None:
        return ring_eccentricity_peak(drive.sensor_offset, drive.sensor_radius)
    return magnet_eccentricity_peak(drive.sensor_offset, drive.sensor_distance)


def drive_results(
    machine: Machine,
    drive: Drive,
    shaft: Shaft,
    load: LoadValues,
    ratio: float,
    asked: Asked,
    full: bool = True,
    margins: bool = True,
) -> DriveResult:
    """Driver fit and gains; ``full``: also what would bring a ripple down; margins: also those of the loops."""
    gains = chosen_gains(machine, drive, shaft.whole, shaft.anti_resonance)
    bare = chosen_gains(machine, drive, shaft.rotor, None)
    return DriveResult(
        **_fit(machine, drive, asked, full),
        **(_margins(machine, drive, gains, bare, shaft) if margins else {}),
        **_sense(machine, drive, load, ratio),
        count_electrical=2 * pi * machine.pole_pairs / drive.counts,
        misalignment=1 - cos(min(pi, machine.pole_pairs * (sensor_error(drive) + pi / drive.counts))),
        slowest=2 * pi / drive.counts * gains.observer,
        slow_speed=asked.slow_speed,
        counts_wanted=counts_for_speed(machine, drive, shaft, asked.slow_speed),
        control_rate=drive.control,
        current_kp=gains.current[0],
        current_ki=gains.current[1],
        current_bandwidth=gains.current_bandwidth,
        speed_bandwidth=gains.speed_bandwidth,
        speed_limited_by=gains.limited_by,
        speed_kp=gains.speed[0],
        speed_ki=gains.speed[1],
        position_bandwidth=gains.position_bandwidth,
        position_kp=gains.position,
        observer=gains.observer,
        bare_speed_kp=bare.speed[0],
        bare_speed_ki=bare.speed[1],
        bare_position_kp=bare.position,
        inertia_ahead=shaft.whole,
        friction_ahead=load.running / ratio,
        viscous_ahead=load.viscous / ratio**2,
        resonance=shaft.resonance,
        anti_resonance=shaft.anti_resonance,
        dead_band=2 * pi / drive.counts,
        per_unit=_per_unit(machine, drive, gains),
        gains=gains,
        machine=machine,
    )


def _margins(machine: Machine, drive: Drive, gains: Gains, bare: Gains, shaft: Shaft) -> dict[str, Any]:
    """What the loops leave as sampled, and what gains for the bare rotor would leave with the load."""
    current, speed, position = loop_margins(machine, drive, gains, shaft)
    return {
        "current_margin": _finite(current.phase),
        "current_factor": _finite(current.gain),
        "speed_margin": _finite(speed.phase),
        "speed_factor": _finite(speed.gain),
        "position_margin": _finite(position.phase),
        "bare_margin": _finite(loop_margins(machine, drive, bare, shaft)[2].phase),
    }


def _finite(value: float) -> float | None:
    """None where a loop never gets there."""
    return value if abs(value) < inf else None


def worst_ripple(machine: Machine, drive: Drive) -> float:
    """Largest peak-to-peak ripple [A] of a terminal's current over all speeds."""
    if machine.phases == 3 and not machine.h_bridges:
        return space_vector_ripple(drive.supply, machine.inductance, drive.pwm)
    levels = [pulse_ripple(drive.supply, machine.inductance, drive.pwm, part / 20, machine.phases, machine.h_bridges)
              for part in range(1, 21)]  # fmt: skip
    return max(peak for peak, _ in levels)


def _fit(machine: Machine, drive: Drive, asked: Asked, full: bool) -> dict[str, Any]:
    """Ripple and faults. The ripple that is judged is one and the same throughout: in the motion, against the current
    that the motion takes; without a motion, in the worst case, against the current limit."""
    worst, top_speed = worst_ripple(machine, drive), asked.top_speed
    found: dict[str, Any] = {
        "ripple": worst,
        "ripple_heat": 2 * machine.copper_loss(1.0) * ripple_square(machine, drive, 1.0),
        "stall_current": machine.stall_voltage(drive.supply) / machine.resistance,
    }
    if asked.modulation is not None and asked.current:
        found["ripple_at_job"] = ripple_at(machine, drive, asked.modulation)
        found["ripple_part"] = found["ripple_at_job"] / asked.current
        if full and found["ripple_part"] > RIPPLE_PART:
            pwm, added = cures(machine, drive, min(1.0, asked.modulation), RIPPLE_PART * asked.current)
            found |= {"pwm_wanted": pwm, "added_inductance": added}
    elif worst > RIPPLE_PART * drive.current_limit:
        over = worst / (RIPPLE_PART * drive.current_limit)
        found |= {"pwm_wanted": drive.pwm * over, "added_inductance": machine.inductance * (over - 1)}
    if drive.losses_stated:
        limit, copper_c = drive.current_limit, machine.copper_c
        found["driver_loss"] = float(machine.driver.driver(limit, copper_c))
        found["wire_loss"] = float(machine.driver.cable(limit, copper_c))
        found |= {"series_resistance": machine.driver.series, "lost_voltage": machine.driver.lost}
    if top_speed is not None:
        found["electrical_frequency"] = machine.pole_pairs * top_speed / (2 * pi)
        found["short_current"] = short_circuit_current(
            top_speed, machine.resistance, machine.inductance, machine.pole_pairs, machine.psi
        )
    return found


def counts_for_speed(machine: Machine, drive: Drive, shaft: Shaft, speed: float | None) -> int | None:
    """Counts of a sensor whose slowest measured speed is ``speed`` [rad/s] of the motor, the loops set for it; None
    where the stated one does, or where none does."""
    if speed is None or speed <= 0:
        return None
    counts = drive.counts
    while counts <= MOST_COUNTS:
        finer = drive.model_copy(update={"counts": counts})
        slowest = 2 * pi / counts * chosen_gains(machine, finer, shaft.whole, shaft.anti_resonance).observer
        if slowest <= speed * (1 + 1e-9):
            return None if counts == drive.counts else counts
        counts = max(counts + 1, ceil(counts * slowest / speed))
    return None


def _sense(machine: Machine, drive: Drive, load: LoadValues, ratio: float) -> dict[str, Any]:
    """Current sense for a tenth of the smallest torque that the load shows."""
    smallest = min((t for t in (load.running, load.standstill - load.running) if t > 0), default=None)
    if smallest is None:
        return {}
    step = smallest / ratio / 10 / machine.torque_constant
    return {"sense_step": step, "sense_bits": max(1, ceil(log2(max(2.0, 2 * drive.current_limit / step))))}


def _per_unit(machine: Machine, drive: Drive, gains: Gains) -> dict[str, float]:
    """Gains for a controller whose numbers are parts of bases: current limit, voltage limit, speed without load."""
    current, voltage = drive.current_limit, machine.voltage_limit(drive.supply)
    speed = no_load_speed(voltage, machine.pole_pairs, machine.psi)
    torque = machine.torque_constant * current
    return {
        "base_current_peak_a": current,
        "base_voltage_v": voltage,
        "base_speed_rad_per_s": speed,
        "base_torque_n_m": torque,
        "base_angle_rad": 2 * pi,
        "sample_time_s": gains.period,
        "current_kp": gains.current[0] * current / voltage,
        "current_ki_per_sample": gains.current[1] * gains.period * current / voltage,
        "speed_kp": gains.speed[0] * speed / torque,
        "speed_ki_per_sample": gains.speed[1] * gains.period * speed / torque,
        "position_kp": gains.position * 2 * pi / speed,
        "observer_angle_per_sample": 2 * gains.observer * gains.period,
        "observer_speed_per_sample": gains.observer**2 * gains.period * 2 * pi / speed,
        "feedforward_inertia_s": machine_time(machine, gains, speed, torque),
    }


def machine_time(machine: Machine, gains: Gains, speed: float, torque: float) -> float:
    """Time [s] in which the base torque brings all that turns to the base speed."""
    inertia = gains.speed[0] / (2 * pi * gains.speed_bandwidth)
    return inertia * speed / torque
