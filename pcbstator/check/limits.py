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
    code: str,
    severity: Severity,
    message: str,
    value: float,
    limit: float | None = None,
    where: str | None = None,
    digits: int = 0,
) -> Finding:
    """A finding; its message shows the value with three digits, with more where it would read like the limit, or with
    as many as ``digits`` says of a judgement.

    >>> found("a.b", "note", "it may bow by {value} mm, the gap is {limit} mm", 0.8025, 0.8, digits=2).message
    'it may bow by 0.8 mm, the gap is 0.8 mm'
    >>> found("a.b", "note", "{value} mm, below {limit} mm", 0.19996, 0.2).message
    '0.19996 mm, below 0.2 mm'
    """
    words = f"{value:.{digits}g}" if digits else _told_apart(value, limit)
    shown = {"value": words, "limit": "" if limit is None else f"{limit:.4g}"}
    rounded = None if limit is None else float(f"{limit:.6g}")
    for name, text in shown.items():  # not str.format: a name of the design file may hold braces
        message = message.replace(f"{{{name}}}", text)
    return Finding(code, severity, message, float(f"{value:.6g}"), rounded, where)


def _told_apart(value: float, limit: float | None) -> str:
    """A value with as few digits as tell it from its limit, and three at least; never in powers of ten below 1e6."""
    digits = next((n for n in range(3, 7) if limit is None or f"{value:.{n}g}" != f"{limit:.{n}g}"), 6)
    words = f"{value:.{digits}g}"
    return words if "e+" not in words else f"{value:.6g}"
