"""What a validation error says, in the words of the file: the same for every file that a user writes."""

from __future__ import annotations

import difflib
import re
from collections.abc import Callable, Iterable, Iterator
from typing import Any, get_args, get_origin

from pydantic import Tag, ValidationError
from pydantic.fields import FieldInfo
from pydantic_core import ErrorDetails

from pcbstator.design.keys import Key, is_record, record_keys
from pcbstator.design.quantities import Record, shown
from pcbstator.errors import Complaint

OwnWords = Callable[[ErrorDetails, str], Complaint | None]  # of a detail at a place; None: the usual words do


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


def unnumbered(path: str) -> str:
    """A place without the numbers of tables in lists.

    >>> unnumbered("board.holes[1].pad_mm")
    'board.holes.pad_mm'
    """
    return re.sub(r"\[\d+\]", "", path)


def complaints_of(error: ValidationError, record: type[Record], own: OwnWords | None = None) -> list[Complaint]:
    """Everything that is wrong with the tables of a record; ``own``: what this record's file says in other words."""
    found = []
    for detail in error.errors(include_url=False):
        if detail["type"] == "too_short" and len(detail["input"]) >= detail["ctx"]["min_length"]:
            continue  # a list of faulty tables is not too short
        steps, holder = _place(detail["loc"], record)
        path = place_words(steps)
        found.append((own and own(detail, path)) or _complaint(detail, path, holder))
    return found


def _place(steps: Iterable[int | str], record: type[Record]) -> tuple[list[int | str], type[Record]]:
    """A place in the words of the file, and the record that holds its last key.

    The validator also says which of several forms it took a table for, and that it means a key of free choice itself.
    """
    told: list[int | str] = []
    holder, here = record, {"": record}
    for step in steps:
        if isinstance(step, str) and len(here) > 1:
            here = {step: here[step]}
            continue
        told.append(step)
        if isinstance(step, str) and here:
            (holder,) = here.values()
            field = _field(holder, step)
            here = {} if field is None else dict(_forms(field.annotation))  # nothing below a key of free choice
    return told[:-2] if told[-1:] == ["[key]"] else told, holder


def _forms(annotation: Any, tag: str = "") -> Iterator[tuple[str, type[Record]]]:
    """The records that an annotation speaks of, by what tells them apart: a tag, else the word of their key shape."""
    if is_record(annotation):
        shape = annotation.model_fields.get("shape")
        yield tag or (str(get_args(shape.annotation)[0]) if shape else ""), annotation
    tags = [part.tag for part in getattr(annotation, "__metadata__", ()) if isinstance(part, Tag)]
    for part in get_args(annotation):
        yield from _forms(part, tags[0] if tags else tag)


def _complaint(detail: ErrorDetails, path: str, holder: type[Record]) -> Complaint:
    """The complaint about a key of the record that holds it."""
    name = next((step for step in reversed(detail["loc"]) if isinstance(step, str)), "")
    field = _field(holder, name)
    forms = [] if field is None else [*dict(_forms(field.annotation))]
    match detail["type"]:
        case "missing" if forms and field is not None and get_origin(field.annotation) is not tuple:
            return Complaint(path, "this section is required", "nothing", f"add [{path}] with its keys")
        case "missing":
            return missing_complaint(path, next(key for key in record_keys("", holder) if key.name == name))
        case "union_tag_invalid" | "union_tag_not_found":
            stated, rule = detail["input"].get("shape"), "must be one of " + ", ".join(f'"{form}"' for form in forms)
            return Complaint(
                f"{path}.shape", rule, "nothing" if stated is None else shown(stated), "choose one of these"
            )
        case "extra_forbidden":
            known = [str(field.alias) for field in holder.model_fields.values()]
            close = difflib.get_close_matches(name, known, n=1, cutoff=0.5)
            remedy = f"did you mean {close[0]}?" if close else "known here: " + ", ".join(known)
            return Complaint(path, "is not a known key", shown(detail["input"]), remedy)
        case _:
            return complaint_of(detail, path)


def _field(record: type[Record], name: str) -> FieldInfo | None:
    return next((field for field in record.model_fields.values() if field.alias == name), None)


def complaint_of(detail: ErrorDetails, path: str) -> Complaint:
    """The complaint about a value."""
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
            remedy = (
                "write it as { name = value, ... }" if path.endswith("]") else "write name = value below its own header"
            )
            return Complaint(path, "must be a table of keys", value, remedy)
        case "dict_type":
            return Complaint(
                path, "must be a table of keys", value, 'write { "winding.turns" = 1 } with keys in quotes'
            )
        case "tuple_type":
            remedy = f"write {path.rpartition('.')[2]} = [...], or [[{unnumbered(path)}]] above each table of it"
            return Complaint(path, "must be a list", value, remedy)
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
