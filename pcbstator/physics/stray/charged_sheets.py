"""The charge that steel plates around the axis carry in the field of a ring of magnets.

Each face of a plate is a thin sheet, and the sheets carry its flux: along it half of the thickness each, and from one
to the other through it,

    sigma = t/2·(mu − 1)·∇²phi + (mu − 1)/t·(phi of the other face − phi),   phi = phi of all charges,

which for ideal steel is phi = 0. Sheets are cut in rings, finer towards their edges, and each ring evenly along the
turn. A charge that goes as cos(n·p·theta) makes a potential that does, so each order is a small system of its own.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import asinh, ceil, inf, pi

import numpy as np
from numpy.polynomial import legendre
from numpy.typing import NDArray

from pcbstator.physics.stray.magnet_charges import Charges

FloatArray = NDArray[np.float64]
Integers = NDArray[np.integer]
Lying = Callable[[FloatArray, Integers], FloatArray]

PIECE = 0.7  # largest piece, over the distance of the magnets' charges
RINGS = 12, 64  # fewest and most of a sheet
AROUND = 16, 64  # the same of the pieces of a ring, for each pole
SUB = 4  # points of Gauss along and across a piece
SPREAD = 2  # points of Gauss along and across a piece, as which its charge is given
NEAR = 4  # pieces along the turn, within which a piece is more than a line


@dataclass(frozen=True)
class SteelRing:
    """A plate of steel around the axis: inner and outer radius, its two faces z [m], and its relative permeability."""

    inner: float
    outer: float
    lower: float
    upper: float
    permeability: float = inf


def plate_charges(
    plates: Sequence[SteelRing],
    pole_pairs: int,
    potential: Callable[[FloatArray], FloatArray],
    lying: Lying,
    scale: float,
    mirror: float | None = None,
) -> Charges:
    """The charge on plates in the potential of a ring of magnets, with what of the magnets' own lies on them.

    plates: [m]. pole_pairs: p [-]. potential: of the magnets, which goes as odd orders of cos(n·p·theta), (P,) at
    places (P, 3) [T·m]. lying: density (n, J) [T] of the magnets' charge that touches the first plate's lower face, at
    J radii [m] and n orders, left out of potential. scale: distance of the other charges from the plates [m].
    mirror: z of a plane of zero potential, or None [m].
    Returns Charges [m, T·m²]. Range: fields half that scale away. Derived here (collocation, finite volumes).

    >>> far = lambda places: 1e-6 * places[:, 0] / np.hypot(places[:, 0], places[:, 1])  # cos(theta)
    >>> none = lambda radii, orders: np.zeros((len(orders), len(radii)))
    >>> found = plate_charges([SteelRing(0.02, 0.03, 0.0, 0.002)], 1, far, none, 0.005)
    >>> x, y, _ = found.places.T
    >>> bool(found.amount @ x < 0)  # against it
    True
    """
    rings = _cut(plates, pole_pairs, scale)
    orders = np.arange(1, rings.around // 2, 2)
    turns = rings.step * np.arange(rings.around)
    flat, z = np.multiply.outer(rings.middle, np.exp(1j * turns)).ravel(), np.repeat(rings.height, rings.around)
    wave = np.cos(pole_pairs * np.multiply.outer(turns, orders))
    places = np.stack([flat.real, flat.imag, z], axis=1)
    driven = (potential(places).reshape(-1, rings.around) @ wave * 2.0 / rings.around).T  # (n, J)
    kernel = rings.kernel(rings.height)
    if mirror is not None:
        kernel = kernel - rings.kernel(2.0 * mirror - rings.height)
    half = rings.step * np.arange(kernel.shape[2])
    ends = np.where((half == 0.0) | (np.arange(len(half)) == pole_pairs * rings.around), 1.0, 2.0)
    waves = ends[:, None] * np.cos(pole_pairs * np.multiply.outer(half, orders))
    acting = np.moveaxis(kernel @ waves, 2, 0)  # potential (n, J, J) per density
    fixed: FloatArray = np.zeros((len(orders), len(rings.middle)))
    first = rings.sheets[0]
    fixed[:, first] = lying(rings.points(SUB)[0][first].ravel(), orders).reshape(len(orders), -1, SUB) @ (
        legendre.leggauss(SUB)[1] / 2.0
    )
    driven = driven + (acting @ fixed[:, :, None])[:, :, 0]
    density = np.stack([
        rings.answered(plates, one, phi, int(order)) for one, phi, order in zip(acting, driven, orders, strict=True)
    ])  # fmt: skip
    return rings.spread(density + fixed, orders)


def _cut(plates: Sequence[SteelRing], pole_pairs: int, scale: float) -> _Rings:
    """Both faces of all plates in rings, one after the other."""
    edges, heights, sheets, count = [], [], [], 0
    for plate in plates:
        cut = _graded(plate.inner, plate.outer, scale)
        for z in (plate.lower, plate.upper):
            edges.append(cut)
            heights.append(np.full(len(cut) - 1, z))
            sheets.append(slice(count, count + len(cut) - 1))
            count += len(cut) - 1
    return _Rings(
        np.concatenate([edge[:-1] for edge in edges]),
        np.concatenate([edge[1:] for edge in edges]),
        np.concatenate(heights),
        tuple(sheets),
        pole_pairs,
        _within(ceil(pi / pole_pairs * max(plate.outer for plate in plates) / (PIECE * scale)), AROUND),
    )


def _within(wanted: int, limits: tuple[int, int]) -> int:
    """A number of pieces, a multiple of 4."""
    return 4 * ceil(min(max(wanted, limits[0]), limits[1]) / 4)


def _graded(inner: float, outer: float, scale: float) -> FloatArray:
    """Edges of rings, finer towards both ends, where the charge has no bound."""
    count = _within(ceil(pi / 2.0 * (outer - inner) / (PIECE * scale)), RINGS)
    return np.asarray(inner + (outer - inner) * (1.0 - np.cos(pi * np.arange(count + 1) / count)) / 2.0)


@dataclass(frozen=True, eq=False)
class _Rings:
    """Rings of all sheets: inner and outer radius and z (J,) [m], which of them make each sheet, cut into pieces,
    ``around`` for each pole.
    """

    inner: FloatArray
    outer: FloatArray
    height: FloatArray
    sheets: tuple[slice, ...]
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

    def answered(self, plates: Sequence[SteelRing], acting: FloatArray, driven: FloatArray, order: int) -> FloatArray:
        """Density (J,) [T] of the steel's own charge where the others make the potentials ``driven`` (J,) [T·m]."""
        system, right = acting.copy(), -driven
        for number, plate in enumerate(plates):
            if plate.permeability == inf:
                continue
            lower, upper = self.sheets[2 * number : 2 * number + 2]
            thickness, more = plate.upper - plate.lower, plate.permeability - 1.0
            along = thickness / 2.0 * more * self._curvature(lower, order * self.pole_pairs)
            for own, other in ((lower, upper), (upper, lower)):
                flux = along @ np.concatenate([acting[own], driven[own, None]], axis=1)
                across = np.concatenate([acting[other] - acting[own], (driven[other] - driven[own])[:, None]], axis=1)
                total = flux + more / thickness * across
                system[own], right[own] = -total[:, :-1], total[:, -1]
                system[own, own] += np.eye(own.stop - own.start)
        return np.asarray(np.linalg.solve(system, right))

    def _curvature(self, sheet: slice, m: int) -> FloatArray:
        """Matrix of (1/r)·d/dr(r·dphi/dr) − m²/r²·phi over the rings of a sheet, nothing flowing beyond its edges."""
        inner, outer, middle = self.inner[sheet], self.outer[sheet], self.middle[sheet]
        flow = inner[1:] / np.diff(middle)
        area = middle * (outer - inner)
        matrix = np.diag(-(m**2) / middle**2)
        for i, conductance in enumerate(flow):
            for row, other in ((i, i + 1), (i + 1, i)):
                matrix[row, row] -= conductance / area[row]
                matrix[row, other] += conductance / area[row]
        return matrix

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
