"""A page for a drawing: millimetres, text sized by the page, a legend in rows that wrap.

All sizes of text and symbols are multiples of the unit, a hundredth of the page's width, so that a page looks the same
on a phone whether it shows a small or a large machine.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from pcbstator.copper.records import FloatArray

FONT = "DejaVu Sans, Verdana, Helvetica, Arial, sans-serif"
TEXT = 2.7  # size of most text, in units of the sheet
BOLD = 1.12  # width of bold text over plain
INK = "#222222"
QUIET = "#666666"
PAPER = "#ffffff"
# Dark enough for white paper, apart in hue and, in the first three, in grey as well. Later phases start again.
_PHASE_COLOURS = ("#1c3f94", "#c2571a", "#2b8a6e", "#8a2f7d", "#7a6a12", "#3b7fc4", "#8c3b2a")
_COMMON = "#444444"  # what belongs to no phase: star point


def phase_colour(name: str) -> str:
    """Colour of a phase, by its letter; grey for the star point.

    >>> phase_colour("N"), phase_colour("A2") == phase_colour("A")
    ('#444444', True)
    """
    return _COMMON if name[:1] in ("N", "") else _PHASE_COLOURS[(ord(name[0]) - ord("A")) % len(_PHASE_COLOURS)]


def tint(colour: str, part: float) -> str:
    """``colour`` with white, ``part`` 1 for the pure colour.

    >>> tint("#204060", 0.5)
    '#90a0b0'
    """
    channels = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
    return "#" + "".join(f"{round(255 - (255 - channel) * part):02x}" for channel in channels)


def text_width(words: str, size: float, bold: bool = False) -> float:
    """An upper estimate of the width of ``words`` in the widest of the fonts asked for, in the unit of ``size``."""

    def part(character: str) -> float:
        if unicodedata.east_asian_width(character) in "WF" or character in "WM@%—":
            return 1.02
        if character in " \u00a0.,:;|!'()[]/ijlIfrt-":
            return 0.42
        if character.isupper() or character in "mw+=−×&~<>#":
            return 0.98 if character == "m" else 0.84
        return 0.65

    return size * sum(map(part, words)) * (BOLD if bold else 1.0)


def wrapped(words: str, size: float, width: float) -> list[str]:
    """``words`` in lines no wider than ``width``; a word that is wider is broken."""
    lines, line = [], ""
    for word in words.split(" "):
        trial = f"{line} {word}".strip()
        if text_width(trial, size) <= width:
            line = trial
            continue
        lines += [line] if line else []
        while text_width(word, size) > width:
            cut = next(n for n in range(len(word) - 1, 0, -1) if n == 1 or text_width(word[:n], size) <= width)
            lines.append(word[:cut])
            word = word[cut:]
        line = word
    return [*lines, line] if line else lines


def path_data(points: FloatArray, close: bool = False) -> str:
    """A polyline [m] in board axes as path data in mm with y down, straight stretches thinned by at most 0.01 mm."""
    from shapely import LineString

    flat = np.asarray(LineString(points * 1e3).simplify(0.0095).coords) * (1.0, -1.0)
    pairs = (f"{number(x)} {number(y)}" for x, y in flat)
    return "M" + "L".join(pairs) + ("Z" if close else "")


def number(value: float) -> str:
    """Shortest text of a length in mm, to the micrometre.

    >>> number(1.0), number(-0.0001), number(2.34567)
    ('1', '0', '2.346')
    """
    text = f"{value:.3f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


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
        self.drawing = svgwrite.Drawing(debug=False)
        self.page = self.drawing.g(font_family=FONT, fill=INK)

    def text(self, words: str, x: float, y: float, size: float, parent: Any = None, **attributes: Any) -> None:
        """One line of text, base line at y."""
        at = {"insert": (number(x), number(y)), "font_size": number(size)}
        (parent or self.page).add(self.drawing.text(words, **at, **attributes))

    def paragraph(self, words: str, size: float, **attributes: Any) -> None:
        """Wrapped text over the whole width, below what is there."""
        widening = BOLD if attributes.get("font_weight") == "bold" else 1.0
        for line in wrapped(words, size, (self.width - 2 * self.margin) / widening):
            self.bottom += 1.3 * size
            self.text(line, self.margin, self.bottom, size, **attributes)

    def row(self, heading: str, symbols: Sequence[Symbol], size: float) -> None:
        """A legend row with its heading, wrapped between symbols."""
        u = self.unit
        self.bottom += 1.0 * u
        start = self.margin + 13 * u
        x, y = start, self.bottom + 1.5 * size
        self.text(heading, self.margin, y, size, font_weight="bold")
        for symbol in symbols:
            indent = symbol.width + 0.8 * u if symbol.draw else 0.0
            width = indent + text_width(symbol.words, size)
            if x > start and x + width > self.width - self.margin:
                x, y = start, y + 1.5 * size
            if symbol.draw:
                symbol.draw(self.page, x, y - 0.35 * size)
            lines = wrapped(symbol.words, size, self.width - self.margin - x - indent)
            for index, line in enumerate(lines):
                y += 1.3 * size if index else 0
                self.text(line, x + indent, y, size)
            x += width + 2.5 * u
        self.bottom = y

    def scale_bar(self, length: float, drawn: float, name: str) -> None:
        """A bar of ``length`` [mm], ``drawn`` [mm] long on the page."""
        drawing, unit = self.drawing, self.unit
        self.bottom += 2.2 * unit
        y, x = self.bottom + 1.5 * unit, self.margin + 13 * unit
        group = drawing.g(id=name, stroke=INK, stroke_width=number(0.3 * unit))
        group.add(drawing.line((number(x), number(y)), (number(x + drawn), number(y))))
        for end in (x, x + drawn):
            group.add(drawing.line((number(end), number(y - unit)), (number(end), number(y + unit))))
        self.page.add(group)
        true = abs(drawn - length) < 1e-9
        self.text("Scale", self.margin, y + 0.95 * unit, TEXT * unit, font_weight="bold")
        words = f"{length:g} mm" + ("; 1:1 when printed at 100 %" if true else f"; enlarged {drawn / length:.2g} times")
        self.text(words, x + drawn + 1.5 * unit, y + 0.95 * unit, TEXT * unit)
        self.bottom = y + 1.2 * unit

    def finish(self) -> str:
        """The page as the text of an SVG file, at true scale."""
        height = self.bottom + self.margin
        drawing, width, tall = self.drawing, number(self.width), number(height)
        drawing["width"], drawing["height"] = f"{width}mm", f"{tall}mm"
        drawing["viewBox"] = f"0 0 {width} {tall}"
        drawing.attribs.update({"role": "img", "aria-label": self.label})
        drawing.add(drawing.rect((0, 0), (width, tall), fill=PAPER))
        drawing.add(self.page)
        return str(drawing.tostring()) + "\n"


def scale_bar_length(available: float) -> float:
    """The longest of 1, 2, 5 times a power of ten that fits.

    >>> scale_bar_length(34.0), scale_bar_length(7.0)
    (20.0, 5.0)
    """
    power = 10.0 ** np.floor(np.log10(available))
    return float(max(step * power for step in (1, 2, 5) if step * power <= available))


def spread_angles(angles: Sequence[float], spacing: float) -> list[float]:
    """Angles [rad] pushed apart as little as it takes to leave ``spacing`` between neighbours, order kept.

    >>> [round(angle, 3) for angle in spread_angles([0.0, 0.1, 2.0], 0.3)]
    [-0.1, 0.2, 2.0]
    """
    order = sorted(range(len(angles)), key=lambda index: angles[index])
    placed = [angles[index] for index in order]
    count = len(placed)
    for _ in range(400 if count > 1 else 0):
        lacks = [spacing - ((placed[(i + 1) % count] - placed[i]) % (2 * np.pi)) for i in range(count)]
        if max(lacks) < 1e-6:
            break
        for i, lack in enumerate(lacks):
            if lack > 0:
                placed[i] -= lack / 2
                placed[(i + 1) % count] += lack / 2
    return [angle for _, angle in sorted(zip(order, placed, strict=True))]
