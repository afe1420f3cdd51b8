"""The extended statements of a Gerber file: format, apertures, polarity, repetition, attributes."""

from __future__ import annotations

import re

from pcbstator.verify.reading.apertures import macro_aperture, standard_aperture
from pcbstator.verify.reading.drawing import moved
from pcbstator.verify.reading.gerber_draw import end_stroke
from pcbstator.verify.reading.gerber_state import INCH, MILLIMETRE, GerberState, unescaped
from pcbstator.verify.reading.limits import MOST_APERTURES, MOST_NESTING, MOST_VERTICES, reached

_APERTURE = re.compile(r"ADD0*(\d+)([A-Za-z_.$][\w.$+\-]*)(?:,(.*))?", re.DOTALL)
_FORMAT = re.compile(r"FS([LTD]?)([AI])(?:N\d+)?(?:G\d+)?X(\d)(\d)Y(\d)(\d)(?:D\d+)?(?:M\d+)?")
_NUMBER = r"([+-]?\d*\.?\d+)"
_REPEAT = re.compile(rf"SRX(\d+)Y(\d+)I{_NUMBER}J{_NUMBER}")
_NO_EFFECT = re.compile(
    r"(IN|LN).*|ICAS|ASAXBY|IR0*|IPPOS|(MI|OF|SF)?(A[+-]?0*\.?0*)?(B[+-]?0*\.?0*)?|SF(A1(\.0*)?)?(B1(\.0*)?)?",
    re.DOTALL,
)


def extended(state: GerberState, word: str) -> None:
    """A statement between % signs."""
    code = word[:2]
    if code not in ("TF", "TA"):
        end_stroke(state)
    follow = _EXTENDED.get(code)
    if follow is not None:
        follow(state, word)
    elif not _NO_EFFECT.fullmatch(word):
        raise ValueError("it is unknown or out of date: export the file again, in the X2 format")


def _format(state: GerberState, word: str) -> None:
    found = _FORMAT.match(word)
    if found is None:
        raise ValueError("no such number format is known")
    if found[3] + found[4] != found[5] + found[6]:
        raise ValueError("x and y have different formats")
    state.digits, state.trailing = (int(found[3]), int(found[4])), found[1] == "T"
    state.absolute = found[2] == "A"


def _unit(state: GerberState, word: str) -> None:
    units = {"MM": MILLIMETRE, "IN": INCH}
    if word[2:] not in units:
        raise ValueError("the unit is MM or IN")
    state.unit = units[word[2:]]


def _define(state: GerberState, word: str) -> None:
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


def _macro(state: GerberState, word: str) -> None:
    name, *body = (part.strip() for part in word[2:].split("*"))
    state.macros[name] = [part for part in body if part]


def _polarity(state: GerberState, word: str) -> None:
    if word[2:] not in ("D", "C"):
        raise ValueError("the polarity is D or C")
    state.dark = word[2:] == "D"


def _mirror(state: GerberState, word: str) -> None:
    state.mirrored = "" if word[2:] == "N" else word[2:]


def _rotate(state: GerberState, word: str) -> None:
    state.turn = float(word[2:])


def _scale(state: GerberState, word: str) -> None:
    state.scale = float(word[2:])
    if not 0 < state.scale <= 1000:
        raise ValueError("the scale is a number above zero")


def _image_polarity(state: GerberState, word: str) -> None:
    state.negative = word[2:] == "NEG"


def _step_repeat(state: GerberState, word: str) -> None:
    """Opens a repetition, or closes it: every object comes as often as was said."""
    if state.repeat is not None:
        columns, rows, dx, dy = state.repeat
        things = state.captured.pop()
        state.count(things, columns * rows)
        places = [(dx * column, dy * row) for column in range(columns) for row in range(rows)]
        state.repeat = None
        if things:
            state.captured[-1] += moved(things, places)
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


def _block(state: GerberState, word: str) -> None:
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


def _file_attribute(state: GerberState, word: str) -> None:
    name, *fields = word[2:].split(",")
    state.attributes[name] = tuple(unescaped(part) for part in fields)


def _object_attribute(state: GerberState, word: str) -> None:
    name, *fields = word[2:].split(",")
    values = [unescaped(part) for part in fields]
    if name == ".N":
        state.net = values[0] if values else ""
    elif name == ".P" and len(values) >= 2:
        state.pin = values[0], values[1], values[2] if len(values) > 2 else ""


def _delete_attribute(state: GerberState, word: str) -> None:
    if word in ("TD", "TD.N"):
        state.net = None
    if word in ("TD", "TD.P"):
        state.pin = None


def _aperture_attribute(state: GerberState, word: str) -> None:
    """What an aperture is for says nothing about its area."""


_EXTENDED = {
    "FS": _format, "MO": _unit, "AD": _define, "AM": _macro, "LP": _polarity, "LM": _mirror, "LR": _rotate,
    "LS": _scale, "IP": _image_polarity, "SR": _step_repeat, "AB": _block, "TF": _file_attribute,
    "TO": _object_attribute, "TD": _delete_attribute, "TA": _aperture_attribute,
}  # fmt: skip
