"""A comparison as one self-contained page: the verdict, what to do next, causes, every reading."""

from __future__ import annotations

from pathlib import Path

from pcbstator.bench.amounts import amount
from pcbstator.bench.result import Comparison, Row
from pcbstator.errors import printable
from pcbstator.output.bench_report.built.section import built_section
from pcbstator.output.bench_report.words import cause_groups, difference, hidden_words, remark_on
from pcbstator.output.measured_page import measured_page


def comparison_html(found: Comparison, logs: str, picture: str) -> str:
    """The page; logs: the section of the motion logs; picture: of the readings."""
    from markupsafe import Markup

    return measured_page(
        Path(__file__).with_name("comparison.html"),
        found=found, hidden=hidden_words(found), groups=cause_groups(found), rows=[_cells(row) for row in found.rows],
        decision=Markup(built_section(found, "decision")), built=Markup(built_section(found, "built")),
        logs=Markup(logs), picture=Markup(picture),  # escaped by its maker
    )  # fmt: skip


def _cells(row: Row) -> tuple[str, ...]:
    """A reading as a row of the table."""
    values = (amount(value, row.unit, row.kind) for value in (row.measured, row.predicted))
    return printable(row.name), *values, difference(row), f"{row.deviation:+.1f}", remark_on(row)
