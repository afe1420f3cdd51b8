"""Reads Gerber files, X3 to the older ones, as areas with their nets.

Source: Ucamco, "The Gerber Layer Format Specification", 2024.05. A command that would change the image in a way that
is not followed here is refused, never passed over.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

import shapely

from pcbstator.verify.reading.crossings import MOST_OF_A_FILE, crossings
from pcbstator.verify.reading.drawing import Drawing, drawing, runs
from pcbstator.verify.reading.gerber_commands import extended
from pcbstator.verify.reading.gerber_draw import draw_run, end_region, end_stroke, operate
from pcbstator.verify.reading.gerber_state import INCH, MILLIMETRE, GerberState, unescaped
from pcbstator.verify.reading.limits import MOST_CHANGES, MOST_NETS, MOST_STATEMENTS

_WORD = re.compile(r"\s*(?:((?:X[+-]?\d+Y[+-]?\d+D0?1\*\s*){4,})|(G0?4[^*]*)(?:\*|$)|%([^%]*)(?:%|$)|([^%*]+)\*?|\*)")
_NUMBER = r"([+-]?\d*\.?\d+)"
_COORDINATES = re.compile(rf"(?:X{_NUMBER})?(?:Y{_NUMBER})?(?:I{_NUMBER})?(?:J{_NUMBER})?(?:D0*([123]))?")
_ENDED = re.compile(r"M(0?[02]|30)\s*\*")
_NO_END, _CUT_SHORT = "a Gerber file ends with M02", "it is cut short, or no Gerber file: export it again"
_CODE = re.compile(r"G0*(\d+)")


def read_gerber(text: str, file: str) -> Drawing:
    """What a Gerber file draws; FilesError with what is wrong with it."""
    state = GerberState(file)
    if not _ENDED.search(text[-2000:]):
        raise state.refuse(_NO_END, remedy=_CUT_SHORT)
    for number, word in enumerate(words(text), 1):
        if number > MOST_STATEMENTS:
            raise state.refuse(f"a file must have at most {MOST_STATEMENTS} statements")
        try:
            _follow(state, word)
        except (ValueError, OverflowError, shapely.errors.ShapelyError) as error:
            raise state.refuse(f"statement {number}, {_short(word)}, cannot be followed", error) from None
        if state.ended:
            break
    end_stroke(state)
    if not state.ended:
        raise state.refuse(_NO_END, remedy=_CUT_SHORT)
    if len(state.captured) > 1:
        raise state.refuse("a block or a repetition must be closed before the end of the file")
    if (count := crossings(state.lines)) > MOST_OF_A_FILE:
        raise state.refuse("lines must not cross each other without end", f"about {count:.2g} crossings")
    changes, nets = len(runs(state.captured[0])), len({thing.net for thing in state.captured[0]})
    if nets > MOST_NETS or changes * nets > MOST_CHANGES:
        value = f"{nets} nets, polarity changes {changes} times"
        raise state.refuse(f"a file must have at most {MOST_NETS} nets and {MOST_CHANGES} nets times changes", value)
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
            if (at := found[2].find("#@!")) > 0:
                yield "%" + found[2][at + 3 :].strip().strip("%")
        elif found[3] is not None:
            content = found[3].strip()
            if content.startswith("AM"):
                yield "%" + content
            else:
                yield from ("%" + part.strip() for part in content.split("*") if part.strip())
        elif found[4] and (word := found[4].strip()):
            yield word


def file_attributes(text: str) -> dict[str, tuple[str, ...]]:
    """The attributes of a Gerber file alone, without following what it draws."""
    return {
        found[1]: tuple(unescaped(part) for part in found[2].split(",")[1:])
        for found in re.finditer(r"(?:%|#@!\s*)TF(\.\w+)((?:,[^*%\n]*)?)", text)
    }


def _short(word: str) -> str:
    return repr(word if len(word) <= 40 else word[:37] + "...")


def _follow(state: GerberState, word: str) -> None:
    if word[0] == "%":
        extended(state, word[1:])
        return
    if word[0] == "X" and word[-1] in "*\n\r \t":
        draw_run(state, word)
        return
    while found := _CODE.match(word):
        if not _general(state, int(found[1])):
            return
        word = word[found.end() :].strip()
    if not word:
        return
    if (found := _COORDINATES.fullmatch(word)) and found[0]:
        operate(state, *found.groups())
    elif word[0] == "D" and word[1:].isdecimal():
        end_stroke(state)
        state.aperture = int(word[1:])
        if state.aperture not in state.apertures:
            raise ValueError("this aperture is not defined")
    elif word in ("M00", "M02", "M0", "M2", "M30"):
        state.ended = True
    elif word not in ("M01", "M1"):
        raise ValueError("no such statement is known")


def _general(state: GerberState, code: int) -> bool:
    """Follows a G code; False where the rest of the word is a comment."""
    if code == 4:
        return False
    if code in (1, 2, 3):
        state.motion = code
    elif code == 36:
        end_stroke(state)
        state.region = []
    elif code == 37:
        end_region(state)
    elif code in (70, 71):
        state.unit = INCH if code == 70 else MILLIMETRE
    elif code in (74, 75):
        state.quarter = code == 74
    elif code in (90, 91):
        state.absolute = code == 90
    elif code not in (54, 55):
        raise ValueError("no such G code is known")
    return True
