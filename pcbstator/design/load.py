"""The only door for input: a design file or a document becomes a checked design, or one error with every complaint."""

from __future__ import annotations

import hashlib
import re
import tomllib
from collections.abc import Mapping
from functools import lru_cache
from math import inf
from numbers import Integral, Real
from os import PathLike
from pathlib import Path
from typing import Any, TypeVar

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from pcbstator.design.keys import MAGNET, keys, keys_of, nearest, sections
from pcbstator.design.quantities import Record, shown
from pcbstator.design.recorded_motion import read_recording
from pcbstator.design.records import Design
from pcbstator.design.sections.requirement import requirement_complaints
from pcbstator.design.validation.complaints import OwnWords, complaints_of, unnumbered
from pcbstator.design.validation.consistency import inconsistencies
from pcbstator.design.validation.entries import entry_complaints, too_many, value_at
from pcbstator.errors import Complaint, DesignError, printable

VAST = 10**300
MACHINE = ("winding", "board", "rotor")  # sections that every design has
AS_THEY_ARE = frozenset([str, float, bool, type(None)])  # types that need no copy
File = TypeVar("File", bound=Record)
LARGEST_FILE = 1 << 20  # bytes; a design file has a few thousand


def load_design(path: str | PathLike[str]) -> Design:
    """The design in the TOML file at ``path``; a DesignError names everything that is wrong with it."""
    return load_design_and_text(Path(path))[0]


def load_design_and_text(place: Path) -> tuple[Design, str]:
    """The design in a TOML file, and the file's text."""
    document, text, content = read_tables(place)
    design = design_from_document(document, place.name, place.absolute().parent)
    design._file_digest, design._file = hashlib.sha256(content).hexdigest(), content
    return design, text


def design_from_text(text: str, source: str = "design", folder: Path | None = None) -> Design:
    """The design in the text of a design file; a DesignError names everything that is wrong with it.

    ``folder`` is where a recorded motion is looked for.
    """
    content = text.encode(errors="surrogatepass")
    if len(content) > LARGEST_FILE:
        raise _unreadable(Path(source), "must be at most 1 MiB", "more", "is this the right file?")
    design = design_from_document(_tables_in(text, Path(source)), source, folder)
    design._file_digest, design._file = hashlib.sha256(content).hexdigest(), content
    return design


def read_tables(place: Path) -> tuple[dict[str, Any], str, bytes]:
    """The tables of a TOML file, its text and its bytes; a DesignError where it is not one."""
    text, content = _text_of(place)
    return _tables_in(text, place), text, content


def _tables_in(text: str, place: Path) -> dict[str, Any]:
    """The tables of a text in TOML; ``place`` names it in messages."""
    try:
        return tomllib.loads(text)
    except RecursionError:
        raise _unreadable(place, "must not nest tables and lists this deep") from None
    except ValueError as error:  # TOMLDecodeError, and integers too long for Python
        raise _syntax_error(place, text, str(error)) from None


def design_from_document(document: Mapping[str, Any], source: str = "design", folder: Path | None = None) -> Design:
    """The design in nested tables as a design file has them; ``source`` names them in messages.

    ``folder`` is where a recorded motion is looked for.
    """
    source = printable(source)  # results, files and pages name it
    tables = _tables_of(document, source)
    complaints = _misplaced(tables)
    design = None
    try:
        design = Design.model_validate(tables)
    except ValidationError as error:
        told = {complaint.key for complaint in complaints}
        complaints += [each for each in complaints_of(error, Design, _own_words) if each.key not in told]
    complaints += inconsistencies(_sound_values(tables, {complaint.key for complaint in complaints}))
    complaints += entry_complaints(tables, {complaint.key for complaint in complaints})
    if "envelope" in tables and not any(section in tables for section in MACHINE):
        complaints = [_room_only(source), *(each for each in complaints if each.key not in MACHINE)]
    else:
        complaints += requirement_complaints(tables, {complaint.key for complaint in complaints})
    recording = None
    if design is not None and design.motion is not None and design.motion.table is not None:
        recording = read_recording(folder, design.motion.table)
        if isinstance(recording, Complaint):
            complaints.append(recording)
    if complaints or design is None or isinstance(recording, Complaint):
        raise DesignError(source, complaints)
    design._document, design._source, design._folder, design._recording = tables, source, folder, recording
    design._door = changed_design
    return design


def _room_only(source: str) -> Complaint:
    """A file that states a room and perhaps wishes, and no machine."""
    rule = "are required; this file states a room and no machine"
    remedy = f"let designs be found for it: pcbstator suggest {source}; or add all three"
    return Complaint(", ".join(MACHINE), rule, "none of them", remedy)


def record_from_tables(
    record: type[File], document: Mapping[str, Any], source: str, own: OwnWords | None = None
) -> File:
    """The record of a file, other than a design file, in nested tables as it has them.

    Raises DesignError with every complaint at once; ``own``: what that file says in other words.
    """
    try:
        return record.model_validate(_tables_of(document, source))
    except ValidationError as error:
        raise DesignError(source, complaints_of(error, record, own)) from None


def _tables_of(document: Mapping[str, Any], source: str) -> dict[str, Any]:
    """The tables in Python's own types; refuses what no file can hold."""
    try:
        tables = plain(document)
    except (RecursionError, OverflowError):
        rule = "must hold plain tables and numbers"
        raise DesignError(source, [Complaint("document", rule, "a table within itself or a vast number")]) from None
    if not isinstance(tables, dict):
        raise DesignError(source, [Complaint("document", "must be a table of tables", shown(tables))])
    return tables


