"""Errors of a position: what the sensor sees wrongly, and what the bearing lets go."""

from __future__ import annotations

from math import asin, atan

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pcbstator.errors import LawRangeError
from pcbstator.physics.conductors.resistance import require_positive

FloatArray = NDArray[np.float64]


def ring_eccentricity_error(angle: ArrayLike, offset: float, radius: float) -> FloatArray:
    """Error of a ring of marks that runs off its centre past one head: reading less true angle.

    angle: of the shaft, from the line of offset and head [rad]; offset: of the ring's centre from the axis [m];
    radius: of the marks [m]. Returns (...) [rad], once per turn, about offset/radius at its peak; LawRangeError unless
    the offset is below the radius. Source: derived here; textbook: e/r sin(angle).

    >>> round(float(ring_eccentricity_error(np.pi / 2, 0.1e-3, 20e-3)), 6)
    0.005
    """
    _within(offset, radius)
    turned = np.asarray(angle, dtype=float)
    return np.asarray(np.arctan2(offset * np.sin(turned), radius - offset * np.cos(turned)))


def ring_eccentricity_peak(offset: float, radius: float) -> float:
    """Largest error of a ring off its centre, to either side.

    offset, radius: [m]. Returns [rad]. LawRangeError unless the offset is below the radius. Source: derived here,
    arcsin(offset/radius).

    >>> round(ring_eccentricity_peak(0.1e-3, 20e-3), 6)
    0.005
    """
    _within(offset, radius)
    return asin(offset / radius)


def magnet_eccentricity_error(angle: ArrayLike, offset: float, distance: float) -> FloatArray:
    """Error of a chip that reads the direction of the field of a magnet on the shaft's end, the chip off the axis.

    angle: of the shaft, from the line of offset [rad]; offset: of the chip from the axis [m]; distance: to the
    middle of the magnet, which is magnetised across and small [m]. Returns (...) [rad], twice per turn. A magnet as
    large as its distance makes less: on the safe side. Source: derived here from the dipole's field: the part along
    the offset is weaker by 3 e²/(e² + z²).

    >>> round(float(magnet_eccentricity_error(np.pi / 4, 0.3e-3, 3e-3)), 5)
    0.01507
    """
    require_positive(distance=distance)
    turned = np.asarray(angle, dtype=float)
    weaker = 1 - 3 * offset**2 / (offset**2 + distance**2)
    across = np.arctan2(np.sin(turned), weaker * np.cos(turned))
    return np.asarray(np.mod(across - turned + np.pi, 2 * np.pi) - np.pi)


def magnet_eccentricity_peak(offset: float, distance: float) -> float:
    """Largest error of a chip off the axis of a magnet on the shaft's end, to either side.

    offset: of the chip from the axis [m]; distance: to the middle of the magnet [m]. Returns [rad]. LawRangeError
    where the offset is above 0.7 of the distance, where the direction turns round. Source: derived here.

    >>> round(magnet_eccentricity_peak(0.3e-3, 3e-3), 5)
    0.01508
    """
    require_positive(distance=distance)
    part = 3 * offset**2 / (offset**2 + distance**2)
    if part >= 1:
        raise LawRangeError(f"the chip must be within 0.7 of the magnet's distance; got {offset / distance:g}")
    return asin(part / (2 - part))


def play_angle(play: float, radius: float) -> float:
    """Angle by which a sideways shift shows at a radius.

    play: [m]; radius: [m]. Returns [rad]. Source: derived here, arctan.

    >>> round(float(np.degrees(play_angle(1e-3, 60e-3))), 3)
    0.955
    """
    require_positive(radius=radius)
    return atan(play / radius)


def _within(offset: float, radius: float) -> None:
    require_positive(radius=radius)
    if not 0 <= offset < radius:
        raise LawRangeError(f"the offset must be 0 or more and below the radius; got {offset:g} of {radius:g} m")
