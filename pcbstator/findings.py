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


Judgement = Literal["met", "not met", "cannot be said"]


@dataclass(frozen=True)
class Verdict:
    """The answer to one requirement; limit and value are in the unit of the requirement's key.

    most: whether the value must be at most the limit. decided_by: what sets the value, or why it cannot be said.
    short: by which part of what is needed something else falls short, which forbids a value within its limit.
    settings: values of keys that ``way_out`` names, where these would do.
    """

    name: str
    limit: float
    value: float | None
    verdict: Judgement
    most: bool = True
    decided_by: str = ""
    way_out: str = ""
    short: float = 0.0
    settings: tuple[tuple[str, object], ...] = ()

    @property
    def margin(self) -> float | None:
        """What is left to the limit, in parts of it; negative where it is not met."""
        if self.value is None or self.limit == 0:
            return None
        left = (self.limit - self.value if self.most else self.value - self.limit) / abs(self.limit)
        return min(left, -self.short) if self.short else left

    def to_dict(self) -> dict[str, object]:
        """The verdict as plain values; what does not apply is left out."""
        found = {"name": self.name, "limit": self.limit, "value": self.value, "margin_ratio": self.margin}
        found |= {"verdict": self.verdict, "decided_by": self.decided_by, "way_out": self.way_out}
        return {key: value for key, value in found.items() if value is not None}
