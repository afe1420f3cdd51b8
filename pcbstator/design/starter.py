"""The starter file on disk: written anew, or sections added to a file that is there; whole or not at all."""

from __future__ import annotations

import os
import shutil
import tempfile
import tomllib
from collections.abc import Callable, Iterable
from os import PathLike
from pathlib import Path
from typing import Any

from pcbstator.design.keys import sections
from pcbstator.design.load import design_from_document, read_tables
from pcbstator.design.template import (
    EVERY,
    Written,
    left_out,
    section_names,
    section_text,
    starter_text,
    with_owners,
)
from pcbstator.design.validation.entries import value_at
from pcbstator.errors import DesignError, OutputError


def write_starter(path: str | PathLike[str], names: Iterable[str] = ()) -> None:
    """Writes the starter file to ``path``, with the named sections in full; never over something that is there.

    Raises OutputError where a name is unknown or the file cannot be written.
    """
    remedy = "choose another name, or add sections to it by: pcbstator start FILE --with NAMES"
    write_new(Path(path), starter_text(_known(names)), remedy)


def require_new(place: Path) -> None:
    """Raises OutputError where a new design file cannot go: another name than ``.toml``, or something is there."""
    if place.suffix.lower() != ".toml":
        raise OutputError(f"{place}: the file must end in .toml; choose such a name")
    if place.exists():
        raise OutputError(f"{place}: is there already and is never overwritten; choose another name")


def write_new(place: Path, text: str, remedy: str = "choose another name") -> None:
    """Writes a file whole or not at all, never over something that is there.

    Raises OutputError where something is there, with the remedy, or where it cannot be written.
    """
    try:
        _write(place, text.encode(), _give_name)
    except FileExistsError:
        raise OutputError(f"{place}: is there already and is never overwritten; {remedy}") from None


def add_sections(path: str | PathLike[str], names: Iterable[str]) -> tuple[str, ...]:
    """Adds sections in full to the end of a design file, whose content stays to the byte; returns their names.

    Those that are there already are left as they are (``standing_sections`` has words for them); with ``EVERY`` all
    others are added. Raises DesignError where the file is not one, OutputError where a name is unknown, every section
    is there already, or the file cannot be written.
    """
    place, asked = Path(path), _known(names)
    tables, text, content = read_tables(place)
    there = _standing_words(tables, asked)
    asked = tuple(name for name in asked if not _stands(tables, name))
    if there and not asked:
        raise OutputError("\n".join(f"{place}: {words}; nothing was added" for words in there))
    asked = (*asked, *(name for name in with_owners(asked) if name not in asked and not _stands(tables, name)))
    wanted = [name for name in section_names() if name in asked or (EVERY in asked and not _stands(tables, name))]
    if not wanted:
        raise OutputError(f"{place}: every section is there already; nothing was added")
    before = "\n" if text.endswith("\n") or not text else "\n\n"
    added = before + _added(tables, text, wanted, asked, place)
    newline = "\r\n" if "\r\n" in text else "\n"
    target = place.resolve()
    _write(target, content + added.replace("\n", newline).encode(), lambda beside, _: _replace(beside, target))
    return tuple(wanted)


def standing_sections(path: str | PathLike[str], names: Iterable[str]) -> tuple[str, ...]:
    """Of some sections those that stand in a design file already, in words: what each may still take."""
    return _standing_words(read_tables(Path(path))[0], _known(names))


def _standing_words(tables: dict[str, Any], names: Iterable[str]) -> tuple[str, ...]:
    return tuple(f"[{name}] is there already{_further(tables, name)}" for name in names if _stands(tables, name))


def _known(names: Iterable[str]) -> tuple[str, ...]:
    """The names without blanks around them, each known."""
    stripped = tuple(name.strip() for name in names)
    for name in stripped:
        if name not in (EVERY, *section_names()):
            raise OutputError(f"--with: {name!r} is no section; known are {', '.join(section_names())} and {EVERY}")
    return stripped


def _as(name: str, written: Written, asked: tuple[str, ...]) -> Written:
    """What adds a part to the machine without having been named stays a comment."""
    return Written.AS_COMMENT if left_out(name) and name not in asked else written


def _stands(tables: dict[str, Any], name: str) -> bool:
    return value_at(tables, name) is not None


def _further(tables: dict[str, Any], name: str) -> str:
    """Which keys a section that is there may still take."""
    table = value_at(tables, name)
    if name not in sections() or not isinstance(table, dict):
        return ""
    free = [key.name for key in sections()[name].keys if key.name not in table]
    return f"; it may still take {', '.join(dict.fromkeys(free))}" if free else ""


def _added(tables: dict[str, Any], text: str, wanted: list[str], asked: tuple[str, ...], place: Path) -> str:
    """The lines of these sections; with more of them as comments where the design would need more than it has."""
    for written in Written:
        added = "\n".join(section_text(name, _as(name, written, asked)) for name in wanted)
        try:
            together = tomllib.loads(f"{text}\n{added}")
        except tomllib.TOMLDecodeError:
            remedy = "give each table in it a line [name] of its own"
            raise OutputError(f"{place}: [{']['.join(wanted)}] cannot stand at its end; {remedy}") from None
        if _loads(together, place) or not _loads(tables, place):
            break
    return added


def _loads(tables: dict[str, Any], place: Path) -> bool:
    try:
        design_from_document(tables, place.name, place.absolute().parent)
    except DesignError:
        return False
    return True


def _write(place: Path, content: bytes, into_place: Callable[[Path, Path], None]) -> None:
    """Writes a file beside its place and then puts it there."""
    try:
        descriptor, name = tempfile.mkstemp(prefix=f".{place.name}.", dir=place.parent)
        beside = Path(name)
        try:
            with os.fdopen(descriptor, "wb") as file:
                file.write(content)
            beside.chmod(0o644)
            into_place(beside, place)
        finally:
            beside.unlink(missing_ok=True)
    except FileExistsError:
        raise
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise OutputError(f"{place}: cannot be written ({reason}); choose a folder that exists and is yours") from None


def _give_name(beside: Path, place: Path) -> None:
    """Gives a finished file its name; a link fails where a file is there, or came up meanwhile, a rename would not."""
    try:
        if place.is_symlink() or place.exists():
            raise FileExistsError
        os.link(beside, place)
    except FileExistsError:
        raise
    except OSError:  # a file system without links
        beside.rename(place)


def _replace(beside: Path, place: Path) -> None:
    shutil.copymode(place, beside)
    beside.replace(place)
