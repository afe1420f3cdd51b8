"""The cheapest change that would meet a requirement: tried on the design itself, never guessed.

Changes are listed from cheap to dear: settings first, then care in assembly, then parts, then another board. Of each,
the mildest of its values is sought that meets the requirement and leaves the others as they are.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from typing import Protocol

from pcbstator.findings import Verdict

Settings = Mapping[str, object]

WORTH = 0.05  # by which a change must bring the value nearer to be named among several


class Judge(Protocol):
    """Verdicts of the changed design, or that on one requirement, which is less work; None: it cannot be built."""

    def __call__(self, settings: Settings, only: str = "") -> tuple[Verdict, ...] | None:
        """The verdicts with some settings; only: the requirement."""


@dataclass(frozen=True)
class Step:
    """One value of a change: what it sets, and in words."""

    settings: Settings
    words: str


@dataclass(frozen=True)
class WayOut:
    """What would meet a requirement, in words, and what it sets; nothing where it would not be met."""

    words: str
    settings: Settings = field(default_factory=dict)


def way_out(verdict: Verdict, changes: Sequence[Sequence[Step]], judge: Judge) -> str:
    """In words, what would meet a requirement: ``found_way``."""
    return found_way(verdict, changes, judge).words


def found_way(verdict: Verdict, changes: Sequence[Sequence[Step]], judge: Judge) -> WayOut:
    """What would meet a requirement: of the changes from cheap to dear the first that does, else several.

    changes: each as steps from mild to strong; judge: the verdicts of the design with some settings.
    """
    before, dear = _unmet(judge({})), None
    for change in changes:
        step = _mildest(verdict.name, change, {}, judge)
        found = None if step is None else judge(step.settings)
        if step is None or found is None or verdict.name in _unmet(found):
            continue
        broken = _unmet(found) - before
        way = WayOut(f"{step.words} would do{_but(broken)}", step.settings)
        if not broken:
            return way
        dear = dear or way
    return dear or _together(verdict, changes, judge)


def _but(broken: frozenset[str]) -> str:
    """What a change breaks."""
    return f", but then {' and '.join(sorted(broken))} would not be met" if broken else ""


def _mildest(name: str, change: Sequence[Step], others: Settings, judge: Judge) -> Step | None:
    """The mildest step that meets the requirement; None where none does. Steps that grow are taken to help more."""

    @cache
    def meets(number: int) -> bool:
        found = judge({**others, **change[number].settings}, name)
        return found is not None and name not in _unmet(found)

    last = next((number for number in reversed(range(len(change))) if meets(number)), None)
    if last is None:
        return None
    return change[bisect_left(range(last), True, key=meets)]


Taken = list[tuple[Sequence[Step], Step]]


def _together(verdict: Verdict, changes: Sequence[Sequence[Step]], judge: Judge) -> WayOut:
    """Several changes at once, each as mild as may be; where they do not meet it, how near they come.

    Begun with nothing, and with each change that has but one value, which others may complete.
    """
    best, nearest = verdict, Taken()
    for start in ((), *(change for change in changes if len(change) == 1)):
        taken, reached = _gathered(verdict, start, changes, judge)
        if reached.verdict == "met":
            return _trimmed(verdict.name, taken, judge)
        if _nearer(reached, best):
            best, nearest = reached, taken
    if not nearest:
        return WayOut("no change that was tried brings it nearer")
    return WayOut(f"even with {_words(nearest)} {_missed(best)}")


def _gathered(
    verdict: Verdict, start: Sequence[Step], changes: Sequence[Sequence[Step]], judge: Judge
) -> tuple[Taken, Verdict]:
    """Change after change that brings it nearer, until it is met, and how near they come."""
    taken: Taken = [(start, step) for step in start]
    best = _named(verdict.name, judge(_all(taken), verdict.name)) or verdict
    for change in changes:
        if any(_across(pair[1], step) for pair in taken for step in change[:1]):
            continue
        found = _nearest(change, best, _all(taken), judge)
        if found is not None:
            step, best = found
            taken = [pair for pair in taken if not pair[1].settings.keys() <= step.settings.keys()] + [(change, step)]
        if best.verdict == "met":
            return taken, best
    return taken, best


def _nearest(change: Sequence[Step], best: Verdict, others: Settings, judge: Judge) -> tuple[Step, Verdict] | None:
    """The step of a change that comes nearest, where that is nearer than the best so far."""
    tried = [(step, _named(best.name, judge({**others, **step.settings}, best.name))) for step in change]
    better = [(step, found) for step, found in tried if found is not None and _nearer(found, best)]
    return max(better, key=lambda pair: pair[1].margin or 0.0) if better else None


def _across(taken: Step, step: Step) -> bool:
    """Whether a step sets some of what another has set, and not all of it, so that both could not be named."""
    return not step.settings.keys().isdisjoint(taken.settings) and not taken.settings.keys() <= step.settings.keys()


def _trimmed(name: str, taken: Taken, judge: Judge) -> WayOut:
    """Changes that meet a requirement together, without those that it does not take, each as mild as may be."""
    for pair in list(taken):
        others = _all([other for other in taken if other is not pair])
        if name not in _unmet(judge(others, name)):
            taken.remove(pair)
        else:
            taken[taken.index(pair)] = pair[0], _mildest(name, pair[0], others, judge) or pair[1]
    broken = _unmet(judge(_all(taken))) - _unmet(judge({}))
    return WayOut(f"{_words(taken)} together would do{_but(broken)}", _all(taken))


def _missed(best: Verdict) -> str:
    """How near it comes; a value within its limit would be forbidden for another reason."""
    within = best.value is not None and (best.value <= best.limit if best.most else best.value >= best.limit)
    if best.value is None or within:
        return f"it would not be met: {best.decided_by}"
    return f"it would be {best.value:.3g}"


def _nearer(found: Verdict, best: Verdict) -> bool:
    """Whether a change is worth its words."""
    if found.margin is None or best.margin is None:
        return found.margin is not None
    return found.margin > best.margin + WORTH * abs(best.margin)


def _all(taken: Sequence[tuple[Sequence[Step], Step]]) -> dict[str, object]:
    return {key: value for _, step in taken for key, value in step.settings.items()}


def _words(taken: Sequence[tuple[Sequence[Step], Step]]) -> str:
    return " and ".join(step.words for _, step in taken)


def _named(name: str, found: tuple[Verdict, ...] | None) -> Verdict | None:
    return next((verdict for verdict in found or () if verdict.name == name), None)


def _unmet(found: tuple[Verdict, ...] | None) -> frozenset[str]:
    return frozenset(verdict.name for verdict in found or () if verdict.verdict != "met")
