"""Eddy currents in thin tracks under a moving field."""

from __future__ import annotations

from math import pi

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pcbstator.constants import MU_0
from pcbstator.errors import LawRangeError
from pcbstator.physics.conductors.resistance import require_positive

FloatArray = NDArray[np.float64]


def strip_eddy_loss_density(
    frequency: ArrayLike, peak_field: ArrayLike, width: ArrayLike, resistivity: ArrayLike
) -> FloatArray:
    """Eddy loss per volume of a long thin strip across an alternating field.

    frequency: (...) 0 or more [Hz]; peak_field: (...) square on the strip's face [T]; width: (...) [m]; resistivity:
    (...) [ohm m]. Returns (...) [W/m3]. Range: the skin depth exceeds half the width, so that the eddies do not shield
    the field, else LawRangeError. The field along the face makes eddies within the thickness only, smaller by the
    square of thickness over width, and is left out. Source: handbook, from memory: (pi f B w)^2 / (6 rho).

    >>> round(float(strip_eddy_loss_density(400.0, 0.5, 0.3e-3, 1.7241e-8)))  # 0.188496^2 / 1.03446e-7
    343470
    """
    require_positive(width=width, resistivity=resistivity)
    f, w, rho = (np.asarray(value, dtype=float) for value in (frequency, width, resistivity))
    if np.any(f < 0):
        raise LawRangeError(f"frequency must not be negative; got {float(f.min()):g} Hz")
    if np.any(pi * f * MU_0 * (w / 2) ** 2 > rho):
        raise LawRangeError(
            f"the strip law holds while the skin depth exceeds half the width; got {float(np.max(f)):g} Hz "
            f"on {float(np.max(w)) * 1e3:g} mm"
        )
    return np.asarray((pi * f * np.asarray(peak_field, dtype=float) * w) ** 2 / (6 * rho))
