"""The verdict: each line of ``[requirement]`` beside what is predicted and what decides it."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from pcbstator.analysis.cost import board_cost, magnet_cost
from pcbstator.analysis.drive.records import DEGREE, RPM, DriveResult, MotionResult
from pcbstator.analysis.prediction import Prediction
from pcbstator.analysis.stages import ERROR_KEYS
from pcbstator.check.limits import ROUNDING
from pcbstator.findings import Finding, Judgement, Verdict

if TYPE_CHECKING:
    from pcbstator.design import Design, SizedDesign

SEEN = 0.5  # error of a step, of its size, at which the step is still seen where the file gives none
NO_BUDGET = "the loops swing up, so that no error can be given"


@dataclass(frozen=True)
class Known:
    """What the answers rest on; motion or drive None: ``reason`` says why. vias: of one board."""

    motion: MotionResult | None
    drive: DriveResult | None
    vias: float
    reason: str = ""

    @classmethod
    def of(cls, prediction: Prediction) -> Known:
        """Of a prediction."""
        reason = prediction.out_of_range or "the coils link no flux"
        return cls(prediction.motion, prediction.drive, prediction.copper.via_count, reason)


@dataclass(frozen=True)
class Answer:
    """A predicted value in the unit of its requirement; value None: why it cannot be said stands in ``decided_by``.

    forbidden: why the requirement is not met whatever the value. short: by which part what that needs falls short.
    """

    value: float | None
    decided_by: str
    forbidden: str = ""
    short: float = 0.0


Reply = Callable[["SizedDesign", Known], Answer]
Parts = Callable[[Mapping[str, Any]], bool]


@dataclass(frozen=True)
class Line:
    """A requirement: its key, whether its value must be at most the limit, its unit and how it is answered."""

    name: str
    attribute: str
    per_si: float
    answer: Reply
    most: bool = True


NEEDED = {  # results that the quick stages find only where they are asked for, by requirement
    "position_error": "motion.rest_error_deg",
    "repeatability": "motion.repeatability_deg",
    "direction_offset": "motion.direction_offset_deg",
    "settling_time": "motion.settling_time_s",
    "slow_speed": "drive.slowest_measured_speed_rpm",
    "speed_ripple": "motion.slow_speed_ripple_percent",
    "smallest_step": "motion.step_error_percent",
    "step_error": "motion.step_error_percent",
    "push": "motion.told_push_deg",
    "board_temperature_c": "motion.cycle_board_temperature_c",
    "touch_temperature_c": "motion.cycle_face_temperature_c",
}


def judged_with(name: str) -> frozenset[str]:
    """Requirements whose answers come from the same work as that to one of them."""
    line = next(line for line in LINES if line.name == name)
    if NEEDED.get(line.attribute) not in ERROR_KEYS:
        return frozenset([name])
    return frozenset(each.name for each in LINES if NEEDED.get(each.attribute) in ERROR_KEYS)


def needed_for_verdicts(design: Design, only: Collection[str] = ()) -> frozenset[str]:
    """Results that the quick stages must find for the verdict on a design's requirement; only: on these lines of it."""
    asked = design.requirement
    lines = [line.attribute for line in LINES if not only or line.name in only]
    stated = {key for name, key in NEEDED.items() if name in lines and getattr(asked, name, None) is not None}
    return frozenset({"motion.move_time_s"} | stated)


def verdicts(design: SizedDesign, known: Known, only: Collection[str] = ()) -> tuple[Verdict, ...]:
    """The answer to every requirement that is stated, without ways out; they are sought only where one is not met.

    only: to these of them; none: to all.
    """
    asked = design.requirement
    if asked is None:
        return ()
    found = []
    for line in LINES:
        limit = getattr(asked, line.attribute)
        if limit is not None and (not only or line.name in only):
            found.append(_verdict(line, limit * line.per_si, line.answer(design, known)))
    return tuple(found)


def _verdict(line: Line, limit: float, answer: Answer) -> Verdict:
    verdict: Judgement = "cannot be said"
    if answer.forbidden:
        verdict = "not met"
    elif answer.value is not None:
        slack = ROUNDING * max(abs(limit), abs(answer.value))
        over = answer.value - limit if line.most else limit - answer.value
        verdict = "met" if over <= slack else "not met"
    decided = answer.forbidden or answer.decided_by
    return Verdict(line.name, limit, answer.value, verdict, line.most, decided, short=answer.short)


