"""What is printed on the board: shapes of the legend, placed on free ground.

Text goes along circles about the board's centre, its letters as outlines of matplotlib's bold sans-serif. Each item
takes the first place, from the middle of the ring outwards, where it stays on the board and off everything that is
not to be printed on; what finds no place is cut or left out.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import ceil, hypot, pi
from typing import Literal

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon, affinity
from shapely.geometry.base import BaseGeometry

from pcbstator.copper import Terminal, Track
from pcbstator.copper.geometry.tracks import FloatArray
from pcbstator.copper.non_winding import WIRES
from pcbstator.copper.plain_board import BoardCopper
from pcbstator.output.fabrication.attributes import one_line
from pcbstator.output.plotting import plain_settings

# All lengths in metres. Common practice, no source: letters of 1 mm or more with strokes of 0.15 mm or more can be
# printed, and ink keeps 0.2 mm from openings of the mask and 0.5 mm from the board's edge.
TEXT_HEIGHTS = (2.0e-3, 1.6e-3, 1.3e-3)  # of a capital letter, the largest that fits first
_PAD_DISTANCE = 0.25e-3  # from a pad; the opening of the mask is 0.05 mm wider than the pad
_EDGE_DISTANCE = 0.5e-3
_SPACING = 0.4e-3  # between two items
_ARROW_LENGTH = 8e-3
_ARROW_WIDTH = 0.3e-3
_LONGEST_ARC = 1.5  # radians a text may take along its circle

Side = Literal["top", "bottom"]


@dataclass(frozen=True)
class _Item:
    """Something to print, laid out flat: middle at the origin, text to the right."""

    shape: BaseGeometry
    width: float
    height: float


@dataclass
class _Ground:
    """What is still free: ``free`` without vias where possible, ``allowed`` in need; in the view of the reader."""

    free: BaseGeometry
    allowed: BaseGeometry
    inner: float
    outer: float

    def take(self, area: BaseGeometry) -> None:
        """Keep later items off ``area``."""
        self.free, self.allowed = self.free.difference(area), self.allowed.difference(area)


def legend_shapes(copper: BoardCopper, side: Side, title: str, notes: Sequence[str] = ()) -> list[Polygon]:
    """The printed areas [m] on ``side`` in board axes, the bottom one mirrored so that it reads right from below."""
    mirror = np.array([1.0 if side == "top" else -1.0, 1.0])
    ground = _ground(copper, side, mirror)
    placed = _terminal_names([*copper.terminals, *_wire_pads(copper, side)], ground, mirror)
    numbers = [f"L{layer.number}" for layer in copper.layers]
    first, last = (numbers[0], numbers[-1]) if side == "top" else (numbers[-1], numbers[0])
    order = [phase.name for phase in copper.phases]
    if order:
        placed += _rotation_arrow(order, ground, counter_clockwise=side == "top")
    for text, angle in ((title, -pi / 2), (f"{first}..{last}", pi), *((note, 0.0) for note in notes)):
        placed += _text_anywhere(one_line(text), ground, angle)
    back = [shapely.transform(shape, lambda xy: xy * mirror) for shape in placed]
    return [part for shape in back for part in getattr(shape, "geoms", [shape]) if isinstance(part, Polygon)]


def _ground(copper: BoardCopper, side: Side, mirror: FloatArray) -> _Ground:
    """The board less its edges, holes and slots, and what the mask bares."""
    inner, outer = copper.board_inner_radius + _EDGE_DISTANCE, copper.board_outer_radius - _EDGE_DISTANCE
    board = shapely.transform(copper.shape.material.simplify(1e-5), lambda xy: xy * mirror).buffer(-_EDGE_DISTANCE)
    bare = [(t.x, t.y, t.pad / 2) for t in copper.terminals]
    bare += [(h.x, h.y, h.pad / 2) for h in copper.shape.drilled if h.plated]
    pads = [_disc(x, y, radius + _PAD_DISTANCE, mirror) for x, y, radius in bare]
    layer = 1 if side == "top" else len(copper.layers)
    for land in copper.non_winding.lands:
        if land.layer == layer:
            pads.append(shapely.transform(land.area(_PAD_DISTANCE), lambda xy: xy * mirror))
    vias = shapely.union_all([_disc(v.x, v.y, v.pad / 2 + _PAD_DISTANCE, mirror) for v in copper.vias])
    tracks = [_strip(track, mirror) for track in copper.bare if track.layer == copper.layers[layer - 1].number]
    allowed = board.difference(shapely.union_all([*pads, *tracks]))
    return _Ground(allowed.difference(vias), allowed, inner, outer)


def _disc(x: float, y: float, radius: float, mirror: FloatArray) -> BaseGeometry:
    """A disc in the view of the reader."""
    return shapely.Point(x * mirror[0], y * mirror[1]).buffer(radius)


def _strip(track: Track, mirror: FloatArray) -> BaseGeometry:
    """A bare track, as far as no ink may come, in the view of the reader."""
    coarse = 20e-6  # fewer corners, so that places are tried quickly
    return shapely.LineString(track.points * mirror).buffer(track.width / 2 + _PAD_DISTANCE + coarse).simplify(coarse)


def _wire_pads(copper: BoardCopper, side: Side) -> list[Terminal]:
    """The pads for the thermistor's wires that can be seen on a side."""
    layer = 1 if side == "top" else len(copper.layers)
    holes = [Terminal(h.name, h.x, h.y, h.diameter, h.pad, layer, h.net) for h in copper.non_winding.holes]
    lands = [land for land in copper.non_winding.lands if land.part == WIRES and land.layer == layer]
    return holes + [Terminal(land.net, land.x, land.y, 0.0, land.length, layer, land.net) for land in lands]


