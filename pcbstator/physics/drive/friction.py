"""Friction of slow drives: falling from standstill to running, spots around the turn, and the error it leaves."""

from __future__ import annotations

from collections.abc import Iterable
from math import pi

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pcbstator.physics.conductors.resistance import require_positive

FloatArray = NDArray[np.float64]


def stribeck_friction(speed: ArrayLike, running: float, standstill: float, fading_speed: float) -> FloatArray:
    """Size of the friction torque of a bearing that moves.

    speed: [rad/s]; running, standstill: at speed and from rest [N m]; fading_speed: at which 1/e of the difference is
    left [rad/s]. Returns (...) [N m]. Source: Stribeck's curve in its usual Gaussian form, from memory.

    >>> stribeck_friction([0.0, 1.0, 9.0], 0.01, 0.02, 1.0).round(5).tolist()
    [0.02, 0.01368, 0.01]
    """
    require_positive(fading_speed=fading_speed)
    ratio = np.asarray(speed, dtype=float) / fading_speed
    return np.asarray(running + (standstill - running) * np.exp(-(ratio**2)))


def spot_friction(angle: ArrayLike, spots: Iterable[tuple[float, float, float]]) -> FloatArray:
    """Extra friction of spots around the turn, each rising and falling as a squared cosine over its width.

    angle: [rad]; spots: middle [rad], width [rad], extra [N m] of each. Returns (...) [N m]. The mean over a turn is
    extra times width over 4 pi. Source: derived here.

    >>> spot_friction([0.0, 0.05, 1.0], [(0.0, 0.2, 0.004)]).round(6).tolist()
    [0.004, 0.002, 0.0]
    """
    turned = np.asarray(angle, dtype=float)
    total = np.zeros_like(turned)
    for middle, width, extra in spots:
        away = np.mod(turned - middle + pi, 2 * pi) - pi
        total += np.where(np.abs(away) < width / 2, extra * np.cos(pi * away / width) ** 2, 0.0)
    return total


def friction_error(friction: float, speed_gain: float, position_gain: float) -> float:
    """Error that friction leaves in a position loop without integral action.

    friction: [N m]; speed_gain: torque per speed error [N m s/rad]; position_gain: speed per position error [1/s].
    Returns [rad]: the steady following error of a slow turn (running friction, speed fed forward), and the half width
    of the dead band at rest (standstill friction). Source: derived here: friction = speed_gain · position_gain · error.

    >>> round(friction_error(0.01, 0.05, 20.0), 9)
    0.01
    """
    require_positive(speed_gain=speed_gain, position_gain=position_gain)
    return friction / (speed_gain * position_gain)
