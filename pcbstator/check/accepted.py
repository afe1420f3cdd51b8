"""Findings that the user has dealt with: they become notes with the user's reason, until they have grown."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

from pcbstator.design.sections.requirement import Acceptance
from pcbstator.findings import Finding

GROWTH = 0.1  # of the accepted value: what goes further is asked about again


def with_acceptances(findings: Iterable[Finding], accepted: Mapping[str, Acceptance] | None) -> list[Finding]:
    """The findings, those with an accepted code as notes with the reason; errors cannot be accepted.

    What has grown by more than a tenth of the accepted value comes back as it was, and says so. An acceptance that
    nothing asks for is a note of its own.
    """
    found = list(findings)
    if not accepted:
        return found
    idle = accepted.keys() - {finding.code for finding in found}
    settled = [_settled(finding, accepted.get(finding.code)) for finding in found]
    return settled + [
        Finding(
            "accepted.idle", "note", f"nothing asks to accept {code}: take it out of [accepted], or mend its spelling",
            where=f"accepted.{code}",
        )
        for code in sorted(idle)
    ]  # fmt: skip


def _settled(finding: Finding, acceptance: Acceptance | None) -> Finding:
    if acceptance is None or finding.severity == "note":
        return finding
    if finding.severity == "error":
        return replace(finding, message=f"{finding.message}; an error cannot be accepted")
    value = finding.value if isinstance(finding.value, float | int) else None
    if acceptance.value is None or value is None:
        hint = "" if value is None else f"; write value = {value:.4g} beside the reason to hear of it when it grows"
        return replace(finding, severity="note", message=f"{finding.message}{hint}", accepted=acceptance.reason)
    if _grown(finding, value, acceptance.value):
        message = f"{finding.message}; it was accepted at {acceptance.value:.4g} ({acceptance.reason})"
        return replace(finding, message=f"{message} and is {value:.4g} now")
    return replace(finding, severity="note", accepted=acceptance.reason)


def _grown(finding: Finding, value: float, accepted: float) -> bool:
    """Whether a value went further from its limit than was accepted; without a limit, whether it grew."""
    falls = isinstance(finding.limit, float | int) and value < finding.limit
    further = accepted - value if falls else value - accepted
    return further > GROWTH * abs(accepted)
