"""The family of parallel outlines that the turns of one coil follow.

The coil's axis is +x, the machine's centre the origin. Offset 0 is the centre-line of the outermost turn; a larger
offset lies that far inside it. Every outline of a family has the same number of vertices, and vertex i of one
corresponds to vertex i of another, so a spiral is a walk through the vertices with a growing offset.

Where the offset grows matters for the gap: it must grow at the same place for every turn, or neighbouring turns
slant past each other and come closer. On a circle it grows evenly with the angle; between straight sides it grows on
a ramp whose place on the side is the same for all turns, and arcs and corners are exactly parallel.

Half an outline runs counter-clockwise from the outer middle (y = 0) over the side of positive y to the inner middle;
the other half is its mirror image.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from math import asin, cos, pi, sin, sqrt

import numpy as np
from numpy.typing import NDArray

from pcbstator.copper.geometry.tracks import SAGITTA, ComplexArray, FloatArray, arc_pieces


@dataclass(frozen=True, eq=False)
class _Pieces:
    """The vertices of half an outline: number of the piece (0 outer arc, 1 corner, 2 to 4 the side: its beginning and
    the ends of the ramp, 5 corner, 6 inner arc) and place on it, 0 … 1. gained: part of a turn's pitch gained at every
    vertex of a whole outline. Not to be changed.
    """

    number: NDArray[np.int64]
    place: FloatArray
    gained: FloatArray


@lru_cache(maxsize=1024)
def _pieces_of(outer: int, corner: int, inner: int) -> _Pieces:
    """The vertices of half an outline with these numbers of straight pieces in its arcs."""
    counts = (outer, corner, 1, 1, 1, corner, inner)
    number = np.concatenate([np.full(count, piece) for piece, count in enumerate(counts)] + [[6]]).astype(np.int64)
    place = np.concatenate([np.arange(count) / count for count in counts] + [[1.0]])
    gained = np.where(number >= 4, 0.5, 0.0)
    return _Pieces(number, place, np.concatenate([gained, 1 - gained[-2::-1]]))


@dataclass(frozen=True, eq=False)
class SectorFamily:
    """Outlines between two arcs about the machine's centre and two straight sides.

    outer, inner: centre-line radii [m] at offset 0. tilt: angle of the sides against the axis [rad]; 0 for parallel
    sides. side: distance [m] of the side from the line through the centre at that angle, inwards, at offset 0
    (negative for parallel sides, which lie outside the axis). corner: centre-line radius of the corners [m]. ramp:
    where along the side [m] a spiral begins and ends to move inwards, the outer place first.

    fan: for tapered tracks, one over the radius [1/m] at which they have their base width; 0 for even ones. Their sides
    all lie along radii, turned by fan times the offset, and fill what the radius gives: track_pitch·fan·radius − gap,
    where track_pitch is base width and gap together [m].
    """

    outer: float
    inner: float
    tilt: float
    side: float
    corner: float
    ramp: tuple[float, float] = (0.0, 0.0)
    fan: float = 0.0
    track_pitch: float = 0.0
    gap: float = 0.0

    def _tilts(self, offset: FloatArray) -> FloatArray:
        """Angle [rad] of the sides of the outlines with ``offset``."""
        return self.tilt - self.fan * offset

    def _sides(self, offset: FloatArray) -> FloatArray:
        """Distance [m] of those sides from the line through the centre at their angle."""
        return self.side + (offset if self.fan == 0 else np.zeros_like(offset))

    def widths(self, offset: FloatArray, vertex: NDArray[np.int64]) -> FloatArray:
        """Width [m] of tapered tracks at half vertices ``vertex`` (n,): along arcs the base width, in between more."""
        piece, place = self._pieces.number[vertex], self._pieces.place[vertex]
        base = self.track_pitch - self.gap
        chords = 2 * SAGITTA  # by which they may differ from their arcs
        outer, inner = (np.abs(centre) for centre in self._corners(offset))
        radius = np.hypot(*self.half(offset, vertex).T)
        side, far, near = (self.track_pitch * self.fan * r - self.gap - chords for r in (radius, outer, inner))
        # As a corner leaves the arc beside its neighbour with the square of its turn, its width may grow likewise.
        out, back = 1 - np.cos(pi / 2 * place), 1 - np.cos(pi / 2 * (1 - place))
        arc = np.full_like(place, base)
        widths = [arc, base + out * (far - base), side, side, side, base + back * (near - base), arc]
        return np.asarray(np.choose(piece, widths))

    @cached_property
    def _pieces(self) -> _Pieces:
        half_angle = pi / 2 if self.tilt == 0 else self.tilt
        outer = arc_pieces(self.outer, min(half_angle, self._corner_angle(True)))
        inner = arc_pieces(self.inner, min(half_angle, self._corner_angle(False)))
        return _pieces_of(outer, arc_pieces(self.corner, pi / 2 + self.tilt), inner)

    def _corner_angle(self, outer: bool) -> float:
        """Polar angle [rad] where the arc of the outermost outline ends."""
        return float(np.angle(self._corner(0.0)[0 if outer else 1]))

    def _corner(self, offset: float) -> tuple[complex, complex]:
        """Centres x + iy of the outer and inner corner arcs of one outline on the side of positive y."""
        tilt = self.tilt - self.fan * offset
        cosine, sine = cos(tilt), sin(tilt)
        distance = self.side + (offset if self.fan == 0 else 0.0) + self.corner
        outer_reach = sqrt(max((self.outer - offset - self.corner) ** 2 - distance**2, 0.0))
        inner_reach = sqrt(max((self.inner + offset + self.corner) ** 2 - distance**2, 0.0))
        along, inwards = complex(cosine, sine), distance * complex(sine, -cosine)
        outer, inner = outer_reach * along + inwards, inner_reach * along + inwards
        if self.tilt > 0 and inner.imag < 0:
            # Where the sides meet before they reach the inner arc, one corner on the axis takes the arc's place.
            inner = complex(distance / sin(max(tilt, 1e-9)), 0.0)
        return outer, inner

    def _corners(self, offset: FloatArray) -> tuple[ComplexArray, ComplexArray]:
        """Those centres of several outlines, each (n,)."""
        centres = np.array([self._corner(each) for each in offset.tolist()])
        return centres[:, 0], centres[:, 1]

    def ring_angle(self, side: int) -> float:
        """Polar angle [rad] up to which the outermost turn follows the connection ring, outside (+1) or inside."""
        return self._corner_angle(side > 0)

    def is_open(self, offset: float) -> bool:
        """Whether an outline with this offset exists."""
        if self.outer - offset - self.corner <= 0:
            return False
        outer, inner = self._corner(offset)
        reaches = abs(self.side + (offset if self.fan == 0 else 0.0) + self.corner) < self.outer - offset - self.corner
        if self.fan and self.tilt - self.fan * offset <= 0:
            return False
        return reaches and outer.imag >= 0 and inner.imag >= -1e-12 and outer.real >= inner.real

    def half(self, offset: FloatArray, vertex: NDArray[np.int64]) -> FloatArray:
        """Points (n, 2) of half vertices ``vertex`` (n,) on the outlines with ``offset`` (n,)."""
        piece, place = self._pieces.number[vertex], self._pieces.place[vertex]
        new = np.append(True, offset[1:] != offset[:-1])  # offsets that stand beside each other are mostly equal
        entry = 7 * (np.cumsum(new) - 1) + piece
        centre, radius, first, turn = (table[entry] for table in self._arcs(offset[new]))
        angle = first + place * turn
        points = np.empty((len(vertex), 2))
        points[:, 0] = centre.real + radius * np.cos(angle)
        points[:, 1] = centre.imag + radius * np.sin(angle)
        return points

    def _arcs(self, offset: FloatArray) -> tuple[ComplexArray, FloatArray, FloatArray, FloatArray]:
        """Every piece of the outlines with ``offset`` (n,) as an arc: its centre x + iy, radius [m], angle at its
        beginning and turn [rad], each (7 n,).
        """
        outer, inner = self._corners(offset)
        outer_angle, inner_angle = np.angle(outer), np.angle(inner)
        tilt, side = self._tilts(offset), self._sides(offset)
        normal, none, corner = tilt + pi / 2, np.zeros(len(offset)), np.full(len(offset), self.corner)
        along = np.exp(1j * tilt)
        ramp = [(place - 1j * side) * along for place in self.ramp]
        centre = np.array([none, outer, outer, *ramp, inner, none])
        radius = np.array([self.outer - offset, corner, corner, none, none, corner, np.abs(inner) - self.corner])
        first = np.array([none, outer_angle, normal, none, none, normal, inner_angle])
        turn = np.array([outer_angle, normal - outer_angle, none, none, none, pi + inner_angle - normal, -inner_angle])
        return centre.T.ravel(), radius.T.ravel(), first.T.ravel(), turn.T.ravel()

    def with_ramp(self, depth: float) -> SectorFamily:
        """This family with the ramp that every outline up to offset ``depth`` has room for."""
        outer, inner = self._corner(depth)
        tilt = self.tilt - self.fan * depth
        along = complex(cos(tilt), -sin(tilt))
        return replace(self, ramp=((outer * along).real, (inner * along).real))

    def fraction_at(self, offset: float, x: float) -> float:
        """Part of a turn's pitch gained from the outer middle to where half an outline passes ``x`` [m]."""
        tilt, side = self.tilt - self.fan * offset, self.side + (offset if self.fan == 0 else 0.0)
        high, low = (along * cos(tilt) + side * sin(tilt) for along in self.ramp)
        return 0.5 * min(max((high - x) / max(high - low, 1e-12), 0.0), 1.0)

    def slant(self, step: float) -> float:
        """Sine of the steepest angle between outlines and a spiral whose turns are ``step`` [m] apart, square on."""
        return step / 2 * max(self.fan * self.ramp[0], 1.0) / max(self.ramp[0] - self.ramp[1], 1e-9)

    def turn_fractions(self) -> FloatArray:
        """Part of a turn's pitch gained at every whole-outline vertex from the outer middle, (2·half + 1,)."""
        return self._pieces.gained

    @property
    def half_vertices(self) -> int:
        """Index of the last vertex of half an outline (the inner middle)."""
        return len(self._pieces.number) - 1

    def axis_room(self, offset: float, margin: float) -> tuple[float, float]:
        """Smallest and largest x on the axis that keep ``margin`` from the outline; none if reversed."""
        low, high = self.inner + offset + margin, self.outer - offset - margin
        if self.tilt > 0:
            # Where the sides meet, their corner is round, with the radius that is left of it inside the margin.
            # Tapered sides are wider there than the base.
            margin += max(self.track_pitch * (self.fan * self.outer - 1), 0.0) / 2
            reach = max(self.corner, margin)
            tilt = max(self.tilt - self.fan * offset, 1e-9)
            side = self.side + (offset if self.fan == 0 else 0.0)
            low = max(low, (side + reach) / sin(tilt) - (reach - margin))
        elif self.side + offset + margin > 0:
            low = high + 1.0
        return low, high


