"""The charge that thin ideal sheets of steel around the axis carry, so that their potential is nil.

Sheets are cut in rings, finer towards their edges, and each ring evenly along the turn. A charge that goes as
cos(n·p·theta) makes a potential that does, so each order is a small system of its own.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import asinh, ceil, pi

import numpy as np
from numpy.polynomial import legendre
from numpy.typing import NDArray

from pcbstator.physics.magnetics.magnet_charges import Charges

FloatArray = NDArray[np.float64]

PIECE = 0.7  # largest piece, over the distance of the magnets' charges
RINGS = 12, 64  # fewest and most of a sheet
AROUND = 16, 64  # the same of the pieces of a ring, for each pole
SUB = 4  # points of Gauss along and across a piece
SPREAD = 2  # points of Gauss along and across a piece, as which its charge is given
NEAR = 4  # pieces along the turn, within which a piece is more than a line


def sheet_charges(
    sheets: Sequence[tuple[float, float, float]],
    pole_pairs: int,
    potential: Callable[[FloatArray], FloatArray],
    scale: float,
    mirror: float | None = None,
) -> Charges:
    """The charge on sheets in the potential of a ring of magnets.

    sheets: inner and outer radius and z of each [m]. pole_pairs: p [-]. potential: of the magnets, which goes as odd
    orders of cos(n·p·theta), (P,) at places (P, 3) [T·m]. scale: distance of their charges from the sheets [m].
    mirror: z of a plane of zero potential, or None [m].
    Returns Charges [m, T·m²]. Range: fields half that scale away. Derived here (collocation).

    >>> far = lambda places: 1e-6 * places[:, 0] / np.hypot(places[:, 0], places[:, 1])  # cos(theta)
    >>> found = sheet_charges([(0.02, 0.03, 0.0)], 1, far, 0.005)
    >>> x, y, _ = found.places.T
    >>> bool((found.amount * x <= 0).all())  # against it
    True
    """
    edges = [_graded(inner, outer, scale) for inner, outer, _ in sheets]
    rings = _Rings(
        np.concatenate([edge[:-1] for edge in edges]),
        np.concatenate([edge[1:] for edge in edges]),
        np.concatenate([np.full(len(edge) - 1, sheet[2]) for edge, sheet in zip(edges, sheets, strict=True)]),
        pole_pairs,
        _within(ceil(pi / pole_pairs * max(sheet[1] for sheet in sheets) / (PIECE * scale)), AROUND),
    )
    orders = np.arange(1, rings.around // 2, 2)
    turns = rings.step * np.arange(rings.around)
    flat, z = np.multiply.outer(rings.middle, np.exp(1j * turns)).ravel(), np.repeat(rings.height, rings.around)
    wave = np.cos(pole_pairs * np.multiply.outer(turns, orders))
    places = np.stack([flat.real, flat.imag, z], axis=1)
    driven = potential(places).reshape(-1, rings.around) @ wave * 2.0 / rings.around  # (J, n)
    kernel = rings.kernel(rings.height)
    if mirror is not None:
        kernel = kernel - rings.kernel(2.0 * mirror - rings.height)
    half = rings.step * np.arange(kernel.shape[2])
    ends = np.where((half == 0.0) | (np.arange(len(half)) == pole_pairs * rings.around), 1.0, 2.0)
    waves = ends[:, None] * np.cos(pole_pairs * np.multiply.outer(half, orders))
    systems = np.moveaxis(kernel @ waves, 2, 0)
    density = np.linalg.solve(systems, -driven.T[:, :, None])[:, :, 0]  # (n, J) [T]
    return rings.spread(density, orders)


def _within(wanted: int, limits: tuple[int, int]) -> int:
    """A number of pieces, a multiple of 4."""
    return 4 * ceil(min(max(wanted, limits[0]), limits[1]) / 4)


def _graded(inner: float, outer: float, scale: float) -> FloatArray:
    """Edges of rings, finer towards both ends, where the charge has no bound."""
    count = _within(ceil(pi / 2.0 * (outer - inner) / (PIECE * scale)), RINGS)
    return np.asarray(inner + (outer - inner) * (1.0 - np.cos(pi * np.arange(count + 1) / count)) / 2.0)


@dataclass(frozen=True, eq=False)
class _Rings:
    """Rings of all sheets: inner and outer radius and z (J,) [m], cut into pieces, ``around`` for each pole."""

    inner: FloatArray
    outer: FloatArray
    height: FloatArray
    pole_pairs: int
    around: int

    @property
    def step(self) -> float:
        """Angle of a piece [rad]."""
        return pi / (self.pole_pairs * self.around)

    @property
    def middle(self) -> FloatArray:
        """Where the potential of a ring is looked at [m]."""
        return (self.inner + self.outer) / 2.0

    def points(self, count: int) -> tuple[FloatArray, FloatArray]:
        """Radii (J, s) [m] across each ring, and the area that each stands for per radian [m²]."""
        x, w = legendre.leggauss(count)
        half = (self.outer - self.inner)[:, None] / 2.0
        radii = self.inner[:, None] + half * (x + 1.0)
        return radii, radii * half * w

    def kernel(self, source: FloatArray) -> FloatArray:
        """Potential (J, J, T) at each ring per charge density of a piece of each, at the heights ``source`` [m] and
        turned by 0, 1, 2 … pieces up to half a turn.
        """
        turns = self.step * np.arange(self.pole_pairs * self.around + 1, dtype=float)
        above = (self.height[:, None] - source) ** 2
        near = self._potentials(turns[:NEAR], above, SUB, SUB)
        kernel = np.concatenate([near, self._potentials(turns[NEAR:], above, 2, 1)], axis=2)
        sides = zip(self.outer - self.inner, self.middle * self.step, strict=True)
        for j, (a, b) in enumerate(sides):
            if source[j] == self.height[j]:  # on itself: of a rectangle
                kernel[j, j, 0] = (a * asinh(b / a) + b * asinh(a / b)) / (2.0 * pi)
        return kernel

    def _potentials(self, turns: FloatArray, above: FloatArray, across: int, along: int) -> FloatArray:
        """Of pieces that are so many points across and along."""
        radii, area = self.points(across)
        x, w = legendre.leggauss(along)
        total: FloatArray = np.zeros((*above.shape, len(turns)))
        for place, weight in zip(x * self.step / 2.0, w * self.step / 2.0, strict=True):
            cosine = np.cos(turns + place)
            for s in range(across):
                r, R = self.middle[:, None], radii[None, :, s]
                square = (r**2 + R**2 + above)[:, :, None] - (2.0 * r * R)[:, :, None] * cosine
                total += (weight * area[None, :, s, None] / (4.0 * pi)) / np.sqrt(np.maximum(square, 1e-18))
        return total

    def spread(self, density: FloatArray, orders: NDArray[np.integer]) -> Charges:
        """Charge densities (n, J) [T] as point charges."""
        radii, area = self.points(SPREAD)
        x, w = legendre.leggauss(SPREAD)
        pieces = 2 * self.pole_pairs * self.around
        angle = (self.step * np.arange(pieces)[:, None] + x * self.step / 2.0).ravel()
        along = density.T @ np.cos(self.pole_pairs * np.multiply.outer(orders, angle))  # (J, A)
        amount = area[:, :, None] * (along * np.tile(w * self.step / 2.0, pieces))[:, None, :]
        flat = radii[:, :, None] * np.exp(1j * angle)
        z = np.broadcast_to(self.height[:, None, None], amount.shape)
        return Charges(np.stack([flat.real.ravel(), flat.imag.ravel(), z.ravel()], axis=1), amount.ravel())
