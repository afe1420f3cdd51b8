"""How a value that misses its limit becomes a finding."""

from __future__ import annotations

from pcbstator.findings import Finding, Severity

ROUNDING = 1e-9  # relative: a value that equals its limit but for rounding meets it


def at_least(
    code: str, value: float, limit: float, message: str, severity: Severity = "error", where: str | None = None
) -> list[Finding]:
    """A finding if ``value`` is below ``limit``; {value} and {limit} in the message are filled in."""
    if value >= limit - ROUNDING * max(abs(value), abs(limit)):
        return []
    return [found(code, severity, message, value, limit, where)]


def at_most(
    code: str, value: float, limit: float, message: str, severity: Severity = "error", where: str | None = None
) -> list[Finding]:
    """A finding if ``value`` is above ``limit``; {value} and {limit} in the message are filled in."""
    if value <= limit + ROUNDING * max(abs(value), abs(limit)):
        return []
    return [found(code, severity, message, value, limit, where)]


def found(
    code: str, severity: Severity, message: str, value: float, limit: float | None = None, where: str | None = None
) -> Finding:
    """A finding with its numbers, rounded as the message shows them."""
    shown = {"value": f"{value:.4g}", "limit": "" if limit is None else f"{limit:.4g}"}
    rounded = None if limit is None else float(f"{limit:.6g}")
    for name, text in shown.items():  # not str.format: a name of the design file may hold braces
        message = message.replace(f"{{{name}}}", text)
    return Finding(code, severity, message, float(f"{value:.6g}"), rounded, where)
