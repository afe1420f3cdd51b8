"""How the driver fits the motor, and the gains to type into it: at the motor, whatever the gear."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, cos, hypot, inf, log2, pi, sqrt
from typing import Any

from pcbstator.analysis.drive.equivalent_machine import Machine
from pcbstator.analysis.drive.load_cycle import LoadValues
from pcbstator.analysis.drive.records import DriveResult
from pcbstator.design.job import Drive, Load
from pcbstator.physics.drive.control import (
    OBSERVER,
    Margins,
    current_gains,
    current_open_loop,
    loop_frequencies,
    margins,
    motion_open_loops,
    shaft_response,
    speed_bandwidth_for_counts,
    speed_gains,
)
from pcbstator.physics.drive.positioning import magnet_eccentricity_peak, ring_eccentricity_peak
from pcbstator.physics.drive.supply import no_load_speed, pulse_ripple, short_circuit_current, space_vector_ripple

LOOPS_APART = 10.0  # current loop over speed loop (common practice, no source)
POSITION_APART = 5.0  # speed loop over position loop (common practice, no source)
COUNT_TORQUE = 0.1  # of the peak torque, that a count may shake (common practice, no source)
BELOW_COUPLING = 3.0  # the load's own frequency on its coupling over the speed loop (common practice, no source)
RIPPLE_PART = 0.2  # of the current limit (common practice, no source)


@dataclass(frozen=True)
class Gains:
    """Gains of all loops for the motor's shaft, SI; ``observer`` in rad/s, bandwidths in Hz."""

    period: float
    current: tuple[float, float]
    current_bandwidth: float
    speed: tuple[float, float]
    speed_bandwidth: float
    position: float
    position_bandwidth: float
    observer: float
    limited_by: str


@dataclass(frozen=True)
class Shaft:
    """What turns, at the motor: inertia of rotor and load [kg m2], coupling [N m/rad], infinite where rigid."""

    rotor: float
    load: float
    stiffness: float = inf

    @property
    def whole(self) -> float:
        """Inertia of all [kg m2]."""
        return self.rotor + self.load

    @property
    def anti_resonance(self) -> float | None:
        """Frequency [Hz] of the load on its coupling, the motor held."""
        return None if self.stiffness == inf or self.load <= 0 else sqrt(self.stiffness / self.load) / (2 * pi)

    @property
    def resonance(self) -> float | None:
        """Frequency [Hz] of motor and load against each other."""
        own = self.anti_resonance
        return None if own is None else own * sqrt(self.whole / self.rotor)


def shaft_of(machine: Machine, load: Load | None, values: LoadValues, ratio: float) -> Shaft:
    """The shaft as the motor feels it."""
    stiffness = inf if load is None or load.coupling is None else load.coupling / ratio**2
    return Shaft(machine.rotor_inertia, values.inertia / ratio**2, stiffness)


def chosen_gains(machine: Machine, drive: Drive, inertia: float, anti_resonance: float | None) -> Gains:
    """Gains by rule: current loop from R and L, then each slower loop a step below what is within it."""
    period = 1 / drive.control
    current_bandwidth = drive.stated_current_bandwidth or drive.control / 20
    count = hypot(2 * pi / drive.counts, 2 * drive.noise)
    jump = COUNT_TORQUE * machine.torque_constant * drive.current_limit
    allowed = {
        "current loop": current_bandwidth / LOOPS_APART,
        "sensor": speed_bandwidth_for_counts(jump, inertia, count),
        "coupling": inf if anti_resonance is None else anti_resonance / BELOW_COUPLING,
        "sensor's delay": inf if drive.delay == 0 else 1 / (2 * pi * LOOPS_APART * drive.delay),
    }
    limited_by = min(allowed, key=lambda name: allowed[name])
    speed_bandwidth = allowed[limited_by]
    if drive.stated_speed_bandwidth is not None:
        speed_bandwidth, limited_by = drive.stated_speed_bandwidth, "drive.speed_bandwidth_hz"
    position_bandwidth = drive.stated_position_bandwidth or speed_bandwidth / POSITION_APART
    return Gains(
        period=period,
        current=current_gains(machine.resistance, machine.inductance, current_bandwidth),
        current_bandwidth=current_bandwidth,
        speed=speed_gains(inertia, speed_bandwidth),
        speed_bandwidth=speed_bandwidth,
        position=2 * pi * position_bandwidth,
        position_bandwidth=position_bandwidth,
        observer=min(OBSERVER * 2 * pi * speed_bandwidth, 0.5 / period),
        limited_by=limited_by,
    )


