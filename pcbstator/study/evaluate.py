"""What becomes of designs: cheap tests first, and nothing more of a design that has failed one.

The stages are the file's rules, the envelope and the price, the copper, the magnets, the heat, the inductance, the
job, the verdict, and all that ``predict`` gives. After each the constraints are tested whose results are known by
then. The result of a design does not depend on the designs beside it.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any

from pcbstator.analysis.cost import board_cost, magnet_cost
from pcbstator.analysis.pipeline import judged_as_built
from pcbstator.analysis.shared import Shared
from pcbstator.analysis.stages import STAGE_OF, STAGES, Work, run_stage
from pcbstator.check import checked_prediction
from pcbstator.check.envelope import magnet_radii, magnet_spacing, total_height
from pcbstator.check.requirement import needed_for_verdicts
from pcbstator.check.ways_out.retrial import answers
from pcbstator.design import Design, design_from_document
from pcbstator.design.load import changed_design
from pcbstator.errors import DesignError, PcbstatorError
from pcbstator.findings import Verdict
from pcbstator.study.keys import UNMET, WORST, flat_results, verdict_results
from pcbstator.study.records import Constraint, Outcome, Point, Study
from pcbstator.study.workforce import collector_at_rest, settle_in

ENVELOPE, VERDICT, WHOLE = "envelope", "verdict", "whole"
ALL_STAGES = (ENVELOPE, *STAGES, VERDICT, WHOLE)
LATE_COST = {"cost.board": STAGES[0], "cost.total": STAGES[0]}  # holes are known with the copper
USUAL = (
    "occupied.height_mm", "copper.mass_g", "electrical.phase_resistance_ohm", "magnetic.torque_constant_n_m_per_a",
    "magnetic.motor_constant_n_m_per_sqrt_w", "thermal.continuous_phase_current_rms_a",
    "thermal.continuous_torque_n_m", "thermal.board_temperature_c", "cost.total",
)  # fmt: skip
WITHIN_OUTLINE = (
    "rotor.air_gap_mm", "rotor.back_iron_mm", "rotor.magnet.thickness_mm", "rotor.magnet.arc_ratio",
    "rotor.magnet.remanence_t", "rotor.magnet.temperature_c", "rotor.magnet.recoil_permeability",
)  # fmt: skip
BUILT_KEYS = frozenset(  # that the spread of the magnets acts on
    ["motion.slow_speed_ripple_percent", "motion.moving_error_deg", "requirement.speed_ripple_percent", WORST]
)
FAULT = "a fault of the program; please report it"
UNTRIED = 10.0  # shortage for every stage that was not reached: more than any constraint can be missed by


def stage_of(key: str) -> str:
    """The first stage after which a result is known."""
    if key.startswith(("occupied.", "cost.")):
        return LATE_COST.get(key, ENVELOPE)
    if key.startswith("requirement."):
        return VERDICT
    return STAGE_OF.get(key, WHOLE)


def needed_stages(study: Study) -> tuple[str, ...]:
    """The stages that a study goes through; a sweep without wishes goes as far as the heat."""
    wanted = study.wanted or frozenset(["thermal.continuous_torque_n_m"])
    last = max(ALL_STAGES.index(stage_of(key)) for key in wanted)
    needed = {stage_of(key) for key in wanted}
    skipped = {"inductance"} if "inductance" not in needed else set()
    skipped |= {"job"} if needed.isdisjoint(("job", VERDICT)) else set()
    skipped |= {VERDICT} if VERDICT not in needed else set()
    skipped |= {"heat"} if needed.isdisjoint(("heat", "job", VERDICT)) and last > ALL_STAGES.index("heat") else set()
    return tuple(stage for stage in ALL_STAGES[: last + 1] if stage not in skipped)


class Bench:
    """All that designs of one study have in common."""

    def __init__(self, study: Study) -> None:
        self.study = study
        folder = Path(study.folder) if study.folder else None
        self.base = design_from_document(tomllib.loads(study.design_text), study.design_name, folder)
        self.stages = needed_stages(study)
        self.wanted = study.wanted | frozenset(key for key in USUAL if stage_of(key) in self.stages)
        if VERDICT in self.stages:
            self.wanted |= needed_for_verdicts(self.base) | {UNMET, WORST}
        if WHOLE in self.stages:
            self.wanted |= {"findings.errors", "findings.warnings"}
        self.prices: Mapping[str, Any] = dict(study.prices)
        self.shared = Shared(*_span(study, self.base)) if _few_outlines(study) else Shared()
        self.tests: dict[str, list[Constraint]] = {stage: [] for stage in self.stages}
        for constraint in study.constraints:
            last = max(self.stages.index(stage_of(key)) for key in constraint.keys)
            self.tests[self.stages[last]].append(constraint)


@lru_cache(maxsize=2)
def bench(study: Study) -> Bench:
    """The bench of a study; kept, so that the tasks of a worker share it."""
    desk = Bench(study)
    settle_in()
    return desk


def evaluate(study: Study, points: Sequence[Point]) -> list[Outcome]:
    """What becomes of some designs, in their order.

    A fault of the program costs the design that meets it, not the study: it is told among what ruled designs out.
    """
    try:
        with collector_at_rest():
            return _evaluated(bench(study), points)
    except Exception as fault:  # noqa: BLE001  whatever it is
        if len(points) > 1:
            return [outcome for point in points for outcome in evaluate(study, [point])]
        lost = UNTRIED * (len(needed_stages(study)) + 1)
        return [Outcome({}, f"{FAULT} ({type(fault).__name__})", str(fault), lost)]


def _evaluated(desk: Bench, points: Sequence[Point]) -> list[Outcome]:
    outcomes: dict[int, Outcome] = {}
    works: dict[int, Work] = {}
    for index, point in enumerate(points):
        try:
            works[index] = Work(changed_design(desk.base, desk.study.settings(point)))
        except DesignError as error:
            outcomes[index] = _refused(desk, error, {}, 0)
    for number, stage in enumerate(desk.stages):
        _run(desk, stage, list(works.values()))
        for index, work in list(works.items()):
            found = _judged(desk, stage, number, work)
            if found is not None:
                outcomes[index] = found
                del works[index]
    for index, work in works.items():
        outcomes[index] = Outcome(_kept(desk, work.results))
    return [outcomes[index] for index in range(len(points))]


def _run(desk: Bench, stage: str, works: list[Work]) -> None:
    """Carries every design through a stage."""
    if stage in STAGES:
        run_stage(stage, works, desk.shared, desk.wanted)
    for work in works:
        if work.refusal is not None:
            continue
        if stage == ENVELOPE:
            work.results |= _occupied(work.asked) | {"cost.magnets": magnet_cost(work.asked, desk.prices)}
        elif stage == STAGES[0]:
            board = board_cost(work.asked, desk.prices, work.results.get("copper.via_count", 0.0))
            work.results |= {"cost.board": board, "cost.total": board + work.results["cost.magnets"]}
        elif stage == "job" and not BUILT_KEYS.isdisjoint(desk.study.wanted):
            judged_as_built(work)
        elif stage == VERDICT:
            work.results |= verdict_results(_verdicts(work))
        elif stage == WHOLE:
            try:
                work.results |= flat_results(checked_prediction(work.asked, ways_out=False))
            except PcbstatorError as error:
                work.refusal = error


def _verdicts(work: Work) -> tuple[Verdict, ...]:
    """The answers to every requirement. Motors are drawn, which is dear, only where perfect magnets would do."""
    found, asked = answers(work), work.design.requirement
    undrawn = work.waves is None and work.design.build is not None
    if undrawn and asked is not None and asked.speed_ripple and all(one.verdict == "met" for one in found):
        judged_as_built(work)
        found = answers(work)
    return found


def _judged(desk: Bench, stage: str, number: int, work: Work) -> Outcome | None:
    """The end of a design that fails at this stage; None where it goes on."""
    if work.refusal is not None:
        return _refused(desk, work.refusal, work.results, number)
    short = [(c.shortage(work.results), c) for c in desk.tests[stage]]
    if stage == ENVELOPE:
        short = [(rule.shortage(work.results), rule) for rule in _envelope_rules(work.asked)] + short
    failed = [(lack, constraint) for lack, constraint in short if lack > 0]
    if not failed:
        return None
    _, worst = max(failed, key=lambda pair: pair[0])
    later = len(desk.stages) - 1 - number
    got = work.results.get(worst.key)
    value = "does not apply" if got is None else f"{got:.5g}"
    total = sum(lack for lack, _ in failed) + UNTRIED * later
    return Outcome(_kept(desk, work.results), worst.label, f"{worst.label}; got {value}", total)


def _refused(desk: Bench, error: PcbstatorError, results: dict[str, float], number: int) -> Outcome:
    """The end of a design that breaks a rule of the program itself; the reason is the rule's key."""
    later = UNTRIED * (len(desk.stages) - number)
    if isinstance(error, DesignError):
        first = error.complaints[0]
        return Outcome(_kept(desk, results), f"{first.key}: {first.rule}", str(first), later)
    return Outcome(_kept(desk, results), "a law does not hold there", str(error), later)


