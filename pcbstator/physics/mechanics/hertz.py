"""A ball pressed on a flat: patch, pressure, approach, stress below, and the moments that it takes to roll and to turn.

Both bodies are elastic and large against the patch; where the flat is a thin layer on something softer, the patch is
larger and the pressure lower than these laws say.
"""

from __future__ import annotations

from math import pi

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pcbstator.physics.conductors.resistance import require_positive

FloatArray = NDArray[np.float64]


def contact_modulus(
    modulus: ArrayLike, poisson: ArrayLike, other_modulus: ArrayLike, other_poisson: ArrayLike
) -> FloatArray:
    """Modulus of two bodies in contact.

    modulus, other_modulus: of elasticity [Pa]; poisson, other_poisson: Poisson's ratios [-]. Returns [Pa]. Range:
    moduli above 0, else LawRangeError. Source: K. L. Johnson, Contact Mechanics, eq. 4.23, from memory.

    >>> round(float(contact_modulus(207e9, 0.3, 207e9, 0.3)) / 1e9, 3)
    113.736
    """
    require_positive(modulus=modulus, other_modulus=other_modulus)
    one, other = np.asarray(poisson, dtype=float), np.asarray(other_poisson, dtype=float)
    soft = (1 - one**2) / np.asarray(modulus, dtype=float) + (1 - other**2) / np.asarray(other_modulus, dtype=float)
    return np.asarray(1 / soft)


def patch_radius(force: ArrayLike, radius: ArrayLike, modulus: ArrayLike) -> FloatArray:
    """Radius of the patch under a ball on a flat.

    force: [N]; radius: of the ball [m]; modulus: of the contact [Pa]. Returns a = (3 F R/(4 E*))^(1/3) [m]. Range: all
    above 0, else LawRangeError; patch small against the ball. Source: Johnson, Contact Mechanics, eq. 4.22, from
    memory.

    >>> round(float(patch_radius(10.0, 5e-3, 113.736e9)) * 1e6, 2)
    69.08
    """
    require_positive(force=force, radius=radius, modulus=modulus)
    product = 3 * np.asarray(force, dtype=float) * np.asarray(radius, dtype=float)
    return np.asarray(np.cbrt(product / (4 * np.asarray(modulus, dtype=float))))


def peak_pressure(force: ArrayLike, patch: ArrayLike) -> FloatArray:
    """Pressure in the middle of a patch.

    force: [N]; patch: its radius [m]. Returns p0 = 3 F/(2 pi a²) [Pa]. Range: both above 0, else LawRangeError. Source:
    Johnson, Contact Mechanics, eq. 4.24, from memory.

    >>> round(float(peak_pressure(10.0, 69.08e-6)) / 1e6)
    1001
    """
    require_positive(force=force, patch=patch)
    return np.asarray(1.5 * np.asarray(force, dtype=float) / (pi * np.asarray(patch, dtype=float) ** 2))


def approach(patch: ArrayLike, radius: ArrayLike) -> FloatArray:
    """By how much ball and flat come closer.

    patch: its radius [m]; radius: of the ball [m]. Returns a²/R [m]. Range: radius above 0, else LawRangeError. Source:
    Johnson, Contact Mechanics, eq. 4.23, from memory.

    >>> round(float(approach(69.08e-6, 5e-3)) * 1e6, 3)
    0.954
    """
    require_positive(radius=radius)
    return np.asarray(np.asarray(patch, dtype=float) ** 2 / np.asarray(radius, dtype=float))


def stress_below(pressure: ArrayLike, patch: ArrayLike, depth: ArrayLike) -> FloatArray:
    """Compressive stress along the axis below the middle of a patch.

    pressure: in the middle of the patch [Pa]; patch: its radius [m]; depth: [m]. Returns p0/(1 + z²/a²) [Pa]. Range:
    patch above 0, else LawRangeError. Source: Johnson, Contact Mechanics, eq. 3.45b, from memory.

    >>> float(stress_below(800e6, 30e-6, 30e-6)) / 1e6
    400.0
    """
    require_positive(patch=patch)
    ratio = np.asarray(depth, dtype=float) / np.asarray(patch, dtype=float)
    return np.asarray(np.asarray(pressure, dtype=float) / (1 + ratio**2))


def rolling_moment(force: ArrayLike, patch: ArrayLike, lost: ArrayLike) -> FloatArray:
    """Moment that it takes to roll a ball over a flat that does not spring back wholly.

    force: [N]; patch: its radius [m]; lost: part of the strain energy that is lost [-]. Returns (3/16)·lost·F·a [N m].
    Range: force and patch above 0, else LawRangeError. Source: Johnson, Contact Mechanics, section 9.1, from memory.

    >>> round(float(rolling_moment(16.0, 1e-3, 0.1)) * 1e3, 9)
    0.3
    """
    require_positive(force=force, patch=patch)
    return np.asarray(3 / 16 * np.asarray(lost) * np.asarray(force, dtype=float) * np.asarray(patch, dtype=float))


def spin_moment(force: ArrayLike, patch: ArrayLike, friction: ArrayLike) -> FloatArray:
    """Moment that it takes to turn a ball about the line through the middle of its patch.

    force: [N]; patch: its radius [m]; friction: coefficient [-]. Returns (3 pi/16)·friction·F·a [N m]: the Hertz
    pressure times the friction, integrated over the patch with its radius. Range: force and patch above 0, else
    LawRangeError. Source: derived here.

    >>> round(float(spin_moment(16.0, 1e-3, 0.1)) * 1e3, 4)
    0.9425
    """
    require_positive(force=force, patch=patch)
    return np.asarray(
        3 * pi / 16 * np.asarray(friction) * np.asarray(force, dtype=float) * np.asarray(patch, dtype=float)
    )
