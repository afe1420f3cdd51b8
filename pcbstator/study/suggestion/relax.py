"""Where nothing meets what is asked: which line rules out most, and what would have to be asked instead, tried on the
nearest designs.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from math import sqrt

from pcbstator.analysis.drive.records import DEGREE, RPM
from pcbstator.analysis.pipeline import judged_as_built, worked
from pcbstator.check.requirement import LINES
from pcbstator.check.ways_out.changes import SHRINKING
from pcbstator.check.ways_out.move_profile import IN_TIME, gentlest, longest_move, profile, rounded
from pcbstator.check.ways_out.retrial import judge_of
from pcbstator.check.ways_out.way_out import Judge
from pcbstator.design import Design
from pcbstator.design.load import changed_design
from pcbstator.findings import Verdict
from pcbstator.study.evaluate import bench
from pcbstator.study.records import Study
from pcbstator.study.suggestion.look import UNLAID, Look

GENTLER = (
    0.9, 0.8, 0.71, 0.63, 0.56, 0.5, 0.45, 0.4, 0.32, 0.25, 0.2, 0.16, 0.125, 0.1, 0.071, 0.05, 0.032, 0.02, 0.01,
)  # fmt: skip
LONGER = (1.25, 1.6, 2.0, 2.5, 4.0, 6.3, 10.0)
NEAREST = 3  # designs on which relaxed values are tried
EASED_TIMES = 4  # limits that have a value only once others are eased
MOTION = frozenset(["motion.speed_rpm", "motion.acceleration_deg_s2"])

Step = tuple[dict[str, object], str]  # what is set, and in words
Steps = list[Step]  # from mild to strong
EASED = 1000  # added to the place of a step that takes eased limits as well


@dataclass(frozen=True)
class Relaxed:
    """What would do: keys with their values, in words what they replace and cost, and the design that does it then."""

    settings: dict[str, object]
    words: str
    look: Look

    @property
    def label(self) -> str:
        """The design in words."""
        return f"{self.look.build.kind.label}, {self.look.build.layers} layers"


def relaxed(study: Study, looks: Sequence[Look], eased: frozenset[str]) -> list[Relaxed]:
    """Of each way to ask for less the mildest value that one of these designs meets; eased: keys that the program
    itself chose, which it chooses anew.
    """
    found: dict[str, tuple[int, Relaxed]] = {}
    for look in looks[:NEAREST]:
        design = changed_design(bench(study).base, study.settings(look.point))
        work = worked(design)
        judged_as_built(work)  # as the search did
        judge = judge_of(work)
        ease = partial(_eased, design, judge, eased)
        alone = ease(({}, ""))
        found |= {} if alone is None or "limits" in found else {"limits": (0, Relaxed(*alone, look))}
        late = alone is not None and "requirement.move_time_s" in alone[0]
        for name, way in WAYS.items():
            # Where eased limits alone would do, there is no need for another change as well, but for a move in time.
            eases = ease if alone is None or (late and name == "motion") else None
            place, step = _mildest(way(design, eased), eases, judge)
            if step is not None and (name not in found or place < found[name][0]):
                found[name] = place, Relaxed(*step, look)
    return [found[name][1] for name in (*WAYS, "limits") if name in found]


def _mildest(steps: Steps, ease: Callable[[Step], Step | None] | None, judge: Judge) -> tuple[int, Step | None]:
    """The first step that does, and its place; where none does, the first with which eased limits do."""
    for place, step in enumerate(steps):
        if _met(judge(step[0])):
            return place, step
    if ease is not None:
        for place, step in enumerate(steps):
            done = ease(step)
            if done is not None:
                return place + EASED, done
    return 0, None


def _eased(design: Design, judge: Judge, eased: frozenset[str], step: Step) -> Step | None:
    """A step with every limit that is missed eased to what this design reaches then; None where that does not do.

    A line that has no value is judged once more after the others are eased: it may have one then.
    """
    settings, said = dict(step[0]), dict[str, str]()
    for _ in range(EASED_TIMES):
        found = judge(settings)
        if found is None:
            return None
        if _met(found):
            words = [step[1], *said.values()]
            return settings, " and ".join(filter(None, words))
        known = [verdict for verdict in found if verdict.verdict == "not met" and verdict.value is not None]
        if any((verdict.value or 0.0) <= 0 or verdict.short for verdict in known):
            return None
        for verdict in known:
            value = rounded(verdict.value or 0.0, up=verdict.most)
            settings[f"requirement.{verdict.name}"] = value
            said[verdict.name] = _limit_words(design, verdict, value, "" if step[0] else _cause(verdict, eased))
        if not known:
            lost = [verdict.name for verdict in found if verdict.verdict != "met"]
            settings |= {f"requirement.{name}": None for name in lost}
            said |= {name: f"no {name}" for name in lost}
    return None


def _limit_words(design: Design, verdict: Verdict, value: float, cause: str) -> str:
    """A limit that is eased: what it was in the file."""
    asked = next(line for line in LINES if line.name == verdict.name)
    was = getattr(design.requirement, asked.attribute) * asked.per_si
    return f"{verdict.name} = {value:g} instead of {was:g}{cause}"


def _cause(verdict: Verdict, eased: frozenset[str]) -> str:
    """Why a move takes as long as it does, where the file itself says so."""
    if verdict.name != "move_time_s" or not eased.isdisjoint(MOTION):
        return ""
    return " (speed_rpm and acceleration_deg_s2 of the file take that long)"


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


def _timed(design: Design, eased: frozenset[str]) -> Steps:
    """Speed and acceleration that just take the required time, where the file states others."""
    asked, motion, move = design.requirement, design.motion, longest_move(design)
    if asked is None or asked.move_time is None or motion is None or motion.acceleration is None or not move:
        return []
    if not eased.isdisjoint(MOTION) or motion.speed is None:
        return []
    bend = 0.0 if motion.jerk is None else motion.acceleration / motion.jerk
    speed, rate, jerk = gentlest(move, IN_TIME * asked.move_time, bend)
    settings: dict[str, object] = {"motion.speed_rpm": speed, "motion.acceleration_deg_s2": rate}
    words = f"speed_rpm = {speed:g} instead of {motion.speed * RPM:g} and "
    words += f"acceleration_deg_s2 = {rate:g} instead of {motion.acceleration * DEGREE:g}"
    if jerk and motion.jerk is not None:
        settings["motion.jerk_deg_s3"] = jerk
        words += f" and jerk_deg_s3 = {jerk:g} instead of {motion.jerk * DEGREE:g}"
    return [(settings, words)]


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


def _centred(design: Design, eased: frozenset[str]) -> Steps:
    """The sensor centred better than was taken for granted."""
    if "drive.sensor_offset_mm" not in eased or design.drive is None:
        return []
    has = 1e3 * design.drive.sensor_offset
    offsets = [rounded(factor * has, up=False) for factor in SHRINKING]
    words = "drive.sensor_offset_mm = {:g} instead of the {:g} taken for granted"
    return [({"drive.sensor_offset_mm": offset}, words.format(offset, has)) for offset in offsets]


WAYS: dict[str, Callable[[Design, frozenset[str]], Steps]] = {
    "sensor": _centred, "acceleration": _gentler, "motion": _timed, "time": _longer,
}  # fmt: skip


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
