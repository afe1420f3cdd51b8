"""A drive in time: winding, rotor, load. ``time_steps.py`` holds the steps themselves."""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, inf, sqrt
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from pcbstator.errors import LawRangeError
from pcbstator.physics.drive.driver_errors import phase_units
from pcbstator.physics.drive.run_records import Body

if TYPE_CHECKING:
    from pcbstator.physics.drive.time_steps import PlantConstants

CONTACT_DAMPING = 0.05  # of a coupling or of teeth that touch, part of critical (common practice, no source)
RUNS_AWAY = (
    "the steps of time cannot follow this load: it swings too fast; a smaller unbalance, a softer coupling, more "
    "inertia, or a faster control rate"
)


@dataclass(frozen=True)
class PlantValues:
    """What does not change while it runs, SI. ``slopes``: phase linkage per angle of the load in the rotor's frame over
    ``electrical_turns`` [Wb/rad], without its end point; ``spots``: extra friction over one turn of the load [N m].
    ``loop_slopes``: what the phases of a delta have in common, per phase of the star [Wb/rad], empty without one.
    ``cogging``: torque on the motor over one turn of it, at the load [N m]; ``motor_turns`` in a turn of the load.
    ``load_inertia`` and ``stiffness`` count where motor and load are apart; else ``inertia`` is that of all.
    """

    phases: int
    pole_pairs: float
    resistance: float
    inductance: float
    slopes: tuple[complex, ...]
    inertia: float
    load_inertia: float = 0.0
    stiffness: float = inf
    play: float = 0.0
    running: float = 0.0
    standstill: float = 0.0
    fading_speed: float = 0.05
    viscous: float = 0.0
    spots: tuple[float, ...] = ()
    cogging: tuple[float, ...] = ()
    motor_turns: float = 1.0
    unbalance: float = 0.0
    leg_loss: float = 0.0  # voltage that all legs of a phase lose against its current
    soft_current: float = 0.0  # below which ripple makes them lose in proportion
    heat_capacity: float = inf  # of the copper [J/K]
    temperature_coefficient: float = 0.0  # of the resistance [1/K]
    ripple_rms: float = 0.0  # ripple of the phase currents [A]
    loop_slopes: tuple[float, ...] = ()
    loop_inductance: float = 0.0  # of a phase when all carry the same current
    electrical_turns: int = 1  # above 1 where the magnets differ from each other

    def __post_init__(self) -> None:
        if min(self.resistance, self.inductance, self.inertia) <= 0 or len(self.slopes) < 8:
            raise LawRangeError("resistance, inductance and inertia must be above zero, with 8 slopes or more")
        if self.loop_slopes and (len(self.loop_slopes) != len(self.slopes) or self.loop_inductance <= 0):
            raise LawRangeError("a loop must have as many slopes as the star, and an inductance above zero")
        if self.stiffness != inf and self.load_inertia <= 0:
            raise LawRangeError("a load on a spring must have an inertia")

    def constants(self, period: float, substeps: int) -> PlantConstants:
        """What the compiled steps take, for a period of control [s]."""
        from pcbstator.physics.drive.time_steps import PlantConstants

        # No step may carry a current beyond zero that the legs alone would end there.
        fading = 1 - exp(-period / substeps * self.resistance / self.inductance)
        reduced = self.inertia * self.load_inertia / (self.inertia + self.load_inertia)
        same = (
            "pole_pairs", "resistance", "inductance", "loop_inductance", "inertia", "load_inertia", "stiffness", "play",
            "running", "standstill", "fading_speed", "viscous", "unbalance", "leg_loss", "heat_capacity",
            "temperature_coefficient", "motor_turns",
        )  # fmt: skip
        return PlantConstants(
            step=period / substeps,
            substeps=substeps,
            half_phases=self.phases / 2,
            slopes=np.array((*self.slopes, *self.slopes[:2]), dtype=complex),  # a full turn less rounding is one
            loop_slopes=np.array((*self.loop_slopes, *self.loop_slopes[:2]), dtype=float),
            per_turn=float(len(self.slopes)),
            turns=float(self.electrical_turns),
            damping=2 * CONTACT_DAMPING * sqrt(self.stiffness * reduced) if self.stiffness != inf else 0.0,
            spots=np.array(self.spots, dtype=float),
            cogging=np.array(self.cogging, dtype=float),
            soft_current=max(self.soft_current, 2 * self.leg_loss * fading / self.resistance),
            directions=phase_units(self.phases),
            ripple_square=self.phases * self.ripple_rms**2,
            **{name: float(getattr(self, name)) for name in same},
        )


class Plant:
    """State of the drive, moved on in time by ``advance``; energies in ``state`` add up from the start [J]."""

    def __init__(self, values: PlantValues, period: float, substeps: int = 1, angle: float = 0.0) -> None:
        self.values = values
        self.constants = values.constants(period, substeps)
        self.state = Body.blank()
        self.state.resistance = values.resistance
        self.state.angle = self.state.load_angle = angle

    def advance(self, vectors: ArrayLike, pushes: ArrayLike, periods: int = 1) -> None:
        """Periods of control: a voltage that stands still in the stator [V], and torque from outside [N m], each one
        for all periods or one for each.
        """
        from pcbstator.physics.drive.time_steps import advance_all

        voltages = np.array(np.broadcast_to(np.asarray(vectors, dtype=complex), periods))
        torques = np.array(np.broadcast_to(np.asarray(pushes, dtype=float), periods))
        if not advance_all(self.state, self.constants, voltages, torques):
            raise LawRangeError(RUNS_AWAY)

    def stored(self) -> float:
        """Energy [J] in the speed of the bodies, in the winding and in the spring."""
        values, state = self.values, self.state
        energy = values.phases / 2 * values.inductance / 2 * abs(state.current) ** 2
        energy += values.phases * values.loop_inductance / 2 * state.loop_current**2
        energy += values.inertia * state.speed**2 / 2
        if values.stiffness != inf:
            pressed = max(0.0, abs(state.angle - state.load_angle) - values.play / 2)
            energy += values.load_inertia * state.load_speed**2 / 2 + values.stiffness * pressed**2 / 2
        return float(energy)