@dataclass(frozen=True, eq=False)
class RoundFamily:
    """Circles about a point on the axis: centre [m] from the machine's centre, radius [m] at offset 0.

    depth: the largest offset [m] that a spiral uses.
    """

    centre: float
    radius: float
    depth: float = 0.0

    @cached_property
    def half_vertices(self) -> int:
        """Index of the last vertex of half an outline (the inner middle)."""
        return arc_pieces(self.radius, pi)

    @property
    def outer(self) -> float:
        """Largest distance of the outermost turn from the machine's centre [m]."""
        return self.centre + self.radius

    @property
    def inner(self) -> float:
        """Smallest distance of the outermost turn from the machine's centre [m]."""
        return self.centre - self.radius

    def ring_angle(self, side: int) -> float:
        """Polar angle [rad] up to which the outermost turn may be met from the connection ring, outside (+1) or
        inside (-1).
        """
        return asin(0.8 * self.radius / (self.centre + 0.6 * side * self.radius))

    def is_open(self, offset: float) -> bool:
        """Whether an outline with this offset exists."""
        return offset < self.radius

    def with_ramp(self, depth: float) -> RoundFamily:
        """This family for spirals down to offset ``depth``."""
        return replace(self, depth=depth)

    def fraction_at(self, offset: float, x: float) -> float:
        """Part of a turn's pitch gained from the outer middle to where half an outline passes ``x`` [m]."""
        vertex = np.arange(self.half_vertices + 1)
        points = self.half(np.full(len(vertex), offset), vertex)
        return float(np.interp(-x, -points[:, 0], self.turn_fractions()[: len(vertex)]))

    def slant(self, step: float) -> float:
        """Sine of the steepest angle between outlines and a spiral whose turns are ``step`` [m] apart, square on."""
        return step / (2 * pi * max(self.radius - self.depth, 1e-9))

    def turn_fractions(self) -> FloatArray:
        """Part of a turn's pitch gained at every whole-outline vertex from the outer middle, (2·half + 1,)."""
        return np.linspace(0, 1, 2 * self.half_vertices + 1)

    def half(self, offset: FloatArray, vertex: NDArray[np.int64]) -> FloatArray:
        """Points (n, 2) of half vertices ``vertex`` (n,) on the outlines with ``offset`` (n,)."""
        angle = pi * vertex / self.half_vertices
        radius = self.radius - offset
        return np.stack([self.centre + radius * np.cos(angle), radius * np.sin(angle)], axis=1)

    def axis_room(self, offset: float, margin: float) -> tuple[float, float]:
        """Smallest and largest x on the axis that keep ``margin`` from the outline; none if reversed."""
        reach = self.radius - offset - margin
        return self.centre - reach, self.centre + reach


