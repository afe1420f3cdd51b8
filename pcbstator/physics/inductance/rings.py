"""Inductance of coils around an axis, summed over cylindrical waves.

With the currents written as complex numbers m and spread as ``strips`` tells, all pairs of them are

    sum over i, j of m_i conj(m_j) / R_ij = integral dk F(k) sum over n of |A_n(k)|^2,
    A_n(k) = sum over i of m_i exp(-i n phi_i) J_n(k r_i)

(Sommerfeld's integral with the addition theorem of the Bessel functions); F tells of the spread, of the distance of the
levels and of iron. Coils that are one coil turned about the axis differ by a factor alone, so one of them is laid out,
and where the pattern of the coils repeats t times around, only every t-th wave is there. Inter-coil connections do not
repeat: the other waves are of them alone, and fewer and longer ones will do for them.

Currents are laid by cubic splines on rings of equal distance, the cell. How many rings there are is fixed, so that the
Bessel functions are the same for every machine.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from math import gcd, pi
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.fft import fft, next_fast_len
from scipy.ndimage import spline_filter1d
from scipy.special import erfc, erfcx, j0

from pcbstator.constants import MU_0
from pcbstator.physics.inductance.strips import (
    SPREAD_PER_CELL,
    STENCIL,
    Image,
    Strips,
    cubic_spline,
    distinct,
    merged_levels,
    merged_strips,
    require_level,
    samples_of,
    self_corrections,
)

FloatArray = NDArray[np.float64]
AnyArray = NDArray[Any]

RINGS, FEW_RINGS = 88, 40  # from the axis to beyond the copper; for inter-coil connections among themselves
BEYOND = 5  # rings beyond the copper, and beyond the axis
SPAN = 3.2  # of the outer radius: at this distance currents would be seen again, for the steps in k
DENSE = 8.0  # steps: below this many, k is closer, since the field between two irons changes quickly there
LAST = 2.0  # of k times the cell: the spread leaves 5 % of 1 / R there, and less beyond
FAR = 6.5  # spreads: levels this far apart see the spread no more


@dataclass(frozen=True, eq=False)
class CoilRing:
    """Equal coils around the axis: strips of one, angles (c,) by which it is turned [rad], currents (paths, c) in each
    per ampere of each path [-].
    """

    strips: Strips
    angles: FloatArray
    currents: FloatArray


@dataclass(frozen=True, eq=False)
class _Rings:
    """Rings of the radii ``cell`` times first, first + 1, ..., ``count`` in number; the last of all is number total."""

    cell: float
    first: int
    count: int
    total: int

    @property
    def spread(self) -> float:
        return SPREAD_PER_CELL * self.cell

    @property
    def around(self) -> int:
        """Cells around the outermost copper."""
        return int(np.ceil(2 * pi * (self.total - BEYOND)))


def ring_cells(rings: Sequence[CoilRing], interconnects: Strips | None = None) -> tuple[float, float]:
    """The cells of ring_inductance_matrix: copper nearer to each other than 2.5 of them sees too little of each other.

    rings, interconnects: the copper [m]. Returns the cell for all copper, and the larger one for the inter-coil
    connections among themselves [m].
    Range: at least one ring. Source: derived here, the outer radius over the numbers of rings.

    >>> from pcbstator.physics.inductance.strips import strips_along
    >>> square = strips_along([[8e-3, -4e-3], [8e-3, 4e-3], [0, 4e-3]], 0.0, 0.5e-3, 35e-6)
    >>> cells = ring_cells([CoilRing(square, np.zeros(1), np.ones((1, 1)))])
    >>> [round(cell * 1e3, 4) for cell in cells]
    [0.1108, 0.2627]
    """
    outer = _radii(rings, interconnects)[1]
    return outer / (RINGS - BEYOND), outer / (FEW_RINGS - BEYOND)


def ring_inductance_matrix(
    rings: Sequence[CoilRing],
    interconnects: Strips | None,
    currents: ArrayLike,
    images: Sequence[Image] = (),
    repeats: int | None = None,
) -> FloatArray:
    """Self and mutual partial inductances of paths through coils around an axis and the inter-coil connections.

    rings: the coils [m, rad, -]; interconnects: other copper, n pieces [m], if any; currents: (paths, n) in them, from
    start to end, per ampere of each path [-]; images: of iron planes, from iron_images [-, m, -]; repeats: how often
    [-] the coils' currents repeat around the axis but for their ends; found from angles and currents if not given.
    Returns (paths, paths) symmetric [H]. Range: level pieces, else LawRangeError; at least one ring. Accuracy: 0.2 % of
    the self inductance where nothing is nearer to each other than 2.5 cells, see ring_cells. Source: derived here from
    1 / R = integral of exp(-k |z|) J_0(k rho) dk and Graf's theorem (NIST DLMF 10.23).

    >>> from pcbstator.physics.inductance.strips import strips_along
    >>> around = np.linspace(0, 2 * np.pi, 361)
    >>> circle = strips_along(10e-3 * np.column_stack([np.cos(around), np.sin(around)]), 0.0, 0.5e-3, 1e-9)
    >>> ring = CoilRing(circle, np.zeros(1), np.ones((1, 1)))
    >>> tape = ring_inductance_matrix([ring], None, np.zeros((1, 0)))
    >>> bool(abs(tape[0, 0] / 57.493e-9 - 1) < 2e-3)
    True
    """
    share = np.atleast_2d(np.asarray(currents, dtype=float))
    parts = [ring.strips for ring in rings] + ([interconnects] if interconnects is not None else [])
    for part in parts:
        require_level(part)
    inner, outer = _radii(rings, interconnects)
    levels = distinct(np.concatenate([part.starts[:, 2] for part in parts]))
    fine, coarse = _rings(inner, outer, RINGS), _rings(inner, outer, FEW_RINGS)
    main = _Waves(fine, repeats or _repeats(rings, fine), levels, images)
    result = main.coils(rings, main.waves(interconnects, share) if interconnects is not None else None)
    for ring in rings:
        result += self_corrections(ring.strips, fine.spread).sum() * (ring.currents @ ring.currents.T)
    rest = _Waves(coarse, 1, levels, images)
    ends = rest.waves(interconnects, share) if interconnects is not None else None
    if repeats:  # what of the coils does not repeat
        result += rest.coils(rings, ends, (rest.orders - 1) % repeats != 0)
    if interconnects is not None and ends is not None:
        result += rest.paths(ends) + (share * self_corrections(interconnects, coarse.spread)) @ share.T
    if len(images) > 1:  # as unclosed_part
        at_coils, at_interconnects = _moments(rings, len(share)), np.zeros((len(share), 2))
        if interconnects is not None:
            at_interconnects = share @ (interconnects.ends - interconnects.starts)[:, :2]
        both, far = at_coils @ at_coils.T + 2 * at_coils @ at_interconnects.T, rest.far(2 * outer)
        result -= both * (far if repeats else main.far(2 * outer)) + at_interconnects @ at_interconnects.T * far
    return (result + result.T) / 2


def _moments(rings: Sequence[CoilRing], paths: int) -> FloatArray:
    """Sum of current times length of every path in its coils, x and y (paths, 2) [m]."""
    total: FloatArray = np.zeros((paths, 2))
    for ring in rings:
        x, y, _ = (ring.strips.ends - ring.strips.starts).sum(axis=0)
        cos, sin = np.cos(ring.angles), np.sin(ring.angles)
        total += ring.currents @ np.column_stack([x * cos - y * sin, x * sin + y * cos])
    return total


def _radii(rings: Sequence[CoilRing], interconnects: Strips | None) -> tuple[float, float]:
    """Least and largest radius of the copper [m]."""
    least, most = np.inf, 0.0
    for part in [ring.strips for ring in rings] + ([interconnects] if interconnects is not None else []):
        (x, y), (dx, dy) = part.starts[:, :2].T, (part.ends - part.starts)[:, :2].T
        where = np.clip(-(x * dx + y * dy) / (dx * dx + dy * dy), 0.0, 1.0)  # of a piece's point nearest to the axis
        least = min(least, float(np.hypot(x + where * dx, y + where * dy).min() - part.width.max() / 2))
        most = max(most, float(np.hypot(x, y).max() + part.width.max() / 2), float(np.hypot(x + dx, y + dy).max()))
    return least, most


def _rings(inner: float, outer: float, total: int) -> _Rings:
    cell = outer / (total - BEYOND)
    first = max(int(inner / cell) - BEYOND, -BEYOND)
    return _Rings(cell, first, total - first + 1, total)


def _repeats(rings: Sequence[CoilRing], fine: _Rings) -> int:
    """How often the pattern of the coils' currents repeats around the axis."""
    nu = np.arange(int(LAST * fine.total) + 2)
    found = 0
    for ring in rings:
        sums = np.abs(ring.currents @ np.exp(-1j * np.outer(ring.angles, nu))).max(axis=0)
        for there in np.flatnonzero(sums > 1e-6 * np.abs(ring.currents).sum()).tolist():
            found = gcd(found, there)
    return max(found, 1)


