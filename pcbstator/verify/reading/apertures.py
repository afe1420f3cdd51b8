"""Apertures of a Gerber file as polygons about their origin: standard ones and macros.

Source: Ucamco, "The Gerber Layer Format Specification", 2024.05, chapter 4.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import cos, pi, radians, sin

import shapely
from shapely import affinity
from shapely.geometry.base import BaseGeometry

from pcbstator.verify.reading.arcs import quarter_segments
from pcbstator.verify.reading.limits import LARGEST, MOST_NESTING, MOST_PARTS

Numbers = Sequence[float]


@dataclass(frozen=True)
class Aperture:
    """shape: what a flash covers, about (0, 0) [mm]. diameter: of a plain disc, whose strokes have round ends."""

    shape: BaseGeometry
    diameter: float | None = None


def disc(diameter: float, x: float = 0.0, y: float = 0.0) -> BaseGeometry:
    """A disc [mm] of the same area as the circle's polygon of chords grown to it."""
    return shapely.Point(x, y).buffer(diameter / 2, quad_segs=quarter_segments(diameter / 2))


def standard_aperture(kind: str, values: Numbers, unit: float) -> Aperture:
    """Circle, rectangle, obround or polygon (C, R, O, P), with its hole; ValueError where numbers do not make one."""
    if not 1 <= len(values) <= 4 or any(value < 0 for value in values[:2]):
        raise ValueError(f"an aperture {kind} has the numbers {'X'.join(f'{value:g}' for value in values)}")
    if kind == "P":
        return Aperture(_without_hole(_polygon(values, unit), values[3:], unit))
    lengths = [_length(value * unit) for value in values]
    if kind == "C":
        plain = len(lengths) == 1
        return Aperture(_without_hole(disc(lengths[0]), values[1:], unit), lengths[0] if plain else None)
    width, height = lengths[0], lengths[min(1, len(lengths) - 1)]
    if kind == "R":
        shape: BaseGeometry = shapely.box(-width / 2, -height / 2, width / 2, height / 2)
    else:
        small, reach = min(width, height), abs(width - height) / 2
        ends = [(-reach, 0.0), (reach, 0.0)] if width >= height else [(0.0, -reach), (0.0, reach)]
        shape = shapely.LineString(ends).buffer(small / 2, quad_segs=quarter_segments(small / 2))
    return Aperture(_without_hole(shape, values[2:], unit))


def _length(value: float) -> float:
    if not abs(value) <= LARGEST:
        raise ValueError(f"an aperture has a length of {value:.6g} mm")
    return value


def _without_hole(shape: BaseGeometry, hole: Numbers, unit: float) -> BaseGeometry:
    return shape.difference(disc(_length(hole[0] * unit))) if hole and hole[0] > 0 else shape


def _polygon(values: Numbers, unit: float) -> BaseGeometry:
    """A regular polygon by its outer diameter, corners and turn."""
    corners = _count(values[1]) if len(values) > 1 else 0
    return _regular(_length(values[0] * unit) / 2, corners, values[2] if len(values) > 2 else 0.0)


def _regular(radius: float, corners: int, turn: float = 0.0) -> BaseGeometry:
    if not 3 <= corners <= 12:
        raise ValueError(f"a polygon aperture has 3 to 12 corners, not {corners}")
    angles = [radians(turn) + 2 * pi * index / corners for index in range(corners)]
    return shapely.Polygon([(radius * cos(angle), radius * sin(angle)) for angle in angles])


def _count(value: float) -> int:
    if not 0 <= value <= MOST_PARTS or value != int(value):
        raise ValueError(f"an aperture has {value:g} corners or points")
    return int(value)


def macro_aperture(body: Sequence[str], values: Numbers, unit: float) -> Aperture:
    """The shape that the statements of a macro make with ``values``; ValueError where they do not make one."""
    variables = dict(enumerate(values, 1))
    shape: BaseGeometry = shapely.Polygon()
    if len(body) > MOST_PARTS:
        raise ValueError(f"an aperture macro has {len(body)} parts")
    for statement in body:
        if statement.startswith("0"):
            continue
        if found := re.fullmatch(r"\$(\d+)=(.*)", statement):
            variables[int(found[1])] = expression(found[2], variables)
            continue
        code, *fields = statement.split(",")
        if len(fields) > 2 * MOST_PARTS:
            raise ValueError(f"an aperture macro has a part of {len(fields)} numbers")
        part, exposed = _primitive(code, [expression(field, variables) for field in fields], unit)
        shape = shape.union(part) if exposed else shape.difference(part)
    return Aperture(shape)


def _primitive(code: str, values: list[float], unit: float) -> tuple[BaseGeometry, bool]:
    """One primitive of a macro, turned about the macro's origin, and whether it adds."""
    makers: dict[str, Callable[[list[float], float], BaseGeometry]] = {
        "1": _circle, "4": _outline, "5": _macro_polygon, "7": _thermal, "20": _vector_line, "2": _vector_line,
        "21": _centre_line, "22": _corner_line,
    }  # fmt: skip
    if code not in makers:
        raise ValueError(f"an aperture macro has a primitive {code[:20]}, which no reader may guess")
    try:
        return shapely.make_valid(makers[code](values, unit)), code == "7" or values[0] != 0
    except IndexError:
        raise ValueError(f"a primitive {code} of an aperture macro has only {len(values)} numbers") from None