Family = SectorFamily | RoundFamily


def outline_points(family: Family, offset: FloatArray, vertex: NDArray[np.int64]) -> FloatArray:
    """Points (n, 2) of whole-outline vertices (taken modulo the outline) with ``offset`` (n,), counter-clockwise."""
    half = family.half_vertices
    around = np.mod(vertex, 2 * half)
    mirrored = around > half
    points = family.half(offset, np.where(mirrored, 2 * half - around, around))
    points[:, 1] *= np.where(mirrored, -1.0, 1.0)
    return points


def outline_widths(family: SectorFamily, offset: FloatArray, vertex: NDArray[np.int64]) -> FloatArray:
    """Width (n,) [m] of tapered tracks at whole-outline vertices, like ``outline_points``."""
    half = family.half_vertices
    around = np.mod(vertex, 2 * half)
    return family.widths(offset, np.where(around > half, 2 * half - around, around))


def sector_family(outer: float, inner: float, coils: int, clearance: float, corner: float) -> SectorFamily:
    """Sides that keep ``clearance`` [m] (centre-line) from the radial line half-way to the neighbour."""
    return SectorFamily(outer, inner, pi / coils, clearance, corner)


def fan_family(
    outer: float, inner: float, coils: int, track_pitch: float, gap: float, corner: float, clearance: float
) -> SectorFamily:
    """Sides along the radii, for tapered tracks whose base width and ``gap`` [m] are ``track_pitch`` [m] together.

    They keep ``clearance`` [m] (centre-line) at the inner end from the line half-way to the neighbour.
    """
    tilt = pi / coils - clearance / inner
    return SectorFamily(outer, inner, tilt, 0.0, corner, fan=1 / inner, track_pitch=track_pitch, gap=gap)


def parallel_family(outer: float, inner: float, coils: int, clearance: float, corner: float) -> SectorFamily:
    """Sides parallel to the axis, as far out as the neighbour allows at the inner arc."""
    angle = pi / coils - asin(min(clearance / inner, 1.0))
    return SectorFamily(outer, inner, 0.0, -inner * sin(min(angle, pi / 2 - 0.05)), corner)


def round_family(outer: float, inner: float, coils: int, clearance: float) -> RoundFamily:
    """The largest circle between the two radii and the neighbours, as far out as it goes."""
    pitch = sin(pi / coils)
    radius = min((outer - inner) / 2, (outer * pitch - clearance) / (1 + pitch))
    return RoundFamily(outer - radius, radius)
