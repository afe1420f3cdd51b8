"""Designs with a few settings changed, judged again on what the first run has found already."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from math import radians
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from pcbstator.analysis.drive.job import with_built_ripple
from pcbstator.analysis.mechanical.built_results import built_results
from pcbstator.analysis.pipeline import surround
from pcbstator.analysis.prediction import Prediction
from pcbstator.analysis.shared import Shared
from pcbstator.analysis.stages import STAGES, Work, run_stage
from pcbstator.check.changes import CHANGES
from pcbstator.check.job import LEAST_MARGIN
from pcbstator.check.requirement import Known, needed_for_verdicts, verdicts
from pcbstator.check.way_out import Judge, Settings, Step, way_out
from pcbstator.copper import size_design
from pcbstator.errors import PcbstatorError
from pcbstator.findings import Verdict

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign

FloatArray = NDArray[np.float64]

MARGIN = "drive.speed_phase_margin_deg"  # a result of the loops, so that they are judged as well
# Sections that have no say in copper and magnets, nor in verdicts on those.
JOB = frozenset(["load", "bearing", "motion", "drive", "requirement", "prices", "build"])


def with_ways_out(work: Work, prediction: Prediction, found: tuple[Verdict, ...]) -> tuple[Verdict, ...]:
    """The verdicts, each that is not met with the cheapest change that would meet it."""
    judge = judge_of(work)

    def words(verdict: Verdict) -> str:
        if verdict.verdict != "not met":
            return ""
        if verdict.name == "settling_time_s" and verdict.value is None:
            return "first its error at rest must become small enough: see position_error_deg"
        return way_out(verdict, _changes(verdict.name, work.design, prediction), judge)

    return tuple(replace(verdict, way_out=words(verdict)) for verdict in found)


def _changes(name: str, design: SizedDesign, prediction: Prediction) -> list[list[Step]]:
    return [change(design, prediction) for change in CHANGES[name]]


def judge_of(work: Work) -> Judge:
    """Verdicts of a design with some settings changed; each combination is judged once."""
    known: dict[tuple[tuple[str, object], ...], tuple[Verdict, ...] | None] = {}

    def judge(settings: Settings) -> tuple[Verdict, ...] | None:
        asked = tuple(sorted(settings.items()))
        if asked not in known:
            try:
                known[asked] = _judged(work, settings)
            except PcbstatorError:
                known[asked] = None
        return known[asked]

    return judge


def _judged(work: Work, settings: Mapping[str, object]) -> tuple[Verdict, ...] | None:
    """None where it cannot be laid, a law does not hold, or the loops would not be sound."""
    changed = work.design.with_values(settings)
    if all(key.partition(".")[0] in JOB for key in settings):
        sized = size_design(changed)
        again = replace(work, full=False, asked=changed, sized=sized, motion=None, drive=None, results={})
        stages: tuple[str, ...] = ("job",)
    else:
        again, stages = Work(changed), STAGES
    for stage in stages:  # as a study does: only what the verdicts need
        if stage == "job" and again.surroundings is None and work.surroundings is not None:
            surround(again)
        run_stage(stage, [again], Shared(alone=True), needed_for_verdicts(changed) | {MARGIN})
    if again.refusal is not None:
        return None
    fit = again.drive
    margins = [] if fit is None else [fit.current_margin, fit.speed_margin, fit.position_margin]
    if any(margin is not None and margin < radians(LEAST_MARGIN) for margin in margins):
        return None
    vias = again.counts[1].via_count if again.counts else 0
    motion = with_built_ripple(again.motion, _waves(work, again, settings))
    return verdicts(again.design, Known(motion, again.drive, vias, again.out_of_range))


def _waves(work: Work, again: Work, settings: Mapping[str, object]) -> FloatArray | None:
    """Torque of drawn motors over its mean: only what is said under [build] changes it by much."""
    if again.magnetic is None or not any(key.startswith("build.") for key in settings):
        return work.waves
    return built_results(again.design, again.laid[1], again.magnetic, None, 0.0).waves
