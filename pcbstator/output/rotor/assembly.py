"""The assembly sheet of a rotor plate: every magnet at true scale with the pole it turns to the board.

The plate lies on the bench, magnets up. The plate above the board is therefore mirrored against the drawing of the
board: +x points left, positive rotation and the magnets' numbers go clockwise; magnet 1, on +x at rotor angle 0,
turns a north pole to the board. A plate below the board is not mirrored, and its magnet 1 turns a south pole up.
"""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import pairwise
from math import ceil, cos, hypot, pi, sin
from typing import TYPE_CHECKING

from pcbstator.analysis.mechanical.rotor_plan import (
    Circle,
    Outline,
    Piece,
    Plate,
    number_radius,
    outline_points,
    pieces,
    plate_circles,
    plate_holes,
    plates,
    reach,
    segments_per_pole,
    steel_circles,
)
from pcbstator.output.canvas.colours import INK, QUIET
from pcbstator.output.canvas.page import Disc, Item, Line, Page, Place, Words, flow, page_svg, pages_pdf, scale_bar
from pcbstator.output.canvas.text import text_width, wrapped
from pcbstator.output.canvas.tiles import tiled
from pcbstator.output.rotor.magnet_list import magnet_list
from pcbstator.output.words import unbroken

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign

Items = list[Item]

PAPERS = (("A4", 210.0, 297.0), ("A3", 297.0, 420.0), ("A2", 420.0, 594.0), ("A1", 594.0, 841.0))
MARGIN = 10.0  # mm; most printers leave 5 white
BORDER = 15.0  # mm beside magnets and steel, for a number and the mark of rotor angle 0
BAND = 4.0  # mm above and below them, for a number
BAR = 50.0  # mm
TEXT = 2.8  # mm
NORTH = "#d4d4d4"  # a tint beside letter and sign, never instead of them


def assembly_sheet_svg(design: SizedDesign, plate: Plate | None = None) -> str:
    """The sheet of one plate, the one above the board unless ``plate`` is given, as the text of an SVG file at 1:1."""
    return page_svg(_sheet(design, plate or plates(design)[0]))


def assembly_sheet_pdf(design: SizedDesign) -> bytes:
    """The sheets of all plates as a PDF file at 1:1, one page each; the same design gives the same bytes."""
    return pages_pdf([_sheet(design, plate) for plate in plates(design)], f"{design.title}: rotor assembly")


def assembly_tiles_pdf(design: SizedDesign) -> bytes | None:
    """The sheets of all plates cut into A4 pages to join by their marks, at 1:1; None where they are on A4 anyway."""
    sheets = [_sheet(design, plate) for plate in plates(design)]
    if all((page.width, page.height) == PAPERS[0][1:] for page in sheets):
        return None
    used = [replace(page, height=min(page.height, _lowest(page) + 1.0)) for page in sheets]  # no tiles of blank paper
    return pages_pdf([tile for page in used for tile in tiled(page)], f"{design.title}: rotor assembly, A4")


def _lowest(page: Page) -> float:
    """Where all that is on a page ends [mm]."""
    ends = [0.0]
    for item in page.items:
        if isinstance(item, Line):
            ends += [y for _, y in item.points]
        elif isinstance(item, Disc):
            ends.append(item.centre[1] + item.radius)
        elif isinstance(item, Words):
            ends.append(item.place[1] + 0.3 * item.size)
    return max(ends)


def _sheet(design: SizedDesign, plate: Plate) -> Page:
    """On the smallest paper that holds it, or on paper of its own size."""
    label = f"{_name(plate)} of {design.title}, magnets and their poles at true scale"
    across = 2e3 * reach(design) + 2 * (BORDER + MARGIN)
    for paper, width, height in PAPERS:
        if across <= width:
            items, bottom = _laid_out(design, plate, width, f"{paper}, {width:g} × {height:g} mm")
            if bottom + MARGIN <= height:
                return Page(width, height, label, tuple(items))
    width = 10.0 * ceil(max(across, PAPERS[0][1]) / 10)
    height = 10.0 * ceil((_laid_out(design, plate, width, f"{width:g} × {width:g} mm")[1] + MARGIN) / 10)
    items, _ = _laid_out(design, plate, width, f"{width:g} × {height:g} mm")
    return Page(width, height, label, tuple(items))


def _name(plate: Plate) -> str:
    return f"{plate.name} rotor plate".strip().capitalize()


