"""What a validation error says, in the words of the file: the same for designs and studies."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from pydantic_core import ErrorDetails

from pcbstator.design.keys import Key
from pcbstator.design.quantities import shown
from pcbstator.errors import Complaint


def place_words(steps: Iterable[int | str]) -> str:
    """A place in a file: names with points, tables of a list counted from 1.

    >>> place_words(("board", "holes", 0, "pad_mm"))
    'board.holes[1].pad_mm'
    """
    path = ""
    for step in steps:
        if isinstance(step, int):
            path += f"[{step + 1}]"
        else:
            name = step if step and step.isprintable() else shown(step)
            path += f".{name}" if path else name
    return path


def complaint_of(detail: ErrorDetails, path: str) -> Complaint:
    """The complaint about a value; what is missing or unknown is told by those who know the keys."""
    context: dict[str, Any] = detail.get("ctx", {})
    value = shown(detail["input"])
    match detail["type"]:
        case "refused":
            path += f".{context['at']}" if context.get("at") else ""
            return Complaint(path, context["rule"], context.get("value") or value, context["remedy"])
        case "literal_error":
            known = str(context["expected"]).replace("'", '"')
            return Complaint(path, "must be " + known, value, "choose one of these")
        case "model_type" | "model_attributes_type":
            return Complaint(path, "must be a table of keys", value, "write name = value below its own header")
        case "dict_type":
            return Complaint(
                path, "must be a table of keys", value, 'write { "winding.turns" = 1 } with keys in quotes'
            )
        case "tuple_type":
            name = path.rpartition(".")[2]
            return Complaint(
                path, "must be a list", value, f"write {name} = [...], or [[{name}]] above each table of it"
            )
        case "too_short":
            return Complaint(path, "at least one is needed", "nothing", "add one")
        case "too_long":
            rule = f"at most {context['max_length']} are possible"
            return Complaint(path, rule, str(context["actual_length"]), "take some of them away")
        case _:
            return Complaint(path, detail["msg"], value)


def missing_complaint(path: str, key: Key) -> Complaint:
    """The complaint that a key is missing, with an example of it."""
    unit = f", in {key.unit}" if key.unit else ""
    example = f'"{key.example}"' if isinstance(key.example, str) else key.example
    return Complaint(path, "is required", "nothing", f"add {key.name} = {example}{unit} ({key.meaning})")
