"""How findings about written boards name places."""

from __future__ import annotations

from collections.abc import Sequence

from pcbstator.findings import Finding, Severity

MOST_OF_A_KIND = 8  # findings of one code that are told one by one


def place(x: float, y: float, layer: int | None = None) -> str:
    """Where something is, as ``where`` of a finding has it.

    >>> place(1.23456, -2.0, 3)
    'layer 3, x 1.235 mm, y -2.000 mm'
    """
    spot = f"x {x + 0.0:.3f} mm, y {y + 0.0:.3f} mm"
    return spot if layer is None else f"layer {layer}, {spot}"


def written(
    code: str,
    message: str,
    where: str | None,
    severity: Severity = "error",
    value: float | str | None = None,
    limit: float | None = None,
) -> Finding:
    """A finding whose value is shown with three digits."""
    rounded = float(f"{value:.4g}") if isinstance(value, float) else value
    return Finding(code, severity, message, rounded, limit, where)


def at_most_told(findings: Sequence[Finding], most: int = MOST_OF_A_KIND) -> list[Finding]:
    """Findings with those beyond ``most`` of one code counted in one more line."""
    kept: list[Finding] = []
    for code in dict.fromkeys(finding.code for finding in findings):
        same = [finding for finding in findings if finding.code == code]
        kept += same[:most]
        if len(same) > most:
            words = f"{len(same) - most} more of the same kind"
            kept.append(Finding(code, same[most].severity, words, len(same) - most))
    return kept
