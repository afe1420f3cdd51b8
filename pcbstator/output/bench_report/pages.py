"""The bench sheet as pages of A4, to print and to write on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from pcbstator.bench.sheet import Sheet
from pcbstator.output.bench_report.parts import how_to_read, left_out, parts, terminal_names
from pcbstator.output.bench_report.records import Expected, Part, Test
from pcbstator.output.bench_report.wiring import HEIGHT, WIDTH, sketch_items
from pcbstator.output.canvas.colours import QUIET
from pcbstator.output.canvas.page import LEADING, Disc, Item, Line, Page, Place, Words, flow, pages_pdf
from pcbstator.output.canvas.text import wrapped
from pcbstator.output.words import unbroken

PAPER = (210.0, 297.0)
MARGIN, FOOT = 12.0, 8.0  # mm
TEXT, LABEL = 2.7, 20.0  # mm: size of text, width of the labels beside it
FULL = PAPER[0] - 2 * MARGIN
SKETCH = WIDTH + 4.0
COLUMNS = (0.0, 74.0, 108.0, 148.0)  # mm, of a table: what is read, expected, band, measured
Items = list[Item]


@dataclass
class _Book:
    """Pages as they fill; ``y`` is where the page in hand goes on."""

    title: str
    pages: list[Items] = field(default_factory=list)
    y: float = PAPER[1]

    def place(self, items: Items, height: float, kept: float = 0.0) -> None:
        """Items laid out from 0 down, ``height`` high, where they and ``kept`` more fit."""
        if self.y + height + kept > PAPER[1] - MARGIN - FOOT:
            self.pages.append([])
            self.y = MARGIN
        self.pages[-1] += [_moved(item, self.y) for item in items]
        self.y += height


def sheet_pdf(sheet: Sheet) -> bytes:
    """The pages as a PDF file; the same design gives the same bytes."""
    return pages_pdf(sheet_pages(sheet), f"{sheet.design.title}: bench sheet")


def sheet_pages(sheet: Sheet) -> list[Page]:
    """All pages of the sheet."""
    title, names, number = f"{sheet.design.title}: bench sheet", terminal_names(sheet), 0
    book = _Book(title)
    book.place(*_head(title, sheet))
    for part in parts(sheet):
        blocks = []
        for test in part.tests:
            number += 1
            blocks.append(_test(number, test, names))
        book.place(*_part(part), kept=blocks[0][1])
        for items, height in blocks:
            book.place(items, height)
    for words in left_out(sheet):
        book.place(*_paragraph(words))
    count = len(book.pages)
    return [
        Page(*PAPER, f"{title}, page {k + 1} of {count}", (*items, *_foot(sheet, k + 1, count)))
        for k, items in enumerate(book.pages)
    ]


def _head(title: str, sheet: Sheet) -> tuple[Items, float]:
    items, y = flow(wrapped(title, 5.5, FULL, bold=True), MARGIN, 0.0, 5.5, bold=True)
    words, y = flow(_lines(how_to_read(sheet), FULL), MARGIN, y + 1.0, TEXT)
    y += 3.0
    blanks: Items = []
    for k, name in enumerate(("Board no.", "Rotor no.", "Date", "Air, °C", "By")):
        x = MARGIN + k * FULL / 5
        blanks += [
            Words(name, (x, y + 3.0), TEXT),
            Line(((x + 16.0, y + 3.6), (x + FULL / 5 - 2.0, y + 3.6)), 0.15, colour=QUIET),
        ]
    return items + words + blanks, y + 7.0


def _part(part: Part) -> tuple[Items, float]:
    items, y = flow([part.title], MARGIN, 2.0, 4.4, bold=True)
    words, y = flow(_lines(part.words, FULL), MARGIN, y + 0.3, TEXT)
    rule: Items = [Line(((MARGIN, 1.5), (MARGIN + FULL, 1.5)), 0.5)]
    return rule + items + words, y + 2.0


def _paragraph(words: str) -> tuple[Items, float]:
    items, y = flow(_lines(words, FULL), MARGIN, 1.0, TEXT)
    return items, y


def _test(number: int, test: Test, names: Sequence[str]) -> tuple[Items, float]:
    """A test: its sketch on the left, what to do on the right, the table to fill in below."""
    items, top = flow(wrapped(f"{number}. {test.title}", 3.6, FULL, bold=True), MARGIN, 1.0, 3.6, bold=True)
    items += [_moved(item, top + 1.0, MARGIN) for item in sketch_items(test.sketch, names)]
    y = top + 0.5
    for label, words in _told(test):
        heading, _ = flow([label] if label else [], MARGIN + SKETCH, y, TEXT, bold=True)
        told, y = flow(_lines(words, FULL - SKETCH - LABEL), MARGIN + SKETCH + LABEL, y, TEXT)
        items += heading + told
        y += 0.6
    table, y = _table(test.rows, max(y, top + HEIGHT + 1.0) + 1.0)
    items += table
    for words in test.alarms:
        mark, _ = flow(["!"], MARGIN, y, TEXT, bold=True)
        told, y = flow(_lines(words, FULL - 4.0), MARGIN + 4.0, y, TEXT)
        items += mark + told
    return items, y + 4.0


def _told(test: Test) -> list[tuple[str, str]]:
    rows = [("With", test.instrument), ("Safe", test.limits)]
    rows += [("Do" if k == 0 else "", words) for k, words in enumerate(test.steps)]
    return rows + [("Caution", words) for words in test.cautions]


def _table(rows: Sequence[Expected], y: float) -> tuple[Items, float]:
    """Lines with an empty field for the reading."""
    heads = ("read", "expected", "5 to 95 %", "measured")
    items: Items = [Words(head, (MARGIN + x, y + 2.6), 2.3, bold=True) for head, x in zip(heads, COLUMNS, strict=True)]
    y += 3.6
    for row in rows:
        cells = [
            _lines(words, width)
            for words, width in zip((row.name, row.value, row.band), (72.0, 33.0, 39.0), strict=True)
        ]
        for lines, x in zip(cells, COLUMNS, strict=False):
            placed, _ = flow(lines, MARGIN + x, y + 0.7, TEXT)
            items += placed
        high = max(map(len, cells)) * LEADING * TEXT + 1.4
        field_ = (
            (MARGIN + COLUMNS[3], y + 0.4),
            (MARGIN + FULL, y + 0.4),
            (MARGIN + FULL, y + high - 0.2),
            (MARGIN + COLUMNS[3], y + high - 0.2),
        )
        items += [
            Line(field_, 0.15, closed=True, colour=QUIET),
            Line(((MARGIN, y + high + 0.1), (MARGIN + COLUMNS[3] - 2.0, y + high + 0.1)), 0.1, colour=QUIET),
        ]
        y += high + 0.3
    return items, y + 1.0


def _foot(sheet: Sheet, page: int, count: int) -> Items:
    y = PAPER[1] - MARGIN
    design = sheet.design
    words = f"{design.source or design.title}, SHA-256 {design.digest[:16]}, pcbstator {sheet.prediction.version}"
    return [Words(words, (MARGIN, y), 2.2), Words(f"{page} of {count}", (PAPER[0] - MARGIN, y), 2.2, "end")]


def _lines(words: str, width: float) -> list[str]:
    return wrapped(unbroken(words), TEXT, width)


def _moved(item: Item, down: float, right: float = 0.0) -> Item:
    """The item farther down and to the right [mm]."""

    def at(place: Place) -> Place:
        return place[0] + right, place[1] + down

    if isinstance(item, Line):
        return Line(tuple(map(at, item.points)), item.width, item.closed, item.fill, item.colour, item.name)
    if isinstance(item, Disc):
        return Disc(at(item.centre), item.radius, item.width, item.fill, item.colour)
    if isinstance(item, Words):
        return Words(item.text, at(item.place), item.size, item.anchor, item.bold)
    raise TypeError("a group of SVG cannot be moved")
