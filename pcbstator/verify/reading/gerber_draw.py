"""Moves, draws, flashes and regions of a Gerber file."""

from __future__ import annotations

import re
from itertools import pairwise

import numpy as np
import shapely
from shapely import affinity
from shapely.geometry.base import BaseGeometry

from pcbstator.verify.reading.arcs import arc_points, quarter_segments, single_quadrant_centre
from pcbstator.verify.reading.crossings import MOST_OF_A_LINE, crossings
from pcbstator.verify.reading.drawing import DrawnObject, moved, transform_matrix, union
from pcbstator.verify.reading.gerber_state import GerberState, Place
from pcbstator.verify.reading.limits import reached
from pcbstator.verify.records import FloatArray

Figures = str | None

_PLACES = re.compile(r"X([+-]?\d+)Y([+-]?\d+)")
_LETTERS = re.compile(r"[XY*]|D0?1")


def operate(
    state: GerberState, x: str | None, y: str | None, i: str | None, j: str | None, operation: str | None
) -> None:
    """A move, a draw or a flash."""
    start = state.point
    given = [None if text is None else _length(state, text) for text in (x, y)]
    if state.absolute:
        end = start[0] if given[0] is None else given[0], start[1] if given[1] is None else given[1]
    else:
        end = start[0] + (given[0] or 0.0), start[1] + (given[1] or 0.0)
    reached(state.file, max(abs(end[0]), abs(end[1])), "a coordinate")
    state.point, state.operation = end, operation or state.operation
    if state.operation == "1":
        offset = tuple(0.0 if text is None else _length(state, text) for text in (i, j))
        curved = state.motion > 1 and not (i is None and j is None)
        _draw(state, start, _arc(state, start, end, (offset[0], offset[1])) if curved else [end])
    elif state.operation == "2":
        end_stroke(state)
        if state.region is not None:
            state.region.append([end])
    elif state.operation == "3":
        _flash(state)
    else:
        raise ValueError("a coordinate comes before any operation")


def draw_run(state: GerberState, run: str) -> None:
    """Many draws after each other, at once where they are plain lines in whole numbers."""
    if state.motion != 1 or state.trailing or not state.absolute or state.digits is None or state.unit is None:
        for x, y in _PLACES.findall(run):
            operate(state, x, y, None, None, "1")
        return
    figures = _LETTERS.sub(" ", run).split()
    points = np.array(figures, dtype=np.float64).reshape(-1, 2) * (10.0 ** -state.digits[1] * state.unit)
    reached(state.file, float(np.abs(points).max()), "a coordinate")
    start, places = state.point, [(x, y) for x, y in points.tolist()]
    state.point, state.operation = places[-1], "1"
    state.vertices += len(places)
    _draw(state, start, places)


def _length(state: GerberState, text: str) -> float:
    """A coordinate in mm."""
    if state.unit is None or (state.digits is None and "." not in text):
        raise state.refuse("unit and number format must be given before the first coordinate", text)
    if "." in text or state.digits is None:
        return float(text) * state.unit
    if not state.trailing:
        return int(text) * 10.0 ** -state.digits[1] * state.unit
    sign, figures = (-1, text[1:]) if text[0] == "-" else (1, text.lstrip("+"))
    return sign * int(figures.ljust(sum(state.digits), "0")[:20]) * 10.0 ** -state.digits[1] * state.unit


def _arc(state: GerberState, start: Place, end: Place, offset: Place) -> list[Place]:
    clockwise = state.motion == 2
    reached(state.file, max(abs(offset[0]), abs(offset[1])), "the centre of an arc")
    if not state.quarter:
        return arc_points(start, end, (start[0] + offset[0], start[1] + offset[1]), clockwise)
    if start == end:
        return [end]
    return arc_points(start, end, single_quadrant_centre(start, end, offset, clockwise), clockwise)


def _draw(state: GerberState, start: Place, points: list[Place]) -> None:
    if state.region is not None:
        if not state.region:
            state.region.append([start])
        state.region[-1].extend(points)
    else:
        if not state.stroke:
            state.stroke.append(start)
        state.stroke.extend(points)


def end_stroke(state: GerberState) -> None:
    """What has been drawn since the last move becomes an object."""
    points, state.stroke = state.stroke, []
    if not points:
        return
    pen = None if state.aperture is None else state.apertures.get(state.aperture)
    if pen is None or isinstance(pen, list):
        raise state.refuse("a line must be drawn with an aperture, which is no block")
    line = np.array(points)
    state.lines.append(line)
    _bounded(state, line)
    if pen.diameter is not None:
        width = pen.diameter * state.scale
        shape: BaseGeometry = shapely.LineString(line).buffer(width / 2, quad_segs=quarter_segments(width / 2))
    else:
        shape = _swept(_turned(state, pen.shape), points)
    if not shape.is_empty:
        state.add(DrawnObject(state.dark, state.net, shape))


def _bounded(state: GerberState, line: FloatArray) -> None:
    """Refuses a line that crosses itself as none in copper does."""
    if (count := crossings([line])) > MOST_OF_A_LINE:
        raise state.refuse("a line must not cross itself without end", f"about {count:.2g} crossings")


def _swept(shape: BaseGeometry, points: list[Place]) -> BaseGeometry:
    """What an aperture that is no disc covers on its way, step by step."""
    if len(points) > 20_000:
        raise ValueError("a line of so many points is drawn with an aperture that is no disc")
    hull = shape.convex_hull
    at = [affinity.translate(hull, *point) for point in points]
    steps = [shapely.union_all(pair).convex_hull for pair in pairwise(at)]
    return union(steps)


def _turned(state: GerberState, shape: BaseGeometry) -> BaseGeometry:
    if not state.mirrored and state.turn == 0 and state.scale == 1:
        return shape
    matrix = transform_matrix(state.mirrored, state.turn, state.scale)
    return shapely.transform(shape, lambda points: points @ matrix.T)


def _flash(state: GerberState) -> None:
    end_stroke(state)
    if state.region is not None:
        raise ValueError("nothing is flashed within a region")
    tool = None if state.aperture is None else state.apertures.get(state.aperture)
    if tool is None:
        raise ValueError("no aperture is chosen")
    x, y = state.point
    if isinstance(tool, list):
        state.count(tool)
        matrix = transform_matrix(state.mirrored, state.turn, state.scale)
        things = moved(tool, [state.point], matrix)
        state.captured[-1] += [
            DrawnObject(thing.dark == state.dark, state.net, thing.shape, thing.pad) for thing in things
        ]
        return
    shape = affinity.translate(_turned(state, tool.shape), x, y)
    if shape.is_empty:
        return
    left, low, right, high = shape.bounds
    pad = x, y, min(right - left, high - low)
    state.add(DrawnObject(state.dark, state.net, shape, pad, state.pin))


def end_region(state: GerberState) -> None:
    contours, state.region = state.region, None
    if contours is None:
        raise ValueError("no region is open")
    for contour in contours:
        if len(set(contour)) < 3:
            continue
        _bounded(state, np.array(contour))
        area: BaseGeometry = shapely.Polygon(np.array(contour))
        if not area.is_valid:
            area = shapely.make_valid(area, method="structure", keep_collapsed=False)
        if not area.is_empty:
            state.add(DrawnObject(state.dark, state.net, area))
