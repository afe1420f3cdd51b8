"""The rotor plate as DXF, to mill or laser: pockets of the magnets, steel ring, and what they must clear."""

from __future__ import annotations

from math import cos, pi, sin
from typing import TYPE_CHECKING

from pcbstator.analysis.mechanical.rotor_plan import (
    Circle,
    Outline,
    Plate,
    number_radius,
    pieces,
    plate_circles,
    plate_holes,
    plates,
    reach,
    steel_circles,
)
from pcbstator.copper.geometry.board_shape import lay_board
from pcbstator.copper.geometry.contour import Contour, circle
from pcbstator.output.canvas.dxf import DASHED, add_contour, add_text, dxf_text, new_dxf
from pcbstator.output.rotor.magnet_list import plate_words
from pcbstator.output.words import millimetres

if TYPE_CHECKING:
    from ezdxf.layouts import Modelspace

    from pcbstator.design import SizedDesign

POCKETS, STEEL, INDEX, NUMBERS, NOTES = "MAGNET_POCKETS", "BACK_IRON", "INDEX", "MAGNET_NUMBERS", "NOTES"
PLATE, HOLES = "PLATE_OUTLINE", "PLATE_HOLES"
BOARD, ENVELOPE = "BOARD_OUTLINE", "ENVELOPE"
# Colours of the standard's index: 7 is black on white, 8 a grey. What is not cut is dashed or text.
_LAYERS = {PLATE: (7, ""), HOLES: (7, ""), POCKETS: (7, ""), STEEL: (5, ""), INDEX: (1, ""),
           NUMBERS: (8, ""), NOTES: (8, ""),
           BOARD: (3, DASHED), ENVELOPE: (8, DASHED)}  # fmt: skip


def rotor_dxf(design: SizedDesign, plate: Plate | None = None) -> str:
    """One rotor plate as the text of a DXF file (R2010, mm); the same design gives the same bytes.

    Without ``plate`` the one above the board. It is drawn as it lies on the bench, pockets up: the upper plate mirrored
    against the drawing of the board, the lower one not. Pockets have the magnets' nominal size.
    """
    plate = plate or plates(design)[0]
    with new_dxf(_LAYERS) as document:
        space = document.modelspace()
        for piece in pieces(design, plate):
            _add_outline(space, piece.outline)
        for layer, diameters in _circles(design).items():
            for diameter in diameters:
                space.add_circle((0, 0), 500 * diameter, dxfattribs={"layer": layer})
        for hole in plate_holes(design, plate):
            space.add_circle((1e3 * hole.x, 1e3 * hole.y), 1e3 * hole.radius, dxfattribs={"layer": HOLES})
        for contour in _board_contours(design):
            add_contour(space, contour.mirrored() if plate.above else contour, BOARD)
        _add_words(space, design, plate)
        return dxf_text(document, 2.6e3 * reach(design))


def _add_outline(space: Modelspace, outline: Outline) -> None:
    look = {"layer": POCKETS}
    if isinstance(outline, Circle):
        space.add_circle((1e3 * outline.x, 1e3 * outline.y), 1e3 * outline.radius, dxfattribs=look)
        return
    vertices = [(1e3 * vertex.x, 1e3 * vertex.y, vertex.bulge) for vertex in outline]
    space.add_lwpolyline(vertices, format="xyb", close=True, dxfattribs=look)


def _circles(design: SizedDesign) -> dict[str, tuple[float, ...]]:
    """Diameters [m] of the circles of each layer."""
    envelope = design.envelope
    limits = (envelope.bore_diameter, envelope.outer_diameter) if envelope else ()
    return {
        PLATE: plate_circles(design),
        STEEL: steel_circles(design) or (),
        ENVELOPE: tuple(limit for limit in limits if limit),
    }


def _board_contours(design: SizedDesign) -> list[Contour]:
    """Everything that is cut out of the board, and its outline."""
    shape = lay_board(design)
    holes = [circle(hole.diameter / 2, (hole.x, hole.y)) for hole in shape.drilled]
    return [*reversed(shape.profile), *holes]


def _add_words(space: Modelspace, design: SizedDesign, plate: Plate) -> None:
    """Numbers of the magnets, a mark at rotor angle 0, the centre, and notes below."""
    placed, outer = pieces(design, plate), 1e3 * number_radius(design)
    size = min(3.0, 1.2 * outer * pi / len(placed))
    for piece in placed:
        add_text(space, NUMBERS, f"{piece.number}{piece.kind}", (outer + 1.2 * size) * cos(piece.angle),
                 (outer + 1.2 * size) * sin(piece.angle), size, centred=True)  # fmt: skip
    zero, start = plate.angle(0.0), outer + 2.2 * size
    tip, end = ((r * cos(zero), r * sin(zero)) for r in (start, start + 6.0))
    space.add_line(tip, end, dxfattribs={"layer": INDEX})
    for a, b in (((-2, 0), (2, 0)), ((0, -2), (0, 2))):
        space.add_line(a, b, dxfattribs={"layer": INDEX})
    limits = [500 * diameter for diameters in _circles(design).values() for diameter in diameters]
    limits.append(1e3 * lay_board(design).reach)
    bottom = -max(start + 6.0, *limits)
    for line, words in enumerate(_notes(design, plate)):
        add_text(space, NOTES, words, bottom, bottom - 6.0 - 5.0 * line, 3.0)


def _notes(design: SizedDesign, plate: Plate) -> list[str]:
    has_steel = steel_circles(design) is not None
    iron = f", steel {millimetres(design.rotor.back_iron)} thick behind them" if has_steel else ""
    view = "mirrored against" if plate.above else "the same way round as"
    return [
        f"{design.title}: {f'{plate.name} rotor plate'.strip()}",
        f"Millimetres. Seen with the magnets up, {view} the drawing of the board. The line marks rotor angle 0.",
        f"Magnets {millimetres(design.rotor.magnet.thickness)} thick{iron}.",
        *plate_words(design),
        "Pockets have the nominal size of the magnets: offset them outwards for glue and tolerance;",
        "0.1 mm all round is common practice. Dashed: outline of the board, and the envelope if one is given.",
    ]
