"""Outlines as DXF: every closed polyline on a copper layer is solid copper of one net, named in its extended data.

A piece of copper with holes is written as several that overlap by a micrometre, since a polyline has no holes and an
editor would fill it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from pcbstator.copper.geometry.areas import without_holes
from pcbstator.copper.geometry.tracks import FloatArray
from pcbstator.copper.net_areas import NetArea
from pcbstator.output.canvas.dxf import add_contour, dxf_text, new_dxf
from pcbstator.output.outlines.drawn_board import MARKS, PADS, PLATED, PROFILE, UNPLATED, DrawnBoard
from pcbstator.output.outlines.marks import marks, page_box

if TYPE_CHECKING:
    from ezdxf.entities import LWPolyline
    from ezdxf.layouts import Modelspace

APPLICATION = "PCBSTATOR"  # under which a net stands in the extended data
PLAIN = 7  # of the standard's index of colours: black on white
DIGITS = 6  # after the point, of a millimetre


def layer_dxf(drawn: DrawnBoard, layer: str) -> str:
    """One layer of copper, or the profile with all that is cut without copper."""
    return _document(drawn, (PROFILE, UNPLATED) if layer == PROFILE else (layer,))


def all_layers_dxf(drawn: DrawnBoard) -> str:
    """All layers, by their names."""
    return _document(drawn, (*drawn.copper, PADS, PLATED, UNPLATED, PROFILE))


def _document(drawn: DrawnBoard, layers: tuple[str, ...]) -> str:
    colours = {layer: (1 + index % 6, "") for index, layer in enumerate(drawn.copper)}
    left, low, right, high = (1e3 * side for side in page_box(drawn.board))
    with new_dxf({name: colours.get(name, (PLAIN, "")) for name in (*layers, MARKS)}) as document:
        document.appids.add(APPLICATION)
        space = document.modelspace()
        for layer in layers:
            for area in drawn.copper.get(layer, ()):
                _add_copper(space, layer, area)
        _add_holes(space, drawn, layers)
        for ring in marks(drawn.board):
            _add_ring(space, MARKS, 1e3 * np.array(ring))
        return dxf_text(document, max(right - left, high - low))


def _add_copper(space: Modelspace, layer: str, area: NetArea) -> None:
    for piece in area.pieces:
        for part in without_holes(piece):
            points = 1e3 * shapely.get_coordinates(part.exterior)[:-1]
            _add_ring(space, layer, points).set_xdata(APPLICATION, [(1000, f"net={area.net}")])


def _add_ring(space: Modelspace, layer: str, points: FloatArray) -> LWPolyline:
    flat = np.round(points, DIGITS) + 0.0
    return space.add_lwpolyline(flat.tolist(), format="xy", close=True, dxfattribs={"layer": layer})


def _add_holes(space: Modelspace, drawn: DrawnBoard, layers: tuple[str, ...]) -> None:
    """Pads and plated holes as circles, flat lands, then all that is cut."""
    if PADS in layers:
        for land in drawn.lands:
            if not land.is_round:
                _add_ring(space, PADS, 1e3 * shapely.get_coordinates(land.area())[:-1])
        discs = [(hole.x, hole.y, hole.pad) for hole in drawn.plated]
        discs += [(land.x, land.y, land.length) for land in drawn.lands if land.is_round]
        for x, y, diameter in discs:
            space.add_circle((1e3 * x, 1e3 * y), 500 * diameter, dxfattribs={"layer": PADS})
        for hole in drawn.plated:
            space.add_circle((1e3 * hole.x, 1e3 * hole.y), 500 * hole.drill, dxfattribs={"layer": PLATED})
    if PROFILE in layers:
        for contour in drawn.edges:
            add_contour(space, contour, PROFILE)
        for contour in drawn.unplated:
            add_contour(space, contour, UNPLATED)
