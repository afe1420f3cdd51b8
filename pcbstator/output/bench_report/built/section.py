"""The sections of the page of a comparison that lead it, and the files for the drive of the motor as built."""

from __future__ import annotations

from pcbstator.analysis.pipeline import package_version
from pcbstator.bench.built.result import BuiltMotor, within
from pcbstator.bench.result import Comparison
from pcbstator.output.bench_report.built.words import (
    commissioning_rows,
    drive_of,
    drive_rows,
    outcome_row,
    requirement_rows,
    scatter_row,
    setting_row,
)
from pcbstator.output.report.drive_files import drive_header, drive_json
from pcbstator.output.report.verdict import verdict_rows
from pcbstator.output.side_by_side_words import SECTIONS, DifferenceRow, folded, result_sections


def built_section(found: Comparison, name: str) -> str:
    """A section as HTML; name: of its template, ``decision`` or ``built``."""
    from pathlib import Path

    from jinja2 import Environment, StrictUndefined

    if not found.built:
        return ""
    template = Path(__file__).with_name(f"{name}.html").read_text(encoding="utf-8")
    page = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    several = len(found.built) > 1
    return page.from_string(template).render(
        several=several, motors=[_cells(motor) for motor in found.built], scatter=list(map(scatter_row, found.scatter))
    )


def _cells(motor: BuiltMotor) -> dict[str, object]:
    sections, small = result_sections(motor.found) if motor.found is not None else ({}, 0)
    return {
        "motor": motor,
        "verdicts": _verdicts(motor),
        "settings": list(map(setting_row, motor.settings)),
        "outcomes": list(map(outcome_row, motor.outcomes)),
        "drive": drive_rows(motor),
        "commissioning": commissioning_rows(motor.commissioned) if motor.commissioned is not None else [],
        "sections": [(SECTIONS.get(name, name), rows) for name, rows in sections.items()],
        "folded": folded(motor.found, small) if motor.found is not None else "",
    }


def _verdicts(motor: BuiltMotor) -> list[tuple[DifferenceRow, str, list[tuple[str, str]]]]:
    """Each requirement; "missed" where it is as built, "open" where readings leave that open; why and the way out."""
    found = []
    pairs = motor.found.requirement if motor.found is not None else ()
    for pair, row in zip(pairs, requirement_rows(motor), strict=True):
        missed = pair.other is not None and pair.other.verdict == "not met"
        reasons = verdict_rows([pair.other])[0].reasons if missed and pair.other is not None else []
        open_ = pair.other is not None and within(pair.other, motor.half_widths)
        found.append((row, "missed" if missed else "open" if open_ else "", reasons))
    return found


def drive_files(found: Comparison) -> dict[str, str | bytes]:
    """``drive.h`` and ``drive.json``; with a number in the order of the bench where there are several motors."""
    files: dict[str, str | bytes] = {}
    for number, motor in enumerate(found.built, 1):
        parameters = drive_of(motor)
        if parameters is None:
            continue
        stem = "drive" if len(found.built) == 1 else f"drive-{number}"
        title, version = f"{found.title}, {motor.name}", package_version()
        origin = f"as built, by readings; pcbstator {version}"
        files[f"{stem}.json"] = drive_json(parameters, title, version)
        files[f"{stem}.h"] = drive_header(parameters, title, version, origin)
    return files
