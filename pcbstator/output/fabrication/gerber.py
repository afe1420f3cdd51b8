"""Gerber X2 files: copper, solder mask, legend and board outline.

Source: Ucamco, "The Gerber Layer Format Specification", 2024.05. Coordinates are whole nanometres (format 4.6 in
millimetres), rounded, never cut. Every function returns one file as text in ASCII.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from shapely import Polygon

from pcbstator.copper import Track
from pcbstator.copper.geometry.areas import strip_areas, without_holes
from pcbstator.copper.geometry.tracks import FloatArray
from pcbstator.copper.non_winding import MASK_EXPANSION
from pcbstator.copper.plain_board import BoardCopper, mask_openings
from pcbstator.errors import OutputError
from pcbstator.output.fabrication.attributes import (
    PROFILE_FUNCTION,
    attribute_text,
    copper_function,
    file_attributes,
    side_function,
)
from pcbstator.output.fabrication.drill import PlatedHole, plated_holes
from pcbstator.output.fabrication.legend import legend_shapes
from pcbstator.output.fabrication.shape_gerber import contour_commands, land_commands, opening_commands

Side = Literal["top", "bottom"]
_OUTLINE_PEN = 0.1e-3  # the width with which an outline is drawn has no meaning
_LARGEST = 10**10  # nanometres: four digits before the point
_MOVE, _DRAW, _FLASH = 2, 1, 3

Aperture = tuple[str, int]  # function and diameter [nm]


def copper_gerber(copper: BoardCopper, layer_number: int, title: str) -> str:
    """The file of one copper layer: tracks, and the pads of every hole, each with its net."""
    tracks: dict[str, dict[Aperture, list[FloatArray]]] = defaultdict(lambda: defaultdict(list))
    tapered: dict[str, list[Track]] = defaultdict(list)
    for track in (*copper.tracks, *copper.teardrops, *copper.non_winding.tracks):
        if track.layer == layer_number and track.widths is None:
            tracks[track.net]["Conductor", _nanometre(track.width)].append(track.points)
        elif track.layer == layer_number:
            tapered[track.net].append(track)
    holes: dict[str, list[PlatedHole]] = defaultdict(list)
    for hole in plated_holes(copper):
        holes[hole.net].append(hole)
    apertures = _numbered(
        [aperture for group in tracks.values() for aperture in group]
        + [_pad_aperture(hole) for group in holes.values() for hole in group]
    )
    parts = [_aperture_definitions(apertures)]
    for net in sorted({*tracks, *tapered, *holes}):
        parts.append(f"%TO.N,{attribute_text(net)}*%\n")
        if tapered[net]:
            regions = "".join(_region(area) for track in tapered[net] for area in strip_areas(track))
            parts.append(f"%TA.AperFunction,Conductor*%\n{regions}%TD.AperFunction*%\n")
        parts += [f"D{apertures[key]}*\n{_draws(lines)}" for key, lines in sorted(tracks[net].items())]
        parts += _pads(holes[net], apertures)
        parts.append("%TD*%\n")
    lands = [land for land in copper.non_winding.lands if land.layer == layer_number]
    parts.append(land_commands(lands, 10 + len(apertures)))
    return _file(copper_function(layer_number, len(copper.layers)), title, "Positive", parts)


def mask_gerber(copper: BoardCopper, side: Side, title: str, mask_expansion: float = MASK_EXPANSION) -> str:
    """The file of the mask's openings: terminals, holes, lands and bare tracks, ``mask_expansion`` [m] wider all round.

    Vias stay covered where they are not in a bare track.
    """
    face = copper.layers[0 if side == "top" else -1].number
    bare: dict[Aperture, list[FloatArray]] = defaultdict(list)
    for track in copper.bare:
        if track.layer == face:
            bare["Material", _nanometre(track.width + 2 * mask_expansion)].append(track.points)
    apertures = _numbered(bare)
    parts = [_aperture_definitions(apertures)]
    parts += [f"D{apertures[key]}*\n{_draws(lines)}" for key, lines in sorted(bare.items())]
    parts.append(opening_commands(mask_openings(copper, side, mask_expansion), 10 + len(apertures)))
    return _file(side_function("Soldermask", side), title, "Negative", parts)


def legend_gerber(copper: BoardCopper, side: Side, title: str, notes: Sequence[str] = ()) -> str:
    """The file of the legend: title, further ``notes``, terminal names, direction of rotation and layers."""
    pen = _aperture_definitions({("Material", _nanometre(_OUTLINE_PEN)): 10})  # readers doubt a file without
    parts = [pen, "%TA.AperFunction,Material*%\n"]
    parts += [_region(piece) for shape in legend_shapes(copper, side, title, notes) for piece in without_holes(shape)]
    return _file(side_function("Legend", side), title, "Positive", parts)


def profile_gerber(copper: BoardCopper, title: str) -> str:
    """The file of the board's outline: what is cut along lines and arcs. Slots and holes are in the drill files."""
    aperture = ("Profile", _nanometre(_OUTLINE_PEN))
    parts = [_aperture_definitions({aperture: 10}), "D10*\n", contour_commands(copper.shape.profile)]
    return _file(PROFILE_FUNCTION, title, "Positive", parts)


