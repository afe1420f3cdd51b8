"""How a load divides between balls of unequal height between two parallel plates."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq

from pcbstator.errors import LawRangeError
from pcbstator.physics.conductors.resistance import require_positive

FloatArray = NDArray[np.float64]

STEPS = 60  # of Newton's method at most, which falls steadily on this curve
STILL = 1e-15  # its last step, as a part of what there is


def force_of_approach(closer: ArrayLike, stiffness: float, give: float = 0.0) -> FloatArray:
    """Force of one ball between two plates.

    closer: by how much the plates are closer than where they touch it, below 0: they do not [m]; stiffness: of each
    contact, F = stiffness·x^1.5 [N/m^1.5]; give: of what the plate lies on [m/N]. Returns [N]. Range: stiffness above
    0, give 0 or more, else LawRangeError. Source: derived here: x = 2 (F/k)^(2/3) + give·F.

    >>> round(float(force_of_approach(2e-6, 4e9)), 6)
    4.0
    >>> round(float(force_of_approach(2e-6 + 4.0 * 0.5e-3, 4e9, give=0.5e-3)), 6)
    4.0
    """
    require_positive(stiffness=stiffness)
    if give < 0:
        raise LawRangeError("give must be 0 or more")
    x = np.maximum(np.asarray(closer, dtype=float), 0.0)
    root = np.sqrt(x / 2)
    if not give:
        return np.asarray(stiffness * root**3)
    root = np.minimum(root, np.cbrt(x / (give * stiffness)))
    touching = x > 0
    u = np.where(touching, root, 1.0)
    for _ in range(STEPS):  # the library's finder for many roots at once takes twenty times as long
        slope = 4 * u + 3 * give * stiffness * u**2
        step = np.where(touching, (2 * u**2 + give * stiffness * u**3 - x) / slope, 0.0)
        u = u - step
        if np.all(np.abs(step) <= STILL * u):
            break
    return np.asarray(np.where(touching, stiffness * u**3, 0.0))


def ball_loads(lower: ArrayLike, load: float, stiffness: float, give: float = 0.0) -> FloatArray:
    """Loads of balls of unequal height between two parallel plates.

    lower: (n,) by how much each is lower than the highest [m]; load: of all together [N]; stiffness: of each contact,
    F = stiffness·x^1.5 [N/m^1.5]; give: of what a plate lies on, under one ball [m/N]. Returns (n,) [N], 0 where a ball
    is too low to touch. Range: load and stiffness above 0, else LawRangeError; plates stay parallel. Source: derived
    here.

    >>> [round(float(force), 6) for force in ball_loads([0.0, 0.0, 0.0, 1e-3], 3.0, 4e9)]
    [1.0, 1.0, 1.0, 0.0]
    """
    require_positive(load=load, stiffness=stiffness)
    gaps = np.asarray(lower, dtype=float)
    gaps = gaps - gaps.min()
    most = 2 * (load / stiffness) ** (2 / 3) + give * load  # one ball carries all

    def excess(closer: float) -> float:
        return float(force_of_approach(closer - gaps, stiffness, give).sum()) - load

    closer = float(brentq(excess, 0.0, most * (1 + 1e-9), xtol=most * 1e-14, rtol=1e-14))
    return force_of_approach(closer - gaps, stiffness, give)
