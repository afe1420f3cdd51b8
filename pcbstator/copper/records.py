"""Where the metal is: tracks, vias and terminals per layer, net and phase. SI units; board axes of docs/conventions.md.

A coil is described once, as a template with its axis on +x; the machine is that template turned to every coil
position. Whatever is the same for all coils is computed on the template alone.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from pcbstator.copper.board_shape import BoardShape
    from pcbstator.copper.fittings import Fittings

FloatArray = NDArray[np.float64]
Role = Literal["coil", "link", "lead"]


@dataclass(frozen=True, eq=False)
class Layer:
    """One copper layer: number from 1 (rotor side), mid-plane z [m] (0 or negative), thickness [m]."""

    number: int
    depth: float
    thickness: float


@dataclass(frozen=True, eq=False)
class Track:
    """A strip of copper along a polyline.

    points: (n, 2) centre-line [m], in the direction of positive phase current. width: [m]. net: the electrical net;
    phase: the phase whose current it carries.
    """

    layer: int
    points: FloatArray
    width: float
    net: str
    phase: str
    role: Role

    @cached_property
    def length(self) -> float:
        """Length of the centre-line [m]."""
        return float(np.hypot(*np.diff(self.points, axis=0).T).sum())

    def turned(self, angle: float, **changes: object) -> Track:
        """This track turned about the board's centre by ``angle`` [rad], with other fields changed as named."""
        cos, sin = np.cos(angle), np.sin(angle)
        rotation = np.array([[cos, sin], [-sin, cos]])
        fields: dict[str, object] = {
            "layer": self.layer,
            "points": self.points @ rotation,
            "width": self.width,
            "net": self.net,
            "phase": self.phase,
            "role": self.role,
        }
        return Track(**(fields | changes))  # type: ignore[arg-type]

    def reversed(self) -> Track:
        """The same copper with the current the other way."""
        return Track(self.layer, self.points[::-1], self.width, self.net, self.phase, self.role)


@dataclass(frozen=True, eq=False)
class Via:
    """A plated hole that joins layers: position [m], drill and pad diameters [m], layers it was drilled through."""

    x: float
    y: float
    drill: float
    pad: float
    net: str
    from_layer: int
    to_layer: int


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


@dataclass(frozen=True)
class Point:
    """A place on a layer [m]."""

    x: float
    y: float
    layer: int


@dataclass(frozen=True, eq=False)
class Coil:
    """The coil template, axis on +x. ``tracks`` run from start to finish, layer 1 to the last, counter-clockwise.

    turns: per layer.
    """

    turns: int
    tracks: tuple[Track, ...]
    vias: tuple[Via, ...]


@dataclass(frozen=True)
class CoilVisit:
    """A path passes through a coil: ``forward`` from its start to its finish, else the other way."""

    coil: int
    forward: bool


@dataclass(frozen=True, eq=False)
class Path:
    """One of the parallel paths of a phase, in the order of positive current."""

    share: float
    steps: tuple[CoilVisit | Track, ...]


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

    coil_angles: (coils,) [rad]; coil_phases and coil_nets: per coil; coil_senses: (coils,) +1 or -1, whether positive
    phase current runs counter-clockwise; links: every link and lead, each drawn once.
    """

    layers: tuple[Layer, ...]
    board_inner_radius: float
    board_outer_radius: float
    coil: Coil
    coil_angles: FloatArray
    coil_phases: tuple[str, ...]
    coil_senses: tuple[int, ...]
    coil_nets: tuple[str, ...]
    links: tuple[Track, ...]
    terminals: tuple[Terminal, ...]
    phases: tuple[PhaseCopper, ...]
    link_vias: tuple[Via, ...] = ()
    stated_shape: BoardShape | None = None
    stated_fittings: Fittings | None = None

    @cached_property
    def shape(self) -> BoardShape:
        """The bare board; a plain ring where nothing else was laid."""
        from pcbstator.copper.board_shape import ring_board  # which needs the arrays of this file

        return self.stated_shape or ring_board(self.board_inner_radius, self.board_outer_radius)

    @cached_property
    def fittings(self) -> Fittings:
        """Copper that is not winding."""
        from pcbstator.copper.fittings import Fittings  # as above

        return self.stated_fittings or Fittings()

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
            for track in self.coil.tracks
        )
        return placed if forward else tuple(track.reversed() for track in reversed(placed))

    @cached_property
    def holes(self) -> tuple[Via | Terminal, ...]:
        """Every plated hole: vias and terminals."""
        return (*self.vias, *self.terminals)

    @cached_property
    def tracks(self) -> tuple[Track, ...]:
        """Every track of the stator, each drawn once."""
        return self.coil_tracks + self.links

    @cached_property
    def vias(self) -> tuple[Via, ...]:
        """Every via of the stator."""
        placed = []
        for angle, net in zip(self.coil_angles, self.coil_nets, strict=True):
            cos, sin = float(np.cos(angle)), float(np.sin(angle))
            placed += [
                Via(v.x * cos - v.y * sin, v.x * sin + v.y * cos, v.drill, v.pad, net, v.from_layer, v.to_layer)
                for v in self.coil.vias
            ]
        return tuple(placed) + self.link_vias
