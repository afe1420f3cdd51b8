"""Holes: the list of plated holes that all fabrication files share, and the drill file in XNC.

Source: Ucamco, "The XNC Format Specification", 2021.11 (from memory): a strict subset of Excellon, millimetres with
a decimal point, with the Gerber attributes as comments.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass

import numpy as np
import shapely

from pcbstator.copper.plain_board import BoardCopper
from pcbstator.errors import OutputError
from pcbstator.output.fabrication.attributes import drill_function, file_attributes

Tool = tuple[int, str]  # diameter [um] and function

TERMINAL_PART = "J1"  # the reference designator under which the terminals are the pins


@dataclass(frozen=True)
class PlatedHole:
    """A plated hole through the whole board: position, drill and pad diameters [m], net.

    pin: number from 1 and name of a terminal or another hole of ``part``; None for a via.
    open_faces: outer layers (first, last) without mask.
    """

    x: float
    y: float
    drill: float
    pad: float
    net: str
    pin: tuple[int, str] | None = None
    open_faces: tuple[bool, bool] = (False, False)
    part: str = TERMINAL_PART

    @property
    def function(self) -> str:
        """What the hole is for, as X2 has it."""
        return "ViaDrill" if self.pin is None else "ComponentDrill" if self.part.startswith("J") else "MechanicalDrill"


def plated_holes(copper: BoardCopper) -> list[PlatedHole]:
    """Every terminal, in its order, every other plated hole, then every via.

    OutputError for a via that does not go through the whole board.
    """
    last = copper.layers[-1].number
    partial = [via for via in copper.vias if (via.from_layer, via.to_layer) != (copper.layers[0].number, last)]
    if partial:
        via = partial[0]
        raise OutputError(
            f"{len(partial)} vias are not drilled through the whole board (the first from layer {via.from_layer} to "
            f"{via.to_layer} of {last}): fabrication files are written for through holes only; use through vias"
        )
    terminals = [
        PlatedHole(t.x, t.y, t.drill, t.pad, t.net, (number, t.name), (True, True))
        for number, t in enumerate(copper.terminals, 1)
    ]
    terminals += [
        PlatedHole(h.x, h.y, h.diameter, h.pad, h.net, (h.pin, h.name), (True, True), h.part)
        for h in copper.shape.drilled
        if h.plated
    ]
    return terminals + [
        PlatedHole(v.x, v.y, v.drill, v.pad, v.net, None, faces)
        for v, faces in zip(copper.vias, _open_faces(copper), strict=True)
    ]


def _open_faces(copper: BoardCopper) -> list[tuple[bool, bool]]:
    """For every via whether it lies in a bare track of its net on the first and on the last layer."""
    faces = np.zeros((len(copper.vias), 2), dtype=np.bool_)
    nets = np.array([via.net for via in copper.vias])
    places = np.asarray(shapely.points(np.array([(via.x, via.y) for via in copper.vias]).reshape(-1, 2)))
    for track in copper.bare:
        side = 0 if track.layer == copper.layers[0].number else 1
        own = np.flatnonzero(nets == track.net)
        faces[own, side] |= shapely.dwithin(places[own], shapely.LineString(track.points), track.width / 2)
    return [(bool(first), bool(last)) for first, last in faces]


def drill_xnc(copper: BoardCopper, plated: bool, title: str = "") -> str:
    """The XNC file of the plated holes (vias, terminals and others), or of the unplated ones.

    Bore, slots and outline are cut by the profile, so the drill files hold round holes only. The unplated file is
    written where it has no hole, too, because a missing file reads as a forgotten one.
    """
    hits: dict[Tool, list[str]] = defaultdict(list)
    if plated:
        for hole in plated_holes(copper):
            hits[_micrometres(hole.drill), hole.function].append(f"X{_millimetres(hole.x)}Y{_millimetres(hole.y)}")
    for bare in [] if plated else [hole for hole in copper.shape.drilled if not hole.plated]:
        hits[_micrometres(bare.diameter), "MechanicalDrill"].append(f"X{_millimetres(bare.x)}Y{_millimetres(bare.y)}")
    tools = sorted(hits)
    lines = ["M48"]
    lines += [f"; #@! {attribute}" for attribute in file_attributes(drill_function(plated, len(copper.layers)), title)]
    lines += [";TYPE=PLATED" if plated else ";TYPE=NON_PLATED", "METRIC"]
    for index, (diameter, function) in enumerate(tools, 1):
        lines.append(f"; #@! TA.AperFunction,{'Plated,PTH' if plated else 'NonPlated,NPTH'},{function}")
        lines.append(f"T{index:02d}C{diameter / 1000:.3f}")
    lines += ["%", "G05"]
    for index, tool in enumerate(tools, 1):
        lines += [f"T{index:02d}", *hits[tool]]
    return "\n".join([*lines, "M30", ""])


def _micrometres(length: float) -> int:
    """``length`` [m] in whole micrometres."""
    return round(length * 1e6)


def _millimetres(length: float) -> str:
    """``length`` [m] in millimetres, to the micrometre; never a negative zero.

    >>> _millimetres(-0.0123456), _millimetres(-1e-9)
    ('-12.346', '0.000')
    """
    return f"{round(length * 1e6) / 1000:.3f}"