def loop_margins(machine: Machine, drive: Drive, gains: Gains, shaft: Shaft) -> tuple[Margins, Margins, Margins]:
    """Margins of current, speed and position loop on a shaft, as sampled."""
    frequencies = loop_frequencies(min(gains.position_bandwidth, gains.speed_bandwidth) / 300, gains.period)
    current = current_open_loop(frequencies, gains.period, machine.resistance, machine.inductance, gains.current)
    rigid = shaft.stiffness == inf or shaft.load <= 0
    motor = shaft.whole if rigid else shaft.rotor
    answer = shaft_response(frequencies, gains.period, motor, shaft.load, inf if rigid else shaft.stiffness)
    speed, position = motion_open_loops(
        frequencies, gains.period, answer, current / (1 + current), (*gains.speed, gains.position), gains.observer,
        drive.delay,
    )  # fmt: skip
    return margins(current, frequencies), margins(speed, frequencies), margins(position, frequencies)


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
    top_speed: float | None,
    modulation: float | None,
) -> DriveResult:
    """Driver fit and gains; ``top_speed`` of the motor [rad/s]; ``modulation``: most voltage of the motion, of what
    there is.
    """
    gains = chosen_gains(machine, drive, shaft.whole, shaft.anti_resonance)
    bare = chosen_gains(machine, drive, shaft.rotor, None)
    current, speed, position = loop_margins(machine, drive, gains, shaft)
    with_bare = loop_margins(machine, drive, bare, shaft)[2]
    return DriveResult(
        **_fit(machine, drive, top_speed, modulation),
        **_sense(machine, drive, load, ratio),
        count_electrical=2 * pi * machine.pole_pairs / drive.counts,
        misalignment=1 - cos(min(pi, machine.pole_pairs * (sensor_error(drive) + pi / drive.counts))),
        slowest=2 * pi / drive.counts * gains.observer,
        control_rate=drive.control,
        current_kp=gains.current[0],
        current_ki=gains.current[1],
        current_bandwidth=gains.current_bandwidth,
        current_margin=_finite(current.phase),
        current_factor=_finite(current.gain),
        speed_bandwidth=gains.speed_bandwidth,
        speed_limited_by=gains.limited_by,
        speed_kp=gains.speed[0],
        speed_ki=gains.speed[1],
        speed_margin=_finite(speed.phase),
        speed_factor=_finite(speed.gain),
        position_bandwidth=gains.position_bandwidth,
        position_kp=gains.position,
        position_margin=_finite(position.phase),
        observer=gains.observer,
        bare_speed_kp=bare.speed[0],
        bare_speed_ki=bare.speed[1],
        bare_position_kp=bare.position,
        bare_margin=_finite(with_bare.phase),
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


def _fit(machine: Machine, drive: Drive, top_speed: float | None, modulation: float | None) -> dict[str, Any]:
    """Ripple and faults."""

    def at(part: float) -> tuple[float, float]:
        return pulse_ripple(
            drive.supply, machine.inductance, drive.pwm, part, machine.phases, machine.h_bridges, machine.resistance
        )

    worst = worst_ripple(machine, drive)
    wanted = RIPPLE_PART * drive.current_limit
    found: dict[str, Any] = {
        "ripple": worst,
        "ripple_heat": machine.phases * machine.hot_resistance * at(1.0)[1] ** 2,
        "pwm_wanted": drive.pwm * worst / wanted,
        "added_inductance": machine.inductance * (worst / wanted - 1) if worst > wanted else None,
        "stall_current": machine.stall_voltage(drive.supply) / machine.resistance,
    }
    if modulation is not None:
        found["ripple_at_job"] = at(min(1.0, modulation))[0]
    if top_speed is not None:
        found["electrical_frequency"] = machine.pole_pairs * top_speed / (2 * pi)
        found["short_current"] = short_circuit_current(
            top_speed, machine.resistance, machine.inductance, machine.pole_pairs, machine.psi
        )
    return found


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
