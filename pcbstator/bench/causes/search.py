"""What lies behind the differences: causes by their evidence, what tells the leading ones apart, the verdict."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import exp, log
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pcbstator.bench.agreement import PHASES
from pcbstator.bench.causes.allowances import scaled
from pcbstator.bench.causes.evidence import POSITIVE, STRONG, Hypothesis, Model, model_of
from pcbstator.bench.causes.faults import Fault, faults
from pcbstator.bench.causes.limits import Fit, best_pair, farthest, fit_of, not_shown
from pcbstator.bench.causes.misreadings import usable
from pcbstator.bench.causes.next_reading import best_separation, further_readings, shown, what_to_measure
from pcbstator.bench.causes.words import SIMPLE, in_short, is_it, places, to_do
from pcbstator.bench.load import Bench
from pcbstator.bench.machine_state import MachineState
from pcbstator.bench.predicted import quantities
from pcbstator.bench.readings import Reading
from pcbstator.bench.result import Cause, Comparison, Row

FloatArray = NDArray[np.float64]
Motor = tuple[str, str]  # serial numbers of board and rotor

SLIGHT = log(1000.0)  # of evidence against the leading cause: what is left is not worth a line
MOST = 6  # causes that are listed
SOUND = "The motor is within what its tolerances allow."


@dataclass(frozen=True, eq=False)
class Basis:
    """What a judgement rests on: readings as ``scaled`` has them, those that count, and the hypothesis that leads, the
    motor within its tolerances where nothing stands out. fits: whether it allows readings like these.
    """

    model: Model
    measured: FloatArray
    taken: NDArray[np.bool_]
    lead: Hypothesis
    fits: bool


@dataclass(frozen=True, eq=False)
class Judgement:
    """What the readings of one motor say; explained: by a fault of the motor, and by no slip as well."""

    causes: tuple[Cause, ...]
    following: str
    verdict: str
    basis: Basis
    estimated: tuple[dict[str, Any], ...] = ()
    explained: bool = False
    hidden: tuple[dict[str, str], ...] = ()  # faults that these readings would not show
    fit: Fit | None = None  # of the leading hypothesis
    together: tuple[str, ...] = ()  # two causes that explain what no single one does


def with_causes(
    found: Comparison, bench: Bench, state: MachineState, known: Sequence[Fault] | None = None
) -> Comparison:
    """A comparison with what lies behind its differences; state: of the motor as designed; known: its faults, where
    they were computed before.
    """
    return with_judgements(found, judgements(found, bench, state, known))


def judgements(
    found: Comparison, bench: Bench, state: MachineState, known: Sequence[Fault] | None = None
) -> dict[Motor, Judgement]:
    """What the readings of every motor say, by board and rotor."""
    motors = list(dict.fromkeys((row.board, row.rotor) for row in found.rows))
    known = tuple(faults(state)) if motors and known is None else known or ()
    own = {
        motor: [row for row in found.rows if (row.board, row.rotor) == motor and usable(row.slip)] for motor in motors
    }
    return {motor: judged(state, known, rows, bench.readings) for motor, rows in own.items() if rows}


def with_judgements(found: Comparison, judged_motors: Mapping[Motor, Judgement]) -> Comparison:
    """A comparison with what the readings of its motors say."""
    several = len({(row.board, row.rotor) for row in found.rows}) > 1
    told: list[tuple[str, Judgement]] = []
    for motor, each in judged_motors.items():
        told.append((f"board {motor[0]}, rotor {motor[1]}" if several else "", each))
        if each.explained:
            own = [row for row in found.rows if (row.board, row.rotor) == motor and usable(row.slip)]
            found = found.explained(frozenset(row.name for row in own), PHASES)
    if not told:
        return found
    blamed = [(whose, each) for whose, each in told if each.verdict != SOUND]
    causes = tuple(cause.of(whose) for whose, each in blamed for cause in each.causes)
    verdict = " ".join(_of(whose, each.verdict) for whose, each in blamed) or SOUND
    following = " ".join(_of(whose, each.following) for whose, each in blamed if each.following)
    return found.with_causes(causes, following, verdict, _further(told))


def _further(told: Sequence[tuple[str, Judgement]]) -> dict[str, Any]:
    """What else is said of the motors: quantities, how well all fits, faults that would not show."""
    whole: dict[str, Any] = {"estimated": [one for _, each in told for one in each.estimated]}
    whole["fit"] = [
        {"chi_square": each.fit.chi_square, "readings": each.fit.freedom, "chance": each.fit.chance}
        | ({"together": list(each.together)} if each.together else {}) | ({"motor": whose} if whose else {})
        for whose, each in told if each.fit is not None
    ]  # fmt: skip
    hidden = {one["name"]: one for _, each in told for one in each.hidden}
    return whole | {"not_shown": list(hidden.values())}


def _of(motor: str, words: str) -> str:
    return f"{motor[0].upper()}{motor[1:]}: {words}" if motor else words


def judged(state: MachineState, known: Sequence[Fault], rows: Sequence[Row], readings: Sequence[Reading]) -> Judgement:
    """What the readings of one motor say."""
    told = {(each.kind, each.name, each.board, each.rotor, getattr(each, "value", None)): each for each in readings}
    own = [told[row.kind, row.name, row.board, row.rotor, row.measured] for row in rows]
    more = further_readings(state, own)
    values = np.append([row.predicted for row in rows], quantities(state, more))
    kept = np.isfinite(values) & (values > 0)
    all_readings = [each for each, keep in zip((*own, *more), kept, strict=True) if keep]
    model = model_of(state, all_readings, values[kept], known, len(own))
    taken = np.arange(len(all_readings)) < len(own)
    measured = np.zeros(len(all_readings))
    measured[: len(own)] = scaled(own, np.array([row.measured for row in rows]), values[: len(own)])
    return judgement(model, measured, taken)


def judgement(model: Model, measured: FloatArray, taken: NDArray[np.bool_]) -> Judgement:
    """What readings say; measured: (readings,) as ``scaled`` has them."""
    ranked = ranking(model, model.evidences(measured[None], taken)[0])
    healthy = model.hypotheses[0]
    lead = ranked.best[ranked.listed[0]] if ranked.alarm else healthy
    fit = fit_of(model, lead, measured, taken)
    basis = Basis(model, measured, taken, lead, fit.good)
    hidden = tuple({"name": name, "words": words} for name, words in not_shown(model, taken).items())
    found = Judgement((), "", SOUND, basis, _estimated(model, lead, measured, taken), hidden=hidden, fit=fit)
    if ranked.alarm:
        phrases = {name: _phrase(model, ranked, name, measured, taken) for name in ranked.listed}
        causes = tuple(
            Cause(name, ranked.evidence[name] / log(10), ranked.tied_with(name), phrases[name])
            for name in ranked.listed
        )
        following = _following(model, ranked, phrases, measured, taken)
        explained = fit.good and all(ranked.best[name].of_motor for name in ranked.tie)
        found = replace(found, causes=causes, verdict=_verdict(ranked, phrases), following=following,
                        explained=explained)  # fmt: skip
    return found if fit.good else _unexplained(found, ranked, fit)


def _unexplained(found: Judgement, ranked: Ranking, fit: Fit) -> Judgement:
    """Where not even the leading cause allows readings like these: two causes at once, or none that is known."""
    model, measured, taken, lead = found.basis.model, found.basis.measured, found.basis.taken, found.basis.lead
    pair = best_pair(model, measured, taken)
    head = f"No single cause explains these readings ({fit.words})."
    nearest = f" The nearest is {is_it(lead.name, lead.where)}." if ranked.alarm and lead.allowance < 0 else ""
    if pair is not None and pair.fit.good:
        both = [_of_pair(one) for one in (pair.first, pair.second)]
        more = f"; {pair.others} other pairs fit about as well" if pair.others > 1 else ""
        verdict = f"{head} Two together do: {both[0]}, and {both[1]} ({pair.fit.words}{more})."
        first = to_do(pair.first.name, pair.first.where) if pair.first.allowance < 0 else ""
        second = to_do(pair.second.name, pair.second.where)
        following = f"{first} {second} Then compare again.".strip()
        return replace(found, verdict=verdict, following=following, together=(pair.first.name, pair.second.name))
    far = farthest(model, lead, measured, taken)
    again = f" Farthest from all others: {', '.join(far)}." if far else ""
    return replace(found, verdict=f"{head}{nearest} No two causes together do either.{again}",
                   following="Take the far readings again, then compare again.")  # fmt: skip


def _of_pair(one: Hypothesis) -> str:
    """In words without a size, which two together leave open."""
    return f"{one.name.replace('_', ' ')} out of its tolerance" if one.allowance >= 0 else is_it(one.name, one.where)


@dataclass(frozen=True, eq=False)
class Ranking:
    """Causes by name in order of evidence (logarithm, against a motor within its tolerances; mean over all places).

    best: the place with the most evidence; where: all places that the readings do not rule out. alarm: whether anything
    explains the readings better than a motor within its tolerances does.
    """

    evidence: dict[str, float]
    best: dict[str, Hypothesis]
    where: dict[str, tuple[str, ...]]
    alarm: bool

    @property
    def listed(self) -> tuple[str, ...]:
        """Those worth a line."""
        most = next(iter(self.evidence.values()))
        near = [name for name, one in self.evidence.items() if one > max(most - SLIGHT, POSITIVE)]
        return tuple(near[:MOST]) or tuple(self.evidence)[:1]

    @property
    def tie(self) -> tuple[str, ...]:
        """The leading cause and what the readings do not tell apart from it."""
        return self.listed[:1] + self.tied_with(self.listed[0])

    def tied_with(self, name: str) -> tuple[str, ...]:
        """Other listed causes that the readings do not tell apart from this one."""
        own = self.evidence[name]
        return tuple(other for other in self.listed if other != name and abs(self.evidence[other] - own) < STRONG)


def ranking(model: Model, evidences: FloatArray) -> Ranking:
    """Causes from the evidence of every hypothesis (hypotheses,)."""
    members: dict[str, list[int]] = {}
    for number, one in enumerate(model.hypotheses[1:], start=1):
        members.setdefault(one.name, []).append(number)
    found, best, where = {}, {}, {}
    for name, numbers in members.items():
        lines = evidences[numbers]
        most = float(lines.max())
        if most == -np.inf:
            continue
        found[name] = most + log(float(np.exp(lines - most).mean()))
        best[name] = model.hypotheses[numbers[int(np.argmax(lines))]]
        order = sorted(numbers, key=lambda number: -evidences[number])
        near = [model.hypotheses[number].where for number in order if evidences[number] > most - STRONG]
        where[name] = tuple(dict.fromkeys(near))
    weights = np.array([one.weight for one in model.hypotheses])
    most = float(evidences.max())
    mixed = most + log(float(weights @ np.exp(evidences - most)))
    by_evidence = dict(sorted(found.items(), key=lambda item: -item[1]))
    return Ranking(by_evidence, best, where, mixed > POSITIVE)


def _phrase(model: Model, ranked: Ranking, name: str, measured: FloatArray, taken: NDArray[np.bool_]) -> str:
    return is_it(name, places(ranked.where[name]), *_by_how_much(model, ranked.best[name], measured, taken))


def _short(model: Model, ranked: Ranking, name: str, measured: FloatArray, taken: NDArray[np.bool_]) -> str:
    more, _ = _by_how_much(model, ranked.best[name], measured, taken)
    return in_short(name, places(ranked.where[name]), more)


def _by_how_much(model: Model, one: Hypothesis, measured: FloatArray, taken: NDArray[np.bool_]) -> tuple[float, float]:
    """How far a quantity is out of its design value, and the uncertainty of that; 0 where the cause is none."""
    if one.allowance < 0:
        return 0.0, 0.0
    found, at = model.estimated(one, measured, taken), one.allowance
    return float(found.values[at]), float(found.covariance[at, at]) ** 0.5


def _verdict(ranked: Ranking, phrases: dict[str, str]) -> str:
    tie = ranked.tie
    better = Cause(tie[0], ranked.evidence[tie[0]] / log(10)).better
    than = "than a motor within its tolerances"
    if len(tie) == 1:
        return f"Most likely it is {phrases[tie[0]]}: the readings fit that {better} better {than}."
    told = "; ".join(phrases[name] for name in tie[:-1]) + f"; or {phrases[tie[-1]]}"
    return f"These readings cannot tell {len(tie)} causes apart: {told}. The first fits {better} better {than}."


def _following(
    model: Model, ranked: Ranking, phrases: dict[str, str], measured: FloatArray, taken: NDArray[np.bool_]
) -> str:
    """What to do next: tell the two leading causes apart, or mend the one that leads."""
    tie = ranked.tie
    lead = to_do(tie[0], places(ranked.where[tie[0]]))
    if len(tie) == 1:
        return lead
    first, second = ranked.best[tie[0]], ranked.best[tie[1]]
    found = best_separation(model, measured, taken, first, second)
    if found is None:
        other = to_do(tie[1], places(ranked.where[tie[1]]))
        return f"No reading of the bench sheet tells the first two apart. For the first: {lead} For the second: {other}"
    told = what_to_measure(model.readings[found.reading])
    one, two = (shown(model, found.reading, value) for value in (found.first, found.second))
    this, that = (_short(model, ranked, name, measured, taken) for name in tie[:2])
    said = f"{told[0].upper()}{told[1:]}: about {one} if it is {this}; about {two} if it is {that}."
    simple = next((name for name in SIMPLE if name in tie), "")
    return f"{said} Simple to rule out first: {to_do(simple, places(ranked.where[simple]))}" if simple else said


def _estimated(
    model: Model, one: Hypothesis, measured: FloatArray, taken: NDArray[np.bool_]
) -> tuple[dict[str, Any], ...]:
    """What varies as it is in this motor, with what is left of its uncertainty, if this is the cause."""
    found = model.estimated(one, measured, taken)
    spread = np.sqrt(np.diag(found.covariance))
    alike = found.covariance / np.outer(spread, spread)
    told = []
    for at, each in enumerate(model.allowed.each):
        value, sigma, allowed = float(found.values[at]), float(spread[at]), each.spread
        unit, scale = {"air_gap": ("mm", 1e3), "copper_temperature": ("K", 1.0)}.get(each.name, ("%", 100.0))
        change = exp(value) - 1 if unit == "%" else value
        with_ = {
            other.name: round(float(alike[at, k]), 3)
            for k, other in enumerate(model.allowed.each)
            if k != at and abs(alike[at, k]) > 0.5
        }
        told.append(
            {"name": each.name, "change": scale * change, "uncertainty": scale * sigma, "allowed": scale * allowed,
             "unit": unit} | ({"correlated": with_} if with_ else {})
        )  # fmt: skip
    return tuple(told)
