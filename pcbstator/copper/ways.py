"""How the current runs through the copper: which pieces every path of the winding passes, and which way."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from pcbstator.copper.records import Bridge, CoilVisit, FloatArray, Pin, Track, spot

if TYPE_CHECKING:
    from pcbstator.copper.records import Copper


class Barrel(NamedTuple):
    """A plated hole taken from one layer to another; links: the tracks on either side, by their row; none at a coil."""

    from_layer: int
    to_layer: int
    links: tuple[int, int] | None


@dataclass(frozen=True, eq=False)
class Ways:
    """The parallel paths of all phases, one phase after the other, and what they run through.

    tracks: all links in their order, then what else paths run through. through: (paths, tracks), coils: (paths, coils):
    +1 where a path runs along it, -1 against it, 0 where it does not. joints: what else each path passes, by what tells
    it from every other. phase: (paths,) its number; share: (paths,) of the phase current.
    """

    tracks: tuple[Track, ...]
    through: FloatArray
    coils: FloatArray
    joints: tuple[dict[tuple[object, ...], Barrel | Pin | Bridge], ...]
    phase: NDArray[np.int64]
    share: FloatArray


def ways_through(copper: Copper) -> Ways:
    """Every path of the copper, walked once."""
    tracks = list(copper.links)
    number = _Numbers(tracks)
    paths = [path for phase in copper.phases for path in phase.paths]
    shared = len(paths) > len(copper.phases)
    ends = [coil.ends for coil, _ in copper.templates]
    chosen = copper.coil_templates or (0,) * len(copper.coil_angles)
    coils = np.zeros((len(paths), len(copper.coil_angles)))
    passed: list[dict[int, int]] = []
    joints: list[dict[tuple[object, ...], Barrel | Pin | Bridge]] = []
    for path, visited in zip(paths, coils, strict=True):
        own: dict[int, int] = {}
        met: dict[tuple[object, ...], Barrel | Pin | Bridge] = {}
        here, before = None, -1  # layer and track that it comes from
        for step in path.steps:
            if isinstance(step, Track):
                row, way = number.of(step)
                own[row] = way
                if here is not None and here != step.layer:
                    links = (before, row) if before >= 0 else None
                    place = spot(*step.ends[0]) if shared else (len(met),)  # no other path passes it
                    met["via", *place, here, step.layer] = Barrel(here, step.layer, links)
                here, before = step.layer, row
            elif isinstance(step, CoilVisit):
                visited[step.coil] = 1 if step.forward else -1
                enter, leave = ends[chosen[step.coil]][:: 1 if step.forward else -1]
                if here is not None and here != enter:
                    met["post", step.coil, step.forward] = Barrel(here, enter, None)
                here, before = leave, -1
            else:
                met[_wire_key(step)] = step
                here, before = None, -1
        passed.append(own)
        joints.append(met)
    through = np.zeros((len(paths), len(tracks)))
    for line, own in zip(through, passed, strict=True):
        line[list(own)] = list(own.values())
    return Ways(
        tracks=tuple(tracks),
        through=through,
        coils=coils,
        joints=tuple(joints),
        phase=np.repeat(np.arange(len(copper.phases)), [len(phase.paths) for phase in copper.phases]),
        share=np.array([path.share for path in paths]),
    )


class _Numbers:
    """The row of every track and the way it is run through; links lead, further tracks are added as they come."""

    def __init__(self, tracks: list[Track]) -> None:
        self.tracks = tracks
        self.known = {id(link.forth): (row, 1 if link.forth is link else -1) for row, link in enumerate(tracks)}

    @cached_property
    def pieces(self) -> dict[tuple[object, ...], tuple[int, int]]:
        """Row and way of what is told apart by its place only, as where links and paths were moved separately."""
        return {link.piece[0]: (row, link.piece[1]) for row, link in enumerate(self.tracks)}

    def of(self, step: Track) -> tuple[int, int]:
        """Row of a track, and +1 or -1."""
        forth = step.forth
        if id(forth) in self.known:
            row, way = self.known[id(forth)]
            return row, way if forth is step else -way
        key, way = step.piece
        if key not in self.pieces:
            self.pieces[key] = len(self.tracks), way
            self.tracks.append(step)
        row, first = self.pieces[key]
        return row, way * first


def _wire_key(wire: Pin | Bridge) -> tuple[object, ...]:
    """What tells a wire from every other, whichever way it is run through."""
    if isinstance(wire, Pin):
        return "pin", *spot(wire.x, wire.y), wire.from_layer, wire.to_layer
    return "bridge", *sorted((spot(*wire.start), spot(*wire.end)))
