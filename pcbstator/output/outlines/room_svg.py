"""The free room inside and outside the ring as a drawing at true scale, with the places of the terminals."""

from __future__ import annotations

from math import atan2, cos, hypot, sin
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from shapely import Polygon

from pcbstator.check.envelope import magnet_radii
from pcbstator.copper import Copper
from pcbstator.copper.free_room import FreeRoom
from pcbstator.output.canvas.colours import INK, PAPER, QUIET, phase_colour, tint
from pcbstator.output.canvas.places import spread_angles
from pcbstator.output.canvas.sheet import TEXT, Sheet, Sign, Symbol, scale_bar_length
from pcbstator.output.canvas.svg import number
from pcbstator.output.drawing.board import add_board, add_non_winding
from pcbstator.output.drawing.coil import add_hole
from pcbstator.output.drawing.section import section_parts
from pcbstator.output.outlines.room_facts import room_notes, room_rows, terminal_words

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign

LEAST_WIDTH = 110.0  # mm, for words beside a small machine
FREE, WINDING = "#9fd3c0", "#d9d9d9"


def room_svg(design: SizedDesign, copper: Copper, room: FreeRoom) -> str:
    """The drawing as the text of an SVG file; the same design gives the same bytes."""
    reach, envelope = copper.shape.reach, design.envelope
    most = max(reach, (envelope.outer_diameter or 0.0) / 2 if envelope else 0.0)
    sheet = Sheet(max(LEAST_WIDTH, 2e3 * most / 0.8), f"Free room of {design.title}, seen from the rotor side")
    unit, half = sheet.unit, 1e3 * most + 0.07 * max(LEAST_WIDTH, 2e3 * most / 0.8)
    sheet.paragraph(f"{design.title}: free room for driver, sensor and connectors", 4.2 * unit, bold=True)
    sheet.paragraph("Seen from the rotor side, x to the right, y up, the origin on the axis.", TEXT * unit)
    middle = f"translate({number(sheet.width / 2)} {number(sheet.bottom + unit + half)})"
    plan = sheet.drawing.g(id="room", transform=middle, text_anchor="middle")
    _add_areas(sheet, plan, design, copper, room)
    add_board(sheet, plan, copper)
    add_non_winding(sheet, plan, design, copper)
    _add_circles(sheet, plan, design)
    for terminal in copper.terminals:
        add_hole(sheet, plan, terminal, phase_colour(terminal.name))
    _add_names(sheet, plan, copper, half)
    _add_axes(sheet, plan, 1e3 * copper.board_inner_radius)
    sheet.add(plan)
    sheet.bottom += 2 * half + 2 * unit
    _add_words(sheet, design, copper, room)
    return sheet.finish()


def _add_areas(sheet: Sheet, plan: Any, design: SizedDesign, copper: Copper, room: FreeRoom) -> None:
    board = copper.shape.cut
    pieces = [part for part in shapely.get_parts(board) if isinstance(part, Polygon)]
    plan.add(sheet.drawing.path("".join(map(_data, pieces)), fill=WINDING, fill_rule="evenodd"))
    for name, parts in (("free-inside", room.inside), ("free-outside", room.outside)):
        if parts:
            data = "".join(map(_data, parts))
            plan.add(sheet.drawing.path(data, id=name, fill=FREE, fill_rule="evenodd"))


def _data(piece: Polygon) -> str:
    parts = []
    for ring in (piece.exterior, *piece.interiors):
        flat = 1e3 * shapely.get_coordinates(shapely.simplify(ring, 5e-6))[:-1] * (1.0, -1.0)
        parts.append("M" + "L".join(f"{number(x)} {number(y)}" for x, y in flat.tolist()) + "Z")
    return "".join(parts)


def _add_circles(sheet: Sheet, plan: Any, design: SizedDesign) -> None:
    """The magnets' radii and the envelope, dashed."""
    envelope, unit = design.envelope, sheet.unit
    limits = [] if envelope is None else [envelope.bore_diameter, envelope.outer_diameter]
    for name, radii, colour in (
        ("magnets", magnet_radii(design), INK), ("envelope", [(each or 0.0) / 2 for each in limits], phase_colour("A")),
    ):  # fmt: skip
        look = {"fill": "none", "stroke": colour, "stroke_width": number(0.2 * unit)}
        look["stroke_dasharray"] = f"{number(1.4 * unit)} {number(0.7 * unit)}"
        group = sheet.drawing.g(id=name, **look)
        for radius in radii:
            if radius > 0:
                group.add(sheet.drawing.circle((0, 0), number(1e3 * radius)))
        plan.add(group)


