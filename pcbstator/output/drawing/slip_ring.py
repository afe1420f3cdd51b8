"""The slip-ring board as a drawing at true scale: rings full, leads below them dashed, terminals with their names."""

from __future__ import annotations

from math import atan2, cos, hypot, pi, sin
from typing import TYPE_CHECKING, Any

from pcbstator.copper.non_winding import MASK_EXPANSION
from pcbstator.copper.plain_board import PlainBoard
from pcbstator.output.canvas.colours import INK, PAPER, tint
from pcbstator.output.canvas.sheet import TEXT, Sheet, scale_bar_length
from pcbstator.output.canvas.svg import number, path_data
from pcbstator.output.canvas.text import text_width
from pcbstator.output.drawing.coil import add_hole

if TYPE_CHECKING:
    from pcbstator.design.sections.slip_ring import SlipRing

LEAST_WIDTH = 90.0  # mm, for words beside a small board
RING, LEAD = "#7a6a12", "#1c3f94"
WEAR = {
    "brushes": "Before it runs: brushes wear, spark and shed conducting dust that bridges rings. Keep sparks from "
    "vapour and dust, clean the board, and measure the insulation now and then.",
    "balls": "Before it runs: balls on copper are a prototype's contact. They wear through the plating, break contact, "
    "spark and shed conducting dust that bridges rings. Keep grit out and sparks from vapour and dust, look at the "
    "raceways after the first hours, clean them, and measure the insulation now and then.",
}
CAUTIONS = (
    "Guard turning parts; fasten wires so that nothing can be caught. Switch off and wait before you touch bare rings.",
    "Above 60 V direct or 42.4 V peak bare rings can shock: they need a closed guard. Mains is work for a licensed "
    "person and falls under local codes; IPC-2221 spacing is no safety insulation.",
)


def slip_ring_svg(title: str, section: SlipRing, board: PlainBoard) -> str:
    """The drawing of the slip-ring board as the text of an SVG file; the same design gives the same bytes."""
    half = 1e3 * board.board_outer_radius
    sheet = Sheet(max(LEAST_WIDTH, 2 * half / 0.8), f"{title}, seen from the rings")
    unit = sheet.unit
    sheet.paragraph(title, 4.2 * unit, bold=True)
    sheet.paragraph(_facts(section, board), TEXT * unit)
    sheet.bottom += 1.5 * unit
    names = 5.0 * unit if section.lead_edge == "outer" else 1.0 * unit
    place = f"translate({number(sheet.width / 2)} {number(sheet.bottom + names + half)})"
    plan = sheet.drawing.g(id="slip-ring", transform=place, fill="none")
    _add_copper(sheet, plan, section, board)
    _add_names(sheet, plan, section, board)
    sheet.add(plan)
    sheet.bottom += 2 * (names + half)
    for words in (WEAR[section.contact], *CAUTIONS):
        sheet.paragraph(words, TEXT * unit)
    length = scale_bar_length(0.3 * sheet.width)
    sheet.scale_bar(length, length, "slip-ring-scale")
    return sheet.finish()


def _facts(section: SlipRing, board: PlainBoard) -> str:
    vias = len(board.vias) // section.rings
    leads = min(track.width for track in board.tracks if track.role == "lead")
    width, bare = 1e3 * section.width, 1e3 * (board.bare[0].width + 2 * MASK_EXPANSION)
    groove = "bare" if section.contact == "brushes" else f"bare in a groove of {bare:.4g}_mm for balls"
    holes = f"{len(board.shape.drilled)}_fixing holes. " if board.shape.drilled else ""
    words = (
        f"{section.rings}_rings of {width:.4g}_mm, {1e3 * section.spacing:.4g}_mm apart, {groove}, "
        f"{section.finish}; R1 is the innermost. {section.current:g}_A each, {section.voltage:g}_V between rings. "
        f"Board {2e3 * board.board_outer_radius:.4g}_mm across, bore {2e3 * board.board_inner_radius:.4g}_mm, "
        f"{1e3 * section.thickness:.3g}_mm thick, copper {1e6 * section.copper:.3g}_µm. Dashed: leads of "
        f"{1e3 * leads:.3g}_mm on the far side, {vias}_{'vias' if vias > 1 else 'via'} each. {holes}"
        "Seen from the rings."
    )
    return words.replace("_", "\u00a0")  # a number and its unit stay on one line


def _add_copper(sheet: Sheet, plan: Any, section: SlipRing, board: PlainBoard) -> None:
    drawing, unit = sheet.drawing, sheet.unit
    for radius in (board.board_outer_radius, board.board_inner_radius):
        plan.add(drawing.circle((0, 0), number(1e3 * radius), stroke=INK, stroke_width=number(0.25 * unit)))
    for layer, colour, extra in (
        (1, tint(RING, 0.55), {}), (2, LEAD, {"stroke_dasharray": f"{number(1.4 * unit)} {number(0.9 * unit)}"}),
    ):  # fmt: skip
        group = drawing.g(id=f"slip-ring-layer-{layer}", stroke=colour, stroke_linejoin="round", **extra)
        for track in (track for track in board.tracks if track.layer == layer):
            group.add(drawing.path(path_data(track.points), stroke_width=number(1e3 * track.width)))
        if layer == 1 and section.contact == "balls":
            for track in board.bare:
                wide = number(1e3 * (track.width + 2 * MASK_EXPANSION))
                group.add(drawing.path(path_data(track.points), stroke=tint(RING, 0.25), stroke_width=wide))
        plan.add(group)
    for hole in board.shape.drilled:
        place = number(1e3 * hole.x), number(-1e3 * hole.y)
        plan.add(drawing.circle(place, number(500 * hole.diameter), stroke=INK, stroke_width=number(0.25 * unit)))
    for via in board.vias:
        add_hole(sheet, plan, via, INK)
    for terminal in board.terminals:
        add_hole(sheet, plan, terminal, INK)


def _add_names(sheet: Sheet, plan: Any, section: SlipRing, board: PlainBoard) -> None:
    """Names of the terminals beyond the outline, or in the bore where they are inside and it has room."""
    size, outer = 2.4 * sheet.unit, section.lead_edge == "outer"
    for terminal in board.terminals:
        angle, reach = atan2(terminal.y, terminal.x), 1e3 * hypot(terminal.x, terminal.y)
        away = 0.6 * text_width(terminal.name, size, bold=True)
        radius = 1e3 * board.board_outer_radius + away + 0.5 * size
        if not outer:
            radius = 1e3 * board.board_inner_radius - away - 0.5 * size
            if 2 * pi * radius < 2.4 * away * section.rings:  # neighbours would meet
                radius = reach - 500 * terminal.pad - away
        look = {"fill": INK, "font_weight": "bold", "text_anchor": "middle", "stroke": PAPER}
        look |= {"paint_order": "stroke", "stroke_width": number(0.2 * size)}
        sheet.label_in(plan, terminal.name, radius * cos(angle), -radius * sin(angle) + 0.36 * size, size, **look)
