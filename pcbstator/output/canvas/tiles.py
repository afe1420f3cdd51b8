"""A large page cut into A4 pages, to print at true scale and join by their marks."""

from __future__ import annotations

from dataclasses import replace
from math import ceil

from pcbstator.output.canvas.page import Disc, Drawn, Item, Line, Page, Words

WIDTH, HEIGHT = 210.0, 297.0  # mm, A4
MARGIN = 10.0  # mm on each side; most printers leave 5 white, so that neighbours overlap by twice the other 5
MARK = 4.0  # mm from the middle of a mark to its ends
TEXT = 2.8  # mm


def tiled(page: Page) -> list[Page]:
    """The page as rows of A4 pages, each with crosses on its corners that lie on those of its neighbours.

    Tile and neighbour overlap: what lies beyond the crosses is drawn on both, lines of text on one. Nothing is scaled.
    """
    wide, tall = WIDTH - 2 * MARGIN, HEIGHT - 2 * MARGIN
    columns, rows = ceil(page.width / wide - 1e-9), ceil(page.height / tall - 1e-9)
    tiles = []
    for row in range(rows):
        for column in range(columns):
            right, down = MARGIN - column * wide, MARGIN - row * tall
            moved = [_moved(item, right, down) for item in page.items]
            items = [item for item in moved if not isinstance(item, Words) or _within(item)]
            words = f"row {row + 1} of {rows}, column {column + 1} of {columns}: lay cross on cross, then cut and join"
            items += [*_crosses(wide, tall), Words(words, (MARGIN + MARK + 2.0, MARGIN - 3.0), TEXT)]
            tiles.append(Page(WIDTH, HEIGHT, f"{page.label}; {words}", tuple(items)))
    return tiles


def _crosses(wide: float, tall: float) -> list[Item]:
    """Marks on the corners that a tile shares with its neighbours."""
    items: list[Item] = []
    for x in (MARGIN, MARGIN + wide):
        for y in (MARGIN, MARGIN + tall):
            items += [Line(((x - MARK, y), (x + MARK, y)), 0.1), Line(((x, y - MARK), (x, y + MARK)), 0.1)]
    return items


def _within(words: Words) -> bool:
    """Whether any of a line of text lies between the upper and the lower crosses; the neighbour has the others."""
    top, bottom = words.place[1] - words.size, words.place[1] + 0.3 * words.size
    return bottom > MARGIN and top < HEIGHT - MARGIN


def _moved(item: Item, right: float, down: float) -> Item:
    if isinstance(item, Drawn):
        raise TypeError("a group of SVG cannot be moved onto a tile")
    if isinstance(item, Line):
        return replace(item, points=tuple((x + right, y + down) for x, y in item.points))
    if isinstance(item, Disc):
        return replace(item, centre=(item.centre[0] + right, item.centre[1] + down))
    return replace(item, place=(item.place[0] + right, item.place[1] + down))
