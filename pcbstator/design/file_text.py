"""The text of a design file: as it was read, or written from the tables of a design that no file holds."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from typing import Any

from pcbstator.design.keys import keys, sections
from pcbstator.design.records import Design, SizedDesign
from pcbstator.errors import Complaint, DesignError


def design_file(design: Design) -> bytes:
    """A file that gives the design again: the one that it was read from, to the byte, or with the values that were
    changed since and its comments; else its tables as TOML, the same for the same tables.
    """
    asked = design.asked if isinstance(design, SizedDesign) else design
    if not asked._file:
        return document_text(asked.document).encode()
    text = asked._file.decode("utf-8-sig")
    changes = _changes(tomllib.loads(text), asked.document)
    return changed_text(text, changes).encode() if changes else asked._file


def _changes(before: Mapping[str, Any], after: Mapping[str, Any], path: str = "") -> dict[str, Any]:
    """What differs between two documents, by dotted key; None: taken away."""
    found: dict[str, Any] = {}
    for name in [*before, *(name for name in after if name not in before)]:
        old, new, key = before.get(name), after.get(name), f"{path}{name}"
        if isinstance(old, dict) and isinstance(new, dict):
            found |= _changes(old, new, f"{key}.")
        elif old != new:
            found[key] = new
    return found


def changed_text(text: str, settings: Mapping[str, Any], reasons: Mapping[str, str] | None = None) -> str:
    """A design file with the values of some dotted keys, or whole tables, set, None: taken away; its comments stay.

    A number in a key counts the tables of a list from 0. reasons: by key, a comment that goes before the one there is.

    >>> print(changed_text("[winding]\\nturns = 8  # per layer\\n", {"winding.turns": 9, "board.layers": 4}))
    [winding]
    turns = 9  # per layer
    <BLANKLINE>
    [board]
    layers = 4
    <BLANKLINE>
    >>> print(changed_text("turns = 8  # per layer\\n", {"turns": 9}, {"turns": "counted"}))
    turns = 9  # counted; per layer
    <BLANKLINE>
    """
    import tomlkit

    document = tomlkit.parse(text)
    for path, value in settings.items():
        *tables, name = (int(step) if step.isdecimal() else step for step in path.split("."))
        here: Any = document
        for step in tables:
            if isinstance(step, str) and step not in here:
                here[step] = tomlkit.table()
            here = here[step]
        if value is None:
            _taken_away(here, name, reasons)
            continue
        said = here[name].trivia if isinstance(name, str) and name in here else None
        item = tomlkit.item(value) if reasons is None or not _many(value) else _list_of_tables(value)
        reason = (reasons or {}).get(path)
        if reason is not None:
            there = said.comment.lstrip("# ") if said is not None else ""
            item.comment("; ".join(filter(None, [reason, there])))
            item.trivia.comment_ws = "  " if said is None else said.comment_ws or "  "
        if said is None and isinstance(name, str) and name not in here and reasons is not None:
            _added(here, name, item)
        else:
            here[name] = item
        if reason is not None and said is not None:  # it keeps the comment that stood there
            here[name].trivia.comment, here[name].trivia.comment_ws = item.trivia.comment, item.trivia.comment_ws
    return tomlkit.dumps(document)


def checked_change(text: str, settings: Mapping[str, Any]) -> str:
    """The same of a text that anybody may have written: a DesignError where the keys have no place in it."""
    try:
        return changed_text(text, settings)
    except (ValueError, TypeError, KeyError, IndexError, AttributeError, RecursionError) as error:
        rule = "must be valid TOML in which these keys have a place"
        raise DesignError("text", [Complaint("text", rule, str(error), "mend the text first")]) from None


def _added(table: Any, name: str, item: Any) -> None:
    """A new key right behind those that are there, before the comments that belong to the next table."""
    body = getattr(table.value, "body", [])
    count = next((k for k, (key, _) in enumerate(reversed(body)) if key is not None), 0)
    tail = body[len(body) - count :]
    del body[len(body) - count :]
    table[name] = item
    body.extend(tail)


def _taken_away(table: Any, name: str | int, reasons: Mapping[str, str] | None) -> None:
    """A key goes; where reasons are given, its line stays as a comment."""
    if name not in table:
        return
    line = f"{name} = {table[name].as_string()}  {table[name].trivia.comment}".rstrip()
    body = getattr(table, "body", None) or getattr(table.value, "body", None)
    at = [] if body is None else [k for k, (key, _) in enumerate(body) if key is not None and key.key == name]
    table.pop(name)
    if reasons is not None and body is not None and at:
        import tomlkit

        body[at[0]] = (None, tomlkit.comment(line))


def _list_of_tables(tables: list[dict[str, Any]]) -> Any:
    """Tables as one value in a line."""
    import tomlkit

    found = tomlkit.array()
    for table in tables:
        within = tomlkit.inline_table()
        within.update(table)
        found.append(within)
    return found


def document_text(document: dict[str, Any]) -> str:
    """Tables of a design as TOML, in the order of docs/design-file.md.

    >>> print(document_text({"board": {"holes": [{"count": 4}], "layers": 2}, "title": "Fan"}))
    title = "Fan"
    <BLANKLINE>
    [board]
    layers = 2
    <BLANKLINE>
    [[board.holes]]
    count = 4
    <BLANKLINE>
    """
    import tomlkit

    places = {path: place for place, path in enumerate([*keys(), *sections()])}
    return tomlkit.dumps(_ordered(document, "", places))


def _ordered(table: dict[str, Any], path: str, places: dict[str, int]) -> dict[str, Any]:
    """The table with plain values first, since what follows the head of a table within belongs to that one."""

    def key(name: str) -> tuple[int, int, str]:
        value = table[name]
        kind = 2 if isinstance(value, dict) else 1 if _many(value) else 0
        return kind, places.get(f"{path}{name}", len(places)), name

    found: dict[str, Any] = {}
    for name in sorted(table, key=key):
        value, within = table[name], f"{path}{name}."
        if isinstance(value, dict):
            value = _ordered(value, within, places)
        elif _many(value):
            value = [_ordered(each, within, places) for each in value]
        found[name] = value
    return found


def _many(value: object) -> bool:
    return isinstance(value, list) and bool(value) and all(isinstance(each, dict) for each in value)
