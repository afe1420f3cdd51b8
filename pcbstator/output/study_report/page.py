"""What a study found as a page, as text for a terminal, and as files."""

from __future__ import annotations

import shlex
import textwrap
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from pcbstator.errors import printable
from pcbstator.output.study_report.figures import PARETO_PICTURE, pareto_svg, sensitivity_svg
from pcbstator.output.study_report.parallel_axes import parallel_svg
from pcbstator.output.study_report.sweep_plots import sweep_svgs
from pcbstator.output.study_report.words import (
    asked_words,
    difference_words,
    header_words,
    number_rows,
    number_words,
    objective_keys,
    pin_words,
    price_words,
    result_keys_of,
    shown_pareto,
)
from pcbstator.study.results import Best, Found, evenly, pins, swept

PICTURES = (PARETO_PICTURE, "parallel", "sensitivity")
SWEPT_ROWS = 30  # of a sweep in its page
TEXT_ROWS, TEXT_REASONS = 12, 5
TEXT_WIDTH, TEXT_COLUMN, TEXT_CELL = 100, 13, 20  # characters
STOPPED = "The study was stopped early: give the same command again and it goes on where it was."
NONE_LEFT = "No design meets everything: ease a limit, or widen a range."
NONE_FIT = (
    "None of the designs that meet everything can be on the Pareto front: predicted in full they are unfit to be made."
)
CAUTION = (
    "Nothing here has been measured. Magnets pinch, hot copper burns, rotors throw things: read the cautions in the "
    "report of the design that you take."
)


def study_files(found: Found, folder_name: str) -> dict[str, str]:
    """Name and content of the pictures that there are, and of the page; folder_name: whole, so that the commands of
    the page work from any folder.
    """
    pictures = _pictures(found)
    heading = '<?xml version="1.0" encoding="utf-8"?>\n'
    files = {f"{name}.svg": heading + picture for name, picture in pictures.items()}
    return files | {"explore.html": _page(found, folder_name, pictures)}


def explore_text(found: Found, folder_name: str) -> str:
    """Counts, the Pareto front, what ruled designs out, what to do next."""
    lines = [printable(found.study.title), f"{found.designs} designs looked at, {found.feasible} meet everything"]
    confirmed = [best.confirmation for best in found.pareto_front if best.confirmation is not None]
    if found.study.objectives:
        lines.append(f"{len(found.pareto_front)} on the Pareto front, {len(confirmed)} of them predicted in full")
        lines[-1] += f"; {found.unfit} left out as unfit" if found.unfit else ""
    if confirmed:
        lines.append(f"largest difference of the quick numbers from the full prediction: {difference_words(confirmed)}")
    if found.pareto_front:
        lines += ["", *_text_table(found)]
    if found.reasons:
        lines += ["", "ruled out by"]
        for reason, count, _ in found.reasons[:TEXT_REASONS]:
            lines.append(f"{count:>8}  {printable(reason)}")
        more = len(found.reasons) - TEXT_REASONS
        lines += [f"          and {more} further reasons: see explore.html"] if more > 0 else []
    lines += ["", *(printable(pin_words(*pin)) for pin in pins(found))] if pins(found) else []
    return "\n".join([*lines, "", *_next_words(found, folder_name)]) + "\n"


def _next_words(found: Found, folder_name: str) -> list[str]:
    lines = [] if found.finished else [STOPPED]
    some = found.pareto_front[:1] if found.study.objectives else swept(found, SWEPT_ROWS)[:1]
    if some:
        lines.append(f"take one: {printable(_command(folder_name, some[0].number))}")
    elif found.designs:
        lines.append(NONE_LEFT if not found.feasible else NONE_FIT)
    return lines


