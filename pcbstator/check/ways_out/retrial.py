"""Designs with a few settings changed, judged again on what the first run has found already."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import replace
from math import radians
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from pcbstator.analysis.mechanical.built_results import drawn_torque_waves
from pcbstator.analysis.pipeline import surround
from pcbstator.analysis.prediction import Prediction
from pcbstator.analysis.shared import Shared
from pcbstator.analysis.stages import STAGES, Work, at_other_job, run_stage
from pcbstator.check.envelope import envelope_findings
from pcbstator.check.job import LEAST_MARGIN
from pcbstator.check.mechanical import circuit_findings
from pcbstator.check.requirement import Known, judged_with, needed_for_verdicts, verdicts
from pcbstator.check.ways_out.changes import CHANGES
from pcbstator.check.ways_out.way_out import Judge, Settings, Step, found_way
from pcbstator.errors import PcbstatorError
from pcbstator.findings import Verdict

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign

FloatArray = NDArray[np.float64]

MARGIN = "drive.speed_phase_margin_deg"  # a result of the loops, so that they are judged as well
STEEL = "mechanical.back_iron_flux_density_t"  # a result of the rotor's steel, so that it is found as well
# Sections that have no say in copper and magnets, nor in verdicts on those.
AT_SENSOR = frozenset(  # that the rotor's stray field at the angle sensor depends on
    f"drive.sensor_{each}" for each in ("offset_mm", "radius_mm", "height_mm", "field_mt", "pole_pairs", "principle")
)
JOB = frozenset(["load", "bearing", "motion", "drive", "requirement", "prices", "build"])


def with_ways_out(work: Work, prediction: Prediction, found: tuple[Verdict, ...]) -> tuple[Verdict, ...]:
    """The verdicts, each that is not met with the cheapest change that would meet it."""
    judge = judge_of(work)

    def answered(verdict: Verdict) -> Verdict:
        if verdict.verdict != "not met":
            return replace(verdict, way_out="")
        if verdict.name == "settling_time_s" and verdict.value is None:
            words = "first its error at rest must become small enough: see position_error_deg"
            return replace(verdict, way_out=words)
        way = found_way(verdict, _changes(verdict.name, work.design, prediction), judge)
        return replace(verdict, way_out=way.words, settings=tuple(way.settings.items()))

    return tuple(map(answered, found))


def _changes(name: str, design: SizedDesign, prediction: Prediction) -> list[list[Step]]:
    return [change(design, prediction) for change in CHANGES[name]]


def judge_of(work: Work) -> Judge:
    """Verdicts of a design with some settings changed; each combination is judged once."""
    shared = Shared(alone=True)  # boards alike are laid once, and their inductance is found once
    known: dict[tuple[frozenset[str], tuple[tuple[str, object], ...]], tuple[Verdict, ...] | None] = {}

    def judge(settings: Settings, only: str = "") -> tuple[Verdict, ...] | None:
        lines = judged_with(only) if only else frozenset[str]()
        asked = lines, tuple(sorted(settings.items()))
        if asked not in known:
            try:
                known[asked] = _judged(work, settings, shared, lines)
            except PcbstatorError:
                known[asked] = None
        return known[asked]

    return judge


def _judged(
    work: Work, settings: Mapping[str, object], shared: Shared, only: frozenset[str]
) -> tuple[Verdict, ...] | None:
    """None where it cannot be laid, a law does not hold, or the loops would not be sound."""
    again = tried(work, settings, shared, only)
    if again.refusal is not None or not (_of_job(settings) or _faults(again) <= _faults(work)):
        return None
    fit = again.drive
    margins = [] if fit is None else [fit.current_margin, fit.speed_margin, fit.position_margin]
    if any(margin is not None and margin < radians(LEAST_MARGIN) for margin in margins):
        return None
    return answers(again, only)


def answers(work: Work, only: Collection[str] = ()) -> tuple[Verdict, ...]:
    """Verdicts on a design that went through the quick stages; only: on these lines, none: on all."""
    vias = work.counts[1].via_count if work.counts else 0
    return verdicts(work.design, Known(work.motion, work.drive, vias, work.out_of_range), only)


def _of_job(settings: Mapping[str, object]) -> bool:
    return {key.partition(".")[0] for key in settings} <= JOB


def tried(work: Work, settings: Mapping[str, object], shared: Shared, only: Collection[str] = ()) -> Work:
    """A design with other settings, through the quick stages as far as verdicts need them; only: these, none: all.

    Raises DesignError where rules between keys forbid it; where it cannot be laid its ``refusal`` says so.
    """
    changed = work.design.with_values(settings)
    sections = {key.partition(".")[0] for key in settings}
    needed = needed_for_verdicts(changed, only)  # as a study does: only what the verdicts need
    if not only or "drive" in sections:
        needed |= {MARGIN}
    if _of_job(settings):
        again = at_other_job(work, changed)
    else:
        again = Work(changed)
        for stage in STAGES[:-1]:
            run_stage(stage, [again], shared, needed | {STEEL})
    moved = not _of_job(settings) or not AT_SENSOR.isdisjoint(settings)
    if moved and work.surroundings is not None and again.refusal is None:
        surround(again)
    if again.refusal is None and (not only or "speed_ripple_percent" in only):
        again.waves = _waves(work, again, settings)
    run_stage(STAGES[-1], [again], shared, needed)
    return again


def _waves(work: Work, again: Work, settings: Mapping[str, object]) -> FloatArray | None:
    """Torque of drawn motors over its mean: only what is said under [build] changes it by much."""
    if again.magnetic is None or not any(key.startswith("build.") for key in settings):
        return work.waves
    return drawn_torque_waves(again.design, again.laid[1], again.magnetic)


def _faults(work: Work) -> set[str]:
    """What speaks against a machine: it leaves its envelope, magnets overlap, steel saturates, magnets may weaken."""
    found = [each for each in envelope_findings(work.design, work.laid[1].copper.board) if each.severity == "error"]
    if work.mechanical is not None:
        found += circuit_findings(work.design, work.mechanical)
    return {finding.code for finding in found}
