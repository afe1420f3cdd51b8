"""Results as plain text for a terminal."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from pcbstator.analysis.fields import rows
from pcbstator.analysis.prediction import Prediction
from pcbstator.errors import printable
from pcbstator.findings import Finding, Verdict
from pcbstator.output.report.verdict import verdict_lines
from pcbstator.winding import Winding

NOTE = (
    "ipc2221_phase_current_rms_a and ipc2152_phase_current_rms_a speak of one isolated trace in still air,\n"
    "board_phase_current_rms_a of the whole board;\n"
    "temperatures are good to 10 to 20 % of the rise at best: measure.\n"
    "Strong magnets pinch, hot copper burns, rotors throw things: see the cautions in the report.\n"
)


def prediction_table(prediction: Prediction) -> str:
    """Every single-number result with its meaning, then the findings."""
    lines = [f"{printable(prediction.title)}  ({printable(prediction.design_file)})"]
    for name, section in prediction.sections():
        lines += ["", name]
        for key, meaning, value in rows(section):
            if isinstance(value, (int, float, str)):
                lines.append(f"  {key:<30}{_shown(value):>12}   {meaning}")
            elif name == "electrical" and isinstance(value, dict):  # what a meter reads between each pair of terminals
                pairs = ", ".join(f"{pair} {_shown(ohm)}" for pair, ohm in value.items())
                lines.append(f"  {key:<30}{pairs}   {meaning}")
        if name == "winding":
            lines += [f"  {'layout':<30}{' '.join(section.layout)}"]
        if name == "magnetic":
            shown = [
                f"{entry['order']}: {entry['ratio']:.4f}" for entry in section.emf_harmonics if entry["ratio"] >= 5e-5
            ]
            lines += [f"  {'emf_harmonics':<30}{', '.join(shown)}"]
    return "\n".join(lines) + "\n\n" + findings_text(prediction.findings) + "\n" + NOTE


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
    """The verdict on every requirement, what decides it and what would meet it."""
    return "\n".join(["requirement", *map(printable, verdict_lines(verdicts))]) + "\n"


def windings_text(phases: int, windings: Sequence[Winding]) -> str:
    """A table of windings, best factor first for every number of coils."""
    if not windings:
        return f"no balanced winding of {phases} phases in this range\n"
    lines = [f"{'coils':>6}{'poles':>7}{'factor':>9}   parallel paths"]
    lines += [f"{w.coils:>6}{w.poles:>7}{w.factor:>9.4f}   {' '.join(map(str, w.path_counts))}" for w in windings]
    return "\n".join(lines) + "\n"


def _shown(value: Any) -> str:
    return f"{value:.5g}" if isinstance(value, float) else str(value)
