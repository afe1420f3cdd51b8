"""The linkage of a ring of magnets that differ from each other, from what one magnet links.

Magnet j of the ring stands at alpha_j and links Re Σ L_m·exp(−i·m·(alpha_j + alpha)) at the rotor angle alpha, so that
the ring has the harmonics L_m·Σ s_j·exp(−i·m·alpha_j). Small changes are of first order; those of the angle are exact.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]
Integers = NDArray[np.integer]


def ring_sums(weights: ComplexArray | FloatArray, places: FloatArray, orders: Integers) -> ComplexArray:
    """Σ w_j·exp(−i·m·alpha_j) over the magnets of a ring.

    weights: (draws, magnets) [any]. places: (magnets,) angles [rad]. orders: (m,) [-]. Returns (draws, m) [any].
    Any range. Derived here (discrete Fourier sum).

    >>> signs = np.array([[1.0, -1.0, 1.0, -1.0]])
    >>> sums = ring_sums(signs, np.arange(4) * np.pi / 2, np.arange(1, 7))
    >>> np.abs(sums).round(9).tolist()  # odd multiples of 2
    [[0.0, 4.0, 0.0, 0.0, 0.0, 4.0]]
    """
    return np.asarray(weights @ np.exp(-1j * np.multiply.outer(places, orders)))


def shifted_sums(signs: FloatArray, angles: FloatArray, places: FloatArray, orders: Integers) -> ComplexArray:
    """What the sum over a ring gains where its magnets are turned along the turn.

    signs: (magnets,) [-]. angles: (draws, magnets) by which each is turned [rad]. places: (magnets,) [rad].
    orders: (m,) [-]. Returns (draws, m) [-], exact. Any range. Derived here.

    >>> all_by_a_tenth = np.full((1, 4), 0.1)
    >>> gained = shifted_sums(np.array([1.0, -1, 1, -1]), all_by_a_tenth, np.arange(4) * np.pi / 2, np.array([2]))
    >>> bool(abs(gained[0, 0] - 4 * (np.exp(-0.2j) - 1)) < 1e-12)
    True
    """
    found = np.empty((len(angles), len(orders)), complex)
    step = np.exp(-1j * angles)
    power, last = np.ones_like(step), 0
    for column, order in enumerate(orders):  # powers in turn are much quicker than as many exponentials
        power = power * step ** (int(order) - last)
        last = int(order)
        found[:, column] = (power - 1) @ (signs * np.exp(-1j * order * places))
    return found


def fixed_shift(magnet: Mapping[str, ComplexArray], sums: ComplexArray, shift: ComplexArray) -> ComplexArray:
    """What a ring links more where the board lies aside, whatever the rotor's angle.

    magnet: linkages (rows, m) of one magnet for ``outwards`` and ``along``, orders without a gap between [Wb/m].
    sums: (m,) of the ring [-]. shift: (draws,) of the board, x + i·y [m].
    Returns (draws, rows, m) [Wb]. First order in the shift. Derived here: a magnet at the angle phi is seen moved by
    −shift, outwards −Re(shift·exp(−i·phi)), along the turn −Im(shift·exp(−i·phi)).

    >>> one = {"outwards": np.ones((1, 4), complex), "along": np.zeros((1, 4), complex)}
    >>> float(fixed_shift(one, np.array([0, 1.0, 0, 0]), np.array([0.1 + 0j]))[0, 0, 1].real.round(3))
    -0.1
    """
    outwards, along = (_neighbours(magnet[name], 1) for name in ("outwards", "along"))
    up, down = (-(outwards[side] + sign * 1j * along[side]) / 2 for side, sign in ((0, 1), (1, -1)))
    less, more = np.conj(shift)[:, None, None], shift[:, None, None]
    return np.asarray((less * up + more * down) * sums)


def fixed_saddle(away: ComplexArray, sums: ComplexArray, depth: FloatArray, angle: FloatArray) -> ComplexArray:
    """What a ring links more over a board bent along one diameter.

    away: linkages (rows, m) of one magnet per distance of the board, orders without a gap between [Wb/m]. sums: (m,) of
    the ring [-]. depth, angle: (draws,) of z = −depth·(1 + cos(2·(phi − angle)))/2 at the magnets [m, rad].
    Returns (draws, rows, m) [Wb]. First order in the depth. Derived here.

    >>> gap = fixed_saddle(np.ones((1, 4), complex), np.array([0, 1.0, 0, 0]), np.ones(1), np.zeros(1))
    >>> gap.real.tolist()  # half of the mean, and a quarter from each side, of which the lower one is order 0
    [[[0.0, 0.75, 0.0, 0.0]]]
    """
    above, below = _neighbours(away, 2)
    turn = np.exp(2j * angle)[:, None, None]
    waves = away / 2 + (above / turn + below * turn) / 4
    return np.asarray(depth[:, None, None] * waves * sums)


def _neighbours(rows: ComplexArray, apart: int) -> tuple[ComplexArray, ComplexArray]:
    """Values at the order above and at the one below; nothing beyond either end."""
    above, below = np.zeros_like(rows), np.zeros_like(rows)
    above[:, :-apart] = rows[:, apart:]
    below[:, apart:] = rows[:, :-apart]
    return above, below
