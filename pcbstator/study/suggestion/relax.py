"""Where nothing meets what is asked: which line rules out most, and what would have to be asked instead, tried on the
nearest designs.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from math import sqrt

from pcbstator.analysis.drive.records import DEGREE, RPM
from pcbstator.analysis.pipeline import worked
from pcbstator.check.move_profile import IN_TIME, longest_move, profile, rounded
from pcbstator.check.retrial import judge_of
from pcbstator.check.way_out import Judge
from pcbstator.design import Design
from pcbstator.design.load import changed_design
from pcbstator.findings import Verdict
from pcbstator.study.evaluate import bench
from pcbstator.study.records import Study
from pcbstator.study.suggestion.look import UNLAID, Look

GENTLER = (
    0.9,
    0.8,
    0.71,
    0.63,
    0.56,
    0.5,
    0.45,
    0.4,
    0.32,
    0.25,
    0.2,
    0.16,
    0.125,
    0.1,
    0.071,
    0.05,
    0.032,
    0.02,
    0.01,
)
LONGER = (1.25, 1.6, 2.0, 2.5, 4.0, 6.3, 10.0)
NEAREST = 3  # designs on which relaxed values are tried
Settings = Mapping[str, object]


@dataclass(frozen=True)
class Relaxed:
    """What would do: keys with their values, in words what they replace and cost, and the label of the design that
    does it then.
    """

    settings: dict[str, object]
    words: str
    label: str


def relaxed(study: Study, looks: Sequence[Look], eased: frozenset[str]) -> list[Relaxed]:
    """Of each way to ask for less the mildest value that one of these designs meets; eased: keys that the program
    itself chose, which it chooses anew.
    """
    found: dict[str, tuple[int, Relaxed]] = {}
    for look in looks[:NEAREST]:
        design = changed_design(bench(study).base, study.settings(look.point))
        judge = judge_of(worked(design))
        label = f"{look.build.kind.label}, {look.build.layers} layers"
        for name, steps in _ways(design, judge({}) or (), eased):
            place = _mildest(steps, judge)
            if place is not None and (name not in found or place < found[name][0]):
                found[name] = place, Relaxed(*steps[place], label)
    return [way for _, way in found.values()]


def _mildest(steps: Steps, judge: Judge) -> int | None:
    """The first step that does, where stronger ones do as well; None where the strongest does not."""

    @cache
    def met(place: int) -> bool:
        return _met(judge(steps[place][0]))

    if not steps or not met(len(steps) - 1):
        return None
    return bisect_left(range(len(steps)), True, key=met)


Steps = list[tuple[dict[str, object], str]]


def _ways(design: Design, before: tuple[Verdict, ...], eased: frozenset[str]) -> Iterator[tuple[str, Steps]]:
    """Ways to ask for less, each as steps from mild to strong: what is set, and in words."""
    yield "acceleration", _gentler(design, eased)
    yield "time", _longer(design, eased)
    unmet = [verdict for verdict in before if verdict.verdict == "not met" and verdict.value is not None]
    if unmet and all((verdict.value or 0.0) > 0 for verdict in unmet):
        yield "limits", [_limits(unmet)]


def _gentler(design: Design, eased: frozenset[str]) -> Steps:
    """Less acceleration where the file states it, with what that costs in time."""
    motion = design.motion
    if motion is None or motion.acceleration is None or "motion.acceleration_deg_s2" in eased:
        return []
    steps: Steps = []
    has = motion.acceleration * DEGREE
    for factor in GENTLER:
        value = rounded(factor * has, up=False)
        words = f"acceleration_deg_s2 = {value:g} instead of {has:g}"
        times = [_move_seconds(design, rate) for rate in (value, has)]
        if times[1] > 0:
            words += f": a move then takes {times[0]:.3g} s instead of {times[1]:.3g} s"
        settings: dict[str, object] = {"motion.acceleration_deg_s2": value}
        if motion.jerk is not None:
            settings["motion.jerk_deg_s3"] = rounded(factor * motion.jerk * DEGREE, up=False)
        steps.append((settings, words))
    return steps


def _longer(design: Design, eased: frozenset[str]) -> Steps:
    """A longer time for a move whose speed or acceleration the program has chosen."""
    asked, motion = design.requirement, design.motion
    if asked is None or asked.move_time is None or motion is None or "motion.acceleration_deg_s2" not in eased:
        return []
    longest = longest_move(design)
    stated = None if "motion.speed_rpm" in eased or motion.speed is None else motion.speed * RPM
    jerk = None if motion.jerk is None else motion.jerk * DEGREE
    steps: Steps = []
    for factor in LONGER:
        time = rounded(factor * asked.move_time)
        speed, rate, _ = profile(longest, IN_TIME * time, stated, None, jerk)
        settings = {"requirement.move_time_s": time, "motion.acceleration_deg_s2": rate, "motion.speed_rpm": speed}
        steps.append((dict(settings), f"move_time_s = {time:g} instead of {asked.move_time:g}"))
    return steps


def _move_seconds(design: Design, rate: float) -> float:
    """Duration [s] of the longest move with an acceleration [deg/s2], without the bends of a jerk; 0 without a move."""
    move, motion = longest_move(design), design.motion
    if motion is None or motion.speed is None or move == 0:
        return 0.0
    speed = motion.speed * DEGREE
    return move / speed + speed / rate if move * rate >= speed**2 else 2 * sqrt(move / rate)


def _limits(unmet: Sequence[Verdict]) -> tuple[dict[str, object], str]:
    """Every limit that is missed, eased to what this design reaches."""
    settings: dict[str, object] = {}
    words = []
    for verdict in unmet:
        value = rounded(verdict.value or 0.0, up=verdict.most)
        settings[f"requirement.{verdict.name}"] = value
        words.append(f"{verdict.name} = {value:g} instead of {verdict.limit:g}")
    return settings, " and ".join(words)


def _met(found: tuple[Verdict, ...] | None) -> bool:
    return found is not None and all(verdict.verdict == "met" for verdict in found)


def rules_out(looks: Sequence[Look], verdicts: Sequence[Verdict]) -> list[tuple[str, int, float | None]]:
    """Requirements by how many designs miss them: name, how many, and the best value that any design reaches; verdicts:
    of one of the designs, for limits and senses.
    """
    judged = [look.outcome.results for look in looks if look.lack < UNLAID]
    found = []
    for verdict in verdicts:
        values = [
            results[f"requirement.{verdict.name}"] for results in judged if f"requirement.{verdict.name}" in results
        ]
        missed = [value for value in values if (value > verdict.limit) == verdict.most and value != verdict.limit]
        best = (min if verdict.most else max)(values, default=None)
        count = len(missed) + len(judged) - len(values)
        if count:
            found.append((verdict.name, count, best))
    return sorted(found, key=lambda each: -each[1])
