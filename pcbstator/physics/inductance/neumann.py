"""Inductance of flat tracks summed pair by pair from Neumann's integral: exact, and quadratic in the number of pieces.

A second method for the numbers of track_inductance, for small paths and for proof.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pcbstator.physics.inductance.closed_forms import bar_self_inductance, filament_mutual_inductance
from pcbstator.physics.inductance.strips import Image, Strips

FloatArray = NDArray[np.float64]

BLOCK = 400_000  # filament pairs at a time, about 150 MB


def neumann_track_inductance_matrix(
    strips: Strips, currents: ArrayLike, filaments: int = 3, images: Sequence[Image] = ()
) -> FloatArray:
    """Self and mutual partial inductances of paths made of flat tracks, pair by pair.

    strips: all copper, n pieces, vertical ones allowed [m]; currents: (N, n) per ampere of each path [-]; filaments:
    across each track, at Gauss nodes [-]; images: of iron planes, from iron_images [-, m].
    Returns (N, N) symmetric [H]. Range: tracks apart, or meeting at their ends; 0.1 % for tracks wider than thick and
    pieces longer than wide; the time grows as (n filaments)^2, about a million filament pairs a second.
    Source: Neumann's integral, term by term from filament_mutual_inductance, own terms from bar_self_inductance.

    >>> from pcbstator.physics.inductance.strips import strips_along
    >>> bar = strips_along([[0, 0], [10e-3, 0]], 0.0, 0.5e-3, 35e-6)
    >>> round(float(neumann_track_inductance_matrix(bar, [[1.0]])[0, 0]) * 1e9, 4)
    8.2723
    """
    shares = np.atleast_2d(np.asarray(currents, dtype=float))
    count = len(strips.width)
    # one node more on the partner: filaments of touching tracks never lie in one line, where the integral is sharpest
    starts, ends, weights = _filaments(strips, filaments)
    partner_starts, partner_ends, partner_weights = _filaments(strips, filaments + 1)
    rows = max(1, BLOCK // (count * filaments * (filaments + 1)))
    result = np.zeros((len(shares), len(shares)))
    for sign, shift, strength in ((1.0, 0.0, 1.0), *images):
        mirror, lift = np.array([1.0, 1.0, sign]), np.array([0.0, 0.0, shift])
        real = (sign, shift) == (1.0, 0.0)
        for first in range(0, count, rows):
            block = slice(first, min(first + rows, count))
            own = np.arange(block.start, block.stop)
            away = np.zeros((len(own), count, 1, 1, 3))
            if real:  # a strip with itself is a bar; any harmless partner stands in
                away[own - first, own] = 10 * strips.lengths.max()
            partners = (end[None, :, None] * mirror + lift + away for end in (partner_starts, partner_ends))
            pairs = filament_mutual_inductance(starts[block, None, :, None], ends[block, None, :, None], *partners)
            pairs = np.einsum("ijpq,p,q->ij", pairs, weights, partner_weights)
            if real:
                sizes = (strips.lengths[block], strips.width[block], strips.thickness[block])
                pairs[own - first, own] = bar_self_inductance(*sizes)
            result += strength * shares[:, block] @ pairs @ shares.T
    return (result + result.T) / 2


def _filaments(strips: Strips, number: int) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Starts and ends (n, number, 3) of filaments at Gauss nodes across each strip, and their weights (number,)."""
    nodes, weights = np.polynomial.legendre.leggauss(number)
    along = strips.ends - strips.starts
    normal = np.column_stack([-along[:, 1], along[:, 0], np.zeros(len(along))])
    size = np.linalg.norm(normal, axis=1)  # zero for a vertical piece, which stays one filament
    normal *= np.where(size > 0, strips.width / 2 / np.where(size > 0, size, 1.0), 0.0)[:, None]
    offset = nodes[None, :, None] * normal[:, None, :]
    return strips.starts[:, None, :] + offset, strips.ends[:, None, :] + offset, weights / 2
