"""Reads drill and rout files, XNC and the older Excellon, as holes and slots.

Source: Ucamco, "The XNC Format Specification", 2021.11 (from memory); what the older files add is common practice.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from math import hypot, sqrt

import numpy as np

from pcbstator.errors import FilesError
from pcbstator.verify.reading.arcs import arc_points
from pcbstator.verify.reading.gerber_state import INCH, MILLIMETRE, unescaped
from pcbstator.verify.reading.limits import MOST_HOLES, MOST_STATEMENTS, reached, refuse

Place = tuple[float, float]

_NUMBER = r"([+-]?\d*\.?\d*)"
_PLACE = re.compile(rf"(?:X{_NUMBER})?(?:Y{_NUMBER})?(?:A{_NUMBER})?(?:I{_NUMBER})?(?:J{_NUMBER})?")
_SLOT = re.compile(r"(X[^G]*|Y[^G]*)G85(.*)")
_TOOL = re.compile(r"T0*(\d+)(.*)")
_ATTRIBUTE = re.compile(r";\s*#@!\s*(TF|TA|TD)(\.\w+)?(?:,(.*))?")
_UNIT = re.compile(r"(METRIC|INCH|M71|M72)(?:,(LZ|TZ))?(?:,(0+)\.(0+))?")
_FORMAT_WORDS = re.compile(r";\s*FILE_FORMAT\s*=\s*(\d):(\d)")
_FIXED = {"METRIC": MILLIMETRE, "M71": MILLIMETRE, "INCH": INCH, "M72": INCH}
_LONGEST_LINE = 2000
_USUAL_DIGITS = {MILLIMETRE: (3, 3), INCH: (2, 4)}
_WITHOUT_EFFECT = re.compile(
    r"%|M48|M95|FMAT,?[12]|VER,?\d+|ICI,?OFF|ATC.*|DETECT.*|TCST.*|OSTOP.*|RSB|SBK.*|SG.*|M(06|09|00|01|14|47.*|97.*)"
    r"|G93X0*\.?0*Y0*\.?0*|Z.*|S\d*|F\d*\.?\d*"
)


@dataclass(frozen=True)
class DrillFormat:
    """What a user says about numbers without a point: unit, figures before and after the point, zeros left out."""

    unit: float | None = None
    digits: tuple[int, int] | None = None
    left_out: str | None = None  # "leading" or "trailing" zeros


@dataclass(frozen=True)
class Drilled:
    """A hole or slot: way of the tool's middle [mm], diameter [mm], and whether the file says that it is plated."""

    path: tuple[Place, ...]
    diameter: float
    plated: bool | None


@dataclass(frozen=True)
class DrillFile:
    """Holes of a file and its attributes. plated: for all of it, where it says so."""

    holes: tuple[Drilled, ...]
    attributes: Mapping[str, tuple[str, ...]]
    plated: bool | None


@dataclass
class _State:
    file: str
    told: DrillFormat
    unit: float | None = None
    digits: tuple[int, int] | None = None
    left_out: str | None = None
    incremental: bool = False
    plated: bool | None = None
    tool_plated: bool | None = None
    tools: dict[int, tuple[float, bool | None]] = field(default_factory=dict)
    tool: int | None = None
    point: Place = (0.0, 0.0)
    routing: bool = False
    down: bool = False
    motion: int = 0
    path: list[Place] = field(default_factory=list)
    holes: list[Drilled] = field(default_factory=list)
    attributes: dict[str, tuple[str, ...]] = field(default_factory=dict)
    ended: bool = False

    def refuse(self, rule: str, value: object = "", remedy: str = "") -> FilesError:
        """The error about this file."""
        return refuse(self.file, rule, value, remedy)


