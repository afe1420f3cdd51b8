"""The section of a page about motion logs, and its files."""

from __future__ import annotations

from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING

from pcbstator.bench.logs.result import CorrectionTable, MotionLogs
from pcbstator.errors import printable
from pcbstator.output.bench_report.logs.pictures import log_svg
from pcbstator.output.bench_report.logs.words import assumed_words, judged_words, table_words, value_words, whose

if TYPE_CHECKING:
    pass


def log_pictures(found: MotionLogs) -> dict[str, str]:
    """SVG of every picture by its name."""
    return {picture.name: log_svg(picture) for picture in found.pictures}


def log_files(found: MotionLogs, pictures: dict[str, str]) -> dict[str, str | bytes]:
    """Pictures and tables of the logs, by the names of their files."""
    files: dict[str, str | bytes] = {
        f"{name}.svg": '<?xml version="1.0" encoding="utf-8"?>\n' + svg for name, svg in pictures.items()
    }
    return files | {f"sensor-table-{number}.csv": table_csv(table) for number, table in enumerate(found.tables, 1)}


def table_csv(table: CorrectionTable) -> str:
    """A table of corrections, to read into a controller."""
    lines = [f"# {printable(table_words(table))}", "reading_deg,subtract_deg"]
    lines += [f"{360 * at / len(table.values):.7g},{value:.7f}" for at, value in enumerate(table.values)]
    return "\n".join(lines) + "\n"


def logs_section(found: MotionLogs, pictures: dict[str, str]) -> str:
    """The section as HTML text, with its pictures in it. pictures: SVG by name."""
    groups = [
        {
            "name": name,
            "rows": [
                {"about": row.about, "value": value_words(row), "assumed": assumed_words(row),
                 "judged": judged_words(row), "far": row.far, "words": row.words}
                for row in rows
            ],
        }
        for name, rows in groupby(found.rows, key=whose)
    ]  # fmt: skip
    from markupsafe import Markup

    return _rendered(
        "section.html",
        advice=found.advice,
        groups=groups,
        # Pictures are escaped by their maker.
        pictures=[{"title": each.title, "svg": Markup(pictures[each.name])} for each in found.pictures],
        tables=[table_words(table) for table in found.tables],
        remarks=found.remarks,
    )


def _rendered(name: str, **values: object) -> str:
    from jinja2 import Environment, StrictUndefined

    template = Path(__file__).with_name(name).read_text(encoding="utf-8")
    page = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    return page.from_string(template).render(**values)
