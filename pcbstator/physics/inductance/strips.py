"""Flat tracks as straight strips, and as the points of smooth current that stand for them in sums over all pairs.

The current of a strip is spread over a ball of the radius ``spread`` (Gaussian, standard deviation spread / sqrt(2)
each), so that the potential between two pieces is erf(R / (sqrt(2) spread)) / R instead of 1 / R. Such a potential is
smooth, so a grid or a few waves carry it. A spread over a ball does not change the inductance between parallel wires
further apart than about two spreads (the logarithm is harmonic; what is missing is mu0 / (2 pi) E1(d^2 / (2 spread^2))
/ 2 per length, 0.1 % of mu0 / (2 pi) at d = 3 spread). What the spread changes in a track's own term is known in closed
form from the geometric mean distances and is put right per length.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import exp1

from pcbstator.constants import MU_0
from pcbstator.errors import LawRangeError
from pcbstator.physics.conductors.resistance import require_positive
from pcbstator.physics.inductance.closed_forms import bar_geometric_mean_distance

FloatArray = NDArray[np.float64]
Image = tuple[float, float, float]  # sign, shift, strength: a current at z has one at sign z + shift [-, m, -]

SPREAD_PER_CELL = 1.0  # smooth enough for a grid to see hardly a difference between places within a cell
STEP_PER_SPREAD = 1.5  # samples along a filament and filaments across a track stand no further apart
HIDDEN_WIDTH = 1.7  # of the spread: a ball of that size has about the second moment of such a strip
MOST_BEND = 0.3  # rad, within strips that are merged
LEAST_MERGED = 3  # levels that stand for many within a spread
MOST_CELLS = 8_000_000  # of all grids that cell_for allows: a second and half a gigabyte
LONGEST_SIDE = 1900  # cells along a side that it allows
CELLS_PER_PITCH = 2.5  # 0.4 % of mu0 / (2 pi) per length is missing of what tracks beside each other share
STENCIL = 4  # places of a grid on which a cubic spline shares a value out, in each direction
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
        x, y, z = (self.ends - self.starts).T
        return np.asarray(np.sqrt(x * x + y * y + z * z))


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


def require_level(strips: Strips) -> None:
    """Raises LawRangeError unless every strip is level and has a length, a width and a thickness.

    strips: [m]. Returns nothing [-]. Source: derived here.

    >>> require_level(strips_along([[0, 0], [3e-3, 4e-3]], 0.0, 0.3e-3, 35e-6))
    """
    require_positive(width=strips.width, thickness=strips.thickness, piece_length=strips.lengths)
    if not np.array_equal(strips.starts[:, 2], strips.ends[:, 2]):
        raise LawRangeError("the inductance of tracks takes level pieces only; leave out vias")


def joined_strips(parts: Sequence[Strips]) -> Strips:
    """Several lots of strips as one, in order.

    parts: the lots [-]. Returns all their strips [-]. Source: derived here.

    >>> one = strips_along([[0, 0], [1e-3, 0]], 0.0, 0.3e-3, 35e-6)
    >>> len(joined_strips([one, one]).lengths)
    2
    """
    return Strips(
        *(np.concatenate([getattr(part, name) for part in parts]) for name in ("starts", "ends", "width", "thickness"))
    )


def merged_strips(strips: Strips, currents: FloatArray, cell: float) -> tuple[Strips, FloatArray]:
    """Fewer strips for a grid that does not resolve each: pieces that follow each other in one, where they bend little.

    strips: the copper, n pieces [m]; currents: (N, n) in them [-]; cell: of the grid [m]. Returns strips of the same
    moments, length times direction, about the same centres [m], and the currents in them [-]; none is longer than a
    sample on this grid unless it was before. Range: any. Source: derived here; an arc of angle a loses a^2 / 24 of its
    length at most, and its area is kept, since the piece lies at its centre of mass.

    >>> around = np.linspace(0, 1, 101)
    >>> arc = strips_along(10e-3 * np.column_stack([np.cos(around), np.sin(around)]), 0.0, 0.3e-3, 35e-6)
    >>> len(merged_strips(arc, np.ones((1, 100)), 1e-3)[0].lengths)
    9
    """
    vectors, lengths = strips.ends - strips.starts, strips.lengths
    along = np.floor((np.cumsum(lengths) - lengths / 2) / (STEP_PER_SPREAD * SPREAD_PER_CELL * cell))
    heading = np.arctan2(vectors[:, 1], vectors[:, 0])
    turn = np.abs((np.diff(heading, prepend=heading[:1]) + np.pi) % (2 * np.pi) - np.pi)
    bend = np.floor(np.cumsum(turn) / MOST_BEND)
    changes = [strips.starts[1:, axis] != strips.ends[:-1, axis] for axis in range(3)]
    changes += [row[1:] != row[:-1] for row in currents]
    apart = np.any([*changes, along[1:] != along[:-1], bend[1:] != bend[:-1]], axis=0)
    first = np.append(0, 1 + np.flatnonzero(apart))
    weights = np.column_stack([(strips.starts + strips.ends) / 2, strips.width]) * lengths[:, None]
    means = np.add.reduceat(weights, first) / np.add.reduceat(lengths, first)[:, None]
    half = np.add.reduceat(vectors, first) / 2
    starts, ends = means[:, :3] - half, means[:, :3] + half
    starts[:, 2] = ends[:, 2] = strips.starts[first, 2]
    return Strips(starts, ends, means[:, 3], strips.thickness[first]), currents[:, first]


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
    mirrored = [(-1.0, 2 * low + order * period, strength(abs(order - 0.5))) for order in range(-count, count + 2)]
    return (*moved, *mirrored)


def unclosed_part(moments: FloatArray, images: Sequence[Image], size: float) -> FloatArray:
    """What the reflections between two irons add for currents that do not come back to where they began.

    moments: (N, 2) sum of current times length, x and y, of each path per ampere [m]; images: of iron_images
    [-, m, -]; size: across the copper [m]. Returns (N, N) [H], nought for one iron. Range: any.
    Source: derived here. The potential of such a current's reflections falls off as 1 / distance, so their sum has no
    end; what closes the current outside the copper has the same reflections far away and takes this part away again.

    >>> gap = iron_images([0.002, -0.002])
    >>> bool(unclosed_part(np.array([[0.01, 0.0]]), gap, 0.05)[0, 0] > 0)
    True
    """
    far = sum(strength / np.hypot(shift, size) for _, shift, strength in images) if len(images) > 1 else 0.0
    return np.asarray(MU_0 / (4 * np.pi) * far * moments @ moments.T)


def cell_for(strips: Strips, pitch: float = 0.0, grids: int = 1) -> float:
    """A grid cell with which the inductance of these strips is right to about half a percent, one at worst.

    strips: the copper [m]; pitch: from track to track, if it is known [m]; grids: over all copper that will be needed
    [-]. Returns half the narrowest width or two fifths of the pitch, whichever is more; less (to 0.3 of the width) if
    levels lie nearer than that, but not so little that the grids have more than MOST_CELLS in all, or a side more than
    LONGEST_SIDE [m].
    Range: any. Source: derived here, from the convergence against neumann_track_inductance_matrix.

    >>> round(cell_for(strips_along([[0, 0], [3e-3, 4e-3]], 0.0, 0.3e-3, 35e-6)) * 1e3, 3)
    0.15
    """
    sides = [max(np.ptp(strips.starts[:, axis]), np.ptp(strips.ends[:, axis])) for axis in (0, 1)]
    width = float(strips.width.min())
    level_gap = float(np.diff(distinct(strips.starts[:, 2])).min(initial=np.inf))
    beside = max(width / 2, pitch / CELLS_PER_PITCH)
    least = max(np.sqrt(sides[0] * sides[1] * grids / MOST_CELLS), max(sides) / LONGEST_SIDE)
    return float(max(min(beside, max(0.3 * width, 0.7 * level_gap)), least))


@dataclass(frozen=True, eq=False)
class Samples:
    """Points that carry current: piece they belong to, place (p, 2), direction times length (p, 2), level index."""

    piece: NDArray[np.intp]
    places: FloatArray
    moments: FloatArray
    level: NDArray[np.intp]

    def of(self, chosen: NDArray[np.intp]) -> Samples:
        """Some of them, in this order."""
        return Samples(self.piece[chosen], self.places[chosen], self.moments[chosen], self.level[chosen])


def samples_of(strips: Strips, levels: FloatArray, spread: float) -> Samples:
    """The points that stand for strips whose current is spread: filaments across each, cut along their length.

    strips: [m]; levels: (l,) the different levels, sorted [m]; spread: [m]. Returns the samples [m]. Range: every strip
    lies on one of the levels. Source: derived here; filaments at Gauss nodes, for the second moment of the width.

    >>> len(samples_of(strips_along([[0, 0], [6e-3, 0]], 0.0, 0.3e-3, 35e-6), np.array([0.0]), 1e-3).piece)
    4
    """
    lengths = strips.lengths
    along = np.maximum(np.ceil(lengths / (STEP_PER_SPREAD * spread)), 1).astype(int)
    across = _filaments(strips.width, spread)
    level = np.searchsorted(levels, strips.starts[:, 2])
    step = (strips.ends - strips.starts)[:, :2] / along[:, None]
    normal = np.column_stack([-step[:, 1], step[:, 0]]) * (strips.width * along / lengths / 2)[:, None]
    pieces, places, moments = [], [], []
    for count in np.unique(across):
        nodes, weights = _gauss(int(count))
        chosen = np.flatnonzero(across == count)
        piece = np.repeat(chosen, along[chosen])
        order = np.arange(len(piece)) - np.repeat(np.cumsum(along[chosen]) - along[chosen], along[chosen])
        middle = strips.starts[piece, :2] + (order + 0.5)[:, None] * step[piece]
        for node, weight in zip(nodes, weights / 2, strict=True):
            pieces.append(piece)
            places.append(middle + node * normal[piece])
            moments.append(weight * step[piece])
    owner = np.concatenate(pieces)
    return Samples(owner, np.concatenate(places), np.concatenate(moments), level[owner])


@lru_cache(maxsize=64)
def _gauss(count: int) -> tuple[FloatArray, FloatArray]:
    """Gauss nodes within -1 to 1 and their weights."""
    return np.polynomial.legendre.leggauss(count)


def _filaments(width: FloatArray, spread: float) -> NDArray[np.int_]:
    """How many filaments stand for a track of this width; one if the spread hides the width."""
    fine = np.maximum(np.ceil(width / (STEP_PER_SPREAD * spread)), 2)
    return np.where(width < HIDDEN_WIDTH * spread, 1, fine).astype(int)


def self_corrections(strips: Strips, spread: float, sampled: float | None = None) -> FloatArray:
    """What the own term of each strip lacks where its current is spread: mu0 l / (2 pi) ln (distance so / in copper).

    strips: n pieces [m]; spread: [m]; sampled: the spread for which the samples were taken, if another [m].
    Returns (n,) [H]. Range: pieces that are long against the spread, or run on. Source: derived here from geometric
    mean distances.

    >>> strip = strips_along([[0, 0], [1e-3, 0]], 0.0, 0.3e-3, 35e-6)
    >>> round(float(self_corrections(strip, 1e-3)[0]) * 1e12)
    530
    """
    sections = strips.width + 1j * strips.thickness
    keys = np.unique(distinct(sections))
    ratios = -np.log(bar_geometric_mean_distance(keys.real, keys.imag))
    across = _filaments(keys.real, sampled or spread)
    for count in np.unique(across):
        nodes, weights = _gauss(int(count))
        own, off = across == count, ~np.eye(count, dtype=bool)
        apart2 = (np.subtract.outer(nodes, nodes) * keys.real[own, None, None] / 2) ** 2 / (2 * spread**2)
        # mean ln of a distance spread by a Gaussian: ln d + E1(d^2 / (2 s^2)) / 2, for d = 0 (ln(2 s^2) - gamma) / 2
        mean_log = np.full(apart2.shape, 0.5 * (np.log(2 * spread**2) - EULER_GAMMA))
        mean_log[:, off] = 0.5 * (np.log(apart2[:, off] * 2 * spread**2) + exp1(apart2[:, off]))
        ratios[own] += np.einsum("i,kij,j->k", weights, mean_log, weights) / 4
    return np.asarray(MU_0 / (2 * np.pi) * strips.lengths * ratios[np.searchsorted(keys, sections)])


def distinct(values: NDArray[Any]) -> NDArray[Any]:
    """The different values, sorted. Strips come track by track, so only changes need sorting.

    values: (n,) [any]. Returns them, each once [any]. Source: derived here.

    >>> distinct(np.array([0.0, 0.0, -1.0, -1.0, 0.0])).tolist()
    [-1.0, 0.0]
    """
    return np.unique(values[np.append(True, values[1:] != values[:-1])])


def merged_levels(levels: FloatArray, spread: float) -> tuple[FloatArray, FloatArray]:
    """Fewer levels that stand for many close ones, and the weights that share a level out to them.

    levels: (l,) sorted [m]; spread: of the currents [m]. Returns m levels [m] and weights (m, l) [-], or the levels as
    they are. Source: derived here; the potential of spread currents varies over the spread, so a polynomial in depth
    through Chebyshev nodes carries it.

    >>> merged_levels(np.linspace(-1.5e-3, 0, 16), 1e-3)[1].shape
    (3, 16)
    """
    span = float(levels[-1] - levels[0])
    count = max(LEAST_MERGED, 1 + int(np.ceil(span / spread)))
    if count >= len(levels):
        return levels, np.eye(len(levels))
    nodes = (levels[0] + levels[-1] - span * np.cos(np.pi * (np.arange(count) + 0.5) / count)) / 2
    apart = nodes[:, None] - nodes[None, :] + np.eye(count)
    weights = [
        np.prod(np.delete((levels - nodes[:, None]) / apart[j][:, None], j, axis=0), axis=0) for j in range(count)
    ]
    return nodes, np.array(weights)


def cubic_spline(places: FloatArray) -> tuple[NDArray[np.intp], FloatArray]:
    """Cubic splines that share a value at any place out to the whole numbers beside it.

    places: (p,) in steps of the grid [-]. Returns the lowest of the four numbers that take part (p,) [-], and their
    weights (4, p) [-]. Range: any. Source: the uniform cubic B-spline, e.g. Schoenberg 1946 (from memory).

    >>> lowest, weights = cubic_spline(np.array([5.0]))
    >>> int(lowest[0]), [round(float(weight), 4) for weight in weights[:, 0]]
    (4, [0.1667, 0.6667, 0.1667, 0.0])
    """
    below = np.floor(places)
    f = places - below
    one = 1 - f
    weights = np.stack([
        one * one * one / 6, 2 / 3 - f * f * (1 + one) / 2, 2 / 3 - one * one * (1 + f) / 2, f * f * f / 6,
    ])  # fmt: skip
    return below.astype(np.intp) - 1, weights
