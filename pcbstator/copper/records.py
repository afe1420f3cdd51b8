"""Where the metal is: tracks, vias and terminals per layer, net and phase. SI units; board axes of docs/conventions.md.

A coil is described once, as a template with its axis on +x; the machine is that template turned to every coil
position. Whatever is the same for all coils is computed on the template alone.
"""

from __future__ import annotations

from cmath import rect
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from pcbstator.copper.current_paths import CurrentPaths
    from pcbstator.copper.geometry.board_shape import BoardShape
    from pcbstator.copper.non_winding import NonWindingCopper

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]
Role = Literal["coil", "interconnect", "lead", "teardrop"]


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
        """What tells it from every other link, whichever way it is run through; and the way, +1 or -1."""
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
    def forth(self) -> Track:
        """The track that this one is the way back of, or itself: the same one for both ways through one piece."""
        forth: Track = vars(self).get("_forth", self)
        return forth

    def reversed(self) -> Track:
        """The same copper with the current the other way."""
        if self.forth is not self:
            return self.forth
        widths = None if self.widths is None else self.widths[::-1]
        back = Track(self.layer, self.shape[::-1], self.width, self.net, self.phase, self.role, widths, self.turn)
        vars(back)["_forth"] = self  # no field, which a copy with another width or layer would keep
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


@dataclass(frozen=True, eq=False)
class Coil:
    """A coil template, axis on +x. ``tracks`` run from start to finish, counter-clockwise; a pass of a wave winding is
    a coil too.

    turns: as many as the design asks for, per layer; series_turns: of the whole coil, all layers. drops: teardrops,
    which only the fabrication files need (see ``copper.joints``).
    """

    turns: int
    series_turns: int
    tracks: tuple[Track, ...]
    vias: tuple[Via, ...]
    teardrops: tuple[Track, ...] = ()

    @property
    def ends(self) -> tuple[int, int]:
        """The layers of start and finish."""
        return self.tracks[0].layer, self.tracks[-1].layer


@dataclass(frozen=True)
class CoilVisit:
    """A path passes through a coil: ``forward`` from its start to its finish, else the other way."""

    coil: int
    forward: bool


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
        """The same wire with the current the other way."""
        return replace(self, start=self.end, end=self.start)


@dataclass(frozen=True, eq=False)
class Path:
    """One of the parallel paths of a phase, in the order of positive current."""

    steps: tuple[CoilVisit | Track | Pin | TileJumper, ...]


@dataclass(frozen=True, eq=False)
class PhaseCopper:
    """A phase from its terminal to the star point or its end."""

    name: str
    terminal: Point
    end: Point
    paths: tuple[Path, ...]


