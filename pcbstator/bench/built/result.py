"""What is known of motors as they were built, as frozen records."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pcbstator.bench.built.commissioning import Commissioned
    from pcbstator.bench.logs.result import CorrectionTable
    from pcbstator.check.side_by_side import SideBySide
    from pcbstator.design import Design
    from pcbstator.findings import Verdict

RESERVED = "Go, but not for sure"
MET_NEAR = "met by less than the readings leave open"
MISSED_NEAR = "Missed by less than the readings leave open"


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


def within(verdict: Verdict, half_widths: Mapping[str, float]) -> bool:
    """Whether a value is nearer to its limit than readings leave open: then it may be the other way round."""
    if verdict.value is None or verdict.name not in half_widths:
        return False
    met = verdict.value <= verdict.limit if verdict.most else verdict.value >= verdict.limit
    if met != (verdict.verdict == "met"):  # something else than the value decides
        return False
    return abs(verdict.value - verdict.limit) < half_widths[verdict.name]


def _lines(verdicts: tuple[Verdict, ...], half_widths: Mapping[str, float]) -> list[dict[str, Any]]:
    """Lines of a requirement as plain values; what is not known is left out."""
    found: list[dict[str, Any]] = []
    for one in verdicts:
        wide = half_widths.get(one.name)
        known = {} if wide is None else {"half_width_95": wide, "left_open": within(one, half_widths)}
        found.append(one.to_dict() | known)
    return found


def _near(verdicts: tuple[Verdict, ...], half_widths: Mapping[str, float], verdict: str) -> str:
    """Lines of this verdict that may be the other way round, with how far each may be off."""
    return ", ".join(
        f"{one.name} ({one.value:.3g} ± {half_widths[one.name]:.2g}, at {'most' if one.most else 'least'} "
        f"{one.limit:.3g})"
        for one in verdicts if one.verdict == verdict and within(one, half_widths)
    )  # fmt: skip


@dataclass(frozen=True, eq=False)
class BuiltMotor:
    """A motor as it was built. design, text: with what was found, None where there is nothing to say or where
    ``refused`` says why; found: the design beside it, predicted. commissioned: what the test of the sensor gave. table:
    of corrections of the sensor; with_table: the requirement with it in the controller, where that is another question.
    half_widths, table_half_widths: of the lines of both requirements by name, 95 %, by what readings leave open.
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
    half_widths: Mapping[str, float] = field(default_factory=dict)
    table_half_widths: Mapping[str, float] = field(default_factory=dict)
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
        return self._with_table if self.with_table else self._as_built

    @property
    def _with_table(self) -> str:
        """The decision where the requirement is missed without the sensor's table."""
        verdicts = self.found.other.requirement if self.found is not None else ()
        left = _missed(self.with_table)
        near = _near(self.with_table, self.table_half_widths, "not met" if left else "met")
        if left:
            words = f"No-go: even with the sensor's table in the controller it does not meet {', '.join(left)}."
            return f"{words} {MISSED_NEAR}: {near}." if near else words
        words = "with the sensor's table of corrections in the controller"
        without = f"without it, it does not meet {', '.join(_missed(verdicts))}"
        return f"{RESERVED}: {words}, {MET_NEAR}: {near}; {without}." if near else f"Go {words}; {without}."

    @property
    def _as_built(self) -> str:
        verdicts = self.found.other.requirement if self.found is not None else ()
        missed, near = _missed(verdicts), _near(verdicts, self.half_widths, "met")
        open_ = [one.name for one in verdicts if one.verdict == "cannot be said"]
        if missed:
            near = _near(verdicts, self.half_widths, "not met")
            words = f"No-go: as built it does not meet {', '.join(missed)}."
            return f"{words} {MISSED_NEAR}: {near}." if near else words
        if not verdicts:
            return "The design asks for nothing in [requirement], so there is no go or no-go."
        if open_:
            words = f"Nothing asked for is missed, but it cannot be said of {', '.join(open_)}."
            return f"{words} {MET_NEAR.capitalize()}: {near}." if near else words
        if near:
            words = f"{RESERVED}: as built it meets all {len(verdicts)} requirements"
            return f"{words}, these by less than the readings leave open: {near}."
        return f"Go: as built it meets all {len(verdicts)} requirements."

    @property
    def go(self) -> bool:
        """Whether nothing stands against it."""
        return self.decision.startswith("Go") and not self.decision.startswith(RESERVED)

    def to_dict(self) -> dict[str, Any]:
        """Plain values."""
        told: dict[str, Any] = {"board": self.board, "rotor": self.rotor, "decision": self.decision}
        if self.refused:
            told["refused"] = self.refused
        told["settings"] = [each.to_dict() for each in self.settings]
        told["results"] = [each.to_dict() for each in self.outcomes]
        if self.found is not None:
            told["requirement"] = _lines(self.found.other.requirement, self.half_widths)
        if self.with_table:
            told["requirement_with_table"] = _lines(self.with_table, self.table_half_widths)
        if self.commissioned is not None:
            told["commissioning"] = self.commissioned.to_dict()
        return told | ({"remarks": list(self.remarks)} if self.remarks else {})
