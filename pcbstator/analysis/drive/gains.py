"""Gains of the control loops by rule, and the margins that they leave on the real shaft."""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot, inf, pi, sqrt

from pcbstator.analysis.drive.equivalent_machine import Machine
from pcbstator.analysis.drive.load_cycle import LoadValues
from pcbstator.design.sections.job import Drive, Load
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

LOOPS_APART = 10.0  # current loop over speed loop (common practice, no source)
POSITION_APART = 5.0  # speed loop over position loop (common practice, no source)
COUNT_TORQUE = 0.1  # of the peak torque, that a count may shake (common practice, no source)
BELOW_COUPLING = 3.0  # the load's own frequency on its coupling over the speed loop (common practice, no source)


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
