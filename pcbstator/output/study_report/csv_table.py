"""Every design of a study as a table to read into a spreadsheet."""

from __future__ import annotations

from collections.abc import Iterator
from math import isnan

from pcbstator.output.csv_text import csv_line
from pcbstator.study.records import Study
from pcbstator.study.run import pareto_numbers
from pcbstator.study.store import Store

FEASIBLE, RULED_OUT = "feasible", "ruled out"


def designs_csv(study: Study, store: Store) -> Iterator[str]:
    """The lines, one design each, in the order of their numbers; the store is read twice and never held.

    Columns: number, state, on_pareto_front, the variables by name, every result that any design has by its key,
    ruled_out and detail. Numbers stand with all their digits; what does not apply is empty.
    """
    pareto = set(pareto_numbers(study, store)) if study.objectives else set()
    keys = _result_columns(study, store)
    names = [variable.name for variable in study.variables]
    yield csv_line(["number", "state", "on_pareto_front", *names, *keys, "ruled_out", "detail"])
    for number, point, outcome in store.rows():
        values = study.shown(point)
        yield csv_line([
            number, FEASIBLE if outcome.feasible else RULED_OUT, "yes" if number in pareto else "no",
            *(values[name] for name in names), *(_cell(outcome.results.get(key)) for key in keys),
            outcome.ruled_out, outcome.detail,
        ])  # fmt: skip


def _result_columns(study: Study, store: Store) -> list[str]:
    """Every result that any design has, those that the study speaks of first."""
    found: dict[str, None] = {}
    for _, _, outcome in store.rows():
        found |= dict.fromkeys(outcome.results)
    return sorted(found, key=lambda key: key not in study.wanted)


def _cell(value: float | None) -> float | str:
    return "" if value is None or isnan(value) else value
