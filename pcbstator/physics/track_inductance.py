"""Inductance of flat tracks in any number, in a time that grows linearly with their number.

Every track is a few filaments across its width. Its current is spread over a ball of the radius ``spread`` (Gaussian,
standard deviation spread / sqrt(2) each), so that the potential between two pieces is erf(R / (sqrt(2) spread)) / R
instead of 1 / R. Two things make this a good bargain:

* Such a potential is smooth. The currents of a layer are laid on a square grid, and all pairs are summed at once by
  fast Fourier transforms on a grid of twice the size, where nothing wraps around.
* A spread over a ball does not change the inductance between parallel wires further apart than about two spreads (the
  logarithm is harmonic; what is missing is mu0 / (2 pi) E1(d^2 / (2 spread^2)) / 2 per length, 0.1 % of mu0 / (2 pi)
  at d = 3 spread). What the spread changes in a track's own term is known in closed form from the geometric mean
  distances and is put right per length.

So the error has one knob, the cell of the grid: halving it must not move the result.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.fft import dctn, fft, ifft, irfft, next_fast_len, rfft
from scipy.special import erf, exp1

from pcbstator.constants import MU_0
from pcbstator.errors import LawRangeError
from pcbstator.physics.conductors import require_positive
from pcbstator.physics.inductance import bar_geometric_mean_distance

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]
Image = tuple[float, float, float]  # sign, shift, strength: a current at z has one at sign z + shift [-, m, -]

SPREAD_PER_CELL = 1.2  # smooth enough for the grid to see no difference between places within a cell
STEP_PER_SPREAD = 1.25  # samples along a filament and filaments across a track stand no further apart
HIDDEN_WIDTH = 0.6  # of the spread
STENCIL = 4  # cubic spline
NEAR = 4.5  # of sqrt(2) spread: from there on erf is 1 to 2e-10
MARGIN = 3  # cells around the copper
USUAL_GRID = 400  # cells along the longer side that cell_for allows
LARGEST_GRID = 2048  # cells along one side
EULER_GAMMA = 0.5772156649015329


@dataclass(frozen=True, eq=False)
class Strips:
    """Straight pieces of flat track, n in number.

    starts, ends: (n, 3) centre-line [m], each piece level (equal z). width, thickness: (n,) [m].
    """

    starts: FloatArray
    ends: FloatArray
    width: FloatArray
    thickness: FloatArray

    @cached_property
    def lengths(self) -> FloatArray:
        """Length of each piece (n,) [m]."""
        return np.asarray(np.linalg.norm(self.ends - self.starts, axis=1))


def strips_along(points: ArrayLike, z: float, width: ArrayLike, thickness: float) -> Strips:
    """The pieces of one track along a polyline.

    points: (n, 2) [m]; z: level [m]; width: one, or one per piece [m]; thickness: [m]. Returns n - 1 strips [-].
    Range: consecutive points differ, positive width and thickness, else LawRangeError. Source: derived here.

    >>> strips_along([[0, 0], [3e-3, 4e-3]], 0.0, 0.3e-3, 35e-6).lengths.tolist()
    [0.005]
    """
    xy = np.asarray(points, dtype=float)
    xyz = np.column_stack([xy, np.full(len(xy), float(z))])
    pieces = len(xy) - 1
    sizes = [np.broadcast_to(np.asarray(size, dtype=float), pieces).copy() for size in (width, thickness)]
    strips = Strips(xyz[:-1], xyz[1:], *sizes)
    require_positive(piece_length=strips.lengths, width=sizes[0], thickness=sizes[1])
    return strips


def joined_strips(parts: Sequence[Strips]) -> Strips:
    """Several lots of strips as one, in order.

    parts: the lots [-]. Returns all their strips [-]. Source: derived here.

    >>> one = strips_along([[0, 0], [1e-3, 0]], 0.0, 0.3e-3, 35e-6)
    >>> len(joined_strips([one, one]).lengths)
    2
    """
    return Strips(*(
        np.concatenate([getattr(part, name) for part in parts]) for name in ("starts", "ends", "width", "thickness")
    ))


def iron_images(planes: Sequence[float], count: int = 8) -> tuple[Image, ...]:
    """Where the mirror images of a level lie in one or two faces of ideal iron.

    planes: z of one iron face, or of two facing each other [m]; count: reflections kept with two faces [-].
    Returns triples sign, shift, strength [-, m, -]: a current at z has an image of its own direction at sign z + shift.
    Range: one or two planes, else LawRangeError. Two faces suit closed loops only: their images fall off as 1 / n^3,
    and the last ones kept stand for all beyond (count times the gap must exceed the size of the loops).
    Source: method of images for infinitely permeable planes, a parallel current is mirrored unreversed.

    >>> iron_images([0.004])
    ((-1.0, 0.008, 1.0),)
    """
    if len(planes) == 1:
        return ((-1.0, 2 * planes[0], 1.0),)
    if len(planes) != 2 or planes[0] == planes[1]:
        raise LawRangeError(f"iron images are known for one plane or two different planes; got {list(planes)}")
    low, high = sorted(planes)
    period = 2 * (high - low)

    def strength(order: float) -> float:
        # the sum of 1 / n^3 beyond the last order is 1 / (2 (order + 1/2)^2)
        return 1.0 if order < count else 1.0 + order**3 / (2 * (order + 0.5) ** 2)

    moved = [(1.0, side * order * period, strength(order)) for order in range(1, count + 1) for side in (1, -1)]
    mirrored = [
        (-1.0, 2 * low + order * period, strength(abs(order - 0.5))) for order in range(-count, count + 2)
    ]
    return (*moved, *mirrored)


def cell_for(strips: Strips) -> float:
    """A grid cell with which the inductance of these strips is right to about half a percent, one at worst.

    strips: the copper [m]. Returns half the narrowest width, less (to 0.4) if levels lie nearer than that, but not
    less than a 400th of the copper's longer side [m].
    Range: any. Source: derived here, from the convergence against neumann_track_inductance_matrix.

    >>> round(cell_for(strips_along([[0, 0], [3e-3, 4e-3]], 0.0, 0.3e-3, 35e-6)) * 1e3, 3)
    0.15
    """
    both = np.concatenate([strips.starts, strips.ends])
    sides = np.ptp(both[:, :2], axis=0) + strips.width.max()
    width = float(strips.width.min())
    level_gap = float(np.diff(_distinct(strips.starts[:, 2])).min(initial=np.inf))
    return float(max(min(width / 2, max(0.4 * width, 0.7 * level_gap)), sides.max() / USUAL_GRID))


@dataclass(frozen=True, eq=False)
class _Samples:
    """Points that carry current: piece they belong to, place (p, 2), direction times length (p, 2), level index."""

    piece: NDArray[np.intp]
    places: FloatArray
    moments: FloatArray
    level: NDArray[np.intp]


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


def _grid_over(strips: Strips, cell: float, reach: float | None = None) -> _Grid:
    """The grid that covers the strips, or the square of half side ``reach`` about the origin."""
    edge = float(strips.width.max()) / 2 + MARGIN * cell
    both = np.concatenate([strips.starts[:, :2], strips.ends[:, :2]])
    low, high = (both.min(0), both.max(0)) if reach is None else (np.full(2, -reach), np.full(2, reach))
    low, high = low - edge, high + edge
    shape = tuple(int(next_fast_len(int(np.ceil(size / cell)) + 1, real=True)) for size in high - low)
    if max(shape) > LARGEST_GRID:
        raise LawRangeError(
            f"a cell of {cell:g} m needs a grid of {max(shape)} cells (at most {LARGEST_GRID}); give a larger cell"
        )
    return _Grid(low, cell, (shape[0], shape[1]), _distinct(strips.starts[:, 2]))


def _distinct(values: NDArray[Any]) -> NDArray[Any]:
    """The different values, sorted. Strips come track by track, so only changes need sorting."""
    return np.unique(values[np.append(True, values[1:] != values[:-1])])


def _samples(strips: Strips, levels: FloatArray, spread: float) -> _Samples:
    """Filaments across each track (Gauss nodes, so that the width's second moment is right), cut along their length."""
    lengths = strips.lengths
    along = np.maximum(np.ceil(lengths / (STEP_PER_SPREAD * spread)), 1).astype(int)
    across = _filaments(strips.width, spread)
    level = np.searchsorted(levels, strips.starts[:, 2])
    step = (strips.ends - strips.starts)[:, :2] / along[:, None]
    normal = np.column_stack([-step[:, 1], step[:, 0]]) * (strips.width * along / lengths / 2)[:, None]
    pieces, places, moments = [], [], []
    for count in np.unique(across):
        nodes, weights = np.polynomial.legendre.leggauss(int(count))
        chosen = np.flatnonzero(across == count)
        piece = np.repeat(chosen, along[chosen])
        order = np.arange(len(piece)) - np.repeat(np.cumsum(along[chosen]) - along[chosen], along[chosen])
        middle = strips.starts[piece, :2] + (order + 0.5)[:, None] * step[piece]
        for node, weight in zip(nodes, weights / 2, strict=True):
            pieces.append(piece)
            places.append(middle + node * normal[piece])
            moments.append(weight * step[piece])
    owner = np.concatenate(pieces)
    return _Samples(owner, np.concatenate(places), np.concatenate(moments), level[owner])


def _filaments(width: FloatArray, spread: float) -> NDArray[np.int_]:
    """How many filaments stand for a track of this width; one if the spread hides the width."""
    fine = np.maximum(np.ceil(width / (STEP_PER_SPREAD * spread)), 2)
    return np.where(width < HIDDEN_WIDTH * spread, 1, fine).astype(int)


def _stencil(grid: _Grid, samples: _Samples) -> tuple[NDArray[np.intp], list[tuple[int, FloatArray]]]:
    """Cubic spline weights: the flat index of the lowest node, and (offset, weight) for each of the 16 nodes."""
    nx, ny = grid.shape
    scaled = (samples.places - grid.corner) / grid.cell
    lowest = np.floor(scaled).astype(np.intp)
    f = scaled - lowest
    one = 1 - f
    splines = (one**3 / 6, 2 / 3 - f * f * (1 + one) / 2, 2 / 3 - one * one * (1 + f) / 2, f**3 / 6)
    base = (samples.level * nx + lowest[:, 0] - 1) * ny + lowest[:, 1] - 1
    return base, [(i * ny + j, splines[i][:, 0] * splines[j][:, 1]) for i in range(STENCIL) for j in range(STENCIL)]


def _merged_levels(levels: FloatArray, spread: float) -> tuple[FloatArray, FloatArray]:
    """Fewer levels that stand for many close ones, and the weights (merged, levels) that share a level out to them.

    The smoothed potential varies over the spread, so a polynomial in depth through Chebyshev nodes carries it.
    """
    span = float(levels[-1] - levels[0])
    count = 4 + int(np.ceil(span / spread))
    if count >= len(levels):
        return levels, np.eye(len(levels))
    nodes = (levels[0] + levels[-1] - span * np.cos(np.pi * (np.arange(count) + 0.5) / count)) / 2
    apart = nodes[:, None] - nodes[None, :] + np.eye(count)
    weights = [
        np.prod(np.delete((levels - nodes[:, None]) / apart[j][:, None], j, axis=0), axis=0) for j in range(count)
    ]
    return nodes, np.array(weights)


def _waves(
    grid: _Grid,
    base: NDArray[np.intp],
    nodes: list[tuple[int, FloatArray]],
    moment: FloatArray,
    merge: FloatArray | None = None,
    carrying: NDArray[np.intp] | slice = slice(None),
) -> ComplexArray:
    """The moments laid on the grid of every level, merged, transformed at twice its size: (levels, 2 nx, ny + 1).

    carrying: samples whose moment is not nought.
    """
    nx, ny = grid.shape
    size = len(grid.levels) * nx * ny
    flat = np.zeros(size)
    base, moment = base[carrying], moment[carrying]
    for index in range(0, len(nodes), STENCIL):  # a row of nodes at once: few passes over the whole grid
        row = nodes[index : index + STENCIL]
        places = np.concatenate([base + offset for offset, _ in row])
        flat += np.bincount(places, np.concatenate([weight[carrying] * moment for _, weight in row]), size)
    laid = flat.reshape(len(grid.levels), nx * ny)
    if merge is not None and len(merge) < len(laid):
        laid = merge @ laid
    rows = rfft(laid.reshape(-1, nx, ny), n=2 * ny, axis=2)
    return np.asarray(fft(rows, n=2 * nx, axis=1, overwrite_x=True))


class _Kernels:
    """Transforms of the smoothed 1 / R between levels, divided by those of the splines."""

    def __init__(self, grid: _Grid, images: Sequence[Image]) -> None:
        self.grid, self.images = grid, ((1.0, 0.0, 1.0), *images)
        self.known: dict[tuple[tuple[float, float], ...], FloatArray] = {}
        nx, ny = grid.shape
        self.r2 = (np.arange(nx + 1)[:, None] ** 2 + np.arange(ny + 1)[None, :] ** 2) * grid.cell**2
        x, y = (np.sinc(np.arange(n + 1) / (2 * n)) ** (2 * STENCIL) for n in grid.shape)
        self.splines = x[:, None] * y[None, :]
        self.fold = np.abs(np.fft.fftfreq(2 * nx, 1 / (2 * nx))).astype(int)

    def between(self, level_a: int, level_b: int) -> FloatArray:
        """The transform (2 nx, ny + 1) between two levels, images included."""
        za, zb = self.grid.levels[level_a], self.grid.levels[level_b]
        parts = sorted((round(abs(za - (sign * zb + shift)), 12), strength) for sign, shift, strength in self.images)
        key = tuple(parts)
        if key not in self.known:
            total = np.zeros_like(self.r2)
            for height, strength in parts:
                total += strength * self._smooth(height)
            self.known[key] = (np.asarray(dctn(total, type=1)) / self.splines)[self.fold]
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


def _self_corrections(strips: Strips, spread: float) -> FloatArray:
    """What the grid's own term of each strip lacks, (n,) [H]: mu0 l / (2 pi) ln (distance on grid / in copper)."""
    sections = strips.width + 1j * strips.thickness
    keys = _distinct(sections)
    ratios = np.empty(len(keys))
    for index, (width, thickness) in enumerate(zip(keys.real, keys.imag, strict=True)):
        nodes, weights = np.polynomial.legendre.leggauss(int(_filaments(np.array([width]), spread)[0]))
        apart2 = (np.subtract.outer(nodes, nodes) * width / 2) ** 2 / (2 * spread**2)
        off = ~np.eye(len(nodes), dtype=bool)
        # mean ln of a distance spread by a Gaussian: ln d + E1(d^2 / (2 s^2)) / 2, for d = 0 (ln(2 s^2) - gamma) / 2
        mean_log = np.full(apart2.shape, 0.5 * (np.log(2 * spread**2) - EULER_GAMMA))
        mean_log[off] = 0.5 * (np.log(apart2[off] * 2 * spread**2) + exp1(apart2[off]))
        ratios[index] = weights @ mean_log @ weights / 4 - np.log(bar_geometric_mean_distance(width, thickness))
    return np.asarray(MU_0 / (2 * np.pi) * strips.lengths * ratios[np.searchsorted(keys, sections)])


def _check(strips: Strips, cell: float) -> None:
    require_positive(cell=cell, width=strips.width, thickness=strips.thickness, piece_length=strips.lengths)
    if not np.array_equal(strips.starts[:, 2], strips.ends[:, 2]):
        raise LawRangeError("track inductance takes level pieces only; leave out vias")


def track_inductance_matrix(
    strips: Strips, currents: ArrayLike, cell: float, images: Sequence[Image] = ()
) -> FloatArray:
    """Self and mutual partial inductances of paths made of flat tracks.

    strips: all copper, n pieces [m]; currents: (N, n) current in each piece, from its start to its end, per ampere of
    each path [-]; cell: of the grid [m], see cell_for; images: of iron planes, from iron_images [-, m, -].
    Returns (N, N) symmetric [H]. Range: level pieces, a grid of at most 2048 cells a side, else LawRangeError.
    Accuracy: see the module; tracks nearer to each other than about 2.5 cells lose some of their mutual.
    Source: derived here from Neumann's integral; the split of 1 / R is Ewald's, Ann. Phys. 369, 1921.

    >>> around = np.linspace(0, 2 * np.pi, 181)
    >>> ring = strips_along(10e-3 * np.column_stack([np.cos(around), np.sin(around)]), 0.0, 0.5e-3, 1e-9)
    >>> loop = track_inductance_matrix(ring, np.ones((1, 180)), 0.25e-3)
    >>> bool(abs(loop[0, 0] / 57.493e-9 - 1) < 2e-3)
    True
    """
    _check(strips, cell)
    shares = np.atleast_2d(np.asarray(currents, dtype=float))
    grid = _grid_over(strips, cell)
    samples = _samples(strips, grid.levels, grid.spread)
    base, nodes = _stencil(grid, samples)
    levels, merge = _merged_levels(grid.levels, grid.spread)
    kernels = _Kernels(replace(grid, levels=levels), images)
    paths, count = len(shares), len(levels)
    result = np.zeros((paths, paths))
    half = np.full(grid.shape[1] + 1, 2.0)
    half[[0, -1]] = 1.0
    each = shares[:, samples.piece]
    carrying = [np.flatnonzero(share) for share in each]  # most samples belong to one path
    waves = np.empty((count, paths, len(kernels.fold) * len(half)), complex)
    for axis in (0, 1):
        for path, (share, own) in enumerate(zip(each, carrying, strict=True)):
            moment = samples.moments[:, axis] * share
            waves[:, path] = _waves(grid, base, nodes, moment, merge, own).reshape(count, -1)
        for a in range(count):
            for b in range(a, count):
                kernel = (kernels.between(a, b) * (half if a == b else 2 * half)).ravel()
                result += (waves[a] * kernel).view(float) @ waves[b].view(float).T
    result *= MU_0 / (4 * np.pi) / (4 * grid.shape[0] * grid.shape[1])
    result = (result + result.T) / 2
    return np.asarray(result + shares * _self_corrections(strips, grid.spread) @ shares.T)


def turned_track_inductances(
    strips: Strips, currents: ArrayLike, angles: ArrayLike, cell: float, images: Sequence[Image] = ()
) -> FloatArray:
    """Inductance between one path and the same path turned about the z axis, for several angles.

    strips: the path, n pieces [m]; currents: (n,) per ampere of the path [-]; angles: (m,) [rad]; cell: of the grid
    [m]; images: of iron planes, from iron_images [-, m, -]. Returns (m,) [H]; an angle of exactly zero gives the self
    inductance. Range and accuracy: as track_inductance_matrix; the grid covers the whole circle. Between different
    coils a cell of one to two track pitches is enough. Source: derived here, as track_inductance_matrix.

    >>> side = strips_along([[8e-3, -4e-3], [16e-3, -4e-3], [16e-3, 4e-3], [8e-3, 4e-3], [8e-3, -4e-3]], 0, 3e-4, 35e-6)
    >>> zero, opposite = turned_track_inductances(side, np.ones(4), [0.0, np.pi], 0.4e-3) * 1e9
    >>> bool(zero > 0 > opposite), round(float(opposite), 3)
    (True, -0.032)
    """
    _check(strips, cell)
    share = np.asarray(currents, dtype=float)
    reach = float(np.hypot(*np.concatenate([strips.starts, strips.ends])[:, :2].T).max() + strips.width.max() / 2)
    grid = _grid_over(strips, cell, reach)
    samples = _samples(strips, grid.levels, grid.spread)
    moments = samples.moments * share[samples.piece][:, None]
    potential = _potential(grid, samples, moments, images)
    turns = np.asarray(angles, dtype=float)
    result = np.empty(turns.shape)
    for index, angle in enumerate(turns):
        rotation = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
        turned = _Samples(samples.piece, samples.places @ rotation, moments @ rotation, samples.level)
        base, nodes = _stencil(grid, turned)
        result[index] = sum(
            weight @ (field[base + offset] * turned.moments[:, axis])
            for axis, field in enumerate(potential) for offset, weight in nodes
        )
        if angle == 0:
            result[index] += share**2 @ _self_corrections(strips, grid.spread)
    return result


def _potential(
    grid: _Grid, samples: _Samples, moments: FloatArray, images: Sequence[Image]
) -> list[FloatArray]:
    """The vector potential of the samples at the nodes, x and y, flat over levels and grid, ready for splines."""
    base, nodes = _stencil(grid, samples)
    kernels = _Kernels(grid, images)
    nx, ny = grid.shape
    count = len(grid.levels)
    fields = []
    for axis in (0, 1):
        waves = _waves(grid, base, nodes, moments[:, axis])
        sums, part = np.zeros_like(waves), np.empty_like(waves[0])
        for a in range(count):
            for b in range(count):
                sums[a] += np.multiply(kernels.between(a, b), waves[b], out=part)
        rows = ifft(sums, axis=1, overwrite_x=True)[:, :nx]
        fields.append(MU_0 / (4 * np.pi) * irfft(rows, n=2 * ny, axis=2)[:, :, :ny].ravel())
    return fields
