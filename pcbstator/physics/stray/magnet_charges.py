"""One magnet as point charges: the quadrature points of its charged faces."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import pairwise
from math import ceil, cos, pi, sin

import numpy as np
from numpy.polynomial import legendre
from numpy.typing import NDArray

from pcbstator.errors import LawRangeError
from pcbstator.physics.magnetics.magnet_pattern import Footprint

FloatArray = NDArray[np.float64]

POINTS = 3  # of Gauss in each piece of a face


@dataclass(frozen=True, eq=False)
class Charges:
    """Point charges: places (C, 3) [m] and amounts (C,) [T·m²]."""

    places: FloatArray
    amount: FloatArray

    def turned(self, angle: float) -> Charges:
        """The same turned about the axis by an angle [rad]."""
        x, y, z = self.places.T
        flat = (x + 1j * y) * np.exp(1j * angle)
        return replace(self, places=np.stack([flat.real, flat.imag, z], axis=1))


def magnet_charges(
    footprint: Footprint,
    thickness: float,
    remanence: float,
    cell: float,
    tilt: float = 0.0,
    covered: tuple[tuple[float, float], ...] = (),
) -> Charges:
    """The charges of one magnet on +x between z = 0 and its thickness.

    footprint: of the magnet [m, rad]. thickness: [m]. remanence: [T]. cell: largest piece of a face, above 0, about
    the distance from which it is looked at [m]. tilt: of the magnetisation from pointing down, along the turn [rad];
    other than 0 or pi only for sectors. covered: inner and outer radius of ideal steel on the upper face, which takes
    away the charge that it touches [m]. Returns Charges [m, T·m²]. Outside the range: LawRangeError.
    Derived here (sigma = M·n, Gauss points).

    >>> from pcbstator.physics.magnetics.magnet_pattern import sector_footprint
    >>> charges = magnet_charges(sector_footprint(0.02, 0.035, 0.2), 0.003, 1.3, 0.002)
    >>> moment = charges.amount @ charges.places  # Br times the volume, downwards
    >>> float((moment[2] / (1.3 * 0.2 * (0.035**2 - 0.02**2) * 0.003)).round(6))
    -1.0
    """
    if not (cell > 0.0 and thickness > 0.0):
        raise LawRangeError(f"cell and thickness must be above 0, got {cell!r} and {thickness!r} m")
    flat, area = _face(footprint, cell)
    axial, along = remanence * cos(tilt), -remanence * turning_sense(footprint) * sin(tilt)
    radius = np.abs(flat)
    free = np.ones(len(flat))
    for inner, outer in covered:
        free[(radius >= inner) & (radius <= outer)] = 0.0
    parts = [(flat, np.zeros(len(flat)), axial * area), (flat, np.full(len(flat), thickness), -axial * area * free)]
    if abs(along) > 1e-12 * abs(remanence):
        parts += _walls(footprint, thickness, cell, along)
    flats, heights, amounts = (np.concatenate([part[i] for part in parts]) for i in range(3))
    kept = amounts != 0.0
    return Charges(np.stack([flats.real, flats.imag, heights], axis=1)[kept], amounts[kept].real)


def turning_sense(footprint: Footprint) -> float:
    """Sense in which the magnetisation turns from segment to segment.

    footprint: of a segment [m, rad]. Returns 1 where the stronger side faces the board, else −1 [-]. Derived here.

    >>> from pcbstator.physics.magnetics.magnet_pattern import halbach_footprint
    >>> turning_sense(halbach_footprint(0.034, 0.051, 0.05, 2, strong_side=False))
    -1.0
    """
    return 1.0 if footprint.strong_side else -1.0


@lru_cache(maxsize=8)
def _gauss(panels: int) -> tuple[FloatArray, FloatArray]:
    """Places and weights on 0 … 1, in as many panels."""
    x, w = legendre.leggauss(POINTS)
    starts = np.arange(panels)[:, None]
    return ((starts + (x + 1.0) / 2.0) / panels).ravel(), np.tile(w / 2.0 / panels, panels)


def _radial(breakpoints: FloatArray, cell: float) -> tuple[FloatArray, FloatArray]:
    """Radii and weights dr; square roots at either end of a piece become smooth by r = a + (b − a)(1 − cos(pi t))/2."""
    radii, weights = [], []
    for start, end in pairwise(breakpoints.tolist()):
        if end - start < 1e-12:
            continue
        t, w = _gauss(ceil(1.2 * (end - start) / cell) + 1)
        radii.append(start + (end - start) * (1.0 - np.cos(pi * t)) / 2.0)
        weights.append((end - start) * pi / 2.0 * np.sin(pi * t) * w)
    return np.concatenate(radii), np.concatenate(weights)


def _face(footprint: Footprint, cell: float) -> tuple[NDArray[np.complex128], FloatArray]:
    """Points x + i·y of the footprint, and the area that each stands for."""
    radii, weights = _radial(footprint.breakpoints, cell)
    lower, upper = footprint.lower(radii), footprint.upper(radii)
    u, w = _gauss(ceil(float((radii * (upper - lower)).max()) / cell))
    angle = lower[:, None] + (upper - lower)[:, None] * u
    area = ((upper - lower) * radii * weights)[:, None] * w
    flat = radii[:, None] * np.exp(1j * angle)
    return np.concatenate([flat.ravel(), flat.conj().ravel()]), np.concatenate([area.ravel(), area.ravel()])


def _walls(
    footprint: Footprint, thickness: float, cell: float, along: float
) -> list[tuple[NDArray[np.complex128], FloatArray, FloatArray]]:
    """Walls of a sector magnetised along +y by ``along`` [T]: both straight sides and both arcs."""
    inner, outer = float(footprint.breakpoints[0]), float(footprint.breakpoints[-1])
    half = float(footprint.upper(footprint.breakpoints[:1])[0])
    z, dz = _gauss(ceil(thickness / cell))
    radii, dr = _radial(footprint.breakpoints, cell)
    u, du = _gauss(ceil(2.0 * half * outer / cell))
    angle = half * (2.0 * u - 1.0)
    lines = [(radii * np.exp(1j * sign * half), sign * along * cos(half) * dr) for sign in (1.0, -1.0)]
    arcs = ((radius * sign, radius) for radius, sign in ((outer, 1.0), (inner, -1.0)))
    lines += [(radius * np.exp(1j * angle), along * np.sin(angle) * 2.0 * half * du * part) for part, radius in arcs]
    return [
        (np.repeat(flat, len(z)), np.tile(thickness * z, len(flat)), np.outer(charge, thickness * dz).ravel())
        for flat, charge in lines
    ]