def read_drill(text: str, file: str, told: DrillFormat | None = None) -> DrillFile:
    """The holes of a drill file; FilesError with what is wrong with it."""
    state = _State(file, told or DrillFormat())
    state.unit, state.digits, state.left_out = state.told.unit, state.told.digits, state.told.left_out
    for number, line in enumerate(text.splitlines(), 1):
        word = line.strip()
        if number > MOST_STATEMENTS:
            raise state.refuse(f"a drill file must have at most {MOST_STATEMENTS} lines")
        if not word or state.ended:
            continue
        if len(word) > _LONGEST_LINE:
            raise state.refuse(f"line {number} must have at most {_LONGEST_LINE} characters")
        try:
            _follow(state, word)
        except (ValueError, OverflowError) as error:
            raise state.refuse(f"line {number}, {word[:40]!r}, cannot be followed", error) from None
        if len(state.holes) > MOST_HOLES:
            raise state.refuse(f"a drill file must have at most {MOST_HOLES} holes")
    if not state.ended:
        raise state.refuse("a drill file ends with M30", remedy="it is cut short, or no drill file: export it again")
    _end_path(state)
    return DrillFile(tuple(state.holes), state.attributes, state.plated)


def _follow(state: _State, word: str) -> None:
    if word[0] == ";":
        _comment(state, word)
    elif found := _UNIT.fullmatch(word):
        _set_unit(state, found)
    elif found := _TOOL.fullmatch(word):
        _tool(state, int(found[1]), found[2])
    elif word in _MODES:
        _mode(state, word)
    elif found := re.fullmatch(r"R(\d+)(.*)", word):
        _repeat(state, int(found[1]), found[2])
    elif found := _SLOT.fullmatch(word):
        start = _move(state, found[1])
        _take(state, (start, _move(state, found[2])))
    elif found := re.fullmatch(r"G0*(\d+)(.*)", word):
        _general(state, int(found[1]), found[2])
    elif word[0] in "XY":
        _coordinates(state, word)
    elif not _WITHOUT_EFFECT.fullmatch(word):
        raise ValueError("no such statement is known")


_MODES = ("M30", "M02", "M0", "M2", "ICI", "ICI,ON", "G90", "G91", "M15", "M16", "M17")


def _mode(state: _State, word: str) -> None:
    """The end of the file, steps or places, the tool down or up."""
    if word in ("M15", "M16", "M17"):
        _end_path(state)
        state.down = word == "M15"
    elif word in ("ICI", "ICI,ON", "G90", "G91"):
        state.incremental = word != "G90"
    else:
        state.ended = True


def _comment(state: _State, word: str) -> None:
    """Comments that say something: attributes, plating, number format."""
    if found := _ATTRIBUTE.match(word):
        fields = tuple(unescaped(part.strip()) for part in (found[3] or "").split(","))
        if found[1] == "TF" and found[2]:
            state.attributes[found[2]] = fields
            if found[2] == ".FileFunction":
                state.plated = {"Plated": True, "NonPlated": False}.get(fields[0], state.plated)
        elif found[1] == "TA" and found[2] == ".AperFunction":
            state.tool_plated = {"Plated": True, "NonPlated": False}.get(fields[0])
        elif found[1] == "TD":
            state.tool_plated = None
    elif found := re.search(r"TYPE\s*=\s*(NON_?PLATED|PLATED)", word):
        plated = found[1] == "PLATED"
        state.tool_plated = plated
        if not state.tools:
            state.plated = plated
    elif (found := _FORMAT_WORDS.match(word)) and state.told.digits is None:
        state.digits = int(found[1]), int(found[2])


def _set_unit(state: _State, found: re.Match[str]) -> None:
    if state.told.unit is None:
        state.unit = _FIXED[found[1]]
    if found[2] and state.told.left_out is None:
        state.left_out = "trailing" if found[2] == "LZ" else "leading"
    if found[3] and state.told.digits is None:
        state.digits = len(found[3]), len(found[4])


def _tool(state: _State, number: int, rest: str) -> None:
    """Defines a tool, or takes one."""
    _end_path(state)
    if found := re.search(r"C(\d*\.?\d+)", rest):
        if state.unit is None:
            raise ValueError("the unit (METRIC or INCH) must stand before the tools")
        diameter = reached(state.file, float(found[1]) * state.unit, "the diameter of a tool")
        if diameter <= 0:
            raise ValueError("a tool has a diameter above zero")
        state.tools[number] = diameter, state.plated if state.tool_plated is None else state.tool_plated
    elif number == 0:
        state.tool = None
    elif number in state.tools:
        state.tool = number
    else:
        raise ValueError("this tool is not defined")


