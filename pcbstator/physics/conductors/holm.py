"""Electrical contacts of small round patches: constriction of the current, spreading in a foil, heat of the patch."""

from __future__ import annotations

from math import pi

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pcbstator.physics.conductors.resistance import require_positive

FloatArray = NDArray[np.float64]

LORENZ = 2.4e-8  # V²/K², heat over electrical conductivity of metals and temperature


def patch_resistance(patch: ArrayLike, resistivity: ArrayLike, other_resistivity: ArrayLike) -> FloatArray:
    """Resistance by which a current narrows into a round patch between two members and widens again.

    patch: its radius [m]; resistivity, other_resistivity: of the two members [ohm m]. Returns
    (rho1 + rho2)/(4 a) [ohm]: rho/(4 a) on each side, rho/(2 a) between equal members. Range: all above 0, else
    LawRangeError; patch clean and small against both members. Source: R. Holm, Electric Contacts, eq. 3.7, from memory.

    >>> round(float(patch_resistance(50e-6, 1.7241e-8, 1.7241e-8)) * 1e3, 5)
    0.17241
    """
    require_positive(patch=patch, resistivity=resistivity, other_resistivity=other_resistivity)
    both = np.asarray(resistivity, dtype=float) + np.asarray(other_resistivity, dtype=float)
    return np.asarray(both / (4 * np.asarray(patch, dtype=float)))


def foil_resistance(patch: ArrayLike, reach: ArrayLike, resistivity: ArrayLike, thickness: ArrayLike) -> FloatArray:
    """Resistance by which a current spreads in a foil around a round patch, evenly to all sides.

    patch: its radius [m]; reach: radius to which it spreads [m]; resistivity: [ohm m]; thickness: of the foil [m].
    Returns rho/(2 pi t)·ln(reach/patch) [ohm], 0 where the reach is less than the patch. Range: all above 0, else
    LawRangeError. Source: derived here, radial flow in a sheet.

    >>> round(float(foil_resistance(1e-3, 2.718281828e-3, 1.7241e-8, 35e-6)) * 1e6, 2)
    78.4
    """
    require_positive(patch=patch, reach=reach, resistivity=resistivity, thickness=thickness)
    ratio = np.maximum(np.asarray(reach, dtype=float) / np.asarray(patch, dtype=float), 1.0)
    return np.asarray(np.asarray(resistivity) / (2 * pi * np.asarray(thickness, dtype=float)) * np.log(ratio))


def patch_temperature(voltage: ArrayLike, around: ArrayLike) -> FloatArray:
    """Highest temperature in a contact, whose heat leaves by the way that the current takes.

    voltage: across the contact [V]; around: of both members far from it [K]. Returns sqrt(T0² + U²/(4 L)) [K] with the
    Lorenz number L = 2.4e-8 V²/K². Range: around above 0, else LawRangeError; metals, both members alike, steady.
    Source: R. Holm, Electric Contacts, the voltage-temperature relation of Kohlrausch, from memory.

    >>> round(float(patch_temperature(0.12, 293.15)))
    486
    """
    require_positive(around=around)
    square = np.asarray(around, dtype=float) ** 2 + np.asarray(voltage, dtype=float) ** 2 / (4 * LORENZ)
    return np.asarray(np.sqrt(square))
