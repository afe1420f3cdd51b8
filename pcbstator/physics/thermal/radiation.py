"""Heat by radiation between grey surfaces."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pcbstator.constants import CELSIUS_ZERO, STEFAN_BOLTZMANN
from pcbstator.errors import LawRangeError

FloatArray = NDArray[np.float64]


def radiation_coefficient(surface_c: ArrayLike, other_c: ArrayLike, emissivity: ArrayLike) -> FloatArray:
    """Radiated heat per area and kelvin between a surface and all that it looks at.

    surface_c, other_c: (...) [degC]; emissivity: (...) 0 to 1, of the surface where the rest is wide, else as
    ``facing_emissivity`` [-]. Returns (...) [W/(m2 K)]: sigma eps (T1^2 + T2^2)(T1 + T2), kelvins. Range: temperatures
    above -273.15 degC, else LawRangeError. Source: Stefan-Boltzmann law.

    >>> round(float(radiation_coefficient(60.0, 20.0, 0.9)), 2)
    6.29
    """
    a = np.asarray(surface_c, dtype=float) + CELSIUS_ZERO
    b = np.asarray(other_c, dtype=float) + CELSIUS_ZERO
    grey = np.asarray(emissivity, dtype=float)
    if not (np.all(a > 0) and np.all(b > 0) and np.all((grey >= 0) & (grey <= 1))):
        raise LawRangeError("radiation needs temperatures above -273.15 degC and an emissivity of 0 to 1")
    return np.asarray(STEFAN_BOLTZMANN * grey * (a * a + b * b) * (a + b))


def facing_emissivity(first: ArrayLike, second: ArrayLike) -> FloatArray:
    """Emissivity that stands for two wide parallel faces which look at each other only.

    first, second: (...) above 0, to 1 [-]. Returns (...) [-]. Range: else LawRangeError.
    Source: handbook, 1 / (1/e1 + 1/e2 - 1).

    >>> round(float(facing_emissivity(0.9, 0.2)), 4)
    0.1957
    """
    one, two = np.asarray(first, dtype=float), np.asarray(second, dtype=float)
    if not (np.all((one > 0) & (one <= 1)) and np.all((two > 0) & (two <= 1))):
        raise LawRangeError("an emissivity lies above 0 and up to 1")
    return np.asarray(1 / (1 / one + 1 / two - 1))
