"""Fields of result records: each names the key, with its unit, under which it is given out."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, fields
from functools import cache
from typing import Any

import numpy as np


@dataclass(frozen=True)
class Bounds:
    """A range of what does, in the unit of its key: None where nothing bounds it; stated: by the design. why: in words,
    of either end."""

    least: float | None
    most: float | None
    why_least: str = ""
    why_most: str = ""
    stated: float | None = None

    @classmethod
    def of(cls, plain: dict[str, Any]) -> Bounds:
        """From what ``to_dict`` gives."""
        words = plain.get("why_least", ""), plain.get("why_most", "")
        return cls(plain.get("least"), plain.get("most"), *words, plain.get("stated"))

    def to_dict(self) -> dict[str, float | str]:
        """What applies, for JSON."""
        found = {name: getattr(self, name) for name in ("least", "most", "why_least", "why_most", "stated")}
        return {name: value for name, value in found.items() if value not in (None, "")}


def result(key: str, meaning: str, scale: float = 1.0, default: Any = None) -> Any:
    """A field that is given out as ``key``, times ``scale``; None, or an empty tuple, means that it does not apply."""
    return field(default=default, metadata={"key": key, "meaning": meaning, "scale": scale})


def inside(default: Any = None) -> Any:
    """A field for further computation that is not given out."""
    return field(default=default, repr=False, metadata={"inside": True})


def rows(section: Any) -> Iterator[tuple[str, str, Any]]:
    """Key, meaning and plain value of every result in a group that applies."""
    for item in fields(section):
        value = getattr(section, item.name)
        if "key" not in item.metadata or value is None or value == ():
            continue
        scale = item.metadata["scale"]
        yield item.metadata["key"], item.metadata["meaning"], _plain(value if scale == 1.0 else value * scale)


def numbers(group: str, record: Any) -> dict[str, float]:
    """Numbers of a record as they are given out: dotted key and number, nothing that does not apply."""
    found = {}
    kind: type = type(record)
    for name, key, scale in _keyed(kind):
        value = getattr(record, name)
        if isinstance(value, (int, float, np.number)):
            found[f"{group}.{key}"] = float(value) * scale
    return found


@cache
def _keyed(record: type) -> tuple[tuple[str, str, float], ...]:
    """Name, key and scale of every field of a group that is given out."""
    keyed = [item for item in fields(record) if "key" in item.metadata]
    return tuple((item.name, item.metadata["key"], item.metadata["scale"]) for item in keyed)


def _plain(value: Any) -> Any:
    if isinstance(value, Bounds):
        return value.to_dict()
    if isinstance(value, tuple):
        return [_plain(item) for item in value]
    return value.item() if isinstance(value, np.generic) else value
