"""Where the metal is: tracks, vias and terminals per layer, net and phase. SI units; board axes of docs/conventions.md.

A coil is described once, as a template with its axis on +x; the machine is that template turned to every coil
position. Whatever is the same for all coils is computed on the template alone.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from pcbstator.copper.current_paths import CurrentPaths, PhaseCopper, walked_paths
from pcbstator.copper.geometry.board_shape import BoardShape, ring_board
from pcbstator.copper.geometry.tracks import FloatArray, Layer, Terminal, Track, Via, track_lengths
from pcbstator.copper.non_winding import NonWindingCopper


@dataclass(frozen=True, eq=False)
class Coil:
    """A coil template, axis on +x. ``tracks`` run from start to finish, counter-clockwise; a lap of a wave winding is a
    coil too.

    turns: as many as the design asks for, per layer; series_turns: of the whole coil, all layers. teardrops: only the
    fabrication files need them (see ``connections.via_transitions``).
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


@dataclass(frozen=True, eq=False)
class Copper:
    """All metal of the stator.

    coil: the template; further_coils: more of them where not all coils are equal; coil_templates: which of them, per
    coil, empty where there is one. coil_angles: (coils,) [rad]; coil_phases and coil_nets: per coil; coil_senses:
    (coils,) +1 or -1, whether positive phase current runs counter-clockwise; interconnects: every
    inter-coil connection and lead, each drawn once. vias_per_transition: at every layer transition;
    interconnect_teardrops: those of the interconnects.

    alike: all coils have the same surroundings, so that one of them can speak for all. tiles: into which the ring is
    cut; jumper_holes: for the tile jumpers across the cuts.
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
    stated_shape: BoardShape | None = None
    stated_non_winding: NonWindingCopper | None = None
    tiles: int = 1
    jumper_holes: tuple[Terminal, ...] = ()

    @cached_property
    def shape(self) -> BoardShape:
        """The bare board; a plain ring where nothing else was laid."""
        return self.stated_shape or ring_board(self.board_inner_radius, self.board_outer_radius)

    @cached_property
    def non_winding(self) -> NonWindingCopper:
        """Copper that is not winding."""
        return self.stated_non_winding or NonWindingCopper()

    @cached_property
    def current_paths(self) -> CurrentPaths:
        """Every parallel path with what it runs through."""
        ends = [self.template(index).ends for index in range(len(self.coil_angles))]
        return walked_paths(self.interconnects, self.phases, ends, len(self.board.layers))

    @property
    def board(self) -> Copper:
        """One board by itself, as it is made."""
        return self

    @property
    def board_turns(self) -> tuple[float, ...]:
        """Angle [rad] by which each board is turned."""
        return (0.0,)

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
        """Every track that differs from others by more than a turn: those of the templates, and the interconnects."""
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
        """Every plated hole: vias, terminals and holes for tile jumpers."""
        return (*self.vias, *self.terminals, *self.jumper_holes)

    @cached_property
    def lengths(self) -> list[float]:
        """Length of every track of ``template_tracks``, then of ``current_paths`` [m]."""
        return track_lengths([*(track for track, _ in self.template_tracks), *self.current_paths.tracks])

    @property
    def template_lengths(self) -> list[float]:
        """Length of every track of ``template_tracks`` [m]."""
        return self.lengths[: len(self.template_tracks)]

    @property
    def interconnect_lengths(self) -> list[float]:
        """Length of every interconnect [m]."""
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


@dataclass(frozen=True, eq=False)
class StackedCopper(Copper):
    """All metal of a stack of equal boards, for the laws; single: one of them, for what is made. turns: the angle [rad]
    by which each is turned.
    """

    single: Copper = field(kw_only=True)
    turns: tuple[float, ...] = field(kw_only=True)

    @property
    def board(self) -> Copper:
        """One board by itself, as it is made; all are equal."""
        return self.single

    @property
    def board_turns(self) -> tuple[float, ...]:
        """Angle [rad] by which each board is turned."""
        return self.turns