def requirement_findings(found: tuple[Verdict, ...]) -> list[Finding]:
    """A warning for every requirement that is not met or that cannot be judged; boards can still be made."""
    findings = []
    for verdict in found:
        if verdict.verdict == "met":
            continue
        wanted = f"{verdict.name} must be at {'most' if verdict.most else 'least'} {verdict.limit:.4g}"
        if verdict.verdict == "cannot be said":
            words = f"{wanted}; whether it is cannot be said: {verdict.decided_by}"
        elif verdict.value is None:
            words = f"{wanted} and is not: {verdict.decided_by}"
        else:
            words = f"{wanted} and is {verdict.value:.4g}, decided by {verdict.decided_by}"
        if verdict.way_out:
            words += f"; {verdict.way_out}"
        code = f"requirement.{verdict.name}"
        findings.append(Finding(code, "warning", words, verdict.value, verdict.limit, where=code))
    return findings


def _motion(answer: Callable[[SizedDesign, MotionResult], Answer]) -> Reply:
    """An answer that needs the results of the motion."""

    def answered(design: SizedDesign, known: Known) -> Answer:
        if known.motion is None:
            return Answer(None, f"the motion could not be computed: {known.reason}")
        return answer(design, known.motion)

    return answered


def _budget(attribute: str, parts: Parts, scale: float = DEGREE) -> Reply:
    """An answer from the error budget, decided by the largest of the parts that make it."""

    def answered(design: SizedDesign, motion: MotionResult) -> Answer:
        value = getattr(motion, attribute)
        if value is None:
            return Answer(None, NO_BUDGET)
        return Answer(value * scale, largest_part(motion, parts))

    return _motion(answered)


def largest_part(motion: MotionResult, parts: Parts) -> str:
    """The largest of some parts of the error budget, in words."""
    size = "speed_ripple_percent" if parts is in_slow_turn else "error_deg"
    rows = [row for row in motion.error_budget if parts(row) and row.get(size, 0.0) > 0]
    if not rows:
        return "no part of the error budget"
    worst = max(rows, key=lambda row: float(row[size]))
    return f"{worst['part']}, {worst[size]:.2g} {'%' if parts is in_slow_turn else 'deg'}"


def at_rest(row: Mapping[str, Any]) -> bool:
    """Whether a part of the error budget counts at rest."""
    return bool(row["when"] == "at rest")


def by_chance(row: Mapping[str, Any]) -> bool:
    """Whether it spreads the stops at one place from one side."""
    return at_rest(row) and bool(row["behaviour"] == "by chance")


def from_a_side(row: Mapping[str, Any]) -> bool:
    """Whether it sets stops from the two sides apart."""
    return at_rest(row) and bool(row["behaviour"] == "fixed by the side")


def in_a_push(row: Mapping[str, Any]) -> bool:
    """Whether it hides a push by hand."""
    return at_rest(row) and row["part"] in ("friction", "sensor resolution", "sensor noise", "play of the coupling")


def in_slow_turn(row: Mapping[str, Any]) -> bool:
    """Whether it makes the slow turn uneven."""
    return bool(row["when"] == "moving")


def _settling(design: SizedDesign, motion: MotionResult) -> Answer:
    if motion.settling_time is None:
        within = f"{motion.settled_within * DEGREE:.3g} deg" if motion.settled_within is not None else "its band"
        return Answer(None, "", f"it never stays within {within}: {largest_part(motion, at_rest)}")
    why = "bandwidth of the position loop and friction"
    return Answer(motion.settling_time, why if motion.settling_time > 0 else "the move ends within its band already")


def _slow_speed(design: SizedDesign, known: Known) -> Answer:
    if known.drive is None:
        return Answer(None, f"the drive could not be computed: {known.reason}")
    ratio = design.drive.gear_ratio if design.drive else 1.0
    return Answer(known.drive.slowest / ratio * RPM, "counts of the sensor and bandwidth of the observer")