def _turned(shape: BaseGeometry, values: list[float], index: int) -> BaseGeometry:
    return affinity.rotate(shape, values[index], origin=(0, 0)) if len(values) > index and values[index] else shape


def _lengths(values: list[float], unit: float) -> list[float]:
    return [_length(value * unit) for value in values]


def _circle(values: list[float], unit: float) -> BaseGeometry:
    diameter, x, y = _lengths([values[1], values[2], values[3]], unit)
    return _turned(disc(diameter, x, y), values, 4)


def _outline(values: list[float], unit: float) -> BaseGeometry:
    count = _count(values[1])
    numbers = _lengths(values[2 : 4 + 2 * count], unit)
    if len(numbers) < 2 * count + 2 or count < 3:
        raise IndexError
    points = list(zip(numbers[::2], numbers[1::2], strict=True))
    return _turned(shapely.Polygon(points), values, 4 + 2 * count)


def _macro_polygon(values: list[float], unit: float) -> BaseGeometry:
    x, y, diameter = _lengths([values[2], values[3], values[4]], unit)
    shape = affinity.translate(_regular(diameter / 2, _count(values[1])), x, y)
    return _turned(shape, values, 5)


def _thermal(values: list[float], unit: float) -> BaseGeometry:
    x, y, outer, inner, gap = _lengths([values[0], values[1], values[2], values[3], values[4]], unit)
    shape = disc(outer).difference(disc(inner)) if inner > 0 else disc(outer)
    for box in (shapely.box(-outer, -gap / 2, outer, gap / 2), shapely.box(-gap / 2, -outer, gap / 2, outer)):
        shape = shape.difference(box)
    return _turned(affinity.translate(shape, x, y), values, 5)


def _vector_line(values: list[float], unit: float) -> BaseGeometry:
    width, x1, y1, x2, y2 = _lengths([values[1], values[2], values[3], values[4], values[5]], unit)
    return _turned(shapely.LineString([(x1, y1), (x2, y2)]).buffer(width / 2, cap_style="flat"), values, 6)


def _centre_line(values: list[float], unit: float) -> BaseGeometry:
    width, height, x, y = _lengths([values[1], values[2], values[3], values[4]], unit)
    return _turned(shapely.box(x - width / 2, y - height / 2, x + width / 2, y + height / 2), values, 5)


def _corner_line(values: list[float], unit: float) -> BaseGeometry:
    width, height, x, y = _lengths([values[1], values[2], values[3], values[4]], unit)
    return _turned(shapely.box(x, y, x + width, y + height), values, 5)


_TOKEN = re.compile(r"\$(\d+)|(\d+\.?\d*|\.\d+)|([-+xX/()])")


def expression(text: str, variables: dict[int, float]) -> float:
    """The value of a macro's arithmetic expression; ValueError where it is none.

    >>> expression("($1+2)x3-1", {1: 0.5})
    6.5
    >>> expression("-$1/-.5", {1: 1.0})
    2.0
    """
    tokens, at = [], 0
    squeezed = "".join(text.split())
    while at < len(squeezed):
        found = _TOKEN.match(squeezed, at)
        if found is None:
            raise ValueError(f"an aperture macro has the expression {squeezed[:40]}")
        tokens.append(found)
        at = found.end()
    value, after = _sum(tokens, 0, variables, 0)
    if after != len(tokens):
        raise ValueError(f"an aperture macro has the expression {squeezed[:40]}")
    return value


def _sum(tokens: list[re.Match[str]], at: int, variables: dict[int, float], depth: int) -> tuple[float, int]:
    value, at = _product(tokens, at, variables, depth)
    while at < len(tokens) and tokens[at][0] in "+-":
        sign = 1 if tokens[at][0] == "+" else -1
        more, at = _product(tokens, at + 1, variables, depth)
        value += sign * more
    return value, at


def _product(tokens: list[re.Match[str]], at: int, variables: dict[int, float], depth: int) -> tuple[float, int]:
    value, at = _factor(tokens, at, variables, depth)
    while at < len(tokens) and tokens[at][0] in "xX/":
        divides = tokens[at][0] == "/"
        more, at = _factor(tokens, at + 1, variables, depth)
        if divides and more == 0:
            raise ValueError("an aperture macro divides by zero")
        value = value / more if divides else value * more
    return value, at


def _factor(tokens: list[re.Match[str]], at: int, variables: dict[int, float], depth: int) -> tuple[float, int]:
    sign = 1.0
    while at < len(tokens) and tokens[at][0] in "+-":
        sign, at = -sign if tokens[at][0] == "-" else sign, at + 1
    if at >= len(tokens):
        raise ValueError("an expression of an aperture macro is not complete")
    token = tokens[at]
    if token[1]:
        return sign * variables.get(int(token[1]), 0.0), at + 1
    if token[2]:
        return sign * float(token[2]), at + 1
    if token[0] != "(" or depth >= MOST_NESTING:
        raise ValueError("an expression of an aperture macro has brackets that cannot be followed")
    value, at = _sum(tokens, at + 1, variables, depth + 1)
    if at >= len(tokens) or tokens[at][0] != ")":
        raise ValueError("an expression of an aperture macro has a bracket that is not closed")
    return sign * value, at + 1
