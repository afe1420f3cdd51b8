"""A comparison as one self-contained page: the verdict, what to do next, causes, every reading."""

from __future__ import annotations

from pathlib import Path

from pcbstator.bench.amounts import amount
from pcbstator.bench.result import Comparison, Row
from pcbstator.errors import printable
from pcbstator.output.bench_report.built.section import built_section
from pcbstator.output.bench_report.words import cause_groups, difference, hidden_words, remark_on


def comparison_html(found: Comparison, logs: str, picture: str) -> str:
    """The page; logs: the section of the motion logs; picture: of the readings."""
    from jinja2 import Environment, StrictUndefined
    from markupsafe import Markup

    template = Path(__file__).with_name("comparison.html").read_text(encoding="utf-8")
    page = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    return page.from_string(template).render(
        found=found, hidden=hidden_words(found), groups=cause_groups(found), rows=[_cells(row) for row in found.rows],
        decision=Markup(built_section(found, "decision")), built=Markup(built_section(found, "built")),
        logs=Markup(logs), picture=Markup(picture),  # escaped by its maker
    ) + "\n"  # fmt: skip


def _cells(row: Row) -> tuple[str, ...]:
    """A reading as a row of the table."""
    values = (amount(value, row.unit, row.kind) for value in (row.measured, row.predicted))
    return printable(row.name), *values, difference(row), f"{row.deviation:+.1f}", remark_on(row)
