"""Reads Gerber files, X3 to the older ones, as areas with their nets.

Source: Ucamco, "The Gerber Layer Format Specification", 2024.05. A command that would change the image in a way that
is not followed here is refused, never passed over.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
import shapely
from shapely import affinity
from shapely.geometry.base import BaseGeometry

from pcbstator.errors import FilesError
from pcbstator.verify.reading.apertures import Aperture, macro_aperture, standard_aperture
from pcbstator.verify.reading.arcs import arc_points, quarter_segments, single_quadrant_centre
from pcbstator.verify.reading.drawing import Drawing, DrawnObject, drawing, moved, transform_matrix, union
from pcbstator.verify.reading.limits import (
    MOST_APERTURES,
    MOST_NESTING,
    MOST_STATEMENTS,
    MOST_VERTICES,
    reached,
    refuse,
)
from pcbstator.verify.records import FloatArray

Place = tuple[float, float]

_WORD = re.compile(r"\s*((?:X[+-]?\d+Y[+-]?\d+D0?1\*\s*){4,})|G0?4[^*]*\*|%([^%]*)%|([^%*]+)\*")
_NUMBER = r"([+-]?\d*\.?\d+)"
_COORDINATES = re.compile(rf"(?:X{_NUMBER})?(?:Y{_NUMBER})?(?:I{_NUMBER})?(?:J{_NUMBER})?(?:D0*([123]))?")
_LETTERS = re.compile(r"[XY*]|D0?1")
_CODE = re.compile(r"G0*(\d+)")
_APERTURE = re.compile(r"ADD0*(\d+)([A-Za-z_.$][\w.$+\-]*)(?:,(.*))?", re.DOTALL)
_FORMAT = re.compile(r"FS([LTD]?)([AI])(?:N\d+)?(?:G\d+)?X(\d)(\d)Y(\d)(\d)(?:D\d+)?(?:M\d+)?")
_REPEAT = re.compile(rf"SRX(\d+)Y(\d+)I{_NUMBER}J{_NUMBER}")
_NO_EFFECT = re.compile(
    r"(IN|LN).*|ICAS|ASAXBY|IR0*|IPPOS|(MI|OF|SF)?(A[+-]?0*\.?0*)?(B[+-]?0*\.?0*)?|SF(A1(\.0*)?)?(B1(\.0*)?)?",
    re.DOTALL,
)
MILLIMETRE, INCH = 1.0, 25.4


@dataclass
class _State:
    """Where the reading of a file stands."""

    file: str
    unit: float | None = None
    digits: tuple[int, int] | None = None
    trailing: bool = False
    absolute: bool = True
    apertures: dict[int, Aperture | list[DrawnObject]] = field(default_factory=dict)
    macros: dict[str, list[str]] = field(default_factory=dict)
    attributes: dict[str, tuple[str, ...]] = field(default_factory=dict)
    point: Place = (0.0, 0.0)
    aperture: int | None = None
    motion: int = 1
    operation: str = ""
    quarter: bool = False
    region: list[list[Place]] | None = None
    dark: bool = True
    negative: bool = False
    mirrored: str = ""
    turn: float = 0.0
    scale: float = 1.0
    net: str | None = None
    pin: tuple[str, str, str] | None = None
    stroke: list[Place] = field(default_factory=list)
    lines: list[FloatArray] = field(default_factory=list)
    captured: list[list[DrawnObject]] = field(default_factory=lambda: [[]])
    blocks: list[int] = field(default_factory=list)
    repeat: tuple[int, int, float, float] | None = None
    vertices: int = 0
    ended: bool = False

    def refuse(self, rule: str, value: object = "", remedy: str = "") -> FilesError:
        """The error about this file."""
        return refuse(self.file, rule, value, remedy)

    def add(self, *things: DrawnObject) -> None:
        """Takes objects over."""
        self.vertices += sum(shapely.get_num_coordinates(thing.shape) for thing in things)
        if self.vertices > MOST_VERTICES:
            raise self.refuse(f"what a file draws must have at most {MOST_VERTICES} corners")
        self.captured[-1].extend(things)


def read_gerber(text: str, file: str) -> Drawing:
    """What a Gerber file draws; FilesError with what is wrong with it."""
    state = _State(file)
    for number, word in enumerate(words(text), 1):
        if number > MOST_STATEMENTS:
            raise state.refuse(f"a file must have at most {MOST_STATEMENTS} statements")
        try:
            _follow(state, word)
        except (ValueError, OverflowError, shapely.errors.ShapelyError) as error:
            raise state.refuse(f"statement {number}, {_short(word)}, cannot be followed", error) from None
        if state.ended:
            break
    _end_stroke(state)
    if not state.ended:
        raise state.refuse("a Gerber file ends with M02", remedy="it is cut short, or no Gerber file: export it again")
    if len(state.captured) > 1:
        raise state.refuse("a block or a repetition must be closed before the end of the file")
    return drawing(state.captured[0], state.attributes, state.lines, state.negative)


def words(text: str) -> Iterator[str]:
    """The statements of a Gerber file; extended ones with a % in front, attributes in comments among them.

    Draws that follow each other come as one word: nearly all of a file is such runs.

    >>> list(words("G04 hello*%MOMM*FSLAX46Y46*%X0Y0D02*G04 #@! TO.N,A*"))
    ['%MOMM', '%FSLAX46Y46', 'X0Y0D02', '%TO.N,A']
    """
    for found in _WORD.finditer(text):
        if found[1] is not None:
            yield found[1]
        elif found[2] is not None:
            content = found[2].strip()
            if content.startswith("AM"):
                yield "%" + content
            else:
                yield from ("%" + part.strip() for part in content.split("*") if part.strip())
        elif found[3] is not None:
            if word := found[3].strip():
                yield word
        elif (at := found[0].find("#@!")) > 0:
            yield "%" + found[0][at + 3 : -1].strip().strip("%*")


def file_attributes(text: str) -> dict[str, tuple[str, ...]]:
    """The attributes of a Gerber file alone, without following what it draws."""
    return {
        found[1]: tuple(unescaped(part) for part in found[2].split(",")[1:])
        for found in re.finditer(r"(?:%|#@!\s*)TF(\.\w+)((?:,[^*%\n]*)?)", text)
    }


def unescaped(text: str) -> str:
    r"""A field of an attribute with its \uXXXX as characters.

    >>> unescaped("5 \\u0025")
    '5 %'
    """
    return re.sub(r"\\u([0-9A-Fa-f]{4})", lambda found: chr(int(found[1], 16)), text) if "\\" in text else text


def _short(word: str) -> str:
    return repr(word if len(word) <= 40 else word[:37] + "...")


def _follow(state: _State, word: str) -> None:
    if word[0] == "%":
        _extended(state, word[1:])
        return
    if word[0] == "X" and word[-1] in "*\n\r \t":
        _draw_run(state, word)
        return
    while found := _CODE.match(word):
        if not _general(state, int(found[1])):
            return
        word = word[found.end() :].strip()
    if not word:
        return
    if (found := _COORDINATES.fullmatch(word)) and found[0]:
        _operate(state, *found.groups())
    elif word[0] == "D" and word[1:].isdecimal():
        _end_stroke(state)
        state.aperture = int(word[1:])
        if state.aperture not in state.apertures:
            raise ValueError("this aperture is not defined")
    elif word in ("M00", "M02", "M0", "M2", "M30"):
        state.ended = True
    elif word not in ("M01", "M1"):
        raise ValueError("no such statement is known")


def _general(state: _State, code: int) -> bool:
    """Follows a G code; False where the rest of the word is a comment."""
    if code == 4:
        return False
    if code in (1, 2, 3):
        state.motion = code
    elif code == 36:
        _end_stroke(state)
        state.region = []
    elif code == 37:
        _end_region(state)
    elif code in (70, 71):
        state.unit = INCH if code == 70 else MILLIMETRE
    elif code in (74, 75):
        state.quarter = code == 74
    elif code in (90, 91):
        state.absolute = code == 90
    elif code not in (54, 55):
        raise ValueError("no such G code is known")
    return True


def _operate(state: _State, x: str | None, y: str | None, i: str | None, j: str | None, operation: str | None) -> None:
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
        _end_stroke(state)
        if state.region is not None:
            state.region.append([end])
    elif state.operation == "3":
        _flash(state)
    else:
        raise ValueError("a coordinate comes before any operation")


def _draw_run(state: _State, run: str) -> None:
    """Many draws after each other, at once where they are plain lines in whole numbers."""
    if state.motion != 1 or state.trailing or not state.absolute or state.digits is None or state.unit is None:
        for word in run.split("*"):
            if word.strip():
                _follow(state, word.strip())
        return
    figures = _LETTERS.sub(" ", run).split()
    points = np.array(figures, dtype=np.float64).reshape(-1, 2) * (10.0 ** -state.digits[1] * state.unit)
    reached(state.file, float(np.abs(points).max()), "a coordinate")
    start, places = state.point, [(x, y) for x, y in points.tolist()]
    state.point, state.operation = places[-1], "1"
    state.vertices += len(places)
    _draw(state, start, places)


def _length(state: _State, text: str) -> float:
    """A coordinate in mm."""
    if state.unit is None or (state.digits is None and "." not in text):
        raise state.refuse("unit and number format must be given before the first coordinate", text)
    if "." in text or state.digits is None:
        return float(text) * state.unit
    if not state.trailing:
        return int(text) * 10 ** -state.digits[1] * state.unit
    sign, figures = (-1, text[1:]) if text[0] == "-" else (1, text.lstrip("+"))
    return sign * int(figures.ljust(sum(state.digits), "0")[:20]) * 10 ** -state.digits[1] * state.unit


def _arc(state: _State, start: Place, end: Place, offset: Place) -> list[Place]:
    clockwise = state.motion == 2
    reached(state.file, max(abs(offset[0]), abs(offset[1])), "the centre of an arc")
    if not state.quarter:
        return arc_points(start, end, (start[0] + offset[0], start[1] + offset[1]), clockwise)
    if start == end:
        return [end]
    return arc_points(start, end, single_quadrant_centre(start, end, offset, clockwise), clockwise)


def _draw(state: _State, start: Place, points: list[Place]) -> None:
    if state.region is not None:
        if not state.region:
            state.region.append([start])
        state.region[-1].extend(points)
    else:
        if not state.stroke:
            state.stroke.append(start)
        state.stroke.extend(points)


def _end_stroke(state: _State) -> None:
    """What has been drawn since the last move becomes an object."""
    points, state.stroke = state.stroke, []
    if not points:
        return
    pen = None if state.aperture is None else state.apertures.get(state.aperture)
    if pen is None or isinstance(pen, list):
        raise state.refuse("a line must be drawn with an aperture, which is no block")
    line = np.array(points)
    state.lines.append(line)
    if pen.diameter is not None:
        width = pen.diameter * state.scale
        shape = shapely.LineString(line).buffer(width / 2, quad_segs=quarter_segments(width / 2)) if width else None
    else:
        shape = _swept(_turned(state, pen.shape), points)
    if shape is not None and not shape.is_empty:
        state.add(DrawnObject(state.dark, state.net, shape))


def _swept(shape: BaseGeometry, points: list[Place]) -> BaseGeometry:
    """What an aperture that is no disc covers on its way, step by step."""
    if len(points) > 20_000:
        raise ValueError("a line of so many points is drawn with an aperture that is no disc")
    hull = shape.convex_hull
    at = [affinity.translate(hull, *point) for point in points]
    steps = [shapely.union_all(pair).convex_hull for pair in pairwise(at)]
    return union(steps)


def _turned(state: _State, shape: BaseGeometry) -> BaseGeometry:
    if not state.mirrored and state.turn == 0 and state.scale == 1:
        return shape
    matrix = transform_matrix(state.mirrored, state.turn, state.scale)
    return shapely.transform(shape, lambda points: points @ matrix.T)


def _flash(state: _State) -> None:
    _end_stroke(state)
    if state.region is not None:
        raise ValueError("nothing is flashed within a region")
    tool = None if state.aperture is None else state.apertures.get(state.aperture)
    if tool is None:
        raise ValueError("no aperture is chosen")
    x, y = state.point
    if isinstance(tool, list):
        if state.vertices + sum(shapely.get_num_coordinates(thing.shape) for thing in tool) > MOST_VERTICES:
            raise state.refuse(f"what a file draws must have at most {MOST_VERTICES} corners")
        matrix = transform_matrix(state.mirrored, state.turn, state.scale)
        things = moved(tool, [state.point], matrix)
        for thing in things:
            state.add(DrawnObject(thing.dark == state.dark, state.net, thing.shape, thing.pad))
        return
    shape = affinity.translate(_turned(state, tool.shape), x, y)
    if shape.is_empty:
        return
    left, low, right, high = shape.bounds
    pad = x, y, min(right - left, high - low)
    state.add(DrawnObject(state.dark, state.net, shape, pad, state.pin))


def _end_region(state: _State) -> None:
    contours, state.region = state.region, None
    if contours is None:
        raise ValueError("no region is open")
    for contour in contours:
        if len(set(contour)) < 3:
            continue
        area = shapely.Polygon(np.array(contour))
        if not area.is_valid:
            area = shapely.make_valid(area, method="structure", keep_collapsed=False)
        if not area.is_empty:
            state.add(DrawnObject(state.dark, state.net, area))


def _extended(state: _State, word: str) -> None:
    """A statement between % signs."""
    code = word[:2]
    if code not in ("TF", "TA"):
        _end_stroke(state)
    follow = _EXTENDED.get(code)
    if follow is not None:
        follow(state, word)
    elif not _NO_EFFECT.fullmatch(word):
        raise ValueError("it is unknown or out of date: export the file again, in the X2 format")


def _format(state: _State, word: str) -> None:
    found = _FORMAT.match(word)
    if found is None:
        raise ValueError("no such number format is known")
    if found[3] + found[4] != found[5] + found[6]:
        raise ValueError("x and y have different formats")
    state.digits, state.trailing = (int(found[3]), int(found[4])), found[1] == "T"
    state.absolute = found[2] == "A"


def _unit(state: _State, word: str) -> None:
    units = {"MM": MILLIMETRE, "IN": INCH}
    if word[2:] not in units:
        raise ValueError("the unit is MM or IN")
    state.unit = units[word[2:]]


def _define(state: _State, word: str) -> None:
    found = _APERTURE.fullmatch(word)
    if found is None or state.unit is None:
        raise ValueError("no aperture is defined so, or the unit is not given before it")
    if len(state.apertures) >= MOST_APERTURES:
        raise state.refuse(f"a file must have at most {MOST_APERTURES} apertures")
    values = [float(value) for value in re.split("[Xx]", found[3].strip())] if found[3] else []
    if found[2] in ("C", "R", "O", "P"):
        made = standard_aperture(found[2], values, state.unit)
    elif found[2] in state.macros:
        made = macro_aperture(state.macros[found[2]], values, state.unit)
    else:
        raise ValueError("the macro of this aperture is not defined")
    state.apertures[int(found[1])] = made


def _macro(state: _State, word: str) -> None:
    name, *body = (part.strip() for part in word[2:].split("*"))
    state.macros[name] = [part for part in body if part]


def _polarity(state: _State, word: str) -> None:
    if word[2:] not in ("D", "C"):
        raise ValueError("the polarity is D or C")
    state.dark = word[2:] == "D"


def _mirror(state: _State, word: str) -> None:
    state.mirrored = "" if word[2:] == "N" else word[2:]


def _rotate(state: _State, word: str) -> None:
    state.turn = float(word[2:])


def _scale(state: _State, word: str) -> None:
    state.scale = float(word[2:])
    if not 0 < state.scale <= 1000:
        raise ValueError("the scale is a number above zero")


def _image_polarity(state: _State, word: str) -> None:
    state.negative = word[2:] == "NEG"


def _step_repeat(state: _State, word: str) -> None:
    """Opens a repetition, or closes it: every object comes as often as was said."""
    if state.repeat is not None:
        columns, rows, dx, dy = state.repeat
        things = state.captured.pop()
        corners = sum(shapely.get_num_coordinates(thing.shape) for thing in things)
        if state.vertices + corners * columns * rows > MOST_VERTICES:
            raise state.refuse(f"what a file draws must have at most {MOST_VERTICES} corners", f"{columns} x {rows}")
        places = [(dx * column, dy * row) for column in range(columns) for row in range(rows)]
        state.repeat = None
        if things:
            state.add(*moved(things, places))
    if word == "SR":
        return
    found = _REPEAT.fullmatch(word)
    if found is None or state.unit is None or int(found[1]) < 1 or int(found[2]) < 1:
        raise ValueError("no repetition is told so")
    steps = [float(found[3]) * state.unit, float(found[4]) * state.unit]
    columns, rows = int(found[1]), int(found[2])
    if columns * rows == 1:
        return
    reached(state.file, max(columns * abs(steps[0]), rows * abs(steps[1])), "a repetition")
    if columns * rows > MOST_VERTICES:
        raise state.refuse(f"what a file draws must have at most {MOST_VERTICES} corners", f"{columns} x {rows}")
    state.repeat = columns, rows, steps[0], steps[1]
    state.captured.append([])


def _block(state: _State, word: str) -> None:
    """Opens a block aperture, or closes the last."""
    if word != "AB":
        if len(state.blocks) >= MOST_NESTING or state.repeat is not None:
            raise ValueError("blocks are nested too deep, or opened within a repetition")
        if not re.fullmatch(r"ABD\d+", word):
            raise ValueError("no block is opened so")
        state.blocks.append(int(word[3:]))
        state.captured.append([])
    elif state.blocks:
        state.apertures[state.blocks.pop()] = state.captured.pop()
    else:
        raise ValueError("no block is open")


def _file_attribute(state: _State, word: str) -> None:
    name, *fields = word[2:].split(",")
    state.attributes[name] = tuple(unescaped(part) for part in fields)


def _object_attribute(state: _State, word: str) -> None:
    name, *fields = word[2:].split(",")
    values = [unescaped(part) for part in fields]
    if name == ".N":
        state.net = values[0] if values else ""
    elif name == ".P" and len(values) >= 2:
        state.pin = values[0], values[1], values[2] if len(values) > 2 else ""


def _delete_attribute(state: _State, word: str) -> None:
    if word in ("TD", "TD.N"):
        state.net = None
    if word in ("TD", "TD.P"):
        state.pin = None


def _aperture_attribute(state: _State, word: str) -> None:
    """What an aperture is for says nothing about its area."""


_EXTENDED = {
    "FS": _format, "MO": _unit, "AD": _define, "AM": _macro, "LP": _polarity, "LM": _mirror, "LR": _rotate,
    "LS": _scale, "IP": _image_polarity, "SR": _step_repeat, "AB": _block, "TF": _file_attribute,
    "TO": _object_attribute, "TD": _delete_attribute, "TA": _aperture_attribute,
}  # fmt: skip
