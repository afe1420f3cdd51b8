"""What the errors of position come from: the drive and its load as numbers, at the load."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property
from itertools import pairwise
from math import inf, pi, radians
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pcbstator.analysis.drive import asked_values
from pcbstator.analysis.drive.equivalent_machine import Machine
from pcbstator.analysis.drive.gains import Gains, chosen_gains, shaft_of
from pcbstator.analysis.drive.load_cycle import LoadValues, load_values
from pcbstator.analysis.magnetic.surroundings import SurroundingsResult
from pcbstator.design.sections.bearing import Bearing
from pcbstator.design.sections.job import Drive, Load, Motion
from pcbstator.design.sections.requirement import Requirement
from pcbstator.physics.drive.coverage import counted_noise
from pcbstator.physics.drive.driver_errors import current_offset_vector, leg_voltage_loss
from pcbstator.physics.drive.friction import stribeck_friction
from pcbstator.physics.drive.loop_response import Loops, LoopValues, closed_loops
from pcbstator.physics.drive.motion import Piece, rest_to_rest
from pcbstator.physics.drive.positioning import play_angle
from pcbstator.physics.drive.supply import no_load_speed, pulse_ripple

FloatArray = NDArray[np.float64]

APPROACH = radians(5.0)  # the move before a stop where [motion] has none
LONGEST_REST, SHORTEST_REST = 1.5, 0.1  # s, where neither [requirement] nor [motion] says


def bearing_angle(drive: Drive, bearing: Bearing | None) -> float:
    """Angle [rad] by which the bearing's sideways play shows at the mark, from one end to the other."""
    if bearing is None or drive.mark_radius is None:
        return 0.0
    return play_angle(bearing.radial_play, drive.mark_radius)