class _Seen(NamedTuple):
    """Waves (orders, paths, levels, k) of currents, and the numbers of the levels that have any."""

    waves: AnyArray
    levels: NDArray[np.intp]


class _Waves:
    """The cylindrical waves of these rings that repeat so often around, for currents on these levels."""

    def __init__(self, rings: _Rings, repeats: int, levels: FloatArray, images: Sequence[Image]) -> None:
        self.rings, self.repeats, self.levels, self.images = rings, repeats, levels, images
        self.places = next_fast_len(int(np.ceil(rings.around / repeats)))  # cells of one repeat
        self.orders, self.k, self.weights, self.bessel = _bessel_functions(rings.total, repeats)
        self.merged, self.merge = merged_levels(levels, rings.spread)

    def coils(
        self, rings: Sequence[CoilRing], interconnects: _Seen | None, chosen: AnyArray | None = None
    ) -> FloatArray:
        """Coils with each other and twice with the inter-coil connections, in all or the chosen orders (paths, paths)
        [H].
        """
        some = slice(None) if chosen is None else chosen
        own = [self.waves(ring.strips, np.ones((1, len(ring.strips.width)))) for ring in rings]
        turned = [ring.currents @ np.exp(-1j * np.outer(ring.angles, self.orders[some] - 1)) for ring in rings]
        result: AnyArray = np.zeros((len(turned[0]), len(turned[0])))
        for (waves, levels), turn in zip(own, turned, strict=True):
            seen = np.einsum("obk,bck->ock", waves[some, 0], self._kernels[levels])
            for (others, there), back in zip(own, turned, strict=True):
                pairs = np.einsum("obk,obk->o", seen[:, there], others[some, 0].conj())
                result = result + (turn * pairs) @ back.conj().T
            if interconnects is not None:
                pairs = np.einsum("obk,oqbk->oq", seen[:, interconnects.levels], interconnects.waves[some].conj())
                result = result + 2 * (turn @ pairs)
        return np.asarray(MU_0 / (4 * pi) * result.real)

    def paths(self, seen: _Seen) -> FloatArray:
        """Paths with each other (paths, paths) [H]."""
        waves, levels = seen
        fields = np.einsum("oabk,bck->oack", waves, self._kernels[np.ix_(levels, levels)])
        return np.asarray(MU_0 / (4 * pi) * np.einsum("oabk,ocbk->ac", fields, waves.conj()).real)

    def far(self, size: float) -> float:
        """What the images see of two unit moments ``size`` [m] apart, summed over the same waves [H/m2]."""
        k, weights = self.k / self.rings.cell, self.weights / self.rings.cell
        images = np.array(self.images)
        return float(MU_0 / (4 * pi) * images[:, 2] @ np.exp(-np.abs(images[:, 1:2]) * k) @ (weights * j0(k * size)))

    def waves(self, strips: Strips, currents: FloatArray) -> _Seen:
        """The waves of these currents."""
        laid, levels, rings = self._laid(*merged_strips(strips, currents, self.rings.cell))
        orders, paths = laid.shape[:2]
        rows = laid.reshape(orders, -1, len(rings))
        half = rows.shape[1]
        bessel = self.bessel[:, rings + self.rings.first + BEYOND]
        found = np.matmul(np.concatenate([rows.real, rows.imag], axis=1), bessel)
        waves = np.empty((orders, half, len(self.k)), np.complex64)
        waves.real, waves.imag = found[:, :half], found[:, half:]
        return _Seen(waves.reshape(orders, paths, len(levels), -1), levels)

    def _laid(self, strips: Strips, currents: FloatArray) -> tuple[AnyArray, NDArray[np.intp], NDArray[np.intp]]:
        """The currents on the rings, transformed around the axis (orders, paths, levels, rings), and where there are
        any: numbers of levels and rings.
        """
        count, n = self.rings.count, self.places
        levels = distinct(strips.starts[:, 2])
        samples = samples_of(strips, levels, self.rings.spread)
        path, carrying = np.nonzero(currents[:, samples.piece])  # most samples belong to one path
        samples = samples.of(carrying)
        x, y = samples.places.T
        radius = np.hypot(x, y)
        along = (samples.moments @ (1, 1j)) * (x - 1j * y) / np.maximum(radius, 1e-12) * currents[path, samples.piece]
        ring, on_ring = cubic_spline(radius / self.rings.cell - self.rings.first)
        turn, on_turn = cubic_spline(np.arctan2(y, x) * (n * self.repeats / (2 * pi)))
        row = (path * len(levels) + samples.level) * count + ring
        beside = np.arange(STENCIL)[:, None]
        places = (((row + beside) * n)[:, None] + (turn + beside) % n).ravel()
        weights = on_ring[:, None] * on_turn
        laid = np.empty((len(currents), len(levels), count, n), np.complex64)
        for part, values in ((laid.real, along.real), (laid.imag, along.imag)):
            part[...] = np.bincount(places, (weights * values).ravel(), laid.size).reshape(laid.shape)
        rings = np.flatnonzero(laid.any(axis=(0, 1, 3)))
        nu = self.orders - 1
        splines = np.sinc(nu / (n * self.repeats)) ** STENCIL
        around = fft(laid[:, :, rings], axis=-1)[..., (nu // self.repeats) % n] / splines.astype(np.float32)
        there = np.searchsorted(self.levels, levels)
        if len(self.merged) < len(self.levels):
            around = np.einsum("al,plrn->parn", self.merge[:, there].astype(np.float32), around)
            there = np.arange(len(self.merged))
        return np.moveaxis(around, -1, 0), there, rings

    @cached_property
    def _kernels(self) -> AnyArray:
        """Transform of the spread 1 / R between levels, images included, over that of 1 / R in a plane: (a, b, k)."""
        one, other = self.merged[:, None, None], self.merged[None, :, None]
        images = np.array([(1.0, 0.0, 1.0), *self.images])
        heights = np.round(np.abs(one - (images[:, 0] * other + images[:, 1])), 12)
        known, which = np.unique(heights, return_inverse=True)
        values = _spread_transform(self.k / self.rings.cell, known, self.rings.spread)
        chosen = values[which.reshape(heights.shape)]
        kernels = np.einsum("abik,i,k->abk", chosen, images[:, 2], self.weights / self.rings.cell, optimize=True)
        return np.asarray(kernels.astype(np.complex64))


def _spread_transform(k: FloatArray, heights: FloatArray, spread: float) -> FloatArray:
    """exp(-k h) of a 1 / R that is spread over a ball, (heights, k)."""
    result = np.exp(-k * heights[:, None])
    near = heights < FAR * spread
    a, b = k * spread / np.sqrt(2), heights[near, None] / (np.sqrt(2) * spread)
    result[near] = (np.exp(-a * a - b * b) * erfcx(a + b) + result[near] * erfc(a - b)) / 2
    return np.asarray(result)


@lru_cache(maxsize=8)
def _bessel_functions(total: int, repeats: int) -> tuple[NDArray[np.intp], FloatArray, FloatArray, AnyArray]:
    """Orders n whose n - 1 is a multiple of ``repeats``, k times the cell, and J_n (orders, rings, k) on the rings from
    -BEYOND to ``total``, as coefficients of splines across the rings.

    Miller's recursion from high orders down, put right by J_0 + 2 J_2 + 2 J_4 + ... = 1.
    """
    step = 2 * pi / (SPAN * total)
    u = np.arange(int(np.ceil(LAST / step + DENSE))) + 0.5
    k = (np.sqrt(u * u + DENSE**2) - DENSE) * step
    weights = step * u / np.sqrt(u * u + DENSE**2)
    most = int(LAST * total)
    orders = 1 + repeats * np.arange(-((most + 1) // repeats), (most - 1) // repeats + 1)
    x = np.outer(np.arange(total + 1), k)
    wanted = set(np.abs(orders).tolist())
    found: dict[int, FloatArray] = {}
    twice = 2 / np.where(x > 0, x, np.inf)
    begin = np.ceil(x + 12 * np.cbrt(x) + 20).astype(int)  # where J is about 1e-15
    after, now, total_of_even = np.zeros_like(x), np.zeros_like(x), np.zeros_like(x)
    for order in range(max(int(begin.max()), most + 1), 0, -1):
        now[begin == order] = 1e-120
        after, now = now, order * twice * now - after
        if order % 2:
            total_of_even += now if order == 1 else 2 * now
        if order - 1 in wanted:
            found[order - 1] = now
    total_of_even[0] = 1.0
    if 0 in found:
        found[0][0] = 1.0  # on the axis
    odd = (orders % 2 != 0)[:, None, None]
    values = np.array([found[abs(order)] / total_of_even for order in orders.tolist()])
    values = np.where(odd & (orders < 0)[:, None, None], -values, values)
    beyond_axis = values[:, BEYOND:0:-1]
    values = np.concatenate([np.where(odd, -beyond_axis, beyond_axis), values], axis=1)
    return orders, k, weights, spline_filter1d(values, 3, axis=1, mode="mirror", output=np.float32)
