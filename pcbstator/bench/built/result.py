"""What is known of motors as they were built, as frozen records."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pcbstator.bench.built.commissioning import Commissioned
    from pcbstator.bench.logs.result import CorrectionTable
    from pcbstator.check.side_by_side import SideBySide
    from pcbstator.design import Design
    from pcbstator.findings import Verdict


@dataclass(frozen=True)
class Setting:
    """A key of the design file with its new value, None: taken away; reason: the readings behind it, in words."""

    key: str
    value: Any
    before: Any
    reason: str

    def to_dict(self) -> dict[str, Any]:
        """Plain values; what is not there is left out."""
        said = {"key": self.key, "before": self.before, "value": self.value, "reason": self.reason}
        return {name: value for name, value in said.items() if value is not None}


@dataclass(frozen=True)
class Outcome:
    """A result of the motor as built, by its key in ``predict``. spread: one standard deviation of what is left open,
    over the value.
    """

    key: str
    about: str
    predicted: float
    built: float
    spread: float

    def to_dict(self) -> dict[str, Any]:
        """Plain values."""
        return {"key": self.key, "predicted": self.predicted, "built": self.built, "spread_percent": 100 * self.spread}


def _missed(verdicts: tuple[Verdict, ...]) -> list[str]:
    return [one.name for one in verdicts if one.verdict == "not met"]


@dataclass(frozen=True, eq=False)
class BuiltMotor:
    """A motor as it was built. design, text: with what was found, None where there is nothing to say or where
    ``refused`` says why; found: the design beside it, predicted. commissioned: what the test of the sensor gave. table:
    of corrections of the sensor; with_table: the requirement with it in the controller, where that is another question.
    """

    board: str
    rotor: str
    settings: tuple[Setting, ...] = ()
    outcomes: tuple[Outcome, ...] = ()
    design: Design | None = None
    text: str = ""
    found: SideBySide | None = None
    refused: str = ""
    commissioned: Commissioned | None = None
    table: CorrectionTable | None = None
    with_table: tuple[Verdict, ...] = ()
    remarks: tuple[str, ...] = field(default_factory=tuple)

    @property
    def name(self) -> str:
        """Its serial numbers."""
        return f"board {self.board}, rotor {self.rotor}"

    @property
    def decision(self) -> str:
        """Go or no-go, in a sentence."""
        if self.refused:
            return f"No-go: {self.refused}"
        if self.commissioned is not None and self.commissioned.contradictions:
            return f"No-go: {self.commissioned.contradictions[0]}"
        verdicts = self.found.other.requirement if self.found is not None else ()
        missed, left = _missed(verdicts), _missed(self.with_table)
        open_ = [one.name for one in verdicts if one.verdict == "cannot be said"]
        if missed and self.with_table and not left:
            words = "Go with the sensor's table of corrections in the controller"
            return f"{words}; without it, it does not meet {', '.join(missed)}."
        if missed and self.with_table:
            return f"No-go: even with the sensor's table in the controller it does not meet {', '.join(left)}."
        if missed:
            return f"No-go: as built it does not meet {', '.join(missed)}."
        if not verdicts:
            return "The design asks for nothing in [requirement], so there is no go or no-go."
        if open_:
            return f"Nothing asked for is missed, but it cannot be said of {', '.join(open_)}."
        return f"Go: as built it meets all {len(verdicts)} requirements."

    @property
    def go(self) -> bool:
        """Whether nothing stands against it."""
        return self.decision.startswith("Go")

    def to_dict(self) -> dict[str, Any]:
        """Plain values."""
        told: dict[str, Any] = {"board": self.board, "rotor": self.rotor, "decision": self.decision}
        if self.refused:
            told["refused"] = self.refused
        told["settings"] = [each.to_dict() for each in self.settings]
        told["results"] = [each.to_dict() for each in self.outcomes]
        if self.found is not None:
            told["requirement"] = [verdict.to_dict() for verdict in self.found.other.requirement]
        if self.with_table:
            told["requirement_with_table"] = [verdict.to_dict() for verdict in self.with_table]
        if self.commissioned is not None:
            told["commissioning"] = self.commissioned.to_dict()
        return told | ({"remarks": list(self.remarks)} if self.remarks else {})