def _kept(desk: Bench, results: dict[str, float]) -> dict[str, float]:
    """Those results that the study keeps; a count of findings that did not turn up is 0."""
    kept = {key: value for key, value in results.items() if key in desk.wanted}
    if "findings.errors" in results:
        kept |= {key: 0.0 for key in desk.wanted if key.startswith("findings.") and key not in kept}
    return kept


def _occupied(design: Design) -> dict[str, float]:
    """The machine's outer sizes, before any copper is laid."""
    near, far = magnet_radii(design)
    return {
        "occupied.height_mm": 1e3 * total_height(design),
        "occupied.least_diameter_mm": 1e3 * min(design.board.inner_diameter, 2 * near),
        "occupied.largest_diameter_mm": 1e3 * max(design.board.outer_diameter, 2 * far),
        "occupied.magnet_spacing_mm": 1e3 * magnet_spacing(design),
    }


def _envelope_rules(design: Design) -> list[Constraint]:
    """What holds without being asked for: magnets do not overlap, and the envelope is kept."""
    rules = [Constraint("occupied.magnet_spacing_mm", "least", 0.0)]
    envelope = design.envelope
    if envelope is None:
        return rules
    if envelope.bore_diameter is not None:
        rules.append(Constraint("occupied.least_diameter_mm", "least", 1e3 * envelope.bore_diameter))
    if envelope.outer_diameter is not None:
        rules.append(Constraint("occupied.largest_diameter_mm", "most", 1e3 * envelope.outer_diameter))
    if envelope.height is not None:
        rules.append(Constraint("occupied.height_mm", "most", 1e3 * envelope.height))
    return rules


def _few_outlines(study: Study) -> bool:
    """Whether designs share the outlines of their magnets, so that modes over all radii of the study pay."""
    ranges = [variable for variable in study.variables if not variable.options]
    varied = {key for v in ranges for key in (v.name, *(key for key, _ in v.also))}
    return not any(key.startswith("rotor.") and key not in WITHIN_OUTLINE for key in varied)


def _span(study: Study, base: Design) -> tuple[float, float]:
    """Least and largest radius [m] of copper that the study can ask for."""
    edges = []
    for name in ("copper_inner_diameter", "copper_outer_diameter"):
        key = f"board.{name}_mm"
        values = [getattr(base.board, name)]
        for variable in study.variables:
            for place in range(len(variable.options)) or (variable.low, variable.high):
                value = variable.settings(place).get(key)
                values += [1e-3 * value] if isinstance(value, int | float) else []
        edges.append(values)
    return min(edges[0]) / 2, max(edges[1]) / 2