def changed_design(design: Design, values: Mapping[str, object]) -> Design:
    """The design with the values of some dotted keys changed; None takes a key away."""
    document, complaints = plain(design._document), []
    for path, value in values.items():
        *tables, name = path.split(".")
        table: Any = document
        for step in tables:
            table = table.setdefault(step, {}) if isinstance(table, dict) else None
        if not path or (path not in keys() and path not in sections()):
            complaints.append(Complaint(path, "is not a known key", remedy=nearest(path)))
        elif not isinstance(table, dict):
            parent = ".".join(tables)
            many = parent in sections() and sections()[parent].many
            remedy = f"set {parent} to a {'list of tables' if many else 'table'}"
            complaints.append(Complaint(path, f"{parent} is not a table here", remedy=remedy))
        elif value is None:
            table.pop(name, None)
        else:
            table[name] = value
    if complaints:
        raise DesignError(design.source, complaints)
    changed = design_from_document(document, design.source, design._folder)
    changed._file = design._file
    return changed


def plain(value: Any) -> Any:
    """A deep copy in Python's own types, so that numbers of numeric libraries count as numbers."""
    if type(value) in AS_THEY_ARE:
        return value
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [plain(item) for item in value]
    if isinstance(value, bool):
        return value
    if isinstance(value, Integral):
        return int(value) if abs(int(value)) < VAST else inf  # longer ones cannot even be shown
    return float(value) if isinstance(value, Real) else value


def _text_of(place: Path) -> tuple[str, bytes]:
    """The file's text and its bytes; refuses what is no readable text file of sensible size."""
    try:
        if place.is_dir():
            raise _unreadable(place, "must be a file", "a folder", "name the file in it")
        if not place.exists():
            raise _unreadable(place, "must exist", "", "check the name; a design is written with: pcbstator start FILE")
        if not place.is_file():
            raise _unreadable(place, "must be an ordinary file")
        with place.open("rb") as file:
            content = file.read(LARGEST_FILE + 1)
    except (OSError, ValueError) as error:  # ValueError: a name that no file can have
        reason = getattr(error, "strerror", None) or str(error)
        raise _unreadable(place, "must be readable", reason, "check the name and its permissions") from None
    if len(content) > LARGEST_FILE:
        raise _unreadable(place, "must be at most 1 MiB", "more", "is this the right file?")
    try:
        return content.decode("utf-8-sig"), content
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        raise _unreadable(place, "must be text in UTF-8", f"another byte in line {line}", "save it as UTF-8") from None


def _unreadable(place: Path, rule: str, value: str = "", remedy: str = "") -> DesignError:
    return DesignError(str(place), [Complaint("file", rule, value, remedy)])


def _syntax_error(place: Path, text: str, reason: str) -> DesignError:
    """The error with the line that TOML stumbled over."""
    found = re.search(r"\(at line (\d+), column \d+\)", reason)
    if not found:
        return DesignError(place.name, [Complaint("file", "must be valid TOML: " + reason, remedy="mend the file")])
    lines = text.splitlines()
    number = min(int(found[1]), len(lines))
    line = lines[number - 1].strip() if lines else ""
    remedy = "write decimals with a point" if re.search(r"=\s*-?\d+,\d", line) else "mend this line or the one before"
    return DesignError(place.name, [Complaint(f"line {number}", "must be valid TOML: " + reason, shown(line), remedy)])


def _misplaced(tables: dict[str, Any]) -> list[Complaint]:
    """Complaints about sections that are not tables; everything below them is left unread."""
    found = []
    for path, section in sections().items():
        table = value_at(tables, path)
        if (complaint := too_many(tables, section)) is not None:
            found.append(complaint)
        elif section.many:
            continue
        elif path and path != "board.rules" and table is not None and not isinstance(table, dict):
            found.append(Complaint(path, "must be a table of keys", shown(table), f"write [{path}] on its own line"))
    return found


def _sound_values(tables: dict[str, Any], faulty: set[str]) -> dict[str, Any]:
    """Values by dotted key, defaults filled in, without those that are complained about."""
    stated = value_at(tables, MAGNET + ".shape")
    shape = stated if isinstance(stated, str) else None
    found = {}
    for path, section in sections().items():
        table = value_at(tables, path)
        unread = path == MAGNET and path + ".shape" in faulty  # the validator reads a magnet by its shape
        if unread or path in faulty or (section.required and not isinstance(table, dict)):
            continue
        given = table if isinstance(table, dict) else {}
        for name, place, default, required in _given_keys(path, shape):
            value = given.get(name, default)
            if place not in faulty and not (required and value is None):
                found[place] = value
    return found


@lru_cache
def _given_keys(path: str, shape: str | None) -> tuple[tuple[str, str, Any, bool], ...]:
    """Name, dotted path, default of the keys of a section, for magnets of this shape, and whether they are required."""
    return tuple((key.name, key.path, key.default, key.required) for key in keys_of(sections()[path], shape))


def _own_words(detail: ErrorDetails, path: str) -> Complaint | None:
    """What a design file says of an unknown key of a section: it may have a new name, or belong to another section."""
    if detail["type"] != "extra_forbidden" or unnumbered(path).rpartition(".")[0] not in sections():
        return None
    return _unknown(path, shown(detail["input"]), detail["loc"])


def _unknown(path: str, value: str, place: tuple[int | str, ...]) -> Complaint:
    owners = [key.shape for key in keys().get(path, ()) if key.shape]
    if owners:
        rule = f'belongs to a magnet of shape "{owners[0]}"; this one is "{place[2]}"'
        return Complaint(path, rule, value, "take it away or change the shape")
    what = "section" if "[" not in path and value.startswith("{") else "key"
    shape = place[2] if path.startswith(MAGNET + ".") and len(place) > 3 else ""
    return Complaint(path, f"is not a known {what}", value, nearest(unnumbered(path), shape))
