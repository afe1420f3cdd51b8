"""Tracks and plated holes as shapes: centre-lines, widths, edges and lengths. SI units; axes of docs/conventions.md."""

from __future__ import annotations

from cmath import rect
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from math import acos, ceil
from typing import Literal

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]
Role = Literal["coil", "interconnect", "lead", "teardrop"]

# Largest distance between an arc and the straight pieces that stand for it [m]; far below what a board manufacturer
# images.
SAGITTA = 2e-6


@dataclass(frozen=True, eq=False)
class Layer:
    """One copper layer: number from 1 (rotor side), mid-plane z [m] (0 or negative), thickness [m].

    outer: whether it lies on a face of its board.
    """

    number: int
    depth: float
    thickness: float
    outer: bool = False


@dataclass(frozen=True, eq=False)
class Track:
    """A strip of copper along a polyline.

    shape: (n, 2) centre-line [m] of 2 points or more, in the direction of positive phase current, before it is turned
    about the board's centre by ``turn`` [rad]; copies share one, so that what a turn does not change is computed once.
    width: [m], the largest one where it varies. net: the electrical net; phase: the phase whose current it carries.
    widths: (n,) [m], one per point; None where it is the same everywhere.
    """

    layer: int
    shape: FloatArray
    width: float
    net: str
    phase: str
    role: Role
    widths: FloatArray | None = None
    turn: float = 0.0

    @cached_property
    def points(self) -> FloatArray:
        """The centre-line in its place [m], (n, 2)."""
        if self.turn == 0.0:
            return self.shape
        return flat(turned(np.ascontiguousarray(self.shape, dtype=float).view(complex)[:, 0], self.turn))

    @cached_property
    def ends(self) -> tuple[tuple[float, float], tuple[float, float]]:
        """First and last point of the centre-line [m]."""
        turn = rect(1.0, self.turn)
        first, last = (complex(*point) * turn for point in self.shape[:: len(self.shape) - 1].tolist())
        return (first.real, first.imag), (last.real, last.imag)

    @cached_property
    def lengths(self) -> FloatArray:
        """Length of every piece of the centre-line [m], shape (n − 1,)."""
        return np.asarray(np.hypot(*np.diff(self.shape, axis=0).T))

    @cached_property
    def length(self) -> float:
        """Length of the centre-line [m]."""
        return float(self.lengths.sum())

    @cached_property
    def point_widths(self) -> FloatArray:
        """Width at every point [m], shape (n,)."""
        return np.full(len(self.shape), self.width) if self.widths is None else self.widths

    @cached_property
    def piece_widths(self) -> FloatArray:
        """Mean width of every piece [m], shape (n − 1,)."""
        return (self.point_widths[1:] + self.point_widths[:-1]) / 2

    @property
    def narrowest(self) -> float:
        """Least width [m]."""
        return self.width if self.widths is None else float(self.widths.min())

    @property
    def area(self) -> float:
        """Area of the strip [m2], round ends left out."""
        return self.length * self.width if self.widths is None else float(self.lengths @ self.piece_widths)

    @cached_property
    def piece(self) -> tuple[tuple[object, ...], int]:
        """What tells it from every other interconnect, in either direction; and the direction, +1 or -1."""
        first, last = (spot(*end) for end in self.ends)
        return (
            (("interconnect", self.layer, first, last), 1)
            if first <= last
            else (("interconnect", self.layer, last, first), -1)
        )

    def turned(self, angle: float, **changes: object) -> Track:
        """This track turned about the board's centre by ``angle`` [rad], with other fields changed as named."""
        return replace(self, turn=self.turn + angle, **changes)  # type: ignore[arg-type]

    @property
    def form(self) -> tuple[int, int, float, int]:
        """What tells its copper from that of other tracks but for a turn, as long as those are kept."""
        return id(self.shape), self.layer, self.width, id(self.widths)

    @property
    def original(self) -> Track:
        """The track that this one is the reverse of, or itself: the same one for both directions through one piece."""
        original: Track = vars(self).get("_original", self)
        return original

    def reversed(self) -> Track:
        """The same copper with the current in the other direction."""
        if self.original is not self:
            return self.original
        widths = None if self.widths is None else self.widths[::-1]
        back = Track(self.layer, self.shape[::-1], self.width, self.net, self.phase, self.role, widths, self.turn)
        vars(back)["_original"] = self  # no field, which a copy with another width or layer would keep
        return back


