"""Where tracks meet at vias: as many vias as the current needs, and teardrops.

Several vias at one transition are a middle one with a ring of further ones around it, all within one disc of copper, so
that for everything else the transition is a single via with a larger pad. A teardrop is a short strip that widens from
a track to the pad at its end: it keeps the annular ring whole where the drill wanders. It is laid only where it keeps
the gap.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from itertools import islice
from math import ceil, cos, pi, sin
from typing import TYPE_CHECKING

import numpy as np

from pcbstator.copper.clearance import Surroundings
from pcbstator.copper.geometry.tracks import Terminal, Track, Via, spot
from pcbstator.copper.records import Coil, Copper

if TYPE_CHECKING:
    from pcbstator.design import Design

MOST_VIAS = 7  # one in the middle and six around it
WEB = 0.25e-3  # of laminate between the walls of two vias of one transition [m]: common practice, no source
LENGTHS = (1.2, 0.95, 0.7)  # of a teardrop in pad diameters, from the pad's middle; the longest with room is laid
FULL = 0.9  # its width at the pad, in pad diameters

Tracks = tuple[Track, ...]


def transition_vias(design: Design, track_width: float) -> tuple[int, float]:
    """Number of vias at every transition, and the diameter [m] of the copper around them.

    Where the design does not say, as many as have together the copper of the widest track's section in their walls, as
    far as they fit into the round end that the track has anyway.
    """
    board = design.board
    if board.vias_per_transition is not None:
        return board.vias_per_transition, transition_diameter(design, board.vias_per_transition)
    wall = pi * (board.via_drill - board.via_plating) * board.via_plating
    needed = ceil(track_width * max(board.layer_thicknesses) / wall)
    room = max(track_width, board.via_pad)
    count = max(
        n for n in range(1, MOST_VIAS + 1) if n == 1 or (n <= needed and transition_diameter(design, n) <= room)
    )
    return count, transition_diameter(design, count)


def transition_diameter(design: Design, count: int) -> float:
    """Diameter [m] of the disc that ``count`` vias need."""
    board = design.board
    return board.via_pad if count == 1 else board.via_pad + 2 * (board.via_drill + WEB)


def with_via_transitions(copper: Copper, design: Design, count: int) -> Copper:
    """The same copper with the further vias of every transition."""
    if count == 1:
        return copper
    board = design.board
    reach = board.via_drill + WEB

    def clustered(vias: Iterable[Via]) -> tuple[Via, ...]:
        result = []
        for via in vias:
            result.append(via)
            turn = np.arctan2(via.y, via.x)
            for index in range(count - 1):
                angle = turn + 2 * pi * index / (count - 1)
                x, y = via.x + reach * cos(angle), via.y + reach * sin(angle)
                result.append(replace(via, x=x, y=y, pad=board.via_pad, within=True))
        return tuple(result)

    def coil(template: Coil) -> Coil:
        return replace(template, vias=clustered(template.vias))

    return replace(
        copper,
        coil=coil(copper.coil),
        further_coils=tuple(map(coil, copper.further_coils)),
        interconnect_vias=clustered(copper.interconnect_vias),
        vias_per_transition=count,
    )


def with_teardrops(copper: Copper, gap: float) -> Copper:
    """The same copper with a teardrop at every end of a track on a wider pad that leaves ``gap`` [m] to others."""
    pads = {spot(via.x, via.y): via for coil, _ in copper.templates for via in coil.vias if not via.within}
    placed = {spot(hole.x, hole.y): hole for hole in copper.holes}
    layers = [layer.number for layer in copper.layers]
    around = {number: Surroundings(copper, number) for number in layers}

    def kept(tracks: Tracks, known: Mapping[tuple[int, int], Via | Terminal], angle: float) -> Tracks:
        ends = [end for track in tracks for end in (track, track.reversed())]
        laid = []
        for end in ends:
            pad = known.get(spot(*end.points[-1]))
            tried = (_teardrop(end, pad.pad, length * pad.pad) for length in LENGTHS) if pad else ()
            part = (
                teardrop for teardrop in tried if teardrop and around[teardrop.layer].clear(teardrop.turned(angle), gap)
            )
            laid += list(islice(part, 1))
        return tuple(laid)

    coils = [
        replace(coil, teardrops=kept(coil.tracks, pads, float(copper.coil_angles[members[0]])))
        for coil, members in copper.templates
    ]
    interconnects = kept(copper.interconnects, placed, 0.0)
    return replace(copper, coil=coils[0], further_coils=tuple(coils[1:]), interconnect_teardrops=interconnects)


def _teardrop(track: Track, pad: float, reach: float) -> Track | None:
    """The teardrop of this length at the end of a track, towards its pad; None where the pad is hardly wider, or the
    track bends or ends before it.
    """
    width = float(track.point_widths[-1])
    if width > 0.8 * pad:
        return None
    back = np.concatenate([[0.0], np.cumsum(track.lengths[::-1])])
    if back[-1] < reach:
        return None
    points, along = track.points[::-1], np.array([0.0, pad / 4, reach / 2, 0.75 * reach, reach])[::-1]
    line = np.stack([np.interp(along, back, column) for column in points.T], axis=1)
    # A bend inside the teardrop would fold its edges.
    steps = np.diff(line, axis=0)
    if np.hypot(*(line[-1] - line[0])) < 0.97 * reach or np.any((steps[1:] * steps[:-1]).sum(axis=1) <= 0):
        return None
    widths = np.interp(along, [pad / 4, reach], [FULL * pad, width])
    return replace(track, shape=line, turn=0.0, width=float(widths.max()), widths=widths, role="teardrop")


def layer_areas(copper: Copper) -> dict[int, float]:
    """Area [m2] of the copper of every layer of one board: tracks, and pads less their holes; overlaps count twice."""
    pads = sum(count * pi / 4 * (pad**2 - drill**2) for drill, pad, count in copper.hole_sizes if pad > 0)
    areas = {layer.number: pads for layer in copper.layers}
    coils = zip(copper.template_tracks, copper.template_lengths, strict=True)
    measured = [(track, length, len(members)) for (track, members), length in coils]
    measured += [
        (interconnect, length, 1)
        for interconnect, length in zip(copper.interconnects, copper.interconnect_lengths, strict=True)
    ]
    for track, length, count in measured:
        areas[track.layer] += count * (length * track.width if track.widths is None else track.area)
    return areas
