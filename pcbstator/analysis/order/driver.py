"""Driver and supply to buy: currents, voltage, current measurement, switching frequency, control rate."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, log2, sqrt
from typing import TYPE_CHECKING

from pcbstator.analysis.drive.driver_fit import RIPPLE_PART
from pcbstator.analysis.drive.equivalent_machine import Machine
from pcbstator.analysis.drive.gains import LOOPS_APART
from pcbstator.analysis.drive.records import DriveResult, MotionResult
from pcbstator.analysis.drive.ripple import CLOSE, ripple_at
from pcbstator.analysis.fields import Bounds
from pcbstator.analysis.thermal.records import ThermalResult
from pcbstator.design.sections.job import Drive
from pcbstator.physics.drive.supply import voltage_needed

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign

SAFE_VOLTAGE = 60.0  # V, direct, ripple-free: above it a touch may harm (IEC 61140, from memory)
HEADROOM = 1.1  # of the voltage, for the current loop (common practice, no source)
SAMPLES = 20.0  # of the control in a period of what it follows (common practice, no source)
CONVERTER_BITS = 12  # of the converters in usual controllers (common practice, no source)
SHARE = 0.1  # of an allowed error or ripple that one of its causes may take (common practice, no source)
DEAD_PART = 0.05  # of a period that dead time may take (common practice, no source)
ROUNDS = 40


@dataclass(frozen=True)
class Job:
    """What is known of a motor at its job; current: peak of a terminal, rms: of a terminal, with the reserve that the
    requirement asks for [A]; reserve: that reserve, one and more [-]."""

    design: SizedDesign
    drive: Drive
    motion: MotionResult
    fit: DriveResult
    thermal: ThermalResult
    current: float
    rms: float
    reserve: float

    @property
    def machine(self) -> Machine:
        """At its terminals."""
        return self.fit.machine

    @property
    def top_speed(self) -> float:
        """Of the motor [rad/s]."""
        return (self.motion.top_speed or 0.0) * self.drive.gear_ratio

    @property
    def reserve_words(self) -> str:
        """Of the reserve, as an end of a sentence."""
        return f", with the reserve of {100 * (self.reserve - 1):.3g} %" if self.reserve > 1 else ""


def continuous_bounds(job: Job) -> Bounds:
    """Rms current of a terminal."""
    stands, most = job.thermal.continuous_current, None
    if stands is not None:
        most = job.machine.peak_current(stands) / sqrt(2)
    return Bounds(
        job.rms, most, f"heats as the motion does{job.reserve_words}",
        f"what the motor stands: {job.thermal.limited_by}" if most is not None else "",
    )  # fmt: skip


def peak_bounds(job: Job) -> Bounds:
    """Peak current of a terminal."""
    machine, drive = job.machine, job.drive
    voltage = max(machine.voltage_limit(drive.supply - drive.sag) - machine.driver.lost, 0.0)
    most, why = voltage / machine.hot_resistance, "what the supply drives through the hot winding at standstill"
    if job.thermal.peak_1_cold is not None:
        second = machine.peak_current(job.thermal.peak_1_cold)
        if second < most:
            most, why = second, "what the motor stands for 1 s from cold"
    return Bounds(job.current, most, f"peak of the motion{job.reserve_words}", why, drive.current_limit)


def supply_bounds(job: Job) -> Bounds:
    """Voltage of the supply."""
    machine, drive = job.machine, job.drive
    needed = float(voltage_needed(job.top_speed, job.current, machine.hot_resistance, machine.inductance,
                                  machine.pole_pairs, machine.psi, machine.driver.lost))  # fmt: skip
    least = HEADROOM * needed / machine.voltage_limit(1.0) + drive.sag
    words = f"the peak current at the top speed{job.reserve_words}, a tenth for the current loop on top"
    most, why = SAFE_VOLTAGE, "above 60 V a touch may harm"
    allowed = RIPPLE_PART * (job.motion.peak_current or job.current)
    if _ripple(job, SAFE_VOLTAGE) > allowed:
        low = _voltage_at_ripple(job, allowed)
        most, why = low, f"the ripple of switching at {1e-3 * drive.pwm:.3g} kHz is a fifth of the motion's peak then"
    return Bounds(least, most, words, why, drive.supply)


def _voltage_at_ripple(job: Job, allowed: float) -> float:
    """Supply [V] below the safe voltage at which the motion's ripple is as allowed [A]: false position (Illinois)."""
    low, high = 0.0, SAFE_VOLTAGE
    under, over = -allowed, _ripple(job, high) - allowed
    for _ in range(ROUNDS):
        middle = (low * over - high * under) / (over - under)
        found = _ripple(job, middle) - allowed
        if abs(found) < CLOSE * allowed:
            return middle
        if found > 0:
            high, over, under = middle, found, under / 2
        else:
            low, under, over = middle, found, over / 2
    return low