def _add_names(sheet: Sheet, plan: Any, copper: Copper, half: float) -> None:
    """Names beyond the envelope, a line from each to its terminal."""
    if not copper.terminals:
        return
    unit = sheet.unit
    size, radius = 3.0 * unit, half - 1.8 * unit
    angles = [atan2(terminal.y, terminal.x) for terminal in copper.terminals]
    for terminal, angle in zip(copper.terminals, spread_angles(angles, 1.6 * size / radius), strict=True):
        colour = phase_colour(terminal.name)
        x, y = radius * cos(angle), -radius * sin(angle)
        start = np.array([1e3 * terminal.x, -1e3 * terminal.y])
        way = np.array([x, y]) - start
        length = hypot(*way)
        begin, end = start + way * (500 * terminal.pad / length), start + way * (1 - 0.8 * size / length)
        line = [(number(a), number(b)) for a, b in (begin, end)]
        plan.add(sheet.drawing.line(*line, stroke=colour, stroke_width=number(0.15 * unit)))
        look = {"fill": colour, "font_weight": "bold", "stroke": PAPER, "paint_order": "stroke"}
        sheet.label_in(plan, terminal.name, x, y + 0.36 * size, size, stroke_width=number(0.25 * size), **look)


def _add_axes(sheet: Sheet, plan: Any, bore: float) -> None:
    """The origin as a cross with the names of the axes, where the bore has room."""
    arm = min(0.6 * bore, 8 * sheet.unit)
    look = {"stroke": QUIET, "stroke_width": number(0.15 * sheet.unit)}
    for dx, dy in ((arm, 0.0), (0.0, arm)):
        ends = [(number(-dx), number(-dy)), (number(dx), number(dy))]
        plan.add(sheet.drawing.line(*ends, **look))
    size = min(2.6 * sheet.unit, 0.4 * arm)
    sheet.label_in(plan, "x", arm + 0.6 * size, 0.36 * size, size, fill=QUIET)
    sheet.label_in(plan, "y", 0, -arm - 0.3 * size, size, fill=QUIET)


def _add_words(sheet: Sheet, design: SizedDesign, copper: Copper, room: FreeRoom) -> None:
    unit, size = sheet.unit, TEXT * sheet.unit
    signs = [Symbol("free on all layers", 3 * unit, _block(sheet, FREE)),
             Symbol("winding, and what it keeps free", 3 * unit, _block(sheet, WINDING))]  # fmt: skip
    sheet.row("Areas", signs, size)
    lines = [Symbol("magnets, inside and outside", 4 * unit, _dash(sheet, INK))]
    if design.envelope is not None:
        lines.append(Symbol("envelope", 4 * unit, _dash(sheet, phase_colour("A"))))
    sheet.row("Dashed", lines, size)
    for number_of, row in enumerate(room_rows(design, room, section_parts(design), copper.shape.reach)):
        sheet.row("" if number_of else "Room", [Symbol(f"{row.name}: {row.value}; {row.meaning}")], size)
    sheet.row("Wires", [Symbol(terminal_words(each)) for each in copper.terminals], size)
    if copper.terminals:
        first = copper.terminals[0]
        hole = f"holes of {1e3 * first.drill:.3g} mm in pads of {1e3 * first.pad:.3g} mm, through all layers"
        sheet.row("", [Symbol(hole)], size)
    sheet.bottom += unit
    sheet.paragraph(room_notes(design, room), size)
    length = scale_bar_length(0.3 * sheet.width)
    sheet.scale_bar(length, length, "room-scale")


def _block(sheet: Sheet, colour: str) -> Sign:
    def draw(group: Any, x: float, y: float) -> None:
        unit, look = sheet.unit, {"fill": colour, "stroke": tint(INK, 0.6), "stroke_width": number(0.1 * sheet.unit)}
        group.add(sheet.drawing.rect((number(x), number(y - unit)), (number(3 * unit), number(2 * unit)), **look))

    return draw


def _dash(sheet: Sheet, colour: str) -> Sign:
    def draw(group: Any, x: float, y: float) -> None:
        unit = sheet.unit
        look = {"stroke": colour, "stroke_width": number(0.2 * unit)}
        look["stroke_dasharray"] = f"{number(1.4 * unit)} {number(0.7 * unit)}"
        group.add(sheet.drawing.line((number(x), number(y)), (number(x + 4 * unit), number(y)), **look))

    return draw
