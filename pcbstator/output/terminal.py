"""Words for whoever sits at the terminal, in lines of its width."""

from __future__ import annotations

import os
import re
import shutil
import sys
import textwrap
from typing import TextIO

import click

NARROWEST = 20  # characters; narrower, words could only be cut to pieces
# Signs that some terminals cannot show, as they are written there.
PLAIN = {
    "µ": "u", "Ω": "ohm", "·": ".", "√": "sqrt ", "²": "2", "³": "3", "°": " deg ", "≤": "<=", "≥": ">=", "−": "-",
    "–": "-", "±": "+-", "…": "...", "×": "x",
}  # fmt: skip
LEAST_COLUMN = 24  # characters that the last column of a table must have to be kept as a column


def tell(text: str, err: bool = False) -> None:
    """Print text, wrapped where a width is known."""
    stream = sys.stderr if err else sys.stdout
    width, text = terminal_width(stream), writable(text, getattr(stream, "encoding", None) or "utf-8")
    click.echo(text if width is None else wrapped(text, width), nl=False, err=err)


def writable(text: str, encoding: str) -> str:
    """The text with signs that the encoding lacks written in letters that it has.

    >>> writable("≤ 214 µH, 12 mN·m, 0.1°", "ascii"), writable("µH", "utf-8")
    ('<= 214 uH, 12 mN.m, 0.1 deg ', 'µH')
    """

    def known(sign: str) -> bool:
        try:
            sign.encode(encoding)
        except (UnicodeEncodeError, LookupError):
            return False
        return True

    return text.translate({ord(sign): plain for sign, plain in PLAIN.items() if not known(sign)})


def terminal_width(stream: TextIO) -> int | None:
    """Width in characters: as COLUMNS says, else that of the terminal; None where the output goes elsewhere."""
    stated = os.environ.get("COLUMNS", "")
    if stated.isdecimal() and int(stated) > 0:
        return max(int(stated), NARROWEST)
    return max(shutil.get_terminal_size().columns, NARROWEST) if stream.isatty() else None


def wrapped(text: str, width: int) -> str:
    """The same words in lines of at most ``width`` characters; what is continued stands under its column of a table.

    >>> print(wrapped("key   1.5   what it means, in so many words, at length", 40))
    key   1.5   what it means, in so many
                words, at length
    """
    return "\n".join(line if len(line) <= width else _folded(line, width) for line in text.split("\n"))


def _folded(line: str, width: int) -> str:
    """One line as several; where its last column would be too narrow, that goes below the others."""
    indent = min(len(line) - len(line.lstrip()) + 2, width // 4)
    columns = [cell.end() for cell in re.finditer(r"\S {2,}(?=\S)", line)]
    last = columns[-1] if columns else 0
    if not last or last + LEAST_COLUMN <= width:
        return _filled(line, width, "", last or indent)
    return _filled(line[:last].rstrip(), width, "", indent) + "\n" + _filled(line[last:], width, " " * indent, indent)


def _filled(line: str, width: int, start: str, hang: int) -> str:
    return textwrap.fill(line, width, initial_indent=start, subsequent_indent=" " * hang, break_on_hyphens=False)