def _laid_out(design: SizedDesign, plate: Plate, width: float, paper: str) -> tuple[Items, float]:
    """Everything on a sheet so wide, and how far down it reaches."""
    full = width - 2 * MARGIN
    title = wrapped(f"{design.title}: {_name(plate).lower()}", 5.0, full, bold=True)
    items, y = flow(title, MARGIN, MARGIN, 5.0, bold=True)
    for words in (_view(plate), _signs(design), _print_words(paper)):
        lines, y = flow(_lines(words, full), MARGIN, y + 0.6, TEXT)
        items += lines
    outer = 1e3 * reach(design) + BAND
    centre = width / 2, y + 2.0 + outer
    items += _plan(design, plate, centre)
    items += scale_bar(MARGIN, centre[1] + outer + 2.0, BAR, f"{BAR:g} mm", TEXT)
    top, column = centre[1] + outer + 6.0, (full - 6.0) / 2
    left, left_end = _order_list(design, MARGIN, top, column)
    right, right_end = _instructions(design, MARGIN + column + 6.0, top, column)
    return items + left + right, max(left_end, right_end)


def _view(plate: Plate) -> str:
    start = "The plate as it lies on the bench, magnets up, as seen from the board."
    if plate.above:
        return (
            f"{start} This is mirrored against the drawing of the board: +x is on the left; positive rotation and the "
            "numbers go clockwise here."
        )
    return (
        f"{start} It is the same way round as the drawing of the board: +x is on the right; positive rotation and the "
        "numbers go counter-clockwise."
    )


def _signs(design: SizedDesign) -> str:
    words = (
        "N + is a magnet with its north pole up, towards the board; S − one with its south pole up. The triangle marks "
        "rotor angle 0: scribe it on the plate."
    )
    if segments_per_pole(design) == 1:
        return words
    return (
        f"{words} An arrow is the part of a piece's magnetisation that lies in the plate, from its south to its north; "
        "the letter beside a number is the kind of piece."
    )


def _print_words(paper: str) -> str:
    return f"Sheet {paper}, scale 1:1. Print at 100 %, not fitted to the page, then measure the bar: {BAR:g} mm."


def _lines(words: str, width: float) -> list[str]:
    """Wrapped, a number and its unit, a letter and its sign on one line."""
    return wrapped(re.sub(r"\b(N|S) (?=[+−])", "\\1\u00a0", unbroken(words)), TEXT, width)


def _plan(design: SizedDesign, plate: Plate, centre: Place) -> Items:
    """Plate, steel, magnets with poles and numbers, the axis and the mark of rotor angle 0."""
    x, y = centre
    items: Items = [Disc(centre, 500 * diameter, 0.25) for diameter in plate_circles(design)]
    items += [Disc(centre, 500 * diameter, 0.25, colour=QUIET) for diameter in steel_circles(design) or ()]
    for hole in plate_holes(design, plate):
        items.append(Disc((x + 1e3 * hole.x, y - 1e3 * hole.y), 1e3 * hole.radius))
    placed, outer = pieces(design, plate), 1e3 * number_radius(design)
    longest = max(text_width(_number(piece), 1.0) for piece in placed)
    size = min(3.0, 2 * pi * (outer + 3.0) / len(placed) / (longest + 0.3))
    for piece in placed:
        items.append(_shape(piece, centre))
        items += _pole(piece, centre)
        wide = text_width(_number(piece), size)
        clear = outer + 0.5 + (wide * abs(cos(piece.angle)) + size * abs(sin(piece.angle))) / 2
        items.append(_middle(_number(piece), _at(centre, clear, piece.angle), size))
    zero, tip = plate.angle(0.0), outer + 1.0 + longest * size
    corners = ((tip, 0.0), (tip + 3.0, 1.5), (tip + 3.0, -1.5))
    items.append(Line(tuple(_at(centre, r, zero, across) for r, across in corners), closed=True, fill=INK))
    items.append(_middle("0°", _at(centre, tip + 4.8, zero), 2.2))
    for a, b in (((x - 3, y), (x + 3, y)), ((x, y - 3), (x, y + 3))):
        items.append(Line((a, b)))
    return items


def _number(piece: Piece) -> str:
    return f"{piece.number}{piece.kind}"


def _at(centre: Place, radius: float, angle: float, across: float = 0.0) -> Place:
    """The place at a radius, and so far counter-clockwise from it along the tangent [mm]."""
    return (
        centre[0] + radius * cos(angle) - across * sin(angle),
        centre[1] - radius * sin(angle) - across * cos(angle),
    )


def _middle(words: str, place: Place, size: float, bold: bool = False) -> Words:
    return Words(words, (place[0], place[1] + 0.36 * size), size, "middle", bold)


def _shape(piece: Piece, centre: Place) -> Line | Disc:
    fill, outline = (NORTH if piece.facing > 1e-6 else "none"), piece.outline
    if isinstance(outline, Circle):
        return Disc((centre[0] + 1e3 * outline.x, centre[1] - 1e3 * outline.y), 1e3 * outline.radius, fill=fill)
    points = tuple((centre[0] + 1e3 * x, centre[1] - 1e3 * y) for x, y in outline_points(outline))
    return Line(points, closed=True, fill=fill)


