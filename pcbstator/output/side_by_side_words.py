"""Two designs side by side in words: rows for a page, lines for a terminal."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from pcbstator.check.side_by_side import FindingPair, KeyDifference, ResultDifference, SideBySide, VerdictPair
from pcbstator.errors import printable
from pcbstator.findings import Verdict
from pcbstator.output.quantities import shown, told_apart
from pcbstator.output.report.verdict import verdict_rows
from pcbstator.output.words import figures

LEAST_SHOWN = 0.05  # percent; a result that changes by less is counted, not shown: no builder meets it
LEAST_KELVIN = 0.5  # the same of a temperature
ABSENT = "–"
_NAME, _VALUE = 31, 12  # characters of a column on a terminal
SECTIONS = {  # of a page
    "winding": "Winding", "copper": "Copper", "electrical": "Resistance and inductance", "magnetic": "Magnets",
    "build": "As built", "thermal": "Heat", "mechanical": "Rotor",
    "surroundings": "In the rotor's field", "slip_ring": "Slip rings",
    "slip_ring_balls": "Balls of the slip rings", "motion": "The job", "drive": "Driver",
}  # fmt: skip


@dataclass(frozen=True)
class DifferenceRow:
    """One line: what it is, both values, the change in its unit and in percent."""

    name: str
    design: str
    other: str
    change: str = ""
    percent: str = ""
    meaning: str = ""


def key_rows(pairs: Iterable[KeyDifference]) -> list[DifferenceRow]:
    """Keys of the files as they stand there."""
    return [DifferenceRow(pair.key, _stated(pair.design), _stated(pair.other)) for pair in pairs]


def _stated(value: Any) -> str:
    if value is None:
        return ABSENT
    return f'"{printable(value)}"' if isinstance(value, str) else str(value).replace("True", "true")


def result_sections(found: SideBySide) -> tuple[dict[str, list[DifferenceRow]], int]:
    """Rows of the results by section, and how many change by too little to be shown."""
    sections: dict[str, list[DifferenceRow]] = {}
    small = 0
    for pair in found.results:
        if _is_small(pair):
            small += 1
            continue
        section = pair.key.partition(".")[0]
        sections.setdefault(section, []).append(_result_row(pair))
    return sections, small


def _is_small(pair: ResultDifference) -> bool:
    if pair.key.endswith("_c") and pair.change is not None:
        return abs(pair.change) < LEAST_KELVIN
    return pair.change_percent is not None and abs(pair.change_percent) < LEAST_SHOWN


def _result_row(pair: ResultDifference) -> DifferenceRow:
    name = pair.key.partition(".")[2]
    if pair.design is None or pair.other is None:
        sides = [ABSENT if value is None else shown(pair.key, value) for value in (pair.design, pair.other)]
        return DifferenceRow(name, sides[0], sides[1], meaning=pair.meaning)
    design, other = told_apart(pair.key, pair.design, pair.other)
    change = percent = ""
    if pair.change is not None:
        change = _signed(pair.change, shown(pair.key, abs(pair.change), 2)).replace("°C", "K")
    if pair.change_percent is not None:
        percent = _signed(pair.change_percent, f"{figures(abs(pair.change_percent), 2)} %")
    return DifferenceRow(name, design, other, change, percent, pair.meaning)


def _signed(value: float, words: str) -> str:
    return f"{'+' if value > 0 else '−'}{words}"


def verdict_pair_rows(pairs: Iterable[VerdictPair]) -> list[DifferenceRow]:
    """Each requirement with the answers of both."""
    found = []
    for pair in pairs:
        row = verdict_rows([verdict for verdict in (pair.design, pair.other) if verdict is not None])[0]
        found.append(DifferenceRow(row.requirement, _answer(pair.design), _answer(pair.other)))
    return found


def _answer(verdict: Verdict | None) -> str:
    if verdict is None:
        return "not stated"
    row = verdict_rows([verdict])[0]
    value = f", {row.predicted}" if row.predicted else ""
    return f"{row.verdict}: {row.limit}{value}"


def finding_lines(pairs: Iterable[FindingPair]) -> list[tuple[str, str]]:
    """Where a finding stands, and the finding; one that stands in both with other figures is there twice."""
    lines = []
    for pair in pairs:
        for side, here, there in (("design", pair.design, pair.other), ("other", pair.other, pair.design)):
            if here is not None:
                where = f"only {side}" if there is None else side
                lines.append((where, f"{here.label} [{here.code}] {printable(here.message)}"))
    return lines


def folded(found: SideBySide, small: int) -> str:
    """What is not shown, in a sentence."""
    words = f"{len(found.unchanged)} results are the same"
    return f"{words}, {small} change by less than {LEAST_SHOWN} % or {LEAST_KELVIN} K." if small else f"{words}."


def side_by_side_text(found: SideBySide) -> str:
    """Verdicts, keys that differ, results with their change, and findings, in lines of at most 80 characters."""
    names = [f"{printable(one.title)} ({printable(one.design_file)})" for one in (found.design, found.other)]
    lines = [f"design: {names[0]}", f"other:  {names[1]}"]
    if found.requirement:
        lines += ["", "requirement"]
        for row in verdict_pair_rows(found.requirement):
            lines += [f"  {row.name}", f"    design: {row.design}", f"    other:  {row.other}"]
    lines += ["", "keys that differ" if found.keys else "no key differs"]
    lines += _columns(key_rows(found.keys))
    sections, small = result_sections(found)
    for section, rows in sections.items():
        lines += ["", f"{section:<{_NAME + 2}}{'design':>{_VALUE}}{'other':>{_VALUE}}{'change':>{_VALUE}}"]
        lines += _columns(rows)
    lines += ["", folded(found, small)]
    told = finding_lines(found.findings)
    if told:
        lines += ["", "findings that differ", *(f"  {where}: {words}" for where, words in told)]
    return "\n".join(lines) + "\n"


def _columns(rows: Sequence[DifferenceRow]) -> list[str]:
    """Aligned rows; a name or value that is too long for its column has a line of its own."""
    lines = []
    for row in rows:
        values = (row.design, row.other, row.change)
        if any(len(value) >= _VALUE for value in values):
            lines += [f"  {row.name}", f"      design: {row.design}", f"      other:  {row.other}"]
            lines += [f"      change: {row.change}  {row.percent}"] if row.change else []
            continue
        start = f"  {row.name}"
        if len(start) > _NAME + 2:
            lines.append(start)
            start = ""
        cells = "".join(f"{value:>{_VALUE}}" for value in values)
        lines.append(f"{start:<{_NAME + 2}}{cells}{row.percent:>9}".rstrip())
    return lines
