"""The cheapest change that would meet a requirement: tried on the design itself, never guessed.

Changes are listed from cheap to dear: settings first, then care in assembly, then parts, then another board. Of each,
the mildest of its values is sought that meets the requirement and leaves the others as they are.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache

from pcbstator.findings import Verdict

Settings = Mapping[str, object]
Judge = Callable[[Settings], "tuple[Verdict, ...] | None"]  # verdicts of the changed design; None: it cannot be built

WORTH = 0.05  # by which a change must bring the value nearer to be named among several


@dataclass(frozen=True)
class Step:
    """One value of a change: what it sets, and in words."""

    settings: Settings
    words: str


def way_out(verdict: Verdict, changes: Sequence[Sequence[Step]], judge: Judge) -> str:
    """In words, what would meet a requirement: of the changes from cheap to dear the first that does, else several.

    changes: each as steps from mild to strong; judge: the verdicts of the design with some settings.
    """
    before, dear = _unmet(judge({})), ""
    for change in changes:
        step = _mildest(verdict.name, change, {}, judge)
        if step is None:
            continue
        broken = sorted(_unmet(judge(step.settings)) - before)
        if not broken:
            return f"{step.words} would do"
        dear = dear or f"{step.words} would do, but then {' and '.join(broken)} would not be met"
    return dear or _together(verdict, changes, judge)


def _mildest(name: str, change: Sequence[Step], others: Settings, judge: Judge) -> Step | None:
    """The mildest step that meets the requirement; None where none does. Steps that grow are taken to help more."""

    @cache
    def meets(number: int) -> bool:
        found = judge({**others, **change[number].settings})
        return found is not None and name not in _unmet(found)

    last = next((number for number in reversed(range(len(change))) if meets(number)), None)
    if last is None:
        return None
    return change[bisect_left(range(last), True, key=meets)]


def _together(verdict: Verdict, changes: Sequence[Sequence[Step]], judge: Judge) -> str:
    """Several changes at once, each as mild as may be; where they do not meet it, how near they come."""
    taken: list[tuple[Sequence[Step], Step]] = []
    best = verdict
    for change in changes:
        tried = [(step, _named(verdict.name, judge({**_all(taken), **step.settings}))) for step in change]
        better = [(step, found) for step, found in tried if found is not None and _nearer(found, best)]
        if not better:
            continue
        step, best = max(better, key=lambda pair: pair[1].margin or 0.0)
        taken.append((change, step))
        if best.verdict == "met":
            break
    if not taken:
        return "no change that was tried brings it nearer"
    if best.verdict != "met":
        return f"even with {_words(taken)} it would be {best.value:.3g}"
    for pair in list(taken):
        others = _all([other for other in taken if other is not pair])
        if verdict.name not in _unmet(judge(others)):
            taken.remove(pair)
        else:
            taken[taken.index(pair)] = pair[0], _mildest(verdict.name, pair[0], others, judge) or pair[1]
    return f"{_words(taken)} together would do"


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
