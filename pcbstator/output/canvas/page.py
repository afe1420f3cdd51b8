"""Pages at true scale, described once and written as SVG or as PDF.

Lengths are millimetres from the page's upper left corner, y down. A size of text is that of its em.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from pcbstator.output.canvas.sheet import FONT, INK, PAPER, number
from pcbstator.output.plotting import plain_settings

if TYPE_CHECKING:
    from matplotlib.figure import Figure

POINTS = 72 / 25.4  # points of type in a millimetre
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
class Page:
    """A sheet of paper and what is on it, in the order of drawing."""

    width: float
    height: float
    label: str
    items: tuple[Line | Disc | Words, ...]


def page_svg(page: Page) -> str:
    """The page as the text of an SVG file, at true scale."""
    import svgwrite

    wide, tall = number(page.width), number(page.height)
    drawing = svgwrite.Drawing(debug=False, size=(f"{wide}mm", f"{tall}mm"), viewBox=f"0 0 {wide} {tall}")
    drawing.attribs.update({"role": "img", "aria-label": page.label})
    drawing.add(drawing.rect((0, 0), (wide, tall), fill=PAPER))
    group = drawing.g(font_family=FONT, fill=INK)
    for item in page.items:
        if isinstance(item, Words):
            look = {"font_weight": "bold"} if item.bold else {}
            place = [tuple(map(number, item.place))]
            group.add(drawing.text(item.text, place[0], font_size=number(item.size), text_anchor=item.anchor, **look))
            continue
        look = {"fill": item.fill, "stroke": item.colour, "stroke_width": number(item.width)}
        if isinstance(item, Disc):
            group.add(drawing.circle(tuple(map(number, item.centre)), number(item.radius), **look))
        else:
            data = "L".join(f"{number(x)} {number(y)}" for x, y in item.points)
            group.add(drawing.path(f"M{data}{'Z' if item.closed else ''}", **look))
    drawing.add(group)
    return str(drawing.tostring()) + "\n"


def pages_pdf(pages: Sequence[Page], title: str) -> bytes:
    """The pages as one PDF file, at true scale; the same pages give the same bytes."""
    file = io.BytesIO()
    metadata = {"Title": title, "Creator": "pcbstator", "Producer": None, "CreationDate": None}
    with plain_settings({"font.family": "DejaVu Sans", "pdf.fonttype": 42}):
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


@plain_settings()
def known_glyphs(words: str) -> str:
    """What the embedded font cannot show as a question mark, so that nothing is lost in silence."""
    from matplotlib.font_manager import findfont, get_font

    known = get_font(findfont("DejaVu Sans")).get_charmap()
    return "".join(character if ord(character) in known else "?" for character in words)
