"""Reads a drawing back: every shape and text with its box on the page, ``use`` and transforms resolved.

Text is measured by matplotlib in DejaVu Sans, the first font that the drawings ask for.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from math import cos, radians, sin
from xml.etree import ElementTree

import numpy as np

SVG = "{http://www.w3.org/2000/svg}"
HREF = "{http://www.w3.org/1999/xlink}href"
NUMBER = re.compile(r"-?\d*\.?\d+(?:e-?\d+)?")


@dataclass(frozen=True)
class Item:
    """A drawn thing: tag, text, ids of the groups around it, corners of its box on the page (4, 2)."""

    tag: str
    text: str
    groups: tuple[str, ...]
    corners: np.ndarray
    attributes: dict[str, str]

    @property
    def box(self) -> tuple[float, float, float, float]:
        low, high = self.corners.min(axis=0), self.corners.max(axis=0)
        return low[0], low[1], high[0], high[1]


def read(svg: str) -> tuple[ElementTree.Element, list[Item]]:
    """The root and all that is drawn."""
    root = ElementTree.fromstring(svg)
    named = {element.get("id"): element for element in root.iter() if element.get("id")}
    return root, list(_items(root, np.eye(3), (), {}, named))


def _items(element, matrix, groups, inherited, named) -> Iterator[Item]:
    tag = element.tag.removeprefix(SVG)
    if tag in ("defs", "title", "desc"):
        return
    matrix = matrix @ _transform(element.get("transform", ""))
    attributes = inherited | dict(element.attrib)
    groups = (*groups, element.get("id")) if element.get("id") else groups
    if tag in ("svg", "g"):
        for child in element:
            yield from _items(child, matrix, groups, attributes, named)
    elif tag == "use":
        yield from _items(named[element.get(HREF)[1:]], matrix, groups, attributes, named)
    else:
        points = np.array(_points(tag, element, attributes), dtype=float)
        stroked = tag != "text" and attributes.get("stroke", "none") != "none"
        half = float(attributes["stroke-width"]) / 2 if stroked else 0.0
        low, high = points.min(axis=0) - half, points.max(axis=0) + half
        corners = np.array([(x, y, 1) for x in (low[0], high[0]) for y in (low[1], high[1])])
        if tag == "path" and "A" not in element.get("d"):  # a tight box also after a turn
            corners = np.c_[points, np.ones(len(points))]
        yield Item(tag, element.text or "", groups, (corners @ matrix.T)[:, :2], attributes)


def _points(tag, element, attributes):
    def number(*names):
        return [float(element.get(name)) for name in names]

    if tag == "circle":
        x, y, r = number("cx", "cy", "r")
        return [(x - r, y - r), (x + r, y + r)]
    if tag == "rect":
        x, y, w, h = number("x", "y", "width", "height")
        return [(x, y), (x + w, y + h)]
    if tag == "line":
        x1, y1, x2, y2 = number("x1", "y1", "x2", "y2")
        return [(x1, y1), (x2, y2)]
    if tag == "text":
        x, y = number("x", "y")
        size = float(attributes["font-size"])
        left, bottom, right, top = (size * value for value in _extent(element.text, attributes.get("font-weight", "")))
        x -= {"middle": (left + right) / 2, "end": right}.get(attributes.get("text-anchor", "start"), 0.0)
        return [(x + left, y - top), (x + right, y - bottom)]
    return path_points(element.get("d"))


def path_points(data: str) -> list[tuple[float, float]]:
    """Vertices of a path of M, L, A and Z, or of a relative arrow head."""
    points, x, y = [], 0.0, 0.0
    for command, rest in re.findall(r"([A-Za-z])([^A-Za-z]*)", data):
        values = [float(value) for value in NUMBER.findall(rest)]
        if command in "ML":
            x, y = values
        elif command == "A":
            x, y = values[5:]
        elif command in "lv":
            x, y = (x + values[0], y + values[1]) if command == "l" else (x, y + values[0])
        elif command == "V":
            y = values[0]
        elif command not in "zZ":
            raise AssertionError(f"unread path command {command}")
        points.append((x, y))
    return points


def _transform(text: str) -> np.ndarray:
    matrix = np.eye(3)
    for name, arguments in re.findall(r"(\w+)\(([^)]*)\)", text):
        values = [float(value) for value in NUMBER.findall(arguments)]
        step = np.eye(3)
        if name == "translate":
            step[:2, 2] = values
        elif name == "scale":
            step[0, 0] = step[1, 1] = values[0]
        elif name == "rotate":
            a = radians(values[0])
            step[:2, :2] = [[cos(a), -sin(a)], [sin(a), cos(a)]]
        else:
            raise AssertionError(f"unread transform {name}")
        matrix = matrix @ step
    return matrix


@lru_cache(maxsize=4096)
def _extent(text: str, weight: str) -> tuple[float, float, float, float]:
    from matplotlib.font_manager import FontProperties
    from matplotlib.textpath import TextPath

    if not text.strip():
        return 0.0, 0.0, 0.0, 0.0
    font = FontProperties(family="DejaVu Sans", weight=weight or "normal")
    box = TextPath((0, 0), text, size=1, prop=font).get_extents()
    return box.x0, box.y0, box.x1, box.y1