def _space_inside(outline: Outline) -> tuple[float, float, float]:
    """Radius of the middle, width across and length along the radius that words in a magnet may use [mm]."""
    if isinstance(outline, Circle):
        return 1e3 * hypot(outline.x, outline.y), 1.7e3 * outline.radius, 1.4e3 * outline.radius
    halves = [((a.x + b.x) / 2, (a.y + b.y) / 2) for a, b in pairwise((*outline, outline[0]))]
    outer, plus, inner, minus = halves
    width, length = hypot(plus[0] - minus[0], plus[1] - minus[1]), hypot(outer[0] - inner[0], outer[1] - inner[1])
    return 500 * (hypot(*outer) + hypot(*inner)), 1e3 * width, 1e3 * length


def _pole(piece: Piece, centre: Place) -> Items:
    """Letter and sign of the pole that is up; an arrow for what lies in the plate."""
    middle, width, length = _space_inside(piece.outline)
    arrow = abs(piece.turning) > 1e-6
    size = min(4.0, 0.9 * min(width, length) / text_width("N +", 1.0, bold=True))
    parts = [piece.pole]
    if size < 2.0:  # one above the other along the radius, each upright
        parts, size = piece.pole.split(), min(4.0, 0.9 * width, 0.28 * length)
    parts = [part for part in parts if part] + ["arrow"] * arrow
    items: Items = []
    for index, part in enumerate(parts):
        radius = middle + (index - (len(parts) - 1) / 2) * length / max(2.4, len(parts))
        if part == "arrow":
            items += _arrow(_at(centre, radius, piece.angle), piece.angle, 0.42 * width * piece.turning)
        else:
            items.append(_middle(part, _at(centre, radius, piece.angle), size, bold=True))
    return items


def _arrow(middle: Place, angle: float, half: float) -> Items:
    """An arrow of twice ``half`` [mm], counter-clockwise where that is positive."""
    head = 0.6 * half
    tail, tip = _at(middle, 0.0, angle, -half), _at(middle, 0.0, angle, half)
    barbs = (_at(middle, side * abs(head) / 2, angle, half - head) for side in (-1, 1))
    return [Line((tail, tip), 0.25), Line((tip, *barbs), 0.1, closed=True, fill=INK)]


def _order_list(design: SizedDesign, x: float, y: float, width: float) -> tuple[Items, float]:
    items, y = flow(["To order, for both plates" if len(plates(design)) == 2 else "To order"], x, y, 3.6, bold=True)
    indent = 27.0
    for row in magnet_list(design):
        lines = _lines(f"{row.value}; {row.meaning}" if row.meaning else row.value, width - indent)
        heading, _ = flow([row.name], x, y + 0.8, TEXT, bold=True)
        words, y = flow(lines, x + indent, y + 0.8, TEXT)
        items += heading + words
    return items, y


def _instructions(design: SizedDesign, x: float, y: float, width: float) -> tuple[Items, float]:
    items, y = flow(["To glue (common practice)"], x, y, 3.6, bold=True)
    for index, words in enumerate(_steps(design)):
        sign, _ = flow([f"{index + 1}."], x, y + 0.8, TEXT)
        lines, y = flow(_lines(words, width - 5.0), x + 5.0, y + 0.8, TEXT)
        items += sign + lines
    heading, y = flow(["Caution"], x, y + 1.5, 3.6, bold=True)
    lines, y = flow(_lines(_CAUTION, width), x, y + 0.8, TEXT)
    return items + heading + lines, y


_CAUTION = (
    "Magnets jump together, pinch fingers and splinter: wear eye protection, keep loose ones far apart and handle them "
    "one by one. Keep steel tools out of reach, and magnets away from pacemakers and other implants, children, cards "
    "and disks."
)


def _steps(design: SizedDesign) -> list[str]:
    known = (
        "Find the pole of one magnet with a compass: the end of the needle that points north is drawn to a south pole. "
    )
    scribe = "Scribe rotor angle 0 on the plate. Degrease plate and magnets."
    spacers = "with spacers of plastic or wood in the places between. Let it cure"
    if segments_per_pole(design) == 1:
        order = [
            f"{known}Stack all on it: all face the same way then. Mark the upper face of each before you part them.",
            scribe,
            f"Glue all N + first, in every second place, {spacers}.",
            "Take the spacers out and glue S − into those places.",
        ]
    else:
        order = [
            f"{known}Sort the pieces by kind; mark on each its pole and direction, or have the maker do it.",
            scribe,
            f"Glue kind a first, {spacers}, then go on kind by kind.",
            "Neighbours push each other up and aside: clamp each piece down, without iron, until the glue is hard.",
        ]
    check = (
        "Before the glue sets go round by number with a marked magnet or a compass: a wrong pole is the commonest "
        "mistake. A viewing film shows the borders of the poles, not which is which."
    )
    level = "Turn the plate past a straight edge: no magnet may stand out."
    if len(plates(design)) == 1:
        return [*order, check, level]
    pair = (
        "Mount both plates with their marks in line: equal numbers face each other, N + opposite S −. The "
        "attraction between them is strong: bring them together with screws or spacers, never by hand."
    )
    return [*order, check, level, pair]
