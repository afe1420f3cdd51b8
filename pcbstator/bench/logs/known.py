"""What the design says of a drive that a log is held against; all at the load, as the logs are."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from math import pi, sin, sqrt
from typing import TYPE_CHECKING

import numpy as np

from pcbstator.analysis.drive.budget.moving_errors import lost_in_legs, torque_ripple
from pcbstator.analysis.drive.driver_fit import sensor_error
from pcbstator.analysis.drive.load_cycle import LoadValues, load_values
from pcbstator.analysis.drive.positioning import Positioning, bearing_angle
from pcbstator.bench.readings import Reading
from pcbstator.bench.result import Row
from pcbstator.errors import LawRangeError
from pcbstator.physics.drive.driver_errors import current_gain_vector
from pcbstator.physics.drive.friction import spot_friction, stribeck_friction
from pcbstator.physics.drive.orders import phase_torque_order

if TYPE_CHECKING:
    from pcbstator.bench.machine_state import MachineState
    from pcbstator.design import SizedDesign

# One standard deviation of what a design assumes, over it: common practice, no source.
INERTIA_SPREAD, FRICTION_SPREAD, ERROR_SPREAD = 0.1, 0.3, 0.2
TURN = np.arange(720) * 2 * pi / 720


@dataclass(frozen=True, eq=False)
class Known:
    """The drive of a design. torque_constant: per peak ampere of a terminal [N m/A], ``torque_sigma`` of it [-];
    torque_from: where it comes from, in words; rotor_inertia, inertia: of the rotor and of all that turns [kg m2];
    drag: of eddy currents over the speed [N m s/rad].
    """

    design: SizedDesign
    pole_pairs: int
    torque_constant: float
    torque_sigma: float
    torque_from: str
    rotor_inertia: float
    inertia: float
    drag: float
    hysteresis: float
    moving_error: float
    job: Positioning | None = None

    @property
    def ratio(self) -> float:
        """Of the gear."""
        return self.design.drive.gear_ratio if self.design.drive else 1.0

    @cached_property
    def values(self) -> LoadValues:
        """Load and bearing."""
        return load_values(self.design.load, self.design.bearing)

    def friction(self, speed: float) -> float | None:
        """That of the bearing at a speed of the load [rad/s], spots left out [N m]; None where none is stated."""
        values = self.values
        if values.running <= 0:
            return None
        slow = stribeck_friction(speed, values.running, values.standstill, values.fading_speed)
        return float(slow) + values.viscous * speed

    def at_speed(self, speed: float) -> Known:
        """The same for a slow turn at this speed [rad/s]."""
        if self.job is None:
            return self
        from pcbstator.design.sections.requirement import Requirement

        asked = (self.job.requirement or Requirement()).model_copy(update={"slow_speed": speed})
        return replace(self, job=replace(self.job, requirement=asked))

    @property
    def play(self) -> float:
        """Of bearing, at the mark, and coupling [rad]."""
        if self.job is None:
            return 0.0
        return bearing_angle(self.job.drive, self.job.bearing) + self.job.play

    def orders(self, speed: float, own_sensor: bool) -> dict[int, list[NamedOrder]]:
        """Orders of a turn at a speed [rad/s] that have a name, with the amplitude that the design predicts."""
        ratio, phases = self.ratio, len(self.names)
        electrical = self.pole_pairs * ratio
        job = self.at_speed(speed).job
        told = _Predicted(job, speed, own_sensor) if job is not None else None
        named = [
            (ratio, "sensor_once_per_turn", ONCE, told.once if told else None),
            (2 * ratio, "sensor_twice_per_turn", TWICE, told.twice if told else None),
            (electrical - ratio, "magnets_unequal", MAGNETS, None),
            (electrical, "current_offset", OFFSET, told.offset if told else None),
            (electrical + ratio, "magnets_unequal", MAGNETS, None),
            (2 * electrical, "current_gain", GAIN, told.gain if told else None),
            (phase_torque_order(phases) * electrical, "dead_time_and_emf", SIXTH, told.legs_and_emf if told else None),
        ]
        found: dict[int, list[NamedOrder]] = {}
        for order, key, words, size in named:
            if order >= 1 and abs(order - round(order)) < 1e-6:
                spots = told.spots(round(order)) if told else 0.0
                expected = None if size is None else size + spots
                found.setdefault(round(order), []).append(NamedOrder(key, words, expected))
        return found

    @property
    def names(self) -> range:
        """One for each phase."""
        return range(self.design.winding.phases)


ONCE = "sensor's ring or marks off centre, tilt, unbalance"
TWICE = "sensor's chip off the centre of its magnet, tilt"
MAGNETS = "magnets placed or magnetised unequally"
OFFSET = "offset of a current sensor"
GAIN = "unequal gain of current sensors, or unequal phases"
SIXTH = "dead time, harmonics of the EMF"


@dataclass(frozen=True)
class NamedOrder:
    """What makes an order, and the amplitude that the design predicts at most [rad]; None where it says nothing."""

    key: str
    words: str
    predicted: float | None


class _Predicted:
    """Amplitudes [rad] of an uneven turn through the closed loops, as the log's angle shows them."""

    def __init__(self, job: Positioning, speed: float, own_sensor: bool) -> None:
        self.job, self.speed, self.own = job, speed, own_sensor

    def _answer(self, order: float, source: str) -> complex:
        return complex(self.job.loops.answer(order * self.speed, source))

    @property
    def once(self) -> float:
        """Of a ring or marks off centre, and of unbalance."""
        unbalance = self.job.values.unbalance
        heavy = unbalance * abs(self._answer(1, "torque")) if unbalance else 0.0
        return heavy + (self._sensor(self.job.ratio) if self.job.drive.sensor_radius is not None else 0.0)

    @property
    def twice(self) -> float:
        """Of a chip off the centre of its magnet."""
        return 0.0 if self.job.drive.sensor_radius is not None else self._sensor(2 * self.job.ratio)

    def _sensor(self, order: float) -> float:
        """Of the sensor's eccentricity; its own reading shows only what the loops do not follow."""
        follows = self._answer(order, "reading")
        return sensor_error(self.job.drive) / self.job.ratio * abs(1 + follows if self.own else follows)

    def spots(self, order: int) -> float:
        """Share of the assumed friction spots in an order."""
        if not self.job.values.spots or order >= len(TURN) // 2:
            return 0.0
        part = np.fft.rfft(spot_friction(TURN, self.job.values.spots))[order] * 2 / len(TURN)
        return float(abs(part) * abs(self._answer(order, "torque")))

    @property
    def offset(self) -> float:
        """Of the current sensors' offsets."""
        return self.job.current_offset * abs(self._answer(self.job.order, "current"))

    @property
    def gain(self) -> float:
        """Of their unequal gains, at the torque of the turn."""
        current = self.job.torque / self.job.loop_values.torque_constant
        image = abs(current_gain_vector(self.job.drive.current_gain_error, self.job.machine.phases)[1]) * current
        return image * abs(self._answer(2 * self.job.order, "current"))

    @property
    def legs_and_emf(self) -> float:
        """Of the legs' lost voltage and the EMF's harmonics."""
        return torque_ripple(self.job).angle + lost_in_legs(self.job, self.job.soft_current).angle


