"""Equal boards on top of each other, joined by pins through their terminals.

In series, every board has both ends of each phase as terminals, A and A2, placed so that A2 lies the same whole number
of pole pairs after A in all phases. Turned by that angle, the next board has its A under this one's A2, and its coils
see the same field. In parallel, boards lie straight under each other and all their terminals meet.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields, replace
from itertools import pairwise
from math import pi
from typing import TYPE_CHECKING

import numpy as np

from pcbstator.copper.current_paths import CoilVisit, Path, PhaseCopper
from pcbstator.copper.geometry.contour import turn
from pcbstator.copper.geometry.tracks import Pin, Point, TileJumper, Track, Via
from pcbstator.copper.records import Coil, Copper, StackedCopper

if TYPE_CHECKING:
    from pcbstator.design import Design

PIN_PLAY = 0.1e-3  # of a pin in its hole [m]


def stacked(board: Copper, design: Design) -> StackedCopper:
    """The copper of the whole stack of this board."""
    count, layers, coils = design.boards, len(board.layers), len(board.coil_angles)
    series = design.boards_in_series
    shift = _terminal_shift(board, 2 * pi / (design.rotor.poles // 2)) if series else 0.0
    turns = tuple(number * shift for number in range(count))

    def lowered(track: Track, number: int, angle: float) -> Track:
        placed = track.turned(angle) if angle else track
        return replace(placed, layer=track.layer + number * layers)

    templates = [_lowered_coil(coil, number * layers) for number in range(count) for coil, _ in board.templates]
    chosen = board.coil_templates or (0,) * coils

    def phases(number: int) -> list[PhaseCopper]:
        def moved(track: Track) -> Track:
            return lowered(track, number, turns[number])

        return [_moved(phase, moved, number * coils) for phase in board.phases]

    boards = [phases(number) for number in range(count)]
    diameter = design.board.terminal_drill - PIN_PLAY
    join = _in_series if series else _in_parallel
    changed = replace(
        board,
        layers=tuple(
            replace(layer, number=layer.number + n * layers, depth=layer.depth - n * design.board_pitch)
            for n in range(count)
            for layer in board.layers
        ),
        coil=templates[0],
        further_coils=tuple(templates[1:]),
        coil_templates=tuple(number * len(board.templates) + which for number in range(count) for which in chosen),
        coil_angles=np.concatenate([board.coil_angles + angle for angle in turns]),
        coil_phases=board.coil_phases * count,
        coil_senses=board.coil_senses * count,
        coil_nets=board.coil_nets * count,
        interconnects=tuple(lowered(track, n, angle) for n, angle in enumerate(turns) for track in board.interconnects),
        terminals=tuple(
            replace(terminal, x=x, y=y, layer=terminal.layer + n * layers)
            for n, angle in enumerate(turns)
            for terminal in board.terminals
            for x, y in [turn((terminal.x, terminal.y), angle)]
        ),
        phases=tuple(join([each[index] for each in boards], diameter) for index in range(len(board.phases))),
        interconnect_vias=tuple(
            replace(_lowered_via(via, n * layers), x=x, y=y)
            for n, angle in enumerate(turns)
            for via in board.interconnect_vias
            for x, y in [turn((via.x, via.y), angle)]
        ),
    )
    values = {item.name: getattr(changed, item.name) for item in fields(changed)}
    return StackedCopper(**values, single=board, turns=turns)


def _terminal_shift(board: Copper, unit: float) -> float:
    """From a terminal to that of the phase's other end [rad], a multiple of ``unit``."""
    place = {terminal.name: np.arctan2(terminal.y, terminal.x) for terminal in board.terminals}
    return float(round((place["A2"] - place["A"]) % (2 * pi) / unit) * unit)


def _lowered_coil(coil: Coil, layers: int) -> Coil:
    tracks = tuple(replace(track, layer=track.layer + layers) for track in coil.tracks)
    return replace(coil, tracks=tracks, vias=tuple(_lowered_via(via, layers) for via in coil.vias))


def _lowered_via(via: Via, layers: int) -> Via:
    return replace(via, from_layer=via.from_layer + layers, to_layer=via.to_layer + layers)


def _moved(phase: PhaseCopper, moved: Callable[[Track], Track], coils: int) -> PhaseCopper:
    """The phase of a board further down: its tracks moved, its coils counted on."""

    def step(part: CoilVisit | Track | Pin | TileJumper) -> CoilVisit | Track | Pin | TileJumper:
        if isinstance(part, CoilVisit):
            return replace(part, coil=part.coil + coils)
        return moved(part) if isinstance(part, Track) else part

    paths = tuple(replace(path, steps=tuple(map(step, path.steps))) for path in phase.paths)
    first, last = paths[0].steps[0], paths[0].steps[-1]
    assert isinstance(first, Track) and isinstance(last, Track)
    start, end = Point(*first.ends[0], first.layer), Point(*last.ends[1], last.layer)
    return replace(phase, paths=paths, terminal=start, end=end)


def _pin(start: Point, end: Point, diameter: float) -> Pin:
    return Pin(start.x, start.y, diameter, start.layer, end.layer)


def _in_series(boards: list[PhaseCopper], diameter: float) -> PhaseCopper:
    """One phase through all boards; its paths are joined at every pin, and every pin carries them all."""
    paths = []
    for index, first in enumerate(boards[0].paths):
        steps = list(first.steps)
        for above, below in pairwise(boards):
            steps += [_pin(above.end, below.terminal, diameter), *below.paths[index].steps]
        paths.append(Path(tuple(steps)))
    return replace(boards[0], end=boards[-1].end, paths=tuple(paths))


def _in_parallel(boards: list[PhaseCopper], diameter: float) -> PhaseCopper:
    """The same phase of all boards side by side, from the first board's terminal; pins bring the current down."""
    top, paths = boards[0], list(boards[0].paths)
    for board in boards[1:]:
        pin = _pin(top.terminal, board.terminal, diameter)
        paths += [replace(path, steps=(pin, *path.steps)) for path in board.paths]
    return replace(top, paths=tuple(paths))
