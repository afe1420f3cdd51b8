"""Eddies in copper that is not winding: discs, rings and wide areas of thin sheet under a field that alternates.

The sheet is far thinner than the skin depth. Its eddies' own field holds the loss down once they change faster than
they fade: loss grows with the square of the speed at first, and no more beyond. No steel is near.
"""

from __future__ import annotations

from math import pi

import numpy as np
from numpy.typing import NDArray

from pcbstator.constants import MU_0
from pcbstator.errors import LawRangeError

FloatArray = NDArray[np.float64]


def disc_eddy_loss(
    frequency: FloatArray, peak_field: FloatArray, inner: float, outer: float, thickness: float, resistivity: float
) -> FloatArray:
    """Eddy loss of a thin disc or ring in an even field across it.

    frequency: (...) 0 or more [Hz]. peak_field: (...) of a sine [T]. inner, outer: radii, 0 ≤ inner < outer [m].
    thickness: [m]. resistivity: [ohm m]. Returns (...) [W]. Outside the range: LawRangeError.
    Range: field even over the disc; a ring as a disc without its middle, whose eddies fade as those of the whole disc.
    Source: pi·sigma·t·(w·B)²·a⁴/16 at low frequency (handbook form of the eddy loss of a disc, from memory); derived
    here: with tau = 8·mu_0·sigma·t·a/(15·pi) of a current that grows as r, 1/(1 + (w·tau)²) of it.

    >>> round(float(disc_eddy_loss(np.array(1000.0), np.array(0.1), 0.0, 0.003, 35e-6, 1.7241e-8)), 5)
    0.01275
    """
    if not (0.0 <= inner < outer and thickness > 0.0 and resistivity > 0.0):
        raise LawRangeError(f"a disc needs 0 ≤ inner < outer radius, got {inner!r} … {outer!r} m, and a thickness")
    w, sheet = 2.0 * pi * np.asarray(frequency, float), thickness / resistivity
    low = pi / 16.0 * sheet * (w * peak_field) ** 2 * (outer**4 - inner**4)
    tau = 8.0 * MU_0 * sheet * outer / (15.0 * pi)
    return np.asarray(low / (1.0 + (w * tau) ** 2))


def sheet_drag(speed: FloatArray, peak_field: FloatArray, thickness: float, resistivity: float) -> FloatArray:
    """Drag on a wide thin sheet per area, under a field that travels along it as one wave.

    speed: (...) of the wave along the sheet, 0 or more [m/s]. peak_field: (...) across the sheet, without it [T].
    thickness: [m]. resistivity: [ohm m]. Returns (...) [N/m²]. Outside the range: LawRangeError.
    Range: sheet wider than the wave, thinner than skin depth and wave. Source: Reitz 1970, the thin-sheet model (from
    memory): largest at v = 2/(mu_0·sigma·t), then falling; derived here: K = sigma·t·v·B, its own field mu_0·K/2.

    >>> slow, peak, fast = sheet_drag(np.array([1.0, 784.0, 1e5]), np.array(0.1), 35e-6, 1.7241e-8)
    >>> bool(slow < fast < peak), round(float(slow), 2)
    (True, 10.15)
    """
    if not (thickness > 0.0 and resistivity > 0.0):
        raise LawRangeError("a sheet needs thickness and resistivity above 0")
    sheet = thickness / resistivity
    ratio = MU_0 * sheet * np.asarray(speed, float) / 2.0
    return np.asarray(sheet * speed * np.asarray(peak_field) ** 2 / 2.0 / (1.0 + ratio**2))