@dataclass(frozen=True, eq=False)
class Copper:
    """All metal of the stator.

    coil: the template; further_coils: more of them where not all coils are equal; coil_templates: which of them, per
    coil, empty where there is one. coil_angles: (coils,) [rad]; coil_phases and coil_nets: per coil; coil_senses:
    (coils,) +1 or -1, whether positive phase current runs counter-clockwise; links: every link and lead, each drawn
    once. vias_per_transition: at every place where layers meet; link_drops: teardrops of the links.

    alike: all coils have the same surroundings, so that one of them can speak for all. single: of a stack, one board by
    itself; board_turns: the angle [rad] by which each board is turned. tiles: into which the ring is cut; joints: holes
    for the wires across the cuts.
    """

    layers: tuple[Layer, ...]
    board_inner_radius: float
    board_outer_radius: float
    coil: Coil
    coil_angles: FloatArray
    coil_phases: tuple[str, ...]
    coil_senses: tuple[int, ...]
    coil_nets: tuple[str, ...]
    interconnects: tuple[Track, ...]
    terminals: tuple[Terminal, ...]
    phases: tuple[PhaseCopper, ...]
    interconnect_vias: tuple[Via, ...] = ()
    further_coils: tuple[Coil, ...] = ()
    coil_templates: tuple[int, ...] = ()
    alike: bool = True
    vias_per_transition: int = 1
    interconnect_teardrops: tuple[Track, ...] = ()
    single: Copper | None = None
    board_turns: tuple[float, ...] = (0.0,)
    stated_shape: BoardShape | None = None
    stated_non_winding: NonWindingCopper | None = None
    tiles: int = 1
    jumper_holes: tuple[Terminal, ...] = ()

    @cached_property
    def shape(self) -> BoardShape:
        """The bare board; a plain ring where nothing else was laid."""
        from pcbstator.copper.geometry.board_shape import ring_board  # which needs the arrays of this file

        return self.stated_shape or ring_board(self.board_inner_radius, self.board_outer_radius)

    @cached_property
    def non_winding(self) -> NonWindingCopper:
        """Copper that is not winding."""
        from pcbstator.copper.non_winding import NonWindingCopper  # as above

        return self.stated_non_winding or NonWindingCopper()

    @cached_property
    def current_paths(self) -> CurrentPaths:
        """What every path runs through."""
        from pcbstator.copper.current_paths import walked_paths  # as above

        return walked_paths(self)

    @property
    def board(self) -> Copper:
        """One board by itself, as it is made; all boards of a stack are equal."""
        return self.single or self

    @cached_property
    def templates(self) -> tuple[tuple[Coil, NDArray[np.int64]], ...]:
        """Every template with the numbers of the coils that are made by it."""
        chosen = np.array(self.coil_templates or (0,) * len(self.coil_angles))
        return tuple((coil, np.nonzero(chosen == i)[0]) for i, coil in enumerate((self.coil, *self.further_coils)))

    def template(self, index: int) -> Coil:
        """The template of coil ``index``."""
        number = self.coil_templates[index] if self.coil_templates else 0
        return self.further_coils[number - 1] if number else self.coil

    @cached_property
    def template_tracks(self) -> tuple[tuple[Track, NDArray[np.int64]], ...]:
        """Every track of every template with the numbers of the coils that have it."""
        return tuple((track, coils) for coil, coils in self.templates for track in coil.tracks)

    @cached_property
    def shapes(self) -> tuple[Track, ...]:
        """Every track that differs from others by more than a turn: those of the templates, and the links."""
        return (*(track for track, _ in self.template_tracks), *self.interconnects)

    @property
    def track_width(self) -> float:
        """Width of the coils' tracks where they are narrowest [m]."""
        return self.coil.tracks[0].narrowest

    @cached_property
    def coil_tracks(self) -> tuple[Track, ...]:
        """Every coil's tracks, turned to their places, in the direction of positive phase current."""
        return tuple(
            track
            for index in range(len(self.coil_angles))
            for track in self.placed_coil(index, self.coil_senses[index] > 0)
        )

    def placed_coil(self, index: int, forward: bool) -> tuple[Track, ...]:
        """The tracks of coil ``index`` at its place, from start to finish if ``forward``."""
        placed = tuple(
            track.turned(float(self.coil_angles[index]), net=self.coil_nets[index], phase=self.coil_phases[index])
            for track in self.template(index).tracks
        )
        return placed if forward else tuple(track.reversed() for track in reversed(placed))

    @cached_property
    def teardrops(self) -> tuple[Track, ...]:
        """Every teardrop, at its place."""
        placed = [
            teardrop.turned(float(self.coil_angles[member]), net=self.coil_nets[member], phase=self.coil_phases[member])
            for coil, members in self.templates
            for member in members
            for teardrop in coil.teardrops
        ]
        return (*placed, *self.interconnect_teardrops)

    @cached_property
    def holes(self) -> tuple[Via | Terminal, ...]:
        """Every plated hole: vias, terminals and joints."""
        return (*self.vias, *self.terminals, *self.jumper_holes)

    @cached_property
    def lengths(self) -> list[float]:
        """Length of every track of ``template_tracks``, then of ``ways`` [m]."""
        return track_lengths([*(track for track, _ in self.template_tracks), *self.current_paths.tracks])

    @property
    def template_lengths(self) -> list[float]:
        """Length of every track of ``template_tracks`` [m]."""
        return self.lengths[: len(self.template_tracks)]

    @property
    def interconnect_lengths(self) -> list[float]:
        """Length of every link [m]."""
        return self.lengths[len(self.template_tracks) :][: len(self.interconnects)]

    @property
    def via_count(self) -> int:
        """Vias of the stator."""
        return sum(len(members) * len(coil.vias) for coil, members in self.templates) + len(self.interconnect_vias)

    @property
    def hole_sizes(self) -> list[tuple[float, float, int]]:
        """Drill and pad [m] of plated holes and how many there are; no pad where it lies in that of another hole."""
        holes: list[tuple[Via | Terminal, int]] = []
        for coil, members in self.templates:
            holes += [(via, len(members)) for via in coil.vias]
        holes += [(via, 1) for via in self.interconnect_vias]
        holes += [(hole, 1) for hole in (*self.terminals, *self.jumper_holes)]
        return [(hole.drill, 0.0 if hole.within else hole.pad, count) for hole, count in holes]

    @property
    def bare(self) -> tuple[Track, ...]:
        """Tracks that the solder mask leaves open: a stator has none."""
        return ()

    @cached_property
    def tracks(self) -> tuple[Track, ...]:
        """Every track of the stator, each drawn once."""
        return self.coil_tracks + self.interconnects

    @cached_property
    def vias(self) -> tuple[Via, ...]:
        """Every via of the stator."""
        placed = []
        for index, (angle, net) in enumerate(zip(self.coil_angles, self.coil_nets, strict=True)):
            cos, sin = float(np.cos(angle)), float(np.sin(angle))
            placed += [
                replace(v, x=v.x * cos - v.y * sin, y=v.x * sin + v.y * cos, net=net) for v in self.template(index).vias
            ]
        return tuple(placed) + self.interconnect_vias


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
