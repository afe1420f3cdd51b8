"""Speed and acceleration of a move that just takes its time, in the units of a design file."""

from __future__ import annotations

from itertools import pairwise
from math import ceil, floor, log10, sqrt
from typing import TYPE_CHECKING

from pcbstator.analysis.drive.records import DEGREE

if TYPE_CHECKING:
    from pcbstator.design import Design

IN_TIME = 0.98  # of the time that a move may take
MOVE, MOVE_TIME = 90.0, 3.0  # degrees and s, where nothing is said of a motion


def longest_move(design: Design) -> float:
    """The longest single move [deg]; 0 where there is none."""
    motion = design.motion
    if motion is None or (motion.move is None and motion.stops is None):
        return 0.0
    stops = (0.0, motion.move) if motion.stops is None else (*motion.stops, motion.stops[0])
    return max(abs((b or 0.0) - (a or 0.0)) for a, b in pairwise(stops)) * DEGREE


def profile(
    move: float, time: float | None, speed: float | None, rate: float | None, jerk: float | None
) -> tuple[float, float, str]:
    """Speed [rpm] and acceleration [deg/s2] of a move [deg] in a time [s], and why they are so.

    The gentlest: ramps of a third of the time each need least rms torque against inertia.
    """
    why = f"for moves in {time:.3g} s" if time else "gentle: a third of the move to speed up, a third to brake"
    turning = None if speed is None else 6.0 * speed  # deg/s
    if time is None:
        time = 1.5 * move / turning if turning else sqrt(4.5 * move / rate) if rate else MOVE_TIME * sqrt(move / MOVE)
    if turning is not None:
        cruise = move / turning
        ramp = time - cruise if time > 1.02 * cruise else cruise / 2
        if jerk:
            ramp = _without_bend(ramp, turning, jerk)
        return 1.0 * (speed or 0.0), rounded(turning / ramp, 3), why
    if rate is not None:
        spare = (rate * time) ** 2 - 4 * rate * move
        fastest = (rate * time - sqrt(spare)) / 2 if spare > 0 else sqrt(rate * move)
        return rounded(fastest / 6.0, 3), rate, why
    ramp = time / 3
    if jerk:
        ramp = _without_bend(ramp, 1.5 * move / time, jerk)
    return rounded(1.5 * move / time / 6.0, 3), rounded(1.5 * move / time / ramp, 3), why


def gentlest(move: float, time: float, bend: float = 0.0) -> tuple[float, float, float]:
    """Speed [rpm], acceleration [deg/s2] and jerk [deg/s3] of the gentlest move [deg] in a time [s].

    A ramp of a third of the time, at whose ends the acceleration grows and falls for the time ``bend`` [s], half a
    ramp at most: a = v / (ramp - bend), j = a / bend. The jerk is 0 where the acceleration steps.

    >>> gentlest(90.0, 3.0), gentlest(90.0, 3.0, 0.1)
    ((7.5, 45.0, 0.0), (7.5, 50.0, 500.0))
    """
    ramp, turning = time / 3, 1.5 * move / time
    bend = min(bend, ramp / 2)
    rate = turning / (ramp - bend)
    return rounded(turning / 6.0), rounded(rate), rounded(rate / bend) if bend else 0.0


def _without_bend(ramp: float, speed: float, jerk: float) -> float:
    """Time [s] to speed [deg/s] without the bends of the jerk [deg/s3], which lengthen it: ramp = v / a + a / j."""
    spare = ramp**2 - 4 * speed / jerk
    return (ramp + sqrt(spare)) / 2 if spare > 0 else ramp / 2


def rounded(value: float, digits: int = 2, up: bool = True) -> float:
    """A value to a few digits, as anybody would write it, rounded up or down, so that it stays on the safe side.

    >>> rounded(0.1234), rounded(87.9, up=False), rounded(15.01, 3)
    (0.13, 87.0, 15.1)
    """
    if value == 0:
        return 0.0
    step = 10.0 ** (floor(log10(abs(value))) - digits + 1)
    count = (ceil if up else floor)(value / step + (-1e-9 if up else 1e-9))
    return float(f"{count * step:.6g}")