def _file(function: str, title: str, polarity: str, parts: Iterable[str]) -> str:
    """A whole file: head, ``parts`` and end."""
    head = "".join(f"%{attribute}*%\n" for attribute in file_attributes(function, title, polarity))
    return f"{head}%FSLAX46Y46*%\n%MOMM*%\n%LPD*%\nG01*\n{''.join(parts)}M02*\n"


def _numbered(apertures: Iterable[Aperture]) -> dict[Aperture, int]:
    """A number from 10 for each different aperture."""
    return {aperture: number for number, aperture in enumerate(sorted(set(apertures)), 10)}


def _aperture_definitions(apertures: dict[Aperture, int]) -> str:
    """The commands that define round ``apertures``, each with its function."""
    commands = [
        f"%TA.AperFunction,{function}*%\n%ADD{number}C,{diameter / 1e6:.6f}*%\n"
        for (function, diameter), number in apertures.items()
    ]
    return "".join(commands) + ("%TD*%\n" if commands else "")


def _pad_aperture(hole: PlatedHole) -> Aperture:
    """The aperture that makes the pad of ``hole``."""
    kind = "ViaPad" if hole.pin is None else "ComponentPad" if hole.part.startswith("J") else "WasherPad"
    return kind, _nanometre(hole.pad)


def _pads(holes: Sequence[PlatedHole], apertures: dict[Aperture, int]) -> list[str]:
    """The pads of ``holes``, all of one net: vias, then terminals, each with its pin."""
    vias: dict[Aperture, list[tuple[float, float]]] = defaultdict(list)
    terminals = []
    for hole in holes:
        key = _pad_aperture(hole)
        if hole.pin is None:
            vias[key].append((hole.x, hole.y))
        else:
            number, name = hole.pin
            pin = f"%TO.P,{hole.part},{number},{attribute_text(name)}*%\n"
            terminals.append(f"D{apertures[key]}*\n{pin}{_flashes([(hole.x, hole.y)])}%TD.P*%\n")
    return [f"D{apertures[key]}*\n{_flashes(places)}" for key, places in sorted(vias.items())] + terminals


def _draws(lines: Sequence[FloatArray]) -> str:
    """The commands that draw ``lines``, each (n, 2) [m]; steps that rounding leaves without length are dropped."""
    points = _nanometres(np.concatenate(lines))
    starts = np.zeros(len(points), dtype=np.bool_)
    starts[np.cumsum([0, *(len(line) for line in lines[:-1])])] = True
    moved = np.append(True, np.any(np.diff(points, axis=0) != 0, axis=1))
    kept = starts | moved
    return _commands(points[kept], np.where(starts[kept], _MOVE, _DRAW))


def _flashes(places: Sequence[tuple[float, float]]) -> str:
    """The commands that flash the current aperture at ``places`` [m]."""
    return _commands(_nanometres(np.array(places)), np.full(len(places), _FLASH))


def _region(shape: Polygon) -> str:
    """The commands that fill ``shape`` [m], which has no holes."""
    points = _nanometres(np.asarray(shape.exterior.coords))
    points = points[np.append(True, np.any(np.diff(points, axis=0) != 0, axis=1))]
    if len(points) < 4:
        return ""
    operations = np.full(len(points), _DRAW)
    operations[0] = _MOVE
    return f"G36*\n{_commands(points, operations)}G37*\n"


def _commands(points: NDArray[np.int64], operations: NDArray[np.int64]) -> str:
    """One command per point, formatted in one go: the cost of a large board is here."""
    return "X%dY%dD0%d*\n" * len(points) % tuple(np.column_stack([points, operations]).ravel().tolist())


def _nanometre(length: float) -> int:
    """``length`` [m] in whole nanometres."""
    return round(length * 1e9)


def _nanometres(points: FloatArray) -> NDArray[np.int64]:
    """``points`` [m] in whole nanometres; OutputError where the format cannot hold them."""
    scaled = np.rint(points * 1e9)
    if not np.all(np.abs(scaled) < _LARGEST):
        raise OutputError("a coordinate is not a number or beyond 9999 mm: the Gerber format cannot hold it")
    return scaled.astype(np.int64)
