"""The bare board in the drawing of the stator: outline, holes, slots, lands, keep-outs; and in words."""

from __future__ import annotations

from collections import defaultdict
from math import hypot, pi
from typing import TYPE_CHECKING, Any

import numpy as np

from pcbstator.copper import Copper, Terminal
from pcbstator.copper.geometry.board_shape import Hole
from pcbstator.copper.geometry.contour import Arc, Contour, circle, signed_sweep
from pcbstator.copper.non_winding import WIRES, Land
from pcbstator.copper.obstacles import keepout_shape
from pcbstator.output.canvas.colours import INK, PAPER
from pcbstator.output.canvas.sheet import TEXT, Sheet, Sign, Symbol
from pcbstator.output.canvas.svg import number, path_data
from pcbstator.output.drawing.coil import add_hole
from pcbstator.output.words import Row, figures

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign

LAND = "#7d5c00"  # of copper that is not winding


def contour_path(contour: Contour) -> str:
    """An outline as path data in mm with y down, arcs as arcs."""
    x, y = contour.start
    parts = [f"M{number(1e3 * x)} {number(-1e3 * y)}"]
    for start, segment in contour.pairs():
        end = f"{number(1e3 * segment.end[0])} {number(-1e3 * segment.end[1])}"
        if isinstance(segment, Arc):
            sweep = signed_sweep(start, segment)
            radius = number(1e3 * hypot(start[0] - segment.centre[0], start[1] - segment.centre[1]))
            parts.append(f"A{radius} {radius} 0 {int(abs(sweep) > pi)} {int(sweep < 0)} {end}")
        else:
            parts.append(f"L{end}")
    return "".join(parts) + "Z"


def add_board(sheet: Sheet, plan: Any, copper: Copper) -> None:
    """Outline, bore and cut-outs, slots and unplated holes, as lines in ink."""
    drawing = sheet.drawing
    shape = copper.shape
    bare = [circle(hole.diameter / 2, (hole.x, hole.y)) for hole in shape.drilled if not hole.plated]
    for name, contours in (("board", shape.edges), ("cutouts", [*(slot.contour for slot in shape.slots), *bare])):
        group = drawing.g(id=name, fill="none", stroke=INK, stroke_width=number(0.25 * sheet.unit))
        for contour in contours:
            if contour.round is not None:
                (x, y), radius = contour.round
                group.add(drawing.circle((number(1e3 * x), number(-1e3 * y)), number(radius * 1e3)))
            else:
                group.add(drawing.path(contour_path(contour)))
        if contours:
            plan.add(group)


def add_non_winding(sheet: Sheet, plan: Any, design: SizedDesign, copper: Copper) -> None:
    """Pads, lands, leads and keep-outs over the winding, each with its name; nothing where there are none."""
    drawing, unit, shape = sheet.drawing, sheet.unit, copper.shape
    if not (shape.drilled or copper.non_winding.lands or design.board.keepouts):
        return
    group = drawing.g(id="non_winding")
    for hole in shape.drilled:
        if hole.plated:
            add_hole(sheet, group, Terminal("", hole.x, hole.y, hole.diameter, hole.pad, 1, ""), LAND)
    for lead in copper.non_winding.tracks:
        look = {"fill": "none", "stroke": LAND, "stroke_width": number(1e3 * lead.width)}
        group.add(drawing.path(path_data(lead.points), **look))
    for land in copper.non_winding.lands:
        if land.is_round:
            centre = number(1e3 * land.x), number(-1e3 * land.y)
            group.add(drawing.circle(centre, number(500 * land.length), fill=LAND))
        else:
            outline = np.asarray(land.area().exterior.coords)  # type: ignore[attr-defined]
            group.add(drawing.path(path_data(outline, close=True), fill=LAND))
    for area in design.board.keepouts:
        flat, radius = keepout_shape(area)
        outline = np.asarray((flat.buffer(radius) if radius else flat).exterior.coords)  # type: ignore[attr-defined]
        look = {"fill": LAND, "fill_opacity": "0.12", "stroke": LAND, "stroke_width": number(0.2 * unit)}
        look["stroke_dasharray"] = f"{number(0.6 * unit)} {number(0.6 * unit)}"
        group.add(drawing.path(path_data(outline, close=True), **look))
    _add_names(sheet, group, copper)
    plan.add(group)


def _add_names(sheet: Sheet, group: Any, copper: Copper) -> None:
    """H1 in a hole that is large enough, else beside it; T1 beside its pad."""
    size = 0.75 * TEXT * sheet.unit
    for hole in copper.shape.drilled:
        x, y, radius = 1e3 * hole.x, -1e3 * hole.y, 500 * max(hole.diameter, hole.pad)
        if 2e3 * hole.diameter > 3.6 * size:
            sheet.label_in(group, hole.name, x, y + 0.36 * size, size, fill=INK)
        else:
            away = (radius + 0.85 * size) / max(hypot(x, y), 1e-9)  # along the edge, where nothing else is named
            if hole.origin.startswith("board.tabs"):  # towards the board
                spot = (1 - 1.2 * away) * x, (1 - 1.2 * away) * y
            else:
                spot = x + away * y, y - away * x
            sheet.label_in(group, hole.name, spot[0], spot[1] + 0.36 * size, size, fill=INK)
    for land in copper.non_winding.lands:
        if land.part == WIRES:
            _name_wire(sheet, group, land, size)


