"""Moves from rest to rest, made of pieces of constant jerk, and torque over a cycle of them."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import cache
from math import ceil, inf, sqrt

import numpy as np
from numpy.typing import NDArray

from pcbstator.physics.conductors.resistance import require_positive

FloatArray = NDArray[np.float64]

NODES = 8  # of each piece: exact for the square of a torque that is a polynomial of degree 7 in time
LONGEST_PIECE = 0.25  # rad, where torque depends on the angle
MOST_PIECES = 400


@dataclass(frozen=True)
class Piece:
    """Constant jerk [rad/s3] for a time [s], from the acceleration [rad/s2], speed [rad/s] and angle [rad] on."""

    duration: float
    jerk: float
    acceleration: float
    speed: float
    angle: float

    @property
    def end(self) -> tuple[float, float]:
        """Angle and speed at its end."""
        angle, speed, _ = self.at(np.array([self.duration]))
        return float(angle[0]), float(speed[0])

    def at(self, time: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Angle, speed and acceleration at times since the piece began."""
        acceleration = self.acceleration + self.jerk * time
        speed = self.speed + time * (self.acceleration + time * self.jerk / 2)
        angle = self.angle + time * (self.speed + time * (self.acceleration / 2 + time * self.jerk / 6))
        return angle, speed, acceleration


def rest_to_rest_time(distance: float, top_speed: float, acceleration: float, jerk: float = inf) -> float:
    """Time of the fastest move from rest to rest within limits.

    distance: [rad]; top_speed: [rad/s]; acceleration: [rad/s2]; jerk: [rad/s3], infinite for a trapezoid of speed.
    Returns [s]. All positive, else LawRangeError. Source: derived here; textbook for the trapezoid: d/v + v/a, or
    2·sqrt(d/a) where top speed is not reached.

    >>> rest_to_rest_time(1.0, 0.5, 1.0), rest_to_rest_time(1.0, 9.0, 1.0)
    (2.5, 2.0)
    """
    return sum(piece.duration for piece in rest_to_rest(distance, top_speed, acceleration, jerk))


def rest_to_rest(distance: float, top_speed: float, acceleration: float, jerk: float = inf) -> tuple[Piece, ...]:
    """The pieces of the fastest move from rest to rest within limits: three for a trapezoid, up to seven for an S.

    distance: [rad]; top_speed: [rad/s]; acceleration: [rad/s2]; jerk: [rad/s3], infinite for a trapezoid of speed.
    Returns pieces, times [s]. All positive, else LawRangeError. Source: derived here.

    >>> [piece.duration for piece in rest_to_rest(1.0, 0.5, 1.0)]
    [0.5, 1.5, 0.5]
    """
    require_positive(distance=distance, top_speed=top_speed, acceleration=acceleration)
    if jerk != inf:
        require_positive(jerk=jerk)
    speed = min(top_speed, _reachable_speed(distance, acceleration, jerk))
    if jerk == inf:
        rise = [(speed / acceleration, 0.0, acceleration)]
    else:
        reached = min(acceleration, sqrt(speed * jerk))
        bend = reached / jerk
        rise = [(bend, jerk, 0.0), (speed / reached - bend, 0.0, reached), (bend, -jerk, reached)]
    rising = sum(duration for duration, *_ in rise)
    cruise = max(0.0, distance / speed - rising)
    fall = [(duration, curve, -(start + curve * duration)) for duration, curve, start in reversed(rise)]
    pieces: list[Piece] = []
    angle, now = 0.0, 0.0
    for duration, curve, start in [*rise, (cruise, 0.0, 0.0), *fall]:
        if duration > 0:
            piece = Piece(duration, curve, start, now, angle)
            pieces.append(piece)
            angle, now = piece.end
    return tuple(pieces)


def _reachable_speed(distance: float, acceleration: float, jerk: float) -> float:
    """Speed that a move could reach that brakes as soon as it has risen: rise and fall take up the distance."""
    if jerk == inf:
        return sqrt(distance * acceleration)
    bend = acceleration / jerk
    speed = acceleration * (sqrt(bend**2 + 4 * distance / acceleration) - bend) / 2
    if speed >= acceleration * bend:  # the limit of acceleration is reached
        return speed
    return float((distance**2 * jerk / 4) ** (1 / 3))


@dataclass(frozen=True, eq=False)
class CycleSamples:
    """A cycle at the nodes of a quadrature: weights [s], times [s], angles [rad], speeds [rad/s], accelerations.

    ``moving`` is 1 while it moves, 0 at rest. The sum of weight times value is the integral of the value over time.
    """

    weights: FloatArray
    times: FloatArray
    angles: FloatArray
    speeds: FloatArray
    accelerations: FloatArray
    moving: FloatArray

    @property
    def duration(self) -> float:
        """Time of the cycle [s]."""
        return float(self.weights.sum())


