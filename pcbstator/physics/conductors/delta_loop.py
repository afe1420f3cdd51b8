"""The current that flows around a delta: what the EMFs of all phases have in common drives it, no terminal sees it.

In a balanced three-phase machine these are the harmonics 3, 9, 15, ...; with m phases the odd multiples of m.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pcbstator.errors import LawRangeError

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class DeltaLoop:
    """What drives and what limits the current around a delta, per phase, SI.

    phases: in series around the loop. orders: (n,) electrical frequency of each harmonic over the mechanical one. emf:
    (n,) peak of what the phase EMFs have in common, at 1 mechanical rad/s [V s/rad]. resistance: of a phase [ohm].
    inductance: of a phase when all carry the same current, self plus all mutual ones [H].
    """

    phases: int
    orders: FloatArray
    emf: FloatArray
    resistance: float
    inductance: float

    def __post_init__(self) -> None:
        if self.resistance <= 0 or self.inductance < 0:
            raise LawRangeError(
                "the loop of a delta needs a resistance above zero and an inductance of zero or more; got "
                f"{self.resistance:g} ohm and {self.inductance:g} H"
            )


def loop_currents(loop: DeltaLoop, speed: ArrayLike) -> FloatArray:
    """Peak of every harmonic of the current around a delta, steady.

    loop: resistance [ohm], inductance [H] and EMF [V s/rad] of a phase; speed: mechanical [rad/s], any shape. Returns
    (..., n) [A]. Any speed of either sense; skin effect left out. Source: derived here, a textbook R-L circuit: the sum
    of the phase EMFs on the sum of the phase impedances, E_h / |R + j h w L|.

    >>> three = DeltaLoop(3, np.array([24.0]), np.array([0.05]), 3.0, 4.0 / 2400)  # 5 V on 3 + 4j ohm
    >>> loop_currents(three, 100.0).round(9).tolist()
    [1.0]
    """
    turning = np.abs(np.asarray(speed, dtype=float))[..., None]
    return np.asarray(turning * loop.emf / np.hypot(loop.resistance, turning * loop.orders * loop.inductance))


def loop_loss(loop: DeltaLoop, speed: ArrayLike) -> FloatArray:
    """Heat of the current around a delta, all phases together.

    loop: resistance [ohm], inductance [H] and EMF [V s/rad] of a phase; speed: mechanical [rad/s], any shape. Returns
    (...) [W]: with the square of the speed as long as the resistance limits the current, and no further where the
    inductance does. Source: derived here, phases / 2 · R · sum of the squared peaks.

    >>> three = DeltaLoop(3, np.array([24.0]), np.array([0.05]), 3.0, 4.0 / 2400)
    >>> round(float(loop_loss(three, 100.0)), 9)
    4.5
    """
    return np.asarray(loop.phases / 2 * loop.resistance * (loop_currents(loop, speed) ** 2).sum(axis=-1))


def loop_torque(loop: DeltaLoop, speed: ArrayLike) -> FloatArray:
    """Mean torque with which the current around a delta brakes the rotor, against the sense of turning.

    loop: resistance [ohm], inductance [H] and EMF [V s/rad] of a phase; speed: mechanical [rad/s], any shape. Returns
    (...) [N m], with the sign of the speed, 0 at rest. Source: derived here: its heat comes from the shaft,
    ``loop_loss`` over speed.

    >>> three = DeltaLoop(3, np.array([24.0]), np.array([0.05]), 3.0, 4.0 / 2400)
    >>> loop_torque(three, [-100.0, 0.0]).round(9).tolist()
    [-0.045, 0.0]
    """
    turning = np.asarray(speed, dtype=float)
    return np.asarray(loop_loss(loop, turning) / np.where(turning == 0, 1.0, turning))