def _name_wire(sheet: Sheet, group: Any, land: Land, size: float) -> None:
    """T1 and T2 on the far sides of their pads, along the edge."""
    x, y = 1e3 * land.x, -1e3 * land.y
    away = (500 * land.length + 0.75 * size) / max(hypot(x, y), 1e-9) * (1 if land.pin == 1 else -1)
    sheet.label_in(group, land.net, x + away * y, y - away * x + 0.36 * size, size, fill=LAND, font_weight="bold")


def non_winding_signs(sheet: Sheet, design: SizedDesign, copper: Copper) -> list[Symbol]:
    """What the legend has to explain: only what is there."""
    found = []
    if any(not hole.plated for hole in copper.shape.drilled):
        found.append(Symbol("H hole, unplated", 2.4 * sheet.unit, _ring(sheet)))
    if any(hole.plated for hole in copper.shape.drilled):
        found.append(Symbol("plated hole", 3 * sheet.unit, _pad(sheet)))
    if copper.non_winding.lands:
        found.append(Symbol("T1, T2 thermistor, far side", 3 * sheet.unit, _block(sheet)))
    if copper.jumper_holes:
        found.append(Symbol("tile jumper", 3 * sheet.unit, _wire(sheet)))
    if design.board.keepouts:
        found.append(Symbol("keep-out", 3 * sheet.unit, _block(sheet, faint=True)))
    return found


def _ring(sheet: Sheet) -> Sign:
    def draw(group: Any, x: float, y: float) -> None:
        look = {"fill": "none", "stroke": INK, "stroke_width": number(0.25 * sheet.unit)}
        group.add(sheet.drawing.circle((number(x + 1.2 * sheet.unit), number(y)), number(1.1 * sheet.unit), **look))

    return draw


def _pad(sheet: Sheet) -> Sign:
    def draw(group: Any, x: float, y: float) -> None:
        centre = number(x + 1.5 * sheet.unit), number(y)
        for radius, fill in ((1.5, LAND), (0.8, PAPER)):
            group.add(sheet.drawing.circle(centre, number(radius * sheet.unit), fill=fill))

    return draw


def _wire(sheet: Sheet) -> Sign:
    def draw(group: Any, x: float, y: float) -> None:
        unit = sheet.unit
        ends = [(number(x + along * unit), number(y)) for along in (0.6, 2.4)]
        for end in ends:
            group.add(sheet.drawing.circle(end, number(0.6 * unit), fill=LAND))
        group.add(sheet.drawing.line(*ends, stroke=LAND, stroke_width=number(0.4 * unit)))

    return draw


def _block(sheet: Sheet, faint: bool = False) -> Sign:
    def draw(group: Any, x: float, y: float) -> None:
        unit = sheet.unit
        look = {"fill": LAND, "stroke": LAND, "stroke_width": number(0.15 * unit)}
        look |= {"fill_opacity": "0.12"} if faint else {}
        group.add(sheet.drawing.rect((number(x), number(y - unit)), (number(3 * unit), number(2 * unit)), **look))

    return draw


def board_rows(copper: Copper) -> list[Row]:
    """Holes, slots and the rest for the report's table of the board; only what is there."""
    shape, rows = copper.shape, []
    left, low, right, high = shape.bounds
    if shape.outer.round is None:
        rows.append(Row("Board with its tabs", f"{figures(1e3 * (right - left))} × {figures(1e3 * (high - low))} mm"))
    groups: dict[tuple[float, bool, float], list[Hole]] = defaultdict(list)
    for hole in shape.drilled:
        groups[hole.diameter, hole.plated, hole.pad].append(hole)
    for (diameter, plated, pad), holes in groups.items():
        kind = f"plated, pad {figures(1e3 * pad)} mm" if plated else "unplated"
        names = f"{holes[0].name} to {holes[-1].name}" if len(holes) > 1 else holes[0].name
        rows.append(Row(f"Holes {names}", f"{len(holes)} of {figures(1e3 * diameter)} mm", kind))
    for slot in {(s.width, s.origin): s for s in shape.slots}.values():
        count = sum(other.origin == slot.origin for other in shape.slots)
        length = hypot(slot.b[0] - slot.a[0], slot.b[1] - slot.a[1]) + slot.width
        size = f"{count} of {figures(1e3 * slot.width)} × {figures(1e3 * length)} mm"
        rows.append(Row("Slots", size, "unplated, routed with the outline"))
    if copper.non_winding.lands:
        land = copper.non_winding.lands[0]
        rows.append(Row("Thermistor", f"lands {figures(1e3 * land.length)} × {figures(1e3 * land.width)} mm",
                        f"{land.part} on layer {land.layer}, wires at T1 and T2"))  # fmt: skip
    return rows
