"""Inductance of flat tracks in any number, in a time that grows linearly with their number.

The currents of a layer, spread as ``strips`` tells, are laid on a square grid, and all pairs are summed at once by fast
Fourier transforms on a grid of twice the size, where nothing wraps around. So the error has one knob, the cell of the
grid: halving it must not move the result. What a finer grid adds for copper that is near does not reach far, so there
the grid need hardly be larger than the copper.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.fft import dctn, next_fast_len, rfftn
from scipy.special import erf

from pcbstator.constants import MU_0
from pcbstator.errors import LawRangeError
from pcbstator.physics.conductors.resistance import require_positive
from pcbstator.physics.inductance.strips import (
    SPREAD_PER_CELL,
    STENCIL,
    Image,
    Samples,
    Strips,
    cubic_spline,
    distinct,
    merged_levels,
    require_level,
    samples_of,
    self_corrections,
    unclosed_part,
)

FloatArray = NDArray[np.float64]

NEAR = 4.5  # of sqrt(2) spread: from there on erf is 1 to 2e-10
MARGIN = 3  # cells around the copper
REACH = 3.0  # of a spread: from there on erf is 1 to 3e-3
LARGEST_GRID = 2048  # cells along one side


@dataclass(frozen=True, eq=False)
class _Grid:
    """A square grid over the copper with half-open doubled size for the transforms."""

    corner: FloatArray
    cell: float
    shape: tuple[int, int]
    levels: FloatArray

    @property
    def spread(self) -> float:
        return SPREAD_PER_CELL * self.cell


def _grid_over(strips: Strips, cell: float) -> _Grid:
    """The grid that covers the strips."""
    edge = float(strips.width.max()) / 2 + MARGIN * cell
    sides = [(strips.starts[:, axis], strips.ends[:, axis]) for axis in (0, 1)]
    low = np.array([min(one.min(), other.min()) for one, other in sides]) - edge
    high = np.array([max(one.max(), other.max()) for one, other in sides]) + edge
    shape = tuple(int(next_fast_len(int(np.ceil(size / cell)) + 1, real=True)) for size in high - low)
    if max(shape) > LARGEST_GRID:
        raise LawRangeError(
            f"a cell of {cell:g} m needs a grid of {max(shape)} cells (at most {LARGEST_GRID}); give a larger cell"
        )
    return _Grid(low, cell, (shape[0], shape[1]), distinct(strips.starts[:, 2]))


def _stencil(grid: _Grid, samples: Samples) -> tuple[NDArray[np.intp], NDArray[np.intp], FloatArray]:
    """Cubic splines: index of the lowest node on its level (p,), offsets (16, 1) and weights (16, p) of 16 nodes."""
    ny = grid.shape[1]
    x, y = np.ascontiguousarray(((samples.places - grid.corner) / grid.cell).T)
    (row, across), (column, along) = cubic_spline(x), cubic_spline(y)
    steps = np.arange(STENCIL)
    offsets = (steps[:, None] * ny + steps).reshape(-1, 1)
    return row * ny + column, offsets, (across[:, None] * along[None]).reshape(STENCIL**2, -1)


@dataclass(frozen=True, eq=False)
class _Laid:
    """Moments on the grid: (lots, 2, nx, ny), x and y; the path and the level of every lot."""

    moments: NDArray[Any]
    path: NDArray[np.intp]
    level: NDArray[np.intp]


def _laid(grid: _Grid, samples: Samples, shares: FloatArray, merge: FloatArray, kind: type) -> _Laid:
    """The moments of every path on every level on which it has any, or on merged levels.

    shares: (paths, samples) current of every path; merge: from merged_levels; kind: of the result.
    """
    (nx, ny), levels, paths = grid.shape, len(grid.levels), len(shares)
    path, carrying = np.nonzero(shares)  # most samples belong to one path
    samples = samples.of(carrying)
    lot = path * levels + samples.level
    present = np.bincount(lot, minlength=paths * levels) > 0
    if len(merge) < levels:
        present[:] = True
    count = int(present.sum())
    base, offsets, weights = _stencil(grid, samples)
    places = (base + (np.cumsum(present) - 1)[lot] * (nx * ny) + offsets).ravel()
    laid: NDArray[Any] = np.empty((count, 2, nx * ny), kind)
    for axis in (0, 1):
        moments = samples.moments[:, axis] * shares[path, carrying]
        laid[:, axis] = np.bincount(places, (weights * moments).ravel(), count * nx * ny).reshape(count, -1)
    if len(merge) < levels:
        laid = np.einsum("al,plx->pax", merge.astype(kind), laid.reshape(paths, levels, -1), optimize=True)
        present, levels = np.full(paths * len(merge), True), len(merge)
    where = np.flatnonzero(present)
    return _Laid(laid.reshape(-1, 2, nx, ny), where // levels, where % levels)


class _Kernels:
    """Transforms of the smoothed 1 / R between levels, divided by those of the splines.

    wide: if given, of what this potential has more than one spread so far [m]; that ends after REACH of it.
    """

    def __init__(self, grid: _Grid, images: Sequence[Image], wide: float = 0.0, kind: type = np.float64) -> None:
        self.grid, self.images, self.wide, self.kind = grid, ((1.0, 0.0, 1.0), *images), wide, kind
        self.known: dict[tuple[tuple[float, float], ...], FloatArray] = {}
        nx, ny = grid.shape
        self.r2 = (np.arange(nx + 1)[:, None] ** 2 + np.arange(ny + 1)[None, :] ** 2) * grid.cell**2
        x, y = (np.sinc(np.arange(n + 1) / (2 * n)) ** (2 * STENCIL) for n in grid.shape)
        self.splines: NDArray[Any] = (x[:, None] * y[None, :]).astype(kind)
        self.fold = np.abs(np.fft.fftfreq(2 * nx, 1 / (2 * nx))).astype(int)

    def between(self, level_a: int, level_b: int) -> NDArray[Any] | None:
        """The transform (2 nx, ny + 1) between two levels, images included; None if nothing reaches so far."""
        za, zb = self.grid.levels[level_a], self.grid.levels[level_b]
        parts = sorted((round(abs(za - (sign * zb + shift)), 12), strength) for sign, shift, strength in self.images)
        if self.wide:
            parts = [part for part in parts if part[0] < REACH * self.wide]
        if not parts:
            return None
        key = tuple(parts)
        if key not in self.known:
            total = np.zeros_like(self.r2)
            for height, strength in parts:
                if self.wide:
                    self._add_near(total, height, strength)
                else:
                    total += strength * self._smooth(height)
            self.known[key] = (np.asarray(dctn(total.astype(self.kind), type=1)) / self.splines)[self.fold]
        return self.known[key]

    def _smooth(self, height: float) -> FloatArray:
        """erf(R / (sqrt(2) spread)) / R over a quarter of the grid."""
        root = np.sqrt(2) * self.grid.spread
        R = np.sqrt(self.r2 + height**2)
        if height > NEAR * root:
            return np.asarray(1.0 / R)
        near = int(NEAR * root / self.grid.cell) + 2
        close = R[:near, :near]
        smooth = np.where(close > 0, erf(close / root) / np.where(close > 0, close, 1.0), 2 / (np.sqrt(np.pi) * root))
        R[0, 0] = 1.0  # stands in the near part
        result = 1.0 / R
        result[:near, :near] = smooth
        return np.asarray(result)

    def _add_near(self, total: FloatArray, height: float, strength: float) -> None:
        """Adds erf(R / (sqrt(2) spread)) / R less the same with the wide spread, as far as it reaches."""
        ends = [min(int(REACH * self.wide / self.grid.cell) + 1, size) for size in self.r2.shape]
        R = np.sqrt(self.r2[: ends[0], : ends[1]] + height**2)
        R[0, 0] = max(R[0, 0], 1e-6 * self.grid.spread)
        root = np.sqrt(2)
        near = (erf(R / (root * self.grid.spread)) - erf(R / (root * self.wide))) / R
        total[: ends[0], : ends[1]] += strength * near


def track_inductance_matrix(
    strips: Strips, currents: ArrayLike, cell: float, images: Sequence[Image] = ()
) -> FloatArray:
    """Self and mutual partial inductances of paths made of flat tracks.

    strips: all copper, n pieces [m]; currents: (N, n) current in each piece, from its start to its end, per ampere of
    each path [-]; cell: of the grid [m], see cell_for; images: of iron planes, from iron_images [-, m, -].
    Returns (N, N) symmetric [H]. Range: level pieces, a grid of at most 2048 cells a side, else LawRangeError.
    Accuracy: see the module; tracks nearer to each other than about 2.5 cells lose some of their mutual.
    Source: derived here from Neumann's integral; the split of 1 / R is Ewald's, Ann. Phys. 369, 1921.

    >>> from pcbstator.physics.inductance.strips import strips_along
    >>> around = np.linspace(0, 2 * np.pi, 181)
    >>> ring = strips_along(10e-3 * np.column_stack([np.cos(around), np.sin(around)]), 0.0, 0.5e-3, 1e-9)
    >>> loop = track_inductance_matrix(ring, np.ones((1, 180)), 0.25e-3)
    >>> bool(abs(loop[0, 0] / 57.493e-9 - 1) < 2e-3)
    True
    """
    require_positive(cell=cell)
    require_level(strips)
    shares = np.atleast_2d(np.asarray(currents, dtype=float))
    grid = _grid_over(strips, cell)
    result = _grid_energy(grid, strips, shares, images)
    result += (shares * self_corrections(strips, grid.spread)) @ shares.T
    size = max(float(np.ptp(strips.starts[:, axis])) for axis in (0, 1))
    return np.asarray(result - unclosed_part(shares @ (strips.ends - strips.starts)[:, :2], images, size))


def near_reach(wide: float) -> float:
    """How far the part that a finer grid adds to one of this cell reaches.

    wide: cell of the coarse grid [m]. Returns a distance [m]. Range: any. Source: derived here, see REACH.

    >>> round(near_reach(1e-3) * 1e3, 3)
    3.0
    """
    return REACH * SPREAD_PER_CELL * wide


def near_inductance_matrix(
    strips: Strips,
    currents: ArrayLike,
    cell: float,
    wide: float,
    images: Sequence[Image] = (),
    rows: int | None = None,
) -> FloatArray:
    """What a finer grid adds to the inductances that track_inductance_matrix finds on a coarse one.

    strips: copper near each other, n pieces [m]; currents: (N, n) as there [-]; cell: of the finer grid [m]; wide: of
    the coarse grid [m]; images: of iron planes, from iron_images [-, m, -]; rows: how many are wanted, from the first
    on [-], all by default. Returns (rows, N) of a symmetric matrix [H]. Only pieces within REACH spreads of the coarse
    grid count for each other, so copper further away may be left out.
    Range: as there, cell less than wide, else LawRangeError. In single precision: 1e-5 of the sum of the terms.
    Source: derived here, as track_inductance_matrix; the difference of two spreads ends soon, so nothing wraps around.

    >>> from pcbstator.physics.inductance.strips import strips_along
    >>> around = np.linspace(0, 2 * np.pi, 181)
    >>> ring = strips_along(10e-3 * np.column_stack([np.cos(around), np.sin(around)]), 0.0, 0.5e-3, 1e-9)
    >>> coarse = track_inductance_matrix(ring, np.ones((1, 180)), 1e-3)[0, 0]
    >>> loop = coarse + near_inductance_matrix(ring, np.ones((1, 180)), 0.25e-3, 1e-3)[0, 0]
    >>> bool(abs(loop / 57.493e-9 - 1) < 2e-3)
    True
    """
    require_positive(cell=cell)
    require_level(strips)
    if not cell < wide:
        raise LawRangeError(f"the finer cell must be less than the coarse one; got {cell:g} and {wide:g} m")
    shares = np.atleast_2d(np.asarray(currents, dtype=float))
    grid, spread = _grid_over(strips, cell), SPREAD_PER_CELL * wide
    lack = self_corrections(strips, grid.spread) - self_corrections(strips, spread, grid.spread)
    found = _grid_energy(grid, strips, shares, images, spread, rows)
    return np.asarray((found + (shares * lack) @ shares.T)[:rows])


def _grid_energy(
    grid: _Grid, strips: Strips, shares: FloatArray, images: Sequence[Image], wide: float = 0.0, rows: int | None = None
) -> FloatArray:
    """All pairs of currents summed on the grid (N, N) [H], without those of which no path is in the first ``rows``.

    wide: see _Kernels, and then in single precision.
    """
    samples = samples_of(strips, grid.levels, grid.spread)
    levels, merge = grid.levels, np.eye(len(grid.levels))
    double = grid.shape
    if not wide:
        levels, merge = merged_levels(grid.levels, grid.spread)
    else:  # half the transform
        reach = int(np.ceil(REACH * wide / grid.cell))
        nx, ny = (int(next_fast_len((size + min(reach, size) + 1) // 2, real=True)) for size in grid.shape)
        double = nx, ny
    kind = np.float32 if wide else np.float64
    kernels = _Kernels(replace(grid, levels=levels, shape=double), images, wide, kind)
    paths, count = len(shares), len(levels)
    result = np.zeros((paths, paths))
    half: NDArray[Any] = np.full(double[1] + 1, 2.0, kind)
    half[[0, -1]] = 1.0
    laid = _laid(grid, samples, shares[:, samples.piece], merge, kind)
    nx, ny = double
    waves = np.asarray(rfftn(laid.moments, s=(2 * nx, 2 * ny), axes=(-2, -1))).reshape(len(laid.path), -1).view(kind)
    for a in range(count):
        for b in range(a, count):
            kernel = kernels.between(a, b)
            if kernel is None:
                continue
            weights = np.tile(np.repeat((kernel * half).ravel(), 2), 2)
            others = np.flatnonzero(laid.level == b)
            for lot in np.flatnonzero(laid.level == a):
                pairs = others[others >= lot] if a == b else others
                if rows is not None and laid.path[lot] >= rows:
                    pairs = pairs[laid.path[pairs] < rows]
                if len(pairs) == 0:
                    continue
                ours = waves[lot] * weights
                for other in pairs:
                    both = laid.path[lot], laid.path[other]
                    value = np.dot(ours, waves[other])
                    result[both] += value
                    if lot != other:
                        result[both[::-1]] += value
    return result * MU_0 / (4 * np.pi) / (4 * nx * ny)