def _terminal_names(terminals: Sequence[Terminal], ground: _Ground, mirror: FloatArray) -> list[BaseGeometry]:
    """The name of each terminal, beside it on the side that is free."""
    placed: list[BaseGeometry] = []
    for terminal in terminals:
        spot = np.array([terminal.x, terminal.y]) * mirror
        for height in TEXT_HEIGHTS:
            item = _text_item(one_line(terminal.name), height)
            away = terminal.pad / 2 + _PAD_DISTANCE + 0.1e-3
            places = list(_places_beside(spot, away, item))
            shape = _place(item, places, ground)
            if shape is not None:
                placed.append(shape)
                break
    return placed


def _places_beside(spot: FloatArray, away: float, item: _Item) -> Iterator[tuple[float, float]]:
    """Radius and angle of places around ``spot``: towards centre and edge first, where no neighbour is."""
    radius, angle = hypot(*spot), float(np.arctan2(spot[1], spot[0]))
    along, across = away + item.width / 2, away + item.height / 2
    for gap in (0.0, 0.5e-3, 1.0e-3):
        for s, r in ((0, -1), (0, 1), (-1, 0), (1, 0), (-1, -1), (1, -1), (-1, 1), (1, 1)):
            place = radius + r * (across + gap)
            if place > 0:
                yield place, angle + s * (along + gap) / place


def _rotation_arrow(order: Sequence[str], ground: _Ground, counter_clockwise: bool) -> list[BaseGeometry]:
    """An arrow in the direction of positive rotation, with the order of the phases, at the top of the board."""
    for height in TEXT_HEIGHTS:
        text = _text_item(" ".join(order), height)
        gap = height / 2 if order else 0.0
        width = _ARROW_LENGTH + gap + text.width
        # At the top of the board the text goes clockwise, so a counter-clockwise arrow points against it.
        start = -width / 2 if counter_clockwise else width / 2 - _ARROW_LENGTH
        arrow = _arrow(start, height, points_left=counter_clockwise)
        shift = width / 2 - text.width / 2 if counter_clockwise else text.width / 2 - width / 2
        words = affinity.translate(text.shape, shift)
        item = _Item(shapely.union_all([arrow, words]), width, height)
        places = [place for place in _places_on_ring(ground, item, pi / 2) if 0.2 < place[1] < pi - 0.2]
        shape = _place(item, places, ground)
        if shape is not None:
            return [shape]
    return []


def _arrow(start: float, height: float, points_left: bool) -> Polygon:
    """An arrow from ``start`` on, ``_ARROW_LENGTH`` long."""
    half, head, wing = _ARROW_WIDTH / 2, 0.9 * height, 0.4 * height
    tip = np.array(
        [
            [0, 0],
            [head, wing],
            [head, half],
            [_ARROW_LENGTH, half],
            [_ARROW_LENGTH, -half],
            [head, -half],
            [head, -wing],
        ]
    )
    if not points_left:
        tip[:, 0] = _ARROW_LENGTH - tip[:, 0]
    return Polygon(tip + np.array([start, 0.0]))


def _text_anywhere(text: str, ground: _Ground, angle: float) -> list[BaseGeometry]:
    """``text`` near ``angle``, cut at its end where the whole finds no place."""
    # A text that is longer than high covers a disc about its middle, so its middle lies where such a disc is free.
    cores = {height: ground.allowed.buffer(-0.3 * height) for height in TEXT_HEIGHTS}
    while text:
        for height in TEXT_HEIGHTS:
            item = _text_item(text, height)
            if item.width > _LONGEST_ARC * ground.outer:
                continue
            if cores[height].is_empty and item.width >= item.height:
                continue
            places = list(_places_on_ring(ground, item, angle))
            if places and item.width >= item.height:
                shapely.prepare(cores[height])
                radii, angles = np.array(places).T
                kept = shapely.contains_xy(cores[height], radii * np.cos(angles), radii * np.sin(angles))
                places = [place for place, keep in zip(places, kept.tolist(), strict=True) if keep]
            shape = _place(item, places, ground)
            if shape is not None:
                return [shape]
        rest = text.removesuffix("…")
        text = f"{rest[: len(rest) * 9 // 10].rstrip()}…" if len(rest) > 1 else ""
    return []


