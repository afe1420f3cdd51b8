"""Findings: what a check has to say about a design that can be laid out."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Literal

Severity = Literal["error", "warning", "note"]


@dataclass(frozen=True)
class Finding:
    """One remark with a stable code; ``value``, ``limit`` and ``where`` are in the units that the message names.

    accepted: the user's reason why it is no concern.
    """

    code: str
    severity: Severity
    message: str
    value: float | str | None = None
    limit: float | str | None = None
    where: str | None = None
    accepted: str | None = None

    @property
    def label(self) -> str:
        """The severity, or that the user accepted it."""
        return self.severity if self.accepted is None else "accepted"

    def to_dict(self) -> dict[str, object]:
        """The finding as plain values; what does not apply is left out."""
        return {key: value for key, value in asdict(self).items() if value is not None}