@dataclass(frozen=True)
class Positioning:
    """The sections that errors of position follow from; everything else is worked out from them."""

    machine: Machine
    drive: Drive
    load: Load | None = None
    bearing: Bearing | None = None
    motion: Motion | None = None
    requirement: Requirement | None = None
    modulation: float = 0.1  # of the voltage, where the current's ripple is looked at
    surroundings: SurroundingsResult | None = None  # screws that cog, and the stray field at the sensor
    built: FloatArray | None = field(default=None, compare=False, repr=False)  # torque of drawn motors, see BuildResult

    @cached_property
    def values(self) -> LoadValues:
        """The load."""
        return load_values(self.load, self.bearing)

    @cached_property
    def gains(self) -> Gains:
        """Of the loops, at the motor."""
        shaft = shaft_of(self.machine, self.load, self.values, self.ratio)
        return chosen_gains(self.machine, self.drive, shaft.whole, shaft.anti_resonance)

    @property
    def ratio(self) -> float:
        """Of the gear."""
        return self.drive.gear_ratio

    @property
    def count(self) -> float:
        """Of the sensor, at the load [rad]; the integral waits within one."""
        return 2 * pi / self.drive.counts / self.ratio

    @cached_property
    def noise(self) -> float:
        """Of the sensor, at the load, rms, in whole counts [rad]."""
        return counted_noise(self.drive.noise / self.ratio, self.count)

    @property
    def play(self) -> float:
        """Of the coupling, in all [rad]."""
        return self.load.play if self.load else 0.0

    @property
    def current_offset(self) -> float:
        """Vector that the offsets of the current sensors make at worst [A]."""
        offset = self.drive.current_offset * self.drive.current_limit
        return abs(current_offset_vector(offset, self.machine.phases))

    @property
    def leg_loss(self) -> float:
        """Voltage that all legs of a phase lose against their current [V]."""
        drive = self.drive
        loss = leg_voltage_loss(drive.supply, drive.dead_time, drive.pwm, drive.voltage_drop)
        return 2 * loss if self.machine.h_bridges or self.machine.phases == 2 else loss

    @property
    def soft_current(self) -> float:
        """Current [A] below which its ripple makes legs lose less."""
        m, drive = self.machine, self.drive
        return pulse_ripple(
            drive.supply, m.inductance, drive.pwm, self.modulation, m.phases, m.h_bridges, m.resistance
        )[0] / 2  # fmt: skip

    @property
    def order(self) -> float:
        """Electrical turns for one of the load."""
        return self.machine.pole_pairs * self.ratio

    @cached_property
    def loops(self) -> Loops:
        """Closed, while it turns at the slow speed."""
        slope = self._friction_slope
        return closed_loops(replace(self.loop_values, friction_slope=slope)) if slope else self.moved

    @cached_property
    def moved(self) -> Loops:
        """Closed, in a move."""
        return closed_loops(self.loop_values)

    @cached_property
    def waiting(self) -> Loops:
        """Closed, at rest within the dead band."""
        return closed_loops(self.loop_values.waiting())

    @cached_property
    def loop_values(self) -> LoopValues:
        """Of the loops, at the load."""
        machine, gains, square = self.machine, self.gains, self.ratio**2
        return LoopValues(
            period=gains.period,
            resistance=machine.resistance,
            inductance=machine.inductance,
            emf=machine.pole_pairs * machine.psi * self.ratio,
            torque_constant=machine.torque_constant * self.ratio,
            inertia=self.values.inertia + machine.rotor_inertia * square,
            current_gains=gains.current,
            speed_gain=gains.speed[0] * square,
            speed_integral=gains.speed[1] * square,
            position_gain=gains.position,
            observer=gains.observer,
            viscous=self.values.viscous,
            delay=self.drive.delay,
        )

    @property
    def _friction_slope(self) -> float:
        if self.values.standstill <= self.values.running:
            return 0.0
        near = self.slow_speed * np.array([0.99, 1.01])
        low, high = stribeck_friction(near, self.values.running, self.values.standstill, self.values.fading_speed)
        return float(high - low) / (0.02 * self.slow_speed)

    @property
    def running(self) -> float:
        """Friction at the slow speed, spots left out [N m]."""
        fading = self.values.fading_speed
        friction = stribeck_friction(self.slow_speed, self.values.running, self.values.standstill, fading)
        return float(friction) + self.values.viscous * self.slow_speed

    @property
    def torque(self) -> float:
        """Of a turn at the slow speed, against gravity at its worst place, spots left out [N m]."""
        return self.running + self.values.unbalance

    @property
    def slow_speed(self) -> float:
        """Asked for, else a slower turn of the motion, else 1.5 rpm [rad/s]."""
        return asked_values.slow_speed(self.requirement, self.motion)[0]

    @property
    def small_step(self) -> float:
        """Asked for, else a smaller move of the motion, else half a degree [rad]."""
        return asked_values.small_step(self.requirement, self.motion)[0]

    @property
    def steps_count(self) -> bool:
        """Whether small steps are asked for, or no moves at all, so that they are as likely as others."""
        asked = asked_values.small_step(self.requirement, self.motion)[1] != asked_values.DEFAULT
        return asked or self.motion is None or (self.motion.move is None and self.motion.stops is None)

    @property
    def settled_within(self) -> float:
        """Asked for, else 0.05 degrees or two counts [rad]."""
        return asked_values.band(self.requirement, self.count)[0]

    @property
    def rest(self) -> float:
        """Time [s] after a move for which errors at rest count."""
        if self.requirement is not None and self.requirement.settling_time is not None:
            return self.requirement.settling_time
        if self.motion is not None and self.motion.dwell > 0:
            return self.motion.dwell
        return min(LONGEST_REST, max(SHORTEST_REST, 1.2 / self.gains.position_bandwidth))

    @cached_property
    def move(self) -> tuple[Piece, ...]:
        """The move before a stop: the longest of the motion, else five degrees."""
        motion = self.motion
        acceleration = motion.acceleration if motion else None
        if motion is not None and acceleration is not None and (motion.move is not None or motion.stops is not None):
            stops = (*motion.stops, motion.stops[0]) if motion.stops is not None else (0.0, motion.move or 0.0)
            longest = max(abs(b - a) for a, b in pairwise(stops))
            return rest_to_rest(longest, motion.speed or inf, acceleration, motion.jerk or inf)
        return self._moderate(APPROACH, inf, acceleration)

    @cached_property
    def step_move(self) -> tuple[Piece, ...]:
        """A small step, as in the simulation: accelerated as the motion is, no faster than moderate."""
        return self._moderate(self.small_step, *asked_values.stated_limits(self.motion))

    def _moderate(
        self, length: float, top: float, acceleration: float | None, jerk: float | None = None
    ) -> tuple[Piece, ...]:
        """A move no faster than the stops of the simulation are."""
        machine = self.machine
        ideal = no_load_speed(machine.voltage_limit(self.drive.supply), machine.pole_pairs, machine.psi) / self.ratio
        torque = self.loop_values.torque_constant * self.drive.current_limit
        return rest_to_rest(
            length, *asked_values.moderate_limits(torque, self.loop_values.inertia, ideal, top, acceleration, jerk)
        )

    def with_values(self, section: str, **changes: Any) -> Positioning:
        """A copy with other values in ``drive`` or ``load``; the gains follow."""
        record = getattr(self, section)
        return replace(self, **{section: record.model_copy(update=changes)})