def _text_table(found: Found) -> list[str]:
    """The Pareto front in columns as wide as a terminal allows, the objectives first."""
    rows = [found.pareto_front[place] for place in evenly(len(found.pareto_front), TEXT_ROWS)]
    keys = objective_keys(found)
    names = {key: printable(words) for key, words in header_words(found, keys).items()}
    columns = [_text_column("design", [str(best.number) for best in rows])]
    columns += [_text_column(names[key], [number_words(best.results.get(key)) for best in rows]) for key in keys]
    for variable in found.study.variables:
        columns.append(_text_column(names[variable.name], [number_words(best.values[variable.name]) for best in rows]))
    part = [n for n in range(1, len(columns) + 1) if sum(len(c[0]) + 2 for c in columns[:n]) <= TEXT_WIDTH]
    kept = columns[: max(part)]
    tall = max(len(column) for column in kept)
    padded = [[" " * len(column[0])] * (tall - len(column)) + column for column in kept]
    lines = ["  ".join(cells).rstrip() for cells in zip(*padded, strict=True)]
    if len(rows) < len(found.pareto_front):
        lines.append(f"{len(found.pareto_front) - len(rows)} more on the Pareto front: see explore.html")
    if len(kept) < len(columns):
        lines.append(f"{len(columns) - len(kept)} more columns: see designs.csv")
    return lines


def _text_column(name: str, cells: Sequence[str]) -> list[str]:
    """Head and cells, all of one width."""
    head = textwrap.wrap(name, TEXT_COLUMN) or [""]
    shown = [printable(cell if len(cell) <= TEXT_CELL else cell[: TEXT_CELL - 1] + "…") for cell in cells]
    wide = max(map(len, [*head, *shown]))
    return [cell.rjust(wide) for cell in [*head, *shown]]


def _command(folder_name: str, number: int) -> str:
    return f"pcbstator take {shlex.quote(folder_name)} {number} -o design.toml"


def _pictures(found: Found) -> dict[str, str]:
    """The pictures that there are, by name."""
    makers = zip(PICTURES, (pareto_svg, parallel_svg, sensitivity_svg), strict=True)
    return {name: picture for name, maker in makers if (picture := maker(found)) is not None} | sweep_svgs(found)


def _page(found: Found, folder_name: str, pictures: dict[str, str]) -> str:
    from jinja2 import Environment, StrictUndefined
    from markupsafe import Markup

    template = Path(__file__).with_name("study.html").read_text(encoding="utf-8")
    page = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    designs = shown_pareto(found) if found.study.objectives else swept(found, SWEPT_ROWS)
    keys = result_keys_of(found)
    # The pictures are escaped by their makers.
    return page.from_string(template).render(
        title=found.study.title,
        design=found.study.design_name,
        asked=asked_words(found.study),
        numbers=number_rows(found),
        empty="" if designs or not found.designs else NONE_FIT if found.feasible else NONE_LEFT,
        stopped="" if found.finished else STOPPED,
        search=bool(found.study.objectives),
        pictures={name: Markup(picture) for name, picture in pictures.items()},
        sweeps=[Markup(picture) for name, picture in pictures.items() if name.startswith("sweep-")],
        heads=list(header_words(found, keys).values()),
        rows=[_cells(found, best, keys, folder_name) for best in designs],
        pareto_count=len(found.pareto_front),
        feasible=found.feasible,
        pins=[pin_words(*pin) for pin in pins(found)],
        reasons=[
            {"count": count, "reason": reason, "nearest": detail if detail != reason else ""}
            for reason, count, detail in found.reasons
        ],
        prices=price_words(found),
        caution=CAUTION,
        seed=found.study.seed,
        digest=found.study.digest,
    ) + "\n"  # fmt: skip


def _cells(found: Found, best: Best, keys: Sequence[str], folder_name: str) -> dict[str, Any]:
    """A row of the table of designs."""
    values = [number_words(best.values[variable.name]) for variable in found.study.variables]
    confirmation = best.confirmation
    return {
        "number": best.number,
        "cells": values + [number_words(best.results.get(key)) for key in keys],
        "warnings": "not yet" if confirmation is None else str(confirmation.warnings),
        "command": _command(folder_name, best.number),
    }
