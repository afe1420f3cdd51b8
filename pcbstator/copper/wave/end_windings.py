"""The end windings of a wave winding: from an active conductor to the via where it joins the next one.

An end winding is the involute of a circle, because the gap between an involute and its turned copies is the same along
its whole length; it bends into the active conductor at one end and towards its via at the other.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import pi

import numpy as np
import shapely
from numpy.typing import NDArray

from pcbstator.copper.geometry.tracks import SAGITTA, ComplexArray, FloatArray, flat, strip_edges, turned

Shapes = NDArray[np.object_]  # of the geometry library

SAMPLES = 241  # of an end winding
ALONG = (1 - np.cos(np.linspace(0, pi, SAMPLES))) / 2  # where they lie, as a part of its length
PIECES = np.diff(ALONG)  # between them
STEPS = (np.append(0.0, PIECES) + np.append(PIECES, 0.0)) / 2  # weights of their sum
TO_GO, NEARER_SQUARED = 1 - ALONG, np.minimum(ALONG, 1 - ALONG) ** 2  # of its length, to its end; to the nearer one
STEEPEST = 0.999**2  # squared sine of the slant of an end winding at most
NEIGHBOURS = 4  # conductors that can come near to a via
MOST_ROUNDS = 100  # of the search for an end winding's length
STILL = 1e-7  # its last step, as a part of what there is; what is wrong then goes with a higher power of it
NOTHING = 1e-12  # m; less than this is missing only by rounding


@dataclass(frozen=True)
class WaveSizes:
    """What a wave winding is fitted to; lengths [m].

    pairs: of layers in series. side: +1 where the connection ring lies outside, -1 inside; transition_radius, far_edge:
    radii of the layer-transition vias at the connection ring and of the copper's other end. transition_step: angle
    between those vias [rad]. transition_pad: diameter of the copper at a via. bend: length of the bends at both ends of
    an end winding. skew: turn of the copper over the length of the active conductors [rad].
    """

    poles: int
    phases: int
    turns: int
    pairs: int
    side: int
    transition_radius: float
    far_edge: float
    transition_step: float
    width: float
    gap: float
    transition_pad: float
    bend: float
    tapered: bool
    skew: float = 0.0

    @property
    def conductors(self) -> int:
        """Active conductors on each layer."""
        return self.poles * self.phases * self.turns

    @property
    def step(self) -> float:
        """Angle between neighbouring active conductors [rad]."""
        return 2 * pi / self.conductors

    @property
    def pole_pitch(self) -> float:
        """Pole pitch [rad], mechanical; it is the coil span too."""
        return 2 * pi / self.poles

    @property
    def beside(self) -> float:
        """Least distance [m] of a track's centre-line from a via of another conductor."""
        return (self.transition_pad + self.width) / 2 + self.gap


@dataclass(frozen=True, eq=False)
class EndWinding:
    """The end winding of a conductor, from its active conductor outwards (or inwards): radius [m], angle from the
    active conductor [rad] and width [m] at every point, (n,); or several of them, (ends, n).
    """

    radii: FloatArray
    angles: FloatArray
    widths: FloatArray


