"""The load and its cycle as numbers: inertia, torque over a cycle, however the motion is stated."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import pairwise
from math import inf, pi
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from pcbstator.design.recorded_motion import Recording
from pcbstator.design.sections.bearing import Bearing
from pcbstator.design.sections.bodies import Body
from pcbstator.design.sections.job import Load, Motion
from pcbstator.physics.drive.friction import spot_friction
from pcbstator.physics.drive.motion import CycleSamples, Piece, cycle_samples, rest_to_rest
from pcbstator.physics.mechanics.inertia import bar_inertia, disc_inertia, point_inertia, ring_inertia

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign

FloatArray = NDArray[np.float64]
Moves = list[tuple[float, tuple[Piece, ...], float, float]]

STANDING = 1e-4  # of the top speed: what moves less, in a recorded table, rests
BODIES: dict[str, Callable[..., float]] = {
    "disc": disc_inertia,
    "ring": ring_inertia,
    "bar": bar_inertia,
    "point": point_inertia,
}


@dataclass(frozen=True)
class LoadValues:
    """The load in SI. ``spots``: middle [rad], width [rad] and extra friction [N m] of each."""

    inertia: float = 0.0
    running: float = 0.0
    standstill: float = 0.0
    viscous: float = 0.0
    unbalance: float = 0.0
    spots: tuple[tuple[float, float, float], ...] = ()
    fading_speed: float = 1.0  # [rad/s] by which most of the standstill friction has faded

    @property
    def worst_spot(self) -> float:
        """Most extra friction of a spot [N m]."""
        return max((extra for *_, extra in self.spots), default=0.0)

    @property
    def mean_friction(self) -> float:
        """Running friction with the spots spread over the turn [N m]."""
        return self.running + sum(width * extra for _, width, extra in self.spots) / (4 * pi)


def load_values(load: Load | None, bearing: Bearing | None) -> LoadValues:
    """The load with all its bodies and the friction of its bearing; nil where neither is stated."""
    values = LoadValues()
    if load is not None:
        bodies = sum(_body_inertia(body) for body in load.bodies or ())
        values = replace(values, inertia=load.inertia + bodies, unbalance=load.unbalance)
    if bearing is None:
        return values
    return replace(
        values,
        running=bearing.friction,
        standstill=bearing.standstill_friction,
        viscous=bearing.viscous,
        spots=tuple((spot.angle, spot.width, spot.extra) for spot in bearing.spots or ()),
        fading_speed=bearing.fading_speed,
    )


def _body_inertia(body: Body) -> float:
    return BODIES[body.shape](**body.model_dump(exclude={"shape"}))


@dataclass(frozen=True, eq=False)
class Cycle:
    """Samples of a cycle, torque recorded at them [N m], the longest single move [s] and its moves one by one."""

    samples: CycleSamples
    recorded: FloatArray
    move_time: float | None
    moves: Moves
    turns_for_ever: bool = False

    @property
    def top_speed(self) -> float:
        """Highest speed [rad/s]."""
        return float(np.abs(self.samples.speeds).max())


def cycle_of(design: SizedDesign) -> Cycle | None:
    """The cycle that the design asks for; None without a motion."""
    return None if design.motion is None else _cycle(design.motion, design.recording)


@lru_cache(maxsize=16)
def _cycle(motion: Motion, recording: Recording | None) -> Cycle | None:
    """The cycle of a motion; many designs have the same."""
    if recording is not None:
        return _recorded_cycle(motion, recording)
    if motion.move is None and motion.stops is None:
        if motion.speed is None:
            return None
        turn = Piece(2 * pi / motion.speed, 0.0, 0.0, motion.speed, 0.0)
        moves: Moves = [(0.0, (turn,), 1.0, 0.0)]
        samples = cycle_samples(moves)
        return Cycle(samples, np.zeros_like(samples.times), None, moves, turns_for_ever=True)
    moves = _moves(motion)
    samples = cycle_samples(moves)
    longest = max(sum(piece.duration for piece in pieces) for _, pieces, *_ in moves)
    return Cycle(samples, np.zeros_like(samples.times), longest, moves)


def _moves(motion: Motion) -> Moves:
    """Start, pieces, sense and rest of every move."""
    speed, acceleration = motion.speed or inf, motion.acceleration or inf
    stops = motion.stops if motion.stops is not None else (0.0, motion.move or 0.0)
    moves = list(pairwise((*stops, stops[0]) if motion.stops is not None else stops))
    return [
        (
            start,
            rest_to_rest(abs(end - start), speed, acceleration, motion.jerk or inf),
            1.0 if end > start else -1.0,
            motion.dwell,
        )
        for start, end in moves
    ]


def _recorded_cycle(motion: Motion, recording: Recording) -> Cycle:
    """A recorded table as pieces of constant jerk: a cubic spline through its angles."""
    times = np.array(recording.times)
    if recording.angles:
        from scipy.interpolate import CubicSpline

        c = CubicSpline(times, np.array(recording.angles)).c
        pieces = tuple(
            Piece(float(step), float(6 * c[0, i]), float(2 * c[1, i]), float(c[2, i]), float(c[3, i]))
            for i, step in enumerate(np.diff(times))
        )
    else:
        pieces = tuple(Piece(float(step), 0.0, 0.0, 0.0, 0.0) for step in np.diff(times))
    moves: Moves = [(0.0, pieces, 1.0, motion.dwell)]
    samples = cycle_samples(moves)
    torques = np.zeros_like(samples.times)
    if recording.torques:
        torques = np.where(samples.moving > 0, np.interp(samples.times, times, recording.torques), 0.0)
    return Cycle(samples, torques, float(times[-1]), moves)


def required_torque(cycle: Cycle, load: LoadValues, inertia: float, hold: float) -> FloatArray:
    """Torque [N m] at the samples of a cycle; ``inertia``: of all that turns [kg m2], ``hold`` [N m] at rest.

    Spots count with their mean here. Where the load stands, the integral of the speed loop may hold as much against its
    standstill friction as that bears, beside gravity: what it does hold is left to chance (docs/control.md).
    """
    s, spots = cycle.samples, load.mean_friction - load.running
    steady = np.where(s.moving > 0, cycle.recorded, hold) + load.unbalance * np.sin(s.angles)
    pushed = inertia * s.accelerations + load.viscous * s.speeds
    held = load.standstill + (np.maximum(spots, spot_friction(s.angles, load.spots)) if load.spots else 0.0)
    slow = np.abs(s.speeds) <= STANDING * cycle.top_speed
    stands = (s.moving == 0) | (slow & (np.abs(pushed) <= held) & (cycle.top_speed > 0))
    moved = pushed + np.where(slow, 0.0, np.sign(s.speeds) * load.mean_friction)
    return np.asarray(steady + np.where(stands, np.copysign(held, steady), moved))


def peak_torque(torque: FloatArray, load: LoadValues) -> float:
    """Largest torque [N m]: on the worst spot where that falls on the peak, and at least what starts the load."""
    return max(float(np.abs(torque).max()) + spot_extra(load), load.standstill + load.worst_spot)


def spot_extra(load: LoadValues) -> float:
    """Torque [N m] of the worst spot beyond the mean with which spots count over the turn."""
    return max(0.0, load.worst_spot - (load.mean_friction - load.running)) if load.spots else 0.0


def with_friction(load: LoadValues, added: float) -> LoadValues:
    """The load with more friction [N m], moving and from rest."""
    return replace(load, running=load.running + added, standstill=load.standstill + added)
