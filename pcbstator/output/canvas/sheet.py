"""A page for a drawing that grows downwards: text sized by the page, a legend in rows that wrap.

All sizes of text and symbols are multiples of the unit, a hundredth of the page's width, so that a page looks the same
on a phone whether it shows a small or a large machine.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from pcbstator.output.canvas.page import Anchor, Drawn, Item, Page, Words, flow, page_svg, scale_bar
from pcbstator.output.canvas.svg import number
from pcbstator.output.canvas.text import text_width, wrapped

TEXT = 2.7  # size of most text, in units of the sheet
HEADING = 13.0  # width of the headings of rows, in units

Sign = Callable[[Any, float, float], None]  # draws into a group, middle left at x, y


@dataclass(frozen=True)
class Symbol:
    """An entry of a legend: its words and its sign, of some width."""

    words: str
    width: float = 0.0
    draw: Sign | None = None


class Sheet:
    """A page that grows downwards."""

    def __init__(self, width: float, label: str) -> None:
        import svgwrite

        self.width, self.unit, self.bottom = width, width / 100, 0.0
        self.margin, self.label = 2 * self.unit, label
        self.drawing = svgwrite.Drawing(debug=False)  # makes elements, and holds what they refer to
        self.items: list[Item] = [Drawn(self.drawing.defs)]

    def text(self, words: str, x: float, y: float, size: float, bold: bool = False, anchor: Anchor = "start") -> None:
        """One line of text, base line at y."""
        self.items.append(Words(words, (x, y), size, anchor, bold))

    def add(self, element: Any) -> None:
        """A group of SVG over what is there."""
        self.items.append(Drawn(element))

    def label_in(self, group: Any, words: str, x: float, y: float, size: float, **attributes: Any) -> None:
        """One line of text in a group of SVG, in its coordinates."""
        at = {"insert": (number(x), number(y)), "font_size": number(size)}
        group.add(self.drawing.text(words, **at, **attributes))

    def paragraph(self, words: str, size: float, bold: bool = False) -> None:
        """Wrapped text over the whole width, below what is there."""
        lines = wrapped(words, size, self.width - 2 * self.margin, bold)
        placed, self.bottom = flow(lines, self.margin, self.bottom + 0.26 * size, size, bold)
        self.items += placed

    def row(self, heading: str, symbols: Sequence[Symbol], size: float) -> None:
        """A legend row with its heading, wrapped between symbols."""
        u = self.unit
        self.bottom += 1.0 * u
        start = self.margin + HEADING * u
        x, y = start, self.bottom + 1.5 * size
        self.text(heading, self.margin, y, size, bold=True)
        for symbol in symbols:
            indent = symbol.width + 0.8 * u if symbol.draw else 0.0
            width = indent + text_width(symbol.words, size)
            if x > start and x + width > self.width - self.margin:
                x, y = start, y + 1.5 * size
            if symbol.draw:
                group = self.drawing.g()
                symbol.draw(group, x, y - 0.35 * size)
                self.add(group)
            lines = wrapped(symbol.words, size, self.width - self.margin - x - indent)
            for index, line in enumerate(lines):
                y += 1.3 * size if index else 0
                self.text(line, x + indent, y, size)
            x += width + 2.5 * u
        self.bottom = y

    def scale_bar(self, length: float, drawn: float, name: str) -> None:
        """A bar of ``length`` [mm], ``drawn`` [mm] long on the page."""
        unit, size = self.unit, TEXT * self.unit
        y = self.bottom + 3.7 * unit
        true = abs(drawn - length) < 1e-9
        size_of = (
            f"enlarged {drawn / length:.2g} times" if drawn > length else f"reduced to {100 * drawn / length:.2g} %"
        )
        words = f"{length:g} mm; " + ("1:1 when printed at 100 %" if true else size_of)
        self.text("Scale", self.margin, y + 0.36 * size, size, bold=True)
        self.items += scale_bar(self.margin + HEADING * unit, y, drawn, words, size, name)
        self.bottom = y + 1.2 * unit

    def finish(self) -> str:
        """The page as the text of an SVG file, at true scale."""
        return page_svg(Page(self.width, self.bottom + self.margin, self.label, tuple(self.items)))


def scale_bar_length(available: float) -> float:
    """The longest of 1, 2, 5 times a power of ten that fits.

    >>> scale_bar_length(34.0), scale_bar_length(7.0)
    (20.0, 5.0)
    """
    power = 10.0 ** np.floor(np.log10(available))
    return float(max(step * power for step in (1, 2, 5) if step * power <= available))
