"""How wide text is, by the metrics of the font that matplotlib brings, and how it breaks into lines."""

from __future__ import annotations

import unicodedata
from functools import lru_cache
from typing import TYPE_CHECKING

from pcbstator.output.plotting import plain_settings

if TYPE_CHECKING:
    from matplotlib.ft2font import FT2Font

FONT = "DejaVu Sans, Verdana, Helvetica, Arial, sans-serif"  # Verdana is as wide within 2 %, the others are narrower
_EM = 100.0  # points at which advances are read
_FULL, _FOREIGN = 1.02, 0.75  # of an em: characters that the font lacks and a viewer takes from another one


def text_width(words: str, size: float, bold: bool = False) -> float:
    """Width of ``words`` on one line, in the unit of ``size``, which is that of an em.

    >>> round(text_width("1:1", 10.0), 1), round(text_width("1:1", 10.0, bold=True), 1)
    (16.1, 17.9)
    """
    return size * sum(_advance(character, bold) for character in words)


def wrapped(words: str, size: float, width: float, bold: bool = False) -> list[str]:
    """``words`` in lines no wider than ``width``; a word that is wider is broken."""
    lines, line = [], ""
    for word in words.split(" "):
        trial = f"{line} {word}".strip(" ")
        if text_width(trial, size, bold) <= width:
            line = trial
            continue
        lines += [line] if line else []
        while text_width(word, size, bold) > width:
            cut = next(n for n in range(len(word) - 1, 0, -1) if n == 1 or text_width(word[:n], size, bold) <= width)
            lines.append(word[:cut])
            word = word[cut:]
        line = word
    return [*lines, line] if line else lines


def known_glyphs(words: str) -> str:
    """What the font cannot show as a question mark, so that nothing is lost in silence."""
    return "".join(character if ord(character) in _characters(False) else "?" for character in words)


@lru_cache(maxsize=4096)
def _advance(character: str, bold: bool) -> float:
    """From one character to the next, as a part of the em."""
    if ord(character) not in _characters(bold):
        return _FULL if unicodedata.east_asian_width(character) in "WF" else _FOREIGN
    font = _font(bold)
    font.set_size(_EM, 72)
    return float(font.load_char(ord(character)).linearHoriAdvance) / 65536 / _EM


@lru_cache
def _characters(bold: bool) -> frozenset[int]:
    return frozenset(_font(bold).get_charmap())


@lru_cache
@plain_settings()
def _font(bold: bool) -> FT2Font:
    from matplotlib.font_manager import FontProperties, findfont, get_font

    return get_font(findfont(FontProperties(family="DejaVu Sans", weight="bold" if bold else "normal")))