@dataclass(frozen=True, eq=False)
class Via:
    """A plated hole that joins layers: position [m], drill and pad diameters [m], layers it was drilled through.

    within: it lies in the copper around another via, and helps that one.
    """

    x: float
    y: float
    drill: float
    pad: float
    net: str
    from_layer: int
    to_layer: int
    within: bool = False


@dataclass(frozen=True, eq=False)
class Terminal:
    """A plated hole for a wire: position [m], drill and pad diameters [m], the layer its lead arrives on."""

    name: str
    x: float
    y: float
    drill: float
    pad: float
    layer: int
    net: str

    within = False


@dataclass(frozen=True)
class Point:
    """A place on a layer [m]."""

    x: float
    y: float
    layer: int


@dataclass(frozen=True)
class Pin:
    """A wire soldered into the terminals of several boards: place, diameter [m], from one layer to another."""

    x: float
    y: float
    diameter: float
    from_layer: int
    to_layer: int


@dataclass(frozen=True)
class TileJumper:
    """A wire across a cut between tiles, soldered into a hole on either side: from where to where, diameter [m]."""

    start: tuple[float, float]
    end: tuple[float, float]
    diameter: float

    @property
    def length(self) -> float:
        """From hole to hole [m]."""
        return float(np.hypot(self.end[0] - self.start[0], self.end[1] - self.start[1]))

    def reversed(self) -> TileJumper:
        """The same wire with the current in the other direction."""
        return replace(self, start=self.end, end=self.start)


def arc_pieces(radius: float, angle: float) -> int:
    """Number of straight pieces that keep within SAGITTA of an arc of this radius [m] and angle [rad]."""
    if radius <= 0 or angle <= 0:
        return 1
    step = 2 * acos(max(1 - SAGITTA / radius, 0.5))
    return max(1, ceil(angle / step))


def track_lengths(tracks: Sequence[Track]) -> list[float]:
    """Lengths of centre-lines [m], all of them measured at once."""
    shapes = {id(track.shape): track.shape for track in tracks}
    if not shapes:
        return []
    points = np.concatenate(list(shapes.values()))
    dx, dy = (points[1:] - points[:-1]).T
    steps = np.append(np.sqrt(dx**2 + dy**2), 0.0)
    ends = np.cumsum([len(shape) for shape in shapes.values()])
    steps[ends - 1] = 0.0  # to where the next one begins
    lengths = dict(zip(shapes, np.add.reduceat(steps, np.append(0, ends[:-1])).tolist(), strict=True))
    return [lengths[id(track.shape)] for track in tracks]


def spot(x: float, y: float) -> tuple[int, int]:
    """A place [m] in whole nanometres: equal for what meets there."""
    return round(x * 1e9), round(y * 1e9)


def strip_edges(points: ComplexArray, widths: FloatArray) -> tuple[ComplexArray, ComplexArray]:
    """Left and right edge x + iy [m] of strips of these widths [m] along points x + iy [m], mitred; each (..., n)."""
    steps = points[..., 1:] - points[..., :-1]
    steps /= np.abs(steps)
    before, after = np.concatenate([steps[..., :1], steps], -1), np.concatenate([steps, steps[..., -1:]], -1)
    reach = 0.5j * widths * (before + after) / np.maximum(1 + (before * after.conj()).real, 0.5)
    return points + reach, points - reach


def turned(points: ComplexArray, angle: float) -> ComplexArray:
    """Points x + iy turned about the machine's centre."""
    return points * rect(1.0, angle)


def frozen(points: FloatArray) -> FloatArray:
    """The same array, which can no longer be changed."""
    points.setflags(write=False)
    return points


def flat(points: ComplexArray) -> FloatArray:
    """Points x + iy as x and y, (..., 2)."""
    return np.ascontiguousarray(points).view(float).reshape(*points.shape, 2)


def strip_outline(track: Track, caps: bool = True) -> FloatArray:
    """Corners (n, 2) of the area that a track covers [m], counter-clockwise; with round ends if ``caps``.

    Mitred at its corners, so meant for smooth tracks; one of constant width is better drawn with a round tool.
    """
    points = track.points[:, 0] + 1j * track.points[:, 1]
    left, right = strip_edges(points, track.point_widths)
    if not caps:
        return flat(np.concatenate([right, left[::-1]]))
    turn = np.exp(1j * np.linspace(0, np.pi, 17)[1:-1])
    end, start = points[-1] + (right[-1] - points[-1]) * turn, points[0] + (left[0] - points[0]) * turn
    return flat(np.concatenate([right, end, left[::-1], start]))