def cycle_samples(moves: Iterable[tuple[float, Iterable[Piece], float, float]]) -> CycleSamples:
    """A cycle of moves and rests at the nodes of a Gauss quadrature, the ends of each piece added with no weight.

    moves: start angle [rad], pieces, sense (1 or −1) and rest [s] of each. Returns samples over time [s]. Torque that
    is a polynomial in time is integrated exactly. Source: derived here.

    >>> samples = cycle_samples([(0.0, rest_to_rest(1.0, 0.5, 1.0), 1.0, 2.0)])
    >>> round(samples.duration, 12), round(float(samples.weights @ samples.speeds), 12)
    (4.5, 1.0)
    """
    nodes, weights = _quadrature()
    columns: list[FloatArray] = []
    clock = 0.0

    def add(piece: Piece, start: float, sense: float, moving: float) -> None:
        nonlocal clock
        angle, speed, acceleration = piece.at(nodes * piece.duration)
        one = np.ones_like(nodes)
        times = clock + nodes * piece.duration
        turned = [start + sense * angle, sense * speed, sense * acceleration]
        columns.append(np.stack([weights * piece.duration, times, *turned, one * moving]))
        clock += piece.duration

    for start, pieces, sense, rest in moves:
        end = 0.0
        for whole in pieces:
            for piece in _split(whole):
                add(piece, start, sense, 1.0)
            end = whole.end[0]
        if rest > 0:
            add(Piece(rest, 0.0, 0.0, 0.0, end), start, sense, 0.0)
    return CycleSamples(*np.concatenate(columns, axis=1))


@cache
def _quadrature() -> tuple[FloatArray, FloatArray]:
    """Nodes and weights on 0 to 1, the ends added with no weight."""
    nodes, weights = np.polynomial.legendre.leggauss(NODES)
    return np.concatenate([[0.0], (nodes + 1) / 2, [1.0]]), np.concatenate([[0.0], weights / 2, [0.0]])


def _split(piece: Piece) -> list[Piece]:
    """Parts short enough for torque that depends on the angle."""
    travel = abs(piece.end[0] - piece.angle)
    count = min(MOST_PIECES, max(1, ceil(travel / LONGEST_PIECE)))
    starts = np.arange(count) * piece.duration / count
    angle, speed, acceleration = piece.at(starts)
    return [
        Piece(piece.duration / count, piece.jerk, float(a), float(v), float(x))
        for x, v, a in zip(angle, speed, acceleration, strict=True)
    ]


def rms(samples: CycleSamples, values: FloatArray) -> float:
    """Root mean square over a cycle.

    samples: nodes over time [s]; values: at the nodes [any]. Returns [the same]. Source: definition, derived here.

    >>> samples = cycle_samples([(0.0, rest_to_rest(1.0, 1.0, 1.0), 1.0, 2.0)])
    >>> round(rms(samples, samples.accelerations), 9)  # two of four seconds at 1 rad/s2
    0.707106781
    """
    return sqrt(float(samples.weights @ values**2) / samples.duration)


def largest_that_fits(holds: Callable[[float], bool], highest: float) -> float | None:
    """Largest value up to ``highest`` for which something holds that fails for all larger values.

    holds: a question on a value; highest: [any]. Returns [the same], within a ten-millionth, or None where it fails
    already at zero. Source: bisection, derived here.

    >>> round(largest_that_fits(lambda x: x * x <= 2.0, 10.0), 5)
    1.41421
    """
    if not holds(0.0):
        return None
    low, high = 0.0, highest
    if holds(high):
        return high
    # The library's finders want a number that changes its sign, and may end on the side that fails.
    for _ in range(200):
        middle = (low + high) / 2
        low, high = (middle, high) if holds(middle) else (low, middle)
        if high - low <= 1e-7 * high:
            break
    return low


def sampled_moves(
    moves: Iterable[tuple[float, Iterable[Piece], float, float]], period: float, most: int
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Angle, speed and acceleration that a cycle asks for at every sample.

    moves: start angle [rad], pieces, sense (1 or −1) and rest [s] of each; period: of sampling [s]; most: samples, of
    which no more are given [-]. Returns angles [rad], speeds [rad/s], accelerations [rad/s2], each (n,).
    Source: derived here.

    >>> [round(float(a[-1]), 6) for a in sampled_moves([(0.0, rest_to_rest(1.0, 0.5, 1.0), 1.0, 0.5)], 0.5, 100)]
    [1.0, 0.0, 0.0]
    """
    columns: list[FloatArray] = []
    clock, taken = 0.0, 0
    for start, pieces, sense, rest in moves:
        end = Piece(rest, 0.0, 0.0, 0.0, 0.0)
        for piece in (*pieces, None):
            if piece is not None:
                end = Piece(rest, 0.0, 0.0, 0.0, piece.end[0])
            here = piece or end
            last = min(most, ceil((clock + here.duration) / period - 1e-9))
            angle, speed, acceleration = here.at(np.asarray(np.arange(taken, last) * period - clock, dtype=float))
            columns.append(np.stack([start + sense * angle, sense * speed, sense * acceleration]))
            taken, clock = max(taken, last), clock + here.duration
    joined = np.concatenate(columns, axis=1)
    return joined[0], joined[1], joined[2]
