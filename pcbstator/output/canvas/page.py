"""Pages at true scale, described once and written as SVG or as PDF: drawings and sheets alike.

Lengths are millimetres from the page's upper left corner, y down. A size of text is that of its em.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

from pcbstator.output.canvas.colours import INK, PAPER
from pcbstator.output.canvas.svg import number
from pcbstator.output.canvas.text import FONT, known_glyphs
from pcbstator.output.plotting import plain_settings

if TYPE_CHECKING:
    from matplotlib.figure import Figure

POINTS = 72 / 25.4  # points of type in a millimetre
LEADING = 1.3  # from line to line, in sizes of the text
Anchor = Literal["start", "middle", "end"]
Place = tuple[float, float]


@dataclass(frozen=True)
class Line:
    """A polyline or, closed, a polygon."""

    points: tuple[Place, ...]
    width: float = 0.2
    closed: bool = False
    fill: str = "none"
    colour: str = INK
    name: str = ""  # its id in SVG


@dataclass(frozen=True)
class Disc:
    """A circle."""

    centre: Place
    radius: float
    width: float = 0.2
    fill: str = "none"
    colour: str = INK


@dataclass(frozen=True)
class Words:
    """One line of text, its base line at ``place``."""

    text: str
    place: Place
    size: float
    anchor: Anchor = "start"
    bold: bool = False


@dataclass(frozen=True)
class Drawn:
    """A group of SVG with transforms and definitions of its own; a page that has one is written as SVG only."""

    element: Any


Item = Line | Disc | Words | Drawn


@dataclass(frozen=True)
class Page:
    """A sheet of paper and what is on it, in the order of drawing."""

    width: float
    height: float
    label: str
    items: tuple[Item, ...]


def flow(lines: Sequence[str], x: float, y: float, size: float, bold: bool = False) -> tuple[list[Item], float]:
    """Lines of text below ``y``, and where they end."""
    step = LEADING * size
    placed: list[Item] = [Words(line, (x, y + step * (i + 0.8)), size, bold=bold) for i, line in enumerate(lines)]
    return placed, y + step * len(lines)


def scale_bar(x: float, y: float, drawn: float, words: str, size: float, name: str = "") -> list[Item]:
    """A bar ``drawn`` long on the page from (x, y) to the right, and the words behind it."""
    half, width = 0.4 * size, 0.1 * size
    ends = [Line(((x + at, y - half), (x + at, y + half)), width) for at in (0.0, drawn)]
    bar = Line(((x, y), (x + drawn, y)), width, name=name)
    return [bar, *ends, Words(words, (x + drawn + 0.6 * size, y + 0.36 * size), size)]


def page_svg(page: Page) -> str:
    """The page as the text of an SVG file, at true scale."""
    import svgwrite

    wide, tall = number(page.width), number(page.height)
    drawing = svgwrite.Drawing(debug=False, size=(f"{wide}mm", f"{tall}mm"), viewBox=f"0 0 {wide} {tall}")
    drawing.attribs.update({"role": "img", "aria-label": page.label})
    drawing.add(drawing.rect((0, 0), (wide, tall), fill=PAPER))
    group = drawing.g(font_family=FONT, fill=INK)
    for item in page.items:
        group.add(_element(drawing, item))
    drawing.add(group)
    return str(drawing.tostring()) + "\n"


def _element(drawing: Any, item: Item) -> Any:
    if isinstance(item, Drawn):
        return item.element
    if isinstance(item, Words):
        look = {"font_weight": "bold"} if item.bold else {}
        look |= {} if item.anchor == "start" else {"text_anchor": item.anchor}
        place = tuple(map(number, item.place))
        return drawing.text(item.text, insert=place, font_size=number(item.size), **look)
    look = {"fill": item.fill, "stroke": item.colour, "stroke_width": number(item.width)}
    if isinstance(item, Disc):
        return drawing.circle(tuple(map(number, item.centre)), number(item.radius), **look)
    look |= {"id": item.name} if item.name else {}
    data = "L".join(f"{number(x)} {number(y)}" for x, y in item.points)
    return drawing.path(f"M{data}{'Z' if item.closed else ''}", **look)


def pages_pdf(pages: Sequence[Page], title: str) -> bytes:
    """The pages as one PDF file, at true scale; the same pages give the same bytes."""
    file = io.BytesIO()
    metadata = {"Title": title, "Creator": "pcbstator", "Producer": None, "CreationDate": None}
    with plain_settings({"font.family": "DejaVu Sans"}):
        from matplotlib.backends.backend_pdf import PdfPages

        with PdfPages(file, metadata=metadata) as book:
            for page in pages:
                book.savefig(_figure(page))
    return file.getvalue()


def _figure(page: Page) -> Figure:
    """The page as a figure whose data are millimetres."""
    from matplotlib.figure import Figure
    from matplotlib.patches import Circle, Polygon

    figure: Figure = Figure(figsize=(page.width / 25.4, page.height / 25.4))
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    axes.set_axis_off()
    axes.set_xlim(0.0, page.width)
    axes.set_ylim(page.height, 0.0)
    sides = {"start": "left", "middle": "center", "end": "right"}
    for item in page.items:
        if isinstance(item, Drawn):
            raise TypeError("a page with a group of SVG cannot become PDF")
        if isinstance(item, Words):
            axes.text(*item.place, known_glyphs(item.text), fontsize=item.size * POINTS, color=INK,
                      ha=sides[item.anchor], va="baseline", weight="bold" if item.bold else "normal",
                      parse_math=False)  # fmt: skip
            continue
        look = {"facecolor": item.fill, "edgecolor": item.colour, "linewidth": item.width * POINTS}
        if isinstance(item, Disc):
            axes.add_patch(Circle(item.centre, item.radius, **look))
        else:
            axes.add_patch(Polygon(item.points, closed=item.closed, **look))
    return figure
