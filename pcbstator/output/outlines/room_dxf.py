"""The free room as DXF, on layers of its own, to start a board with the driver from."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
import shapely
from shapely import Polygon

from pcbstator.check.envelope import magnet_radii
from pcbstator.copper import Copper
from pcbstator.copper.free_room import FreeRoom
from pcbstator.output.canvas.dxf import DASHED, add_contour, add_text, dxf_text, new_dxf
from pcbstator.output.fabrication.drill import plated_holes
from pcbstator.output.outlines.drawn_board import MARKS, PROFILE, UNPLATED
from pcbstator.output.outlines.marks import marks

if TYPE_CHECKING:
    from ezdxf.layouts import Modelspace

    from pcbstator.design import SizedDesign

INSIDE, OUTSIDE, TERMINALS, NAMES = "free-inside", "free-outside", "terminals", "names"
ENVELOPE, MAGNETS = "envelope", "magnets"
_LAYERS = {PROFILE: (7, ""), UNPLATED: (7, ""), INSIDE: (3, ""), OUTSIDE: (3, ""), TERMINALS: (1, ""), NAMES: (8, ""),
           ENVELOPE: (5, DASHED), MAGNETS: (8, DASHED), MARKS: (7, "")}  # fmt: skip


def room_dxf(design: SizedDesign, copper: Copper, room: FreeRoom) -> str:
    """The drawing as the text of a DXF file (R2010, mm); the same design gives the same bytes."""
    envelope = design.envelope
    limits = [] if envelope is None else [envelope.bore_diameter, envelope.outer_diameter]
    with new_dxf(_LAYERS) as document:
        space = document.modelspace()
        for contour in copper.shape.profile:
            add_contour(space, contour, PROFILE)
        for hole in copper.shape.drilled:
            if not hole.plated:
                _circle(space, UNPLATED, hole.x, hole.y, hole.diameter)
        for layer, pieces in ((INSIDE, room.inside), (OUTSIDE, room.outside)):
            _add_pieces(space, layer, pieces)
        for plated in plated_holes(copper):
            if plated.pin is not None:
                _circle(space, TERMINALS, plated.x, plated.y, plated.pad)
                _circle(space, TERMINALS, plated.x, plated.y, plated.drill)
                beside = 1e3 * (plated.x + 0.7 * plated.pad), 1e3 * plated.y
                add_text(space, NAMES, plated.pin[1], *beside, 700 * plated.pad)
        for diameter in limits:
            if diameter:
                _circle(space, ENVELOPE, 0.0, 0.0, diameter)
        for radius in magnet_radii(design):
            _circle(space, MAGNETS, 0.0, 0.0, 2 * radius)
        for ring in marks(copper):
            space.add_lwpolyline((1e3 * np.array(ring)).tolist(), close=True, dxfattribs={"layer": MARKS})
        return dxf_text(document, 2.4e3 * copper.shape.reach)


def _circle(space: Modelspace, layer: str, x: float, y: float, diameter: float) -> None:
    space.add_circle((1e3 * x, 1e3 * y), 500 * diameter, dxfattribs={"layer": layer})


def _add_pieces(space: Modelspace, layer: str, pieces: Sequence[Polygon]) -> None:
    for piece in pieces:
        for ring in (piece.exterior, *piece.interiors):
            points = np.round(1e3 * shapely.get_coordinates(shapely.simplify(ring, 2e-6))[:-1], 6) + 0.0
            space.add_lwpolyline(points.tolist(), close=True, dxfattribs={"layer": layer})