def end_windings(
    sizes: WaveSizes, rows: tuple[float, float], advances: list[float]
) -> tuple[tuple[EndWinding, ...], tuple[EndWinding, ...]] | None:
    """The end windings of every pair, at the connection ring and at the far end, that end before ``rows`` [m]; None
    without room.

    The first guess knows the gap along the normal only; what the real, bent copper lacks is added until it fits.
    """
    pairs = len(advances)
    outward, advance = np.repeat([[sizes.side], [-sizes.side]], pairs, axis=0), np.tile(advances, 2)[:, None]
    row = np.repeat(rows, pairs)[:, None]
    spacing = np.full((2, 1), sizes.width + sizes.gap + SAGITTA)
    shave, before = np.zeros((2, 1)), np.full((2, 1), sizes.bend / 4)
    for _ in range(12):
        each = (np.repeat(trial, pairs, axis=0) for trial in (before, spacing, shave))
        ends = _ending_at(sizes, row, outward, advance, *each)
        if ends is None:
            return None
        gap_lack, via_lack = (lacks.reshape(2, pairs).max(axis=1) for lacks in _lacks(sizes, ends, advance, row))
        if gap_lack.max() <= 0 and via_lack.max() <= NOTHING:
            single = [EndWinding(*values) for values in zip(ends.radii, ends.angles, ends.widths, strict=True)]
            return tuple(single[:pairs]), tuple(single[pairs:])
        more = np.where(gap_lack > 0, gap_lack + 1e-7, 0.0)[:, None]
        spacing += more
        shave += more
        before += np.maximum(via_lack, 0.0)[:, None] * 1.05
    return None


