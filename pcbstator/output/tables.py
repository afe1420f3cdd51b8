"""Results as plain text for a terminal."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from pcbstator.analysis.fields import Bounds, rows
from pcbstator.analysis.prediction import Prediction
from pcbstator.check.run import ORDER
from pcbstator.errors import printable
from pcbstator.findings import Finding, Verdict
from pcbstator.output.key_numbers import NOT_STATED, key_numbers
from pcbstator.output.quantities import shown
from pcbstator.output.report.rows.build_rows import causes_words, spread_words
from pcbstator.output.report.rows.order_rows import range_words, reasons
from pcbstator.output.report.verdict import verdict_lines
from pcbstator.winding import Winding

NOTE = (
    "ipc2221_phase_current_rms_a and ipc2152_phase_current_rms_a speak of one isolated trace in still air,\n"
    "board_phase_current_rms_a of the whole board;\n"
    "temperatures are good to 10 to 20 % of the rise at best: measure.\n"
    "Strong magnets pinch, hot copper burns, rotors throw things: see the cautions in the report.\n"
)


def prediction_table(prediction: Prediction) -> str:
    """The verdict, the findings, the eight numbers that are asked for first, then every result with its meaning."""
    lines = [f"{printable(prediction.title)}  ({printable(prediction.design_file)})", ""]
    lines += [requirement_text(prediction.requirement), findings_text(besides_the_verdict(prediction))]
    lines += [f"{row.name:<26}{row.value:>12}   {row.meaning}" for row in key_numbers(prediction)]
    for name, section in prediction.sections():
        lines += ["", name, *_section_lines(name, section)]
    return "\n".join(lines) + f"\n\n{NOTE}"


def _section_lines(name: str, section: Any) -> list[str]:
    """A line for every result that is a number or a word, and for the few lists that a reader wants to see."""
    lines = []
    for key, meaning, value in rows(section):
        if isinstance(value, int | float | str):
            words = shown(f"{name}.{key}", value)
            lines.append(f"  {key}{words:>{max(44 - len(key), len(words) + 2)}}   {meaning}")
        elif name == "electrical" and isinstance(value, dict):  # what a meter reads between each pair of terminals
            pairs = ", ".join(f"{pair} {shown(f'{name}.{key}', ohm)}" for pair, ohm in value.items())
            lines.append(f"  {key:<30}{pairs}   {meaning}")
        elif name == "build" and isinstance(value, dict):
            lines.append(f"  {key}   {spread_words(key, value)}: {meaning}; from {causes_words(value)}")
        elif name == "order" and isinstance(value, dict):
            bounds = Bounds.of(value)
            lines.append(f"  {key:<38}{range_words(f'{name}.{key}', bounds)}   {reasons(f'{name}.{key}', bounds)}")
        elif key == "layout":
            lines.append(f"  {key:<30}{' '.join(value)}")
        elif key == "emf_harmonics":
            orders = [f"{entry['order']}: {entry['ratio']:.2g}" for entry in value if entry["ratio"] >= 5e-5]
            lines.append(f"  {key:<30}{', '.join(orders)}")
    return lines


def besides_the_verdict(prediction: Prediction) -> list[Finding]:
    """The findings, worst first, but for those that only say again what the verdict says; accepted ones stay, with
    their reasons.
    """
    left = [
        finding for finding in prediction.findings
        if not finding.code.startswith("requirement.") or finding.accepted or not prediction.requirement
    ]  # fmt: skip
    return sorted(left, key=lambda finding: (ORDER[finding.severity], finding.accepted is not None))


def findings_text(findings: Iterable[Finding]) -> str:
    """One line a finding."""
    lines = [
        f"{finding.label} [{finding.code}] {printable(finding.message)}"
        + (f" ({finding.where})" if finding.where else "")
        + (f": {printable(finding.accepted)}" if finding.accepted else "")
        for finding in findings
    ]
    return "\n".join(lines or ["no findings"]) + "\n"


def requirement_text(verdicts: Sequence[Verdict]) -> str:
    """The verdict: each requirement with limit and prediction, then what decides it and what would meet it."""
    if not verdicts:
        return f"{NOT_STATED}\n"
    met = sum(verdict.verdict == "met" for verdict in verdicts)
    head = f"requirement: {met} of {len(verdicts)} met"
    return "\n".join([head, *map(printable, verdict_lines(verdicts))]) + "\n"


def windings_text(phases: int, windings: Sequence[Winding]) -> str:
    """A table of windings, best factor first for every number of coils."""
    if not windings:
        return f"no balanced winding of {phases} phases in this range\n"
    lines = [f"{'coils':>6}{'poles':>7}{'factor':>9}   parallel paths"]
    lines += [f"{w.coils:>6}{w.poles:>7}{w.factor:>9.4f}   {' '.join(map(str, w.path_counts))}" for w in windings]
    return "\n".join(lines) + "\n"