def _general(state: _State, code: int, rest: str) -> None:
    if code == 0:
        _end_path(state)
        state.routing, state.motion = True, 0
        _move(state, rest)
    elif code in (1, 2, 3):
        state.motion = code
        if rest:
            _coordinates(state, rest)
    elif code in (5, 81):
        _end_path(state)
        state.routing = False
        if rest:
            _coordinates(state, rest)
    elif code not in (40, 90, 93, 4):
        raise ValueError("no such G code is known")


def _coordinates(state: _State, text: str) -> None:
    """Drills at a place, or routs to it."""
    start = state.point
    end = _move(state, text)
    if not state.routing:
        _take(state, (end,))
    elif state.down:
        if not state.path:
            state.path.append(start)
        state.path.extend(_rout(state, start, end, text) if state.motion in (2, 3) else [end])


def _rout(state: _State, start: Place, end: Place, text: str) -> list[Place]:
    """The points of a routed arc, by radius (A) or centre (I, J)."""
    found = _PLACE.fullmatch(text)
    if found is None:
        raise ValueError("no place is told so")
    clockwise = state.motion == 2
    if not found[3]:
        i, j = (_length(state, part) if part else 0.0 for part in (found[4], found[5]))
        return arc_points(start, end, (start[0] + i, start[1] + j), clockwise)
    radius, dx, dy = _length(state, found[3]), end[0] - start[0], end[1] - start[1]
    chord = hypot(dx, dy)
    if chord == 0 or radius < chord / 2 * (1 - 1e-3):
        raise ValueError("an arc has too small a radius")
    reach = sqrt(max(radius**2 - chord**2 / 4, 0.0)) / chord * (1 if clockwise else -1)
    return arc_points(start, end, (start[0] + dx / 2 + reach * dy, start[1] + dy / 2 - reach * dx), clockwise)


def _move(state: _State, text: str) -> Place:
    """The place that ``text`` names becomes the present one."""
    found = _PLACE.fullmatch(text.strip())
    if found is None:
        raise ValueError("no place is told so")
    given = [_length(state, part) if part else None for part in (found[1], found[2])]
    x, y = state.point
    if state.incremental:
        state.point = x + (given[0] or 0.0), y + (given[1] or 0.0)
    else:
        state.point = x if given[0] is None else given[0], y if given[1] is None else given[1]
    reached(state.file, max(abs(state.point[0]), abs(state.point[1])), "a coordinate")
    return state.point


def _length(state: _State, text: str) -> float:
    """A coordinate in mm."""
    if state.unit is None:
        raise state.refuse(
            "a drill file must say its unit (METRIC or INCH)", text, "say it in the map file: drill.unit"
        )
    if "." in text:
        return float(text) * state.unit
    whole, part = state.digits or _USUAL_DIGITS[state.unit]
    sign, figures = (-1, text[1:]) if text[0] == "-" else (1, text.lstrip("+"))
    if len(figures) > 20:
        raise ValueError("a number has too many figures")
    if state.left_out is None and len(figures) != whole + part and int(figures) != 0:
        raise state.refuse(
            "numbers without a point must say which zeros are left out (LZ or TZ)", text,
            "say it in the map file: drill.digits and drill.zeros_left_out",
        )  # fmt: skip
    if state.left_out == "trailing":
        figures = figures.ljust(whole + part, "0")
    return sign * int(figures) * 10.0**-part * state.unit


def _repeat(state: _State, count: int, text: str) -> None:
    """The last hole again, ``count`` times, each a step further."""
    found = _PLACE.fullmatch(text)
    if found is None or count > MOST_HOLES:
        raise ValueError("no repetition is told so")
    dx, dy = (_length(state, part) if part else 0.0 for part in (found[1], found[2]))
    reached(state.file, count * max(abs(dx), abs(dy)), "a repetition")
    for _ in range(count):
        state.point = state.point[0] + dx, state.point[1] + dy
        _take(state, (state.point,))


def _take(state: _State, path: tuple[Place, ...]) -> None:
    if state.tool is None:
        raise ValueError("no tool is taken before this hole")
    diameter, plated = state.tools[state.tool]
    state.holes.append(Drilled(path, diameter, plated))


def _end_path(state: _State) -> None:
    path, state.path = state.path, []
    if len(path) > 1:
        _take(state, tuple(path))


def path_array(path: tuple[Place, ...]) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    """The way of a tool as an array (n, 2)."""
    return np.array(path, dtype=np.float64).reshape(-1, 2)
