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
    digits: int = 3,
) -> Finding:
    """A finding; its message shows value and limit with so many digits, more where they would read alike.

    >>> found("a.b", "note", "{value} mm, below {limit} mm", 0.80251, 0.9, digits=2).message
    '0.8 mm, below 0.9 mm'
    >>> found("a.b", "note", "{value} mm, below {limit} mm", 0.19996, 0.2, digits=2).message
    '0.19996 mm, below 0.2 mm'
    """
    shown = {"value": _told_apart(value, limit, digits), "limit": "" if limit is None else f"{limit:.4g}"}
    rounded = None if limit is None else float(f"{limit:.6g}")
    for name, text in shown.items():  # not str.format: a name of the design file may hold braces
        message = message.replace(f"{{{name}}}", text)
    return Finding(code, severity, message, float(f"{value:.6g}"), rounded, where)


def _told_apart(value: float, limit: float | None, digits: int) -> str:
    """A value with as few digits as tell it from its limit, and so many at least."""
    least = next((n for n in range(digits, 7) if limit is None or f"{value:.{n}g}" != f"{limit:.{n}g}"), digits)
    words = f"{value:.{least}g}"
    return words if "e" not in words else f"{value:.6g}"
