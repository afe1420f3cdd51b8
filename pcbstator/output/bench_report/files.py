"""The files of a comparison, by their names."""

from __future__ import annotations

from pcbstator.bench.result import Comparison
from pcbstator.output.bench_report.built.section import drive_files
from pcbstator.output.bench_report.comparison_page import comparison_html
from pcbstator.output.bench_report.logs.section import log_files, log_pictures, logs_section
from pcbstator.output.bench_report.picture import deviations_svg
from pcbstator.output.bench_report.words import comparison_text
from pcbstator.output.files import MANIFEST, json_text


def comparison_files(found: Comparison) -> dict[str, str | bytes]:
    """Page, pictures, tables, text and plain data; no picture where no reading has a prediction beside it."""
    picture = deviations_svg(found) if found.rows else ""
    files: dict[str, str | bytes] = {"comparison.svg": picture} if picture else {}
    section = ""
    if found.logs is not None:
        pictures = log_pictures(found.logs)
        section = logs_section(found.logs, pictures)
        files |= log_files(found.logs, pictures)
    files |= {
        "comparison.html": comparison_html(found, section, picture),
        "comparison.txt": comparison_text(found),
        "comparison.json": json_text(found.to_dict()),
    }
    files |= drive_files(found)
    manifest = {"title": found.title, "files": [{"name": name, "role": _role(name)} for name in files]}
    return files | {MANIFEST: json_text(manifest)}


def _role(name: str) -> str:
    return "prediction" if name.startswith("drive") else "report"