def known_drive(state: MachineState, rows: Sequence[Row], reading: Reading, spread: float) -> Known:
    """The drive that a log was taken on: its torque constant is that of the bench's own readings where there are some.

    rows: readings beside their prediction; spread: of built motors' torque constant, over it.
    """
    work, design = state.work, state.design
    ratio = design.drive.gear_ratio if design.drive else 1.0
    if work.drive is not None:
        constant = work.drive.machine.torque_constant
    elif work.magnetic is not None:
        phases = len(state.names)
        constant = work.magnetic.torque_constant / (2 * sin(pi / phases) if state.connection == "delta" else 1.0)
    else:
        raise LawRangeError("the design has no torque constant")
    quotient, sigma, words = _measured_constant(rows, reading, spread)
    total = work.motion.total_inertia if work.motion else None
    return Known(
        design=design,
        pole_pairs=state.pole_pairs,
        torque_constant=constant * ratio * quotient,
        torque_sigma=sigma,
        torque_from=words,
        rotor_inertia=state.inertia * ratio**2,
        inertia=total or state.inertia * ratio**2,
        drag=state.drag * ratio**2,
        hysteresis=state.hysteresis * ratio,
        moving_error=(work.motion.moving_error if work.motion else None) or 0.0,
        job=work.motion.positioning if work.motion else None,
    )


def _measured_constant(rows: Sequence[Row], reading: Reading, spread: float) -> tuple[float, float, str]:
    """Torque constant over the predicted one, its standard deviation, and where it comes from."""
    own = [
        row for row in rows
        if row.kind in ("emf", "static_torque") and (row.board, row.rotor) == (reading.board, reading.rotor)
        and not row.slip and not row.doubtful
    ]  # fmt: skip
    if not own:
        return 1.0, spread, "the predicted torque constant"
    weights = np.array([(row.predicted / row.reading_sigma) ** 2 for row in own])
    quotient = float(weights @ [row.measured / row.predicted for row in own] / weights.sum())
    return quotient, 1 / sqrt(float(weights.sum())) / quotient, "the torque constant that EMF or static torque gave"
