"""What a move leaves behind at its end, and what friction holds until the integral of the speed loop has acted."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from math import ceil, inf

import numpy as np
from numpy.typing import NDArray

from pcbstator.physics.conductors.resistance import require_positive
from pcbstator.physics.drive.loop_response import ANGLE, SEEN, SPEED, SUM, Loops
from pcbstator.physics.drive.motion import Piece

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]
Friction = Callable[[FloatArray], FloatArray]  # torque [N m] at a speed [rad/s]
Places = Callable[[FloatArray], FloatArray]  # more of it [N m] at an angle before the target [rad]

FINE = 80  # steps of the part of a move that is looked at closely
STARTING = np.arange(60) / 60  # steps of the start, of its time
BETWEEN = np.arange(41) / 40  # steps between the slow parts, of the time between
LEAST_STEPS = 100  # of a move
STEPS_OF_SWING = 8  # for every radian of a swing
CLOSER = np.geomspace(1e-6, 1.0, 100)  # of a move, before its end
TIMES = 3  # friction looked up again at the speed that it leaves


def held_error(friction: float, stiffness: float, integral_time: float, rest: float) -> float:
    """Largest error at which friction can still hold a load that stands.

    friction: from standstill [N m]; stiffness: torque per error before the integral acts [N m/rad]; integral_time: in
    which the integral adds as much again [s]; rest: time since the load stands [s]. Returns [rad], friction over
    stiffness at once, nothing after for ever. Source: derived here: stiffness · error · (1 + rest/time) = friction.

    >>> held_error(0.01, 1.0, 0.1, 0.0), round(held_error(0.01, 1.0, 0.1, 0.9), 6)
    (0.01, 0.001)
    """
    require_positive(stiffness=stiffness, integral_time=integral_time)
    return friction / stiffness / (1 + rest / integral_time)


def release_time(friction: float, stiffness: float, integral_time: float, error: float, held: float = 0.0) -> float:
    """Time for which friction holds a load that stands off its target.

    friction: from standstill [N m]; stiffness: torque per error before the integral acts [N m/rad]; integral_time: in
    which the integral adds as much again [s]; error: [rad]; held: of the integral as the load came to stand, towards
    the target [N m]. Returns [s], infinite without an error. Source: derived here, the inverse of ``held_error``.

    >>> round(release_time(0.01, 1.0, 0.1, 0.001), 6), round(release_time(0.01, 1.0, 0.1, 0.001, 0.005), 6)
    (0.9, 0.4)
    """
    require_positive(stiffness=stiffness, integral_time=integral_time)
    return integral_time * max(0.0, (friction - held) / stiffness / error - 1) if error > 0 else inf


def modes_after(loops: Loops, pieces: Sequence[Piece]) -> ComplexArray:
    """The loops' modes at the end of a move from rest: how late they follow what is asked.

    loops: closed [SI]; pieces: of the move [SI]. Returns (modes,) [SI]. Source: derived here; sums of a geometric
    series.

    >>> from pcbstator.physics.drive.loop_response import LoopValues, closed_loops
    >>> loops = closed_loops(LoopValues(1e-4, 1.0, 1e-3, 0.04, 0.06, 1e-4, (0.6, 600.0), 0.02, 0.8, 20.0, 800.0))
    >>> bool(abs(modes_after(loops, [Piece(1.0, 0.0, 0.0, 1.0, 0.0)])).max() == 0.0)  # a constant speed
    True
    """
    h, poles = loops.values.period, loops.poles
    accelerated, jerked = loops.entering("acceleration"), loops.entering("jerk")
    modes = np.zeros(len(poles), dtype=complex)
    for piece in pieces:
        count = piece.duration / h
        left = np.exp(count * np.log(poles))
        steady = (1 - left) / (1 - poles)
        rising = (count - steady) / (1 - poles)
        modes = left * modes + accelerated * (piece.acceleration * steady + piece.jerk * h * rising)
        modes = modes + jerked * piece.jerk * steady
    return np.asarray(modes)


def offset_left(loops: Loops, time: float) -> float:
    """What is left of an angle by which a load stood off its target, once friction has let it go.

    loops: closed [SI]; time: since then [s]. Returns [-]; the integral had held against the error's torque, so that
    none was in the winding. Source: derived here, in modes.

    >>> from pcbstator.physics.drive.loop_response import LoopValues, closed_loops
    >>> loops = closed_loops(LoopValues(1e-4, 1.0, 1e-3, 0.04, 0.06, 1e-4, (0.6, 600.0), 0.02, 0.8, 20.0, 800.0))
    >>> round(offset_left(loops, 0.0), 9), abs(offset_left(loops, 5.0)) < 1e-6
    (1.0, True)
    """
    stood = np.zeros(len(loops.poles))
    stood[[ANGLE, SEEN]], stood[SUM] = 1.0, loops.values.stiffness
    modes = np.linalg.solve(loops.leaves, stood)
    return float((loops.faded(np.array([time]))[0] @ (modes * loops.leaves[ANGLE])).real)


@dataclass(frozen=True, eq=False)
class Arrival:
    """The end of a move through closed loops, laid out once for any friction: ``first`` and ``last`` hold angle before
    the target [rad] and speed [rad/s] where it starts and where it stops; the rest answers to a torque there: angle,
    speed and the integral of the speed loop [N m].
    """

    first: tuple[FloatArray, FloatArray]
    last: tuple[FloatArray, FloatArray]
    freely: FloatArray  # (3, n) without friction
    lasting: FloatArray  # (3, n, m) what a torque at the start leaves of them
    kernels: FloatArray  # (3, n − 1) their answers to a torque

    def stop(self, friction: Friction, places: Places | None = None) -> tuple[float, float]:
        """Error [rad] at which the load stops under a friction that the loops do not feed forward, and what the
        integral holds there [N m].
        """
        away, speed = self.last
        early, more = (0.0, np.zeros(1)) if places is None else (places(self.first[0]), places(away))
        base = self.freely - self.lasting @ (friction(self.first[1]) + early)
        real, middles = speed, np.zeros(len(speed) - 1)
        for _ in range(TIMES):
            forced = -(friction(np.maximum(real, 0.0)) + more)
            middles = (forced[1:] + forced[:-1]) / 2
            real = speed + _answered(base[1], middles, self.kernels[1])
        falling = int(np.argmax(speed))
        stands = np.flatnonzero(real[falling:] <= 0)
        at = falling + int(stands[0]) if stands.size else len(speed) - 1
        error, integral = (_answered(base[row], middles, self.kernels[row])[at] for row in (0, 2))
        return float(error - away[at]), float(integral)

    def error(self, friction: Friction, places: Places | None = None) -> float:
        """Error [rad] at which the load stops."""
        return self.stop(friction, places)[0]


def _answered(base: FloatArray, torques: FloatArray, kernel: FloatArray) -> FloatArray:
    """A state by torques one after the other, beside what it is without."""
    found = base.copy()
    found[1:] += np.convolve(torques, kernel)[: len(torques)]
    return found


def arrival(loops: Loops, pieces: Sequence[Piece], slow: float) -> Arrival:
    """The end of a move, to look up the error at which friction stops a load there.

    loops: closed [SI]; pieces: of the move [SI]; slow: speed below which friction changes and the load is followed
    closely [rad/s]. Returns [SI]; its ``error`` is below zero where the load stops short. Source: derived here:
    linear until the load first stands, which ends what it travels; friction by the speed that it leaves.

    >>> from pcbstator.physics.drive.loop_response import LoopValues, closed_loops
    >>> from pcbstator.physics.drive.motion import rest_to_rest
    >>> loops = closed_loops(LoopValues(1e-4, 1.0, 1e-3, 0.04, 0.06, 1e-4, (0.6, 600.0), 0.02, 0.8, 20.0, 800.0))
    >>> arrival(loops, rest_to_rest(1.0, 1.0, 5.0, 100.0), 0.1).error(lambda speed: 1e-3 * (speed < 0.1)) < 0
    True
    """
    total = sum(piece.duration for piece in pieces)
    length = abs(pieces[-1].end[0])
    before = total * CLOSER
    below = _reference(pieces, np.asarray(total - before))[1] < slow
    close = float(before[-1] if below.all() else before[max(1, int(np.argmin(below)))])
    begins = min(close, total - close)  # after it, and before the end, nothing is slow
    edges: FloatArray = np.concatenate([begins * STARTING, begins + (total - close - begins) * BETWEEN])
    angle, speed, _ = _reference(pieces, (edges[1:] + edges[:-1]) / 2)
    first = (length - angle, speed)
    fades = np.diff(loops.faded(np.asarray(total - close - edges)), axis=0) * (
        loops.entering("torque") / (1 - loops.poles)
    )
    step = close / FINE
    times: FloatArray = np.asarray(np.arange(FINE + 1) * step)
    angle, speed, acceleration = _reference(pieces, times + (total - close))
    faded = loops.faded(times)
    leaves = faded * loops.leaves[[ANGLE, SPEED, SUM]][:, None, :]
    freely = (leaves @ modes_after(loops, _until(pieces, total - close))).real
    asked = np.diff(_reached(loops, faded, "acceleration"), axis=1)
    middles = (acceleration[1:] + acceleration[:-1]) / 2
    for state in range(len(freely)):
        freely[state, 1:] += np.convolve(middles, asked[state])[:FINE]
    kernels = np.diff(_reached(loops, faded, "torque"), axis=1)
    return Arrival(first, (length - angle, speed), freely, (leaves @ fades.T).real, kernels)


def _reached(loops: Loops, faded: ComplexArray, source: str) -> FloatArray:
    """Angle, speed and integral after a step of a disturbance, by what is left of every mode."""
    parts = loops.leaves[[ANGLE, SPEED, SUM]] * loops.entering(source) / (1 - loops.poles)
    return np.asarray((parts @ (1 - faded).T).real)


def swing_errors(loops: Loops, pieces: Sequence[Piece], order: float, rests: FloatArray) -> FloatArray:
    """Error that a torque of one leaves after a move, at the worst place, where it swings over the turn.

    loops: closed [SI]; pieces: of the move [SI]; order: swings per turn [-]; rests: times after the end of the move
    (n,) [s]. Returns (n,) [rad/(N m)]. Source: derived here; the integral had taken over the torque at the start.

    >>> from pcbstator.physics.drive.loop_response import LoopValues, closed_loops
    >>> from pcbstator.physics.drive.motion import rest_to_rest
    >>> loops = closed_loops(LoopValues(1e-4, 1.0, 1e-3, 0.04, 0.06, 1e-4, (0.6, 600.0), 0.02, 0.8, 20.0, 800.0))
    >>> early, late = swing_errors(loops, rest_to_rest(1.0, 5.0, 50.0), 1.0, np.array([0.0, 2.0]))
    >>> bool(late < early / 1000)
    True
    """
    total = sum(piece.duration for piece in pieces)
    length = abs(pieces[-1].end[0])
    edges = np.arange(LEAST_STEPS + ceil(order * length * STEPS_OF_SWING) + 1)
    edges = edges * total / edges[-1]
    angle = _reference(pieces, (edges[1:] + edges[:-1]) / 2)[0]
    swings = np.exp(1j * order * (angle - length)) - np.exp(-1j * order * length)
    answers = loops.faded(total - edges)
    modes = np.diff(answers, axis=0).T @ np.stack([swings.real, swings.imag], axis=1)
    modes = modes * (loops.parts("torque") / (1 - loops.poles))[:, None]
    after = (loops.faded(rests) @ modes).real @ np.array([1, 1j])
    return np.asarray(np.abs(after + (1 - np.exp(-1j * order * length)) * loops.after_step(rests, "torque")))


def _reference(pieces: Sequence[Piece], times: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Angle, speed and acceleration of a move at times since its start."""
    starts = np.concatenate([[0.0], np.cumsum([piece.duration for piece in pieces])])[:-1]
    index = np.clip(np.searchsorted(starts, times, side="right") - 1, 0, len(pieces) - 1)
    table = np.array([[p.jerk, p.acceleration, p.speed, p.angle] for p in pieces]).T
    jerk, acceleration, speed, angle = table[:, index]
    t = times - starts[index]
    return (
        np.asarray(angle + t * (speed + t * (acceleration / 2 + t * jerk / 6))),
        np.asarray(speed + t * (acceleration + t * jerk / 2)),
        np.asarray(acceleration + jerk * t),
    )


def _until(pieces: Sequence[Piece], end: float) -> list[Piece]:
    """A move cut short."""
    found, clock = [], 0.0
    for piece in pieces:
        if clock >= end:
            break
        found.append(replace(piece, duration=min(piece.duration, end - clock)))
        clock += piece.duration
    return found
