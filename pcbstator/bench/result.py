"""What a comparison says, as frozen records. Values of rows are in the unit that they name."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pcbstator.bench.built.result import BuiltMotor
    from pcbstator.bench.built.scatter import Scatter
    from pcbstator.bench.logs.result import MotionLogs

UNITS_OFF = "units off"  # how slips of units begin
FAR = 3.0  # standard deviations beyond which a difference asks for a reason


@dataclass(frozen=True)
class Row:
    """A reading beside its prediction.

    sigma: one standard deviation of the difference, of which ``reading_sigma`` is the reading's and
    ``predicted_sigma`` that of what the tolerances allow; slip: the likely slip where the quotient of the two is that
    of one, in words; doubtful: another reading contradicts it.
    """

    name: str
    kind: str
    board: str
    rotor: str
    unit: str
    predicted: float
    measured: float
    reading_sigma: float
    predicted_sigma: float
    slip: str = ""
    doubtful: bool = False

    @property
    def sigma(self) -> float:
        """One standard deviation of the difference."""
        return float((self.reading_sigma**2 + self.predicted_sigma**2) ** 0.5)

    @property
    def deviation(self) -> float:
        """Difference in standard deviations."""
        return (self.measured - self.predicted) / self.sigma

    @property
    def percent(self) -> float:
        """Difference in percent of the prediction."""
        return 100 * (self.measured / self.predicted - 1)

    @property
    def far(self) -> bool:
        """Whether the difference asks for a reason."""
        return abs(self.deviation) > FAR

    def to_dict(self) -> dict[str, Any]:
        """Plain values."""
        said: dict[str, Any] = {"likely_slip": self.slip} if self.slip else {}
        return {
            "name": self.name,
            "kind": self.kind,
            "board": self.board,
            "rotor": self.rotor,
            "predicted": self.predicted,
            "measured": self.measured,
            "unit": self.unit,
            "reading_sigma": self.reading_sigma,
            "predicted_sigma": self.predicted_sigma,
            "deviation_percent": self.percent,
            "deviation_sigma": self.deviation,
            "doubtful": self.doubtful,
        } | said


@dataclass(frozen=True)
class Agreement:
    """Readings that must agree whatever the motor is like: how far apart they are.

    percent: the difference; sigma: the same in standard deviations of the readings alone.
    """

    about: str
    readings: tuple[str, ...]
    percent: float
    sigma: float
    words: str

    @property
    def contradiction(self) -> bool:
        """Whether they cannot both be right."""
        return abs(self.sigma) > FAR

    def to_dict(self) -> dict[str, Any]:
        """Plain values."""
        return {
            "about": self.about,
            "readings": list(self.readings),
            "difference_percent": self.percent,
            "difference_sigma": self.sigma,
            "contradiction": self.contradiction,
            "words": self.words,
        }


@dataclass(frozen=True)
class Cause:
    """What may lie behind the differences. evidence: logarithm to the base of 10 of how many times better it explains
    the readings than a motor within its tolerances does.
    """

    name: str
    evidence: float
    not_told_apart_from: tuple[str, ...] = ()
    words: str = ""
    motor: str = ""  # in words, where there are several
    beside: bool = False  # by other measurements than the rest, so that it may be there as well

    @property
    def better(self) -> str:
        """How many times better it explains the readings, in words.

        >>> Cause("remanence", 2.29).better, Cause("connection", 365.0).better
        ('200 times', 'more than 1000 times')
        """
        return f"{float(f'{10**self.evidence:.1g}'):g} times" if self.evidence <= 3 else "more than 1000 times"

    def to_dict(self) -> dict[str, Any]:
        """Plain values."""
        told = list(self.not_told_apart_from)
        said = {key: words for key, words in (("words", self.words), ("motor", self.motor)) if words}
        beside = {"beside": True} if self.beside else {}
        return {"name": self.name, "evidence": self.evidence, "not_told_apart_from": told} | said | beside

    def of(self, motor: str) -> Cause:
        """The cause in one of several motors."""
        return replace(self, motor=motor)


@dataclass(frozen=True)
class Comparison:
    """Measured beside predicted. remarks: what was left out of files, and readings that have no prediction here."""

    title: str
    design_file: str
    bench_file: str
    rows: tuple[Row, ...]
    agreements: tuple[Agreement, ...] = ()
    remarks: tuple[str, ...] = ()
    causes: tuple[Cause, ...] = ()
    next: str = ""
    judged: str = ""  # the verdict of the causes, where they were looked for
    extra: dict[str, Any] = field(default_factory=dict)  # further groups of results by their key
    logs: MotionLogs | None = None
    built: tuple[BuiltMotor, ...] = ()
    scatter: tuple[Scatter, ...] = ()  # over several motors

    @property
    def contradictions(self) -> tuple[Agreement, ...]:
        """Readings that contradict each other, the worst first."""
        found = [each for each in self.agreements if each.contradiction]
        return tuple(sorted(found, key=lambda each: -abs(each.sigma)))

    @property
    def doubtful(self) -> tuple[str, ...]:
        """Names of the readings that are not to be trusted: a likely slip, or another reading against them."""
        return tuple(row.name for row in self.rows if row.doubtful or row.slip)

    @property
    def as_predicted(self) -> bool:
        """Whether nothing contradicts itself, is far off, or has a cause to be looked for."""
        far = any(row.far for row in self.rows) or (self.logs is not None and bool(self.logs.far))
        return not (self.contradictions or self.causes or far)

    @property
    def verdict(self) -> str:
        """In a sentence."""
        if self.contradictions:
            return f"Readings contradict each other; take them again first: {self.contradictions[0].words}"
        slips = [row for row in self.rows if row.slip]
        slips.sort(key=lambda row: not row.slip.startswith(UNITS_OFF))
        if self.causes and not (slips and slips[0].slip.startswith(UNITS_OFF)):  # a slip of units says nothing else
            return self.judged
        if slips:
            return f"A reading looks like a slip: {slips[0].name}: {slips[0].slip}"
        far = [row for row in self.rows if row.far]
        logged = self.logs.far if self.logs else ()
        if not far and logged:
            apart = abs(logged[0].deviation or 0.0)
            said = f"{logged[0].about} ({logged[0].log}), {apart:.0f} standard deviations"
            if len(logged) == 1:
                return f"By the motion logs one value is not as assumed: {said}."
            return f"By the motion logs {len(logged)} values are not as assumed; the farthest is {said}."
        if self.judged and not far:
            return self.judged
        if not self.rows and self.logs is not None and self.logs.rows:
            return "The motion logs show nothing that was not assumed."
        if not self.rows:
            return "No reading has a predicted value beside it: nothing is known of this motor yet."
        if not far:
            return "The motor is within what its tolerances allow."
        worst = max(far, key=lambda row: abs(row.deviation))
        count = "One reading is" if len(far) == 1 else f"{len(far)} readings are"
        return (
            f"{count} more than {FAR:g} standard deviations from the prediction; the farthest is {worst.name}, "
            f"{worst.percent:+.3g} %, {abs(worst.deviation):.1f} standard deviations."
        )

    def explained(self, names: frozenset[str], about: str) -> Comparison:
        """Where agreements of a kind, between readings of these names, are no contradictions: a fault explains them."""
        agreed = tuple(
            replace(each, sigma=max(min(each.sigma, FAR), -FAR))
            if each.about == about and names.issuperset(each.readings)
            else each
            for each in self.agreements
        )
        against = {name for each in agreed if each.contradiction for name in each.readings}
        rows = tuple(replace(row, doubtful=row.name in against) for row in self.rows)
        return replace(self, agreements=agreed, rows=rows)

    def with_causes(
        self, causes: tuple[Cause, ...], following: str, verdict: str, more: dict[str, Any] | None = None
    ) -> Comparison:
        """With what lies behind the differences; more: further groups of results."""
        return replace(self, causes=causes, next=following, judged=verdict, extra=self.extra | (more or {}))

    def to_dict(self) -> dict[str, Any]:
        """The object of ``compare --json``."""
        head: dict[str, Any] = {"title": self.title, "design_file": self.design_file, "bench_file": self.bench_file}
        body: dict[str, Any] = {
            "readings": [row.to_dict() for row in self.rows],
            "agreements": [each.to_dict() for each in self.agreements],
            "doubtful": list(self.doubtful),
            "causes": [cause.to_dict() for cause in self.causes],
            "verdict": self.verdict,
        }
        if self.next:
            body["next"] = self.next
        if self.logs is not None:
            body["logs"] = self.logs.to_dict()
        if self.built:
            body["built"] = [each.to_dict() for each in self.built]
        if self.scatter:
            body["scatter"] = [each.to_dict() for each in self.scatter]
        if self.remarks:
            body["remarks"] = list(self.remarks)
        return head | body | self.extra
