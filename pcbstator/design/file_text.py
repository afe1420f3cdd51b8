"""The text of a design file: as it was read, or written from the tables of a design that no file holds."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pcbstator.design.keys import keys, sections

if TYPE_CHECKING:
    from pcbstator.design.records import Design


def design_file(design: Design) -> bytes:
    """The file that the design was read from, to the byte; else its tables as TOML, the same for the same tables."""
    return design._file or document_text(design.document).encode()


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