def _ending_at(
    sizes: WaveSizes,
    row: FloatArray,
    outward: NDArray[np.int64],
    advance: FloatArray,
    before: FloatArray,
    spacing: FloatArray,
    shave: FloatArray,
) -> EndWinding | None:
    """The end windings that advance by ``advance`` [rad] and end ``before`` a row [m]; their active conductors end as
    far out as that lets. All (ends, 1). The sine of their slant grows along a bend, follows the involute and falls
    again along a bend.
    """
    end, base = row - outward * before, spacing / sizes.step
    bend = np.maximum(sizes.bend, end * sizes.step) if sizes.tapered else sizes.bend  # wide tracks bend wide
    longest = np.abs(end - np.where(outward == sizes.side, sizes.far_edge, sizes.transition_radius))
    if np.any(end <= base * 1.001) or np.any(end - outward * longest <= 0):
        return None

    def course(length: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Radii, the slant's squared sine, and the rate at which the angle grows along it, (ends, SAMPLES)."""
        radii = end - outward * length * TO_GO
        part = base / np.maximum(radii, base)
        square = np.minimum(np.minimum((length / bend) ** 2 * NEARER_SQUARED, 1 - part * part), STEEPEST)
        return radii, square, np.sqrt(square / (1 - square)) / radii

    def excess(length: FloatArray) -> FloatArray:
        return np.asarray(length * (course(length)[2] @ STEPS)[:, None] - advance)

    most = excess(longest)
    if np.any(most < 0):
        return None
    radii, square, rate = course(_roots(excess, longest, -advance, most))
    angles = np.zeros_like(radii)
    np.cumsum((rate[:, 1:] + rate[:, :-1]) * PIECES, axis=1, out=angles[:, 1:])
    widths = np.full(radii.shape, sizes.width)
    if sizes.tapered:
        room = radii * sizes.step * np.sqrt(1 - square) - sizes.gap - SAGITTA - shave
        # Beyond the steepest place vias are near: from there it narrows to its base width.
        steepest, number = np.argmax(square, axis=1)[:, None], np.arange(SAMPLES)
        beyond = np.maximum(number - steepest, 0) / np.maximum(SAMPLES - 1 - steepest, 1)
        there = np.take_along_axis(room, steepest, axis=1)
        narrowing = np.where(beyond > 0, there + beyond * (sizes.width - there), room)
        widths = np.maximum(np.minimum(narrowing, room), sizes.width)
    return EndWinding(radii, angles * (advance / angles[:, -1:]), widths)


def _roots(
    function: Callable[[FloatArray], FloatArray], high: FloatArray, at_zero: FloatArray, at_high: FloatArray
) -> FloatArray:
    """Where functions pass zero between 0 and ``high``, all at once: false position after Anderson and Björck, which
    lowers the value at an end that stays. (For a handful of roots the library's finder takes ten times as long.)
    """
    stays, value, last, there = np.zeros_like(high), at_zero, high, at_high
    for _ in range(MOST_ROUNDS):
        spread = there - value
        new = last - there * (last - stays) / np.where(spread == 0, 1.0, spread)
        if np.all(np.abs(new - last) <= STILL * high):
            break
        found = function(new)
        kept = found * there > 0
        lower = 1 - found / np.where(there == 0, 1.0, there)
        value = np.where(kept, value * np.where(lower > 0, lower, 0.5), there)
        stays, last, there = np.where(kept, stays, last), new, found
    return new


def _lacks(sizes: WaveSizes, ends: EndWinding, advance: FloatArray, row: FloatArray) -> tuple[FloatArray, FloatArray]:
    """What each end winding lacks of the gap to the next conductor, and of the distance from its vias in its ``row``
    [m]; nothing, or less than nothing, where it is far enough away.
    """
    points, widths = _with_active_conductors(sizes, ends)
    left, right = strip_edges(points, widths)
    outward = ends.radii[:, -1:] > ends.radii[:, :1]  # the next one lies further on
    facing, back = np.where(outward, left, right), np.where(outward, right, left)
    gap_lacks = lacking(_lines(facing), _lines(turned(back, sizes.step)), sizes.gap)
    # The vias are turned instead of the neighbours; those further on pass deeper below them.
    shifts = np.array([[0.0], [-0.5]] if sizes.pairs > 1 else [[0.0]])  # of other pairs
    ahead = (np.arange(1, NEIGHBOURS + 1) + shifts).ravel() * sizes.step
    vias, least = polar(row, advance - ahead), sizes.beside - sizes.width / 2
    if _nearest(vias, points[:, 1:], row - ends.radii[:, :1]) - widths.max() / 2 >= least:
        return gap_lacks, np.zeros(len(row))  # so far away that no more need be known
    return gap_lacks, least - shapely.distance(shapely.multipoints(flat(vias)), strips(left, right))


def _nearest(vias: ComplexArray, points: ComplexArray, beyond: FloatArray) -> float:
    """At least how far [m] vias are from the lines through the points of their end windings, and from the active
    conductors before those, which begin ``beyond`` [m] along the radius.
    """
    apart = vias[:, :, None] - points[:, None]
    nearest = float(np.sqrt((apart.real**2 + apart.imag**2).min()))
    return min(nearest - float(np.abs(np.diff(points)).max()) / 2, float(np.abs(beyond).min()))


def lacking(ones: Shapes, others: Shapes, least: float) -> FloatArray:
    """What distances lack [m]; 0 where nothing, which an index tells far sooner than how much."""
    shapely.prepare(ones)
    near = shapely.dwithin(ones, others, least)
    return np.where(near, least - shapely.distance(ones, others), 0.0) if near.any() else np.zeros(len(ones))


def _with_active_conductors(sizes: WaveSizes, ends: EndWinding) -> tuple[ComplexArray, FloatArray]:
    """Points x + iy and widths [m] of end windings with the piece of active conductor before them, which wide bends of
    their neighbours come near to; each (ends, n).
    """
    radii, widths, points = ends.radii, ends.widths, polar(ends.radii, ends.angles)
    ray = points[:, :1] - points[:, 1:2]
    before = points[:, :1] + ray / np.abs(ray) * radii[:, :1] * sizes.step
    return np.concatenate([before, points], axis=1), np.concatenate([widths[:, :1], widths], axis=1)


def _lines(points: ComplexArray) -> Shapes:
    return np.asarray(shapely.linestrings(flat(points)))


def strips(left: ComplexArray, right: ComplexArray) -> Shapes:
    """The areas between edges."""
    return np.asarray(shapely.polygons(flat(np.concatenate([right, left[:, ::-1]], axis=1))))


def polar(radii: FloatArray, angles: FloatArray) -> ComplexArray:
    """Points x + iy [m] from polar coordinates."""
    points = np.empty(np.broadcast(radii, angles).shape, dtype=complex)
    points.real, points.imag = radii * np.cos(angles), radii * np.sin(angles)
    return points
