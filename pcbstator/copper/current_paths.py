"""How the current runs through the copper: which pieces every path of the winding passes, and in which sense."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from pcbstator.copper.geometry.tracks import FloatArray, Pin, Point, TileJumper, Track, spot


@dataclass(frozen=True)
class CoilVisit:
    """A path passes through a coil: ``forward`` from its start to its finish, else the other way."""

    coil: int
    forward: bool


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


class Barrel(NamedTuple):
    """The plated wall of a hole from one layer to another."""

    from_layer: int
    to_layer: int


@dataclass(frozen=True, eq=False)
class CurrentPaths:
    """The parallel paths of all phases, one phase after the other, and what they run through.

    tracks: all inter-coil connections and leads in their order, then what else paths run through. transitions: walls of
    vias, pins and tile jumpers, each once. through: (paths, tracks), coils: (paths, coils), across: (paths,
    transitions): +1 where a path runs along it, -1 against it, 0 where it does not. phase: (paths,) its number.
    """

    tracks: tuple[Track, ...]
    transitions: tuple[Barrel | Pin | TileJumper, ...]
    through: FloatArray
    coils: FloatArray
    across: FloatArray
    phase: NDArray[np.int64]


class _Crossing(NamedTuple):
    """A path goes from one layer to another, in the hole or on the pin at a place."""

    path: int
    from_layer: int
    to_layer: int
    pin: Pin | None = None


_Transition = tuple[Barrel | Pin | TileJumper, list[tuple[int, int]]]  # and the paths through it, each with its sense


def walked_paths(
    interconnects: tuple[Track, ...],
    phases: tuple[PhaseCopper, ...],
    coil_ends: Sequence[tuple[int, int]],
    board_layers: int,
) -> CurrentPaths:
    """Every path of the phases, walked once.

    coil_ends: per coil, the layers of its start and finish; board_layers: of one board.
    """
    tracks, crossed = list(interconnects), _Crossed(board_layers)
    number = _Numbers(tracks)
    paths = [path for phase in phases for path in phase.paths]
    coils = np.zeros((len(paths), len(coil_ends)))
    for path, visited in zip(paths, coils, strict=True):
        for step in path.steps:
            if isinstance(step, CoilVisit):
                visited[step.coil] = 1 if step.forward else -1
    passed = [_walked(path, index, number, crossed, coil_ends) for index, path in enumerate(paths)]
    through = np.zeros((len(paths), len(tracks)))
    for line, own in zip(through, passed, strict=True):
        line[list(own)] = list(own.values())
    transitions = crossed.transitions()
    across = np.zeros((len(paths), len(transitions)))
    for column, (_, crossing_paths) in enumerate(transitions):
        for index, sense in crossing_paths:
            across[index, column] += sense
    return CurrentPaths(
        tracks=tuple(tracks),
        transitions=tuple(transition for transition, _ in transitions),
        through=through,
        coils=coils,
        across=across,
        phase=np.repeat(np.arange(len(phases)), [len(phase.paths) for phase in phases]),
    )


def _walked(
    path: Path, index: int, number: _Numbers, crossed: _Crossed, coil_ends: Sequence[tuple[int, int]]
) -> dict[int, int]:
    """The row of every track that path ``index`` goes through, and its sense; ``crossed`` keeps what it crosses."""
    own: dict[int, int] = {}
    here: int | None = None
    before: Track | None = None  # layer and track that it comes from
    for step in path.steps:
        if isinstance(step, Track):
            row, sense = number.of(step)
            own[row] = sense
            if here is not None and here != step.layer:
                crossed.hole(step.ends[0], index, here, step.layer)
            here, before = step.layer, step
        elif isinstance(step, CoilVisit):
            enter, leave = coil_ends[step.coil][:: 1 if step.forward else -1]
            if before is not None and here is not None and here != enter:
                crossed.hole(before.ends[1], index, here, enter)
            here = leave
        else:
            crossed.wire(step, index)
            here = None
    if before is not None and here is not None:
        crossed.stop(before.ends[1], index, here)
    return own


class _Crossed:
    """What paths pass between tracks; layers: of one board."""

    def __init__(self, layers: int) -> None:
        self.layers = layers
        self.holes: dict[tuple[int, int], list[_Crossing]] = {}
        self.wires: dict[tuple[tuple[int, int], ...], list[tuple[int, TileJumper]]] = {}
        self.stops: dict[tuple[int, tuple[int, int]], list[_Crossing]] = {}  # by board and place

    def hole(self, place: tuple[float, float], path: int, layer: int, other: int) -> None:
        """A path goes through a hole from one layer to another."""
        self.holes.setdefault(spot(*place), []).append(_Crossing(path, layer, other))

    def wire(self, wire: Pin | TileJumper, path: int) -> None:
        """A path runs along a wire."""
        if isinstance(wire, Pin):
            crossing = _Crossing(path, wire.from_layer, wire.to_layer, wire)
            self.holes.setdefault(spot(wire.x, wire.y), []).append(crossing)
        else:
            self.wires.setdefault(tuple(sorted((spot(*wire.start), spot(*wire.end)))), []).append((path, wire))

    def stop(self, place: tuple[float, float], path: int, layer: int) -> None:
        """A path ends. To the star point, paths come on the layer of its arc or on that of their own lead."""
        crossing = _Crossing(path, layer, layer)
        self.stops.setdefault(((layer - 1) // self.layers, spot(*place)), []).append(crossing)

    def transitions(self) -> list[_Transition]:
        """Every piece of a hole, pin or wire with the paths through it."""
        for (_, place), reached in self.stops.items():
            arc = min(crossing.from_layer for crossing in reached)
            ending = [crossing._replace(to_layer=arc) for crossing in reached if crossing.from_layer != arc]
            if ending:
                self.holes.setdefault(place, []).extend(ending)
        found = [part for crossings in self.holes.values() for part in _parts(crossings)]
        return [*found, *((wire[0][1], _along(wire)) for wire in self.wires.values())]


def _parts(crossings: list[_Crossing]) -> Iterator[_Transition]:
    """A hole or a pin, cut at every layer where a path enters or leaves it: each part with the paths through it and
    their senses, +1 down and -1 up.
    """
    levels = sorted({level for crossing in crossings for level in crossing[1:3]})
    pin = crossings[0].pin
    for low, high in pairwise(levels):
        senses = [
            (path, 1 if start <= low else -1)
            for path, start, stop, _ in crossings
            if min(start, stop) <= low and max(start, stop) >= high
        ]
        if senses:
            yield (Barrel(low, high) if pin is None else replace(pin, from_layer=low, to_layer=high)), senses


def _along(wire: list[tuple[int, TileJumper]]) -> list[tuple[int, int]]:
    """Paths through a tile jumper and their senses, +1 as the first of them runs."""
    first = spot(*wire[0][1].start)
    return [(path, 1 if spot(*jumper.start) == first else -1) for path, jumper in wire]


class _Numbers:
    """The row of every track and the sense in which it is run through; inter-coil connections lead, further tracks are
    added as they come.
    """

    def __init__(self, tracks: list[Track]) -> None:
        self.tracks = tracks
        self.known = {
            id(interconnect.original): (row, 1 if interconnect.original is interconnect else -1)
            for row, interconnect in enumerate(tracks)
        }

    @cached_property
    def pieces(self) -> dict[tuple[object, ...], tuple[int, int]]:
        """Row and sense of what is told apart by its place only: copies that were moved apart from their originals."""
        return {interconnect.piece[0]: (row, interconnect.piece[1]) for row, interconnect in enumerate(self.tracks)}

    def of(self, step: Track) -> tuple[int, int]:
        """Row of a track, and +1 or -1."""
        original = step.original
        if id(original) in self.known:
            row, sense = self.known[id(original)]
            return row, sense if original is step else -sense
        key, sense = step.piece
        if key not in self.pieces:
            self.pieces[key] = len(self.tracks), sense
            self.tracks.append(step)
        row, first = self.pieces[key]
        return row, sense * first