def _places_on_ring(ground: _Ground, item: _Item, angle: float) -> Iterator[tuple[float, float]]:
    """Radius and angle of places for ``item``, from ``angle`` and the middle of the ring on."""
    spare = (ground.outer - ground.inner - item.height) / 2
    if spare < 0:
        return
    middle = (ground.inner + ground.outer) / 2
    steps = min(ceil(spare / 0.5e-3), 60)
    radii = middle + np.linspace(-spare, spare, 2 * steps + 1)
    turns = np.linspace(-pi, pi, 73)[1:]
    for turn in turns[np.argsort(np.abs(turns), kind="stable")]:
        for radius in radii[np.argsort(np.abs(radii - middle), kind="stable")]:
            if item.width <= _LONGEST_ARC * radius:
                yield float(radius), float((angle + turn + pi) % (2 * pi) - pi)


def _place(item: _Item, places: Sequence[tuple[float, float]], ground: _Ground) -> BaseGeometry | None:
    """``item`` at the first of ``places`` that is free, off the vias if any such place is; None if all are taken."""
    if not places or item.shape.is_empty:
        return None
    half = item.width / 2, item.height / 2
    outline = shapely.segmentize(shapely.box(-half[0], -half[1], *half), 0.5e-3)
    flat, columns = np.asarray(outline.exterior.coords), np.array(places).T[:, :, None]
    middle_and_corners = np.array([[0, 0], [-1, -1], [1, -1], [1, 1], [-1, 1]]) * half
    x, y = _curved(middle_and_corners, *columns)
    for area in (ground.free, ground.allowed):
        shapely.prepare(area)
        likely = np.arange(len(places))
        for point in range(x.shape[1]):  # far quicker than whole boxes
            likely = likely[shapely.contains_xy(area, x[likely, point], y[likely, point])]
        outlines = np.stack(_curved(flat, *columns[:, likely]), axis=-1)
        boxes = np.asarray(shapely.polygons(outlines), dtype=np.object_)
        found = np.flatnonzero(shapely.contains_properly(area, boxes))
        if len(found):
            radius, angle = places[likely[found[0]]]
            shape = _bent(shapely.segmentize(item.shape, 0.5e-3), radius, angle)
            ground.take(boxes[found[0]].buffer(_SPACING))
            return shape
    return None


def _bent(shape: BaseGeometry, radius: float, angle: float) -> BaseGeometry:
    """A flat ``shape`` laid along the circle of ``radius`` about ``angle``; upright for who looks at the board."""
    return shapely.transform(shape, lambda flat: np.column_stack([*_curved(flat, np.array(radius), np.array(angle))]))


def _curved(flat: FloatArray, radius: FloatArray, angle: FloatArray) -> tuple[FloatArray, FloatArray]:
    """x and y of ``flat`` points (n, 2) laid along circles; ``radius`` and ``angle`` may be columns, one per place."""
    side = np.where(np.sin(angle) > -1e-9, 1.0, -1.0)
    out = radius + side * flat[:, 1]
    turn = angle - side * flat[:, 0] / radius
    return out * np.cos(turn), out * np.sin(turn)


def _text_item(text: str, height: float) -> _Item:
    """``text`` with capitals of ``height`` [m]."""
    flat = _letters(text)
    if flat.is_empty:
        return _Item(flat, 0.0, height)
    left, bottom, right, top = flat.bounds
    middle = np.array([(left + right) / 2, (min(bottom, 0.0) + max(top, 1.0)) / 2])
    shape = shapely.transform(flat, lambda xy: (xy - middle) * height)
    tall = (max(top, 1.0) - min(bottom, 0.0)) * height
    return _Item(shape, (right - left) * height, tall)


@lru_cache(maxsize=256)
@plain_settings()
def _letters(text: str) -> BaseGeometry:
    """The outlines of ``text`` with capitals one unit high; what the typeface lacks becomes a question mark."""
    from matplotlib.font_manager import FontProperties, findfont, get_font
    from matplotlib.path import Path
    from matplotlib.textpath import TextToPath

    properties = FontProperties(family="DejaVu Sans", weight="bold")  # comes with matplotlib, so it is always the same
    known = get_font(findfont(properties)).get_charmap()
    plain = "".join(c if ord(c) in known else "?" for c in text)
    if not plain.strip():
        return MultiPolygon()

    def outlines(words: str) -> Path:
        vertices, codes = TextToPath().get_text_path(properties, words, ismath=False)
        return Path(np.asarray(vertices), np.asarray(codes))

    capital = outlines("H").get_extents().height
    shape: BaseGeometry = MultiPolygon()
    for ring in map(np.asarray, outlines(plain).to_polygons(closed_only=True)):
        if len(ring) > 3:  # a contour within another is a hole
            shape = shape.symmetric_difference(shapely.make_valid(Polygon(ring)))
    return shapely.transform(shape, lambda xy: xy / capital)