def _ripple(job: Job, supply: float) -> float:
    """Ripple [A] at the highest voltage of the motion with another supply [V]."""
    drive = job.drive
    used = (job.motion.voltage_part or 0.0) * (drive.supply - drive.sag) / max(supply, 1e-6)
    other = drive.model_copy(update={"supply": max(supply, 1e-6)})
    return ripple_at(job.machine, other, min(1.0, used))


def supply_current_bounds(job: Job) -> Bounds | None:
    """Direct current of the supply."""
    found, machine, drive = job.motion.supply_peak, job.machine, job.drive
    if found is None:
        return None
    limit = drive.current_limit
    whole = (
        machine.copper_loss(limit) + float(machine.outer_loss(limit)) + machine.torque_constant * limit * job.top_speed
    )
    words, fixed = "largest of the motion", machine.driver.fixed / drive.supply
    if job.reserve > 1:
        words += f", times the square of {job.reserve:.3g} for the reserve"
        words += ", but for the quiescent loss" if fixed else ""
    return Bounds(
        fixed + (found - fixed) * job.reserve**2,
        whole / drive.supply,
        words,
        "the driver at its current limit and the top speed: a fuse",
    )


def sense_bounds(job: Job) -> tuple[Bounds, Bounds | None]:
    """Range and bits of the current measurement."""
    ripple = (job.fit.ripple_at_job or 0.0) / 2
    least = max(job.current, job.drive.current_limit) + ripple
    words = "the current limit, or the motion's peak where that is more, and half of the ripple"
    steps = _steps(job)
    if not steps:
        return Bounds(least, None, words), None
    step, why = min(steps)
    wide = step * 2 ** (CONVERTER_BITS - 1)
    bits = max(1, ceil(log2(2 * least / step)))
    drift, most, own = SHARE * job.drive.current_offset * job.drive.current_limit, None, ""
    if drift > 0:
        most = max(bits, ceil(log2(2 * least / drift)))
        own = f"finer than a tenth of the sensors' own offset, {1e3 * drift / SHARE:.3g} mA"
        if drift >= step:
            own = f"the sensors' own offset, {1e3 * drift / SHARE:.3g} mA, is more than ten such steps"
    return (
        Bounds(least, max(wide, least), words, f"12 bits still resolve {1e3 * step:.3g} mA"
               if wide >= least else "12 bits do not do: as little as the current allows"),
        Bounds(bits, most, f"steps of {1e3 * step:.3g} mA: {why}",
               own),
    )  # fmt: skip


def _steps(job: Job) -> list[tuple[float, str]]:
    """Steps of the current [A] that do, with what asks for each."""
    fit, asked, ratio, found = job.fit, job.design.requirement, job.drive.gear_ratio, []
    constant = job.machine.torque_constant
    if fit.sense_step is not None:
        found.append((fit.sense_step, "a tenth of the friction"))
    if asked is not None and asked.slow_speed and asked.speed_ripple:
        torque = SHARE * asked.speed_ripple * asked.slow_speed * ratio * fit.speed_kp
        found.append((torque / constant, "a tenth of the ripple allowed at the slow speed"))
    if asked is not None and asked.position_error:
        torque = SHARE * asked.position_error * ratio * fit.speed_kp * fit.position_kp
        found.append((torque / constant, "a tenth of the position error, by the stiffness of the loops"))
    return found


def control_bounds(job: Job) -> Bounds:
    """Rate of the loops [kHz]."""
    fit = job.fit
    loops, turning = SAMPLES * LOOPS_APART * fit.speed_bandwidth, SAMPLES * (fit.electrical_frequency or 0.0)
    least = max(loops, turning)
    words = f"20 samples for a current loop ten times as fast as the speed loop of {fit.speed_bandwidth:.3g} Hz"
    if turning > loops:
        words = f"20 samples in an electrical period at the top speed, {fit.electrical_frequency:.3g} Hz"
    return Bounds(1e-3 * least, 1e-3 * job.drive.pwm, words, "the switching frequency", 1e-3 * job.drive.control)


def pwm_bounds(job: Job, control: Bounds) -> Bounds:
    """Switching frequency [kHz]."""
    machine, drive = job.machine, job.drive
    allowed = RIPPLE_PART * (job.motion.peak_current or job.current)
    part, frequency = min(1.0, job.motion.voltage_part or 0.0), drive.pwm
    for _ in range(ROUNDS):  # the ripple goes nearly with one over the frequency
        over = min(max(ripple_at(machine, drive, part, frequency) / allowed, 0.1), 10.0)
        frequency *= over
        if abs(over - 1) < CLOSE:
            break
    rate = 1e3 * (control.least or 0.0)
    words = "ripple of a fifth of the motion's peak current"
    if drive.choke:
        words += f", with chokes of {1e6 * drive.choke:.4g} µH"
    if rate > frequency:
        frequency, words = rate, "the control rate"
    most = DEAD_PART / (2 * drive.dead_time) if drive.dead_time > 0 else None
    why = f"dead time of {1e9 * drive.dead_time:.3g} ns takes a twentieth of the time" if most else ""
    return Bounds(1e-3 * frequency, 1e-3 * most if most else None, words, why, 1e-3 * drive.pwm)