def _smallest_step(design: SizedDesign, motion: MotionResult) -> Answer:
    asked = design.requirement
    if motion.step_error is None or motion.small_step is None:
        return Answer(None, NO_BUDGET)
    most = (asked.step_error if asked else None) or SEEN
    return Answer(motion.small_step * motion.step_error / most * DEGREE, motion.step_error_from)


def _step_error(design: SizedDesign, motion: MotionResult) -> Answer:
    if motion.step_error is None:
        return Answer(None, NO_BUDGET)
    return Answer(100 * motion.step_error, motion.step_error_from)


def _move_time(design: SizedDesign, motion: MotionResult) -> Answer:
    if motion.move_time is None:
        return Answer(None, "the motion has no move")
    lacks, short = "", 0.0
    if motion.peak_reserve is not None and motion.peak_reserve < 0 and motion.available_peak is not None:
        needed, there = 1e3 * (motion.required_peak or 0.0), 1e3 * motion.available_peak
        lacks, short = f"the torque: {needed:.3g} mN·m are needed, {there:.3g} there", -motion.peak_reserve
    elif motion.voltage_part is not None and motion.voltage_part > 1:
        lacks = f"the voltage: {motion.voltage_part:.3g} times what the supply gives is needed"
        short = 1 - 1 / motion.voltage_part
    return Answer(motion.move_time, "speed and acceleration of [motion]", lacks, short)


def _reserve(design: SizedDesign, motion: MotionResult) -> Answer:
    reserves = {"peak torque": motion.peak_reserve, "continuous torque": motion.continuous_reserve}
    known = {name: 100 * reserve for name, reserve in reserves.items() if reserve is not None}
    if not known:
        return Answer(None, "neither peak nor continuous torque is known")
    least = min(known, key=lambda name: known[name])
    return Answer(known[least], least)


def _temperature(attribute: str, where: str) -> Reply:
    """A temperature of the repeated cycle."""

    def answered(design: SizedDesign, motion: MotionResult) -> Answer:
        value = getattr(motion, attribute)
        if value is None:
            return Answer(None, "the heat of the repeated cycle is not known, or it finds no steady temperature")
        return Answer(value, f"{where}, with the motion repeated for hours")

    return _motion(answered)


def _supply(design: SizedDesign, motion: MotionResult) -> Answer:
    if motion.supply_peak is None:
        return Answer(None, "the supply's current is not known")
    return Answer(motion.supply_peak, "largest power of the motion, braking not counted back")


def _price(design: SizedDesign, known: Known) -> Answer:
    if design.prices is None:
        return Answer(None, "no prices are stated")
    prices = design.prices.model_dump()
    boards, magnets = board_cost(design, prices, known.vias), magnet_cost(design, prices)
    return Answer(boards + magnets, f"boards {boards:.3g}, magnets and steel {magnets:.3g} {design.prices.currency}")


LINES = (
    Line("position_error_deg", "position_error", DEGREE, _budget("rest_error", at_rest)),
    Line("repeatability_deg", "repeatability", DEGREE, _budget("repeatability", by_chance)),
    Line("direction_offset_deg", "direction_offset", DEGREE, _budget("direction_offset", from_a_side)),
    Line("settling_time_s", "settling_time", 1.0, _motion(_settling)),
    Line("slow_speed_rpm", "slow_speed", RPM, _slow_speed),
    Line("speed_ripple_percent", "speed_ripple", 100.0, _budget("slow_speed_ripple", in_slow_turn, 100.0)),
    Line("smallest_step_deg", "smallest_step", DEGREE, _motion(_smallest_step)),
    Line("step_error_percent", "step_error", 100.0, _motion(_step_error)),
    Line("move_time_s", "move_time", 1.0, _motion(_move_time)),
    Line("torque_reserve_percent", "torque_reserve", 100.0, _motion(_reserve), most=False),
    Line("board_temperature_c", "board_temperature_c", 1.0, _temperature("cycle_board_c", "copper loss in the board")),
    Line("touch_temperature_c", "touch_temperature_c", 1.0, _temperature("cycle_face_c", "loss behind that face")),
    Line("supply_current_a", "supply_current", 1.0, _motion(_supply)),
    Line("price", "price", 1.0, _price),
    Line("push_deg", "push", DEGREE, _budget("told_push", in_a_push)),
)
