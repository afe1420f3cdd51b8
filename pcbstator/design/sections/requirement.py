"""What the user asks of the built motor, each as a limit; and the findings that the user has dealt with."""

from __future__ import annotations

from collections.abc import Mapping
from math import ceil
from typing import Annotated, Any

from pydantic_core import core_schema

from pcbstator.design.quantities import (
    Kind,
    Quantity,
    Record,
    Text,
    amperes,
    celsius,
    degrees,
    key,
    percent,
    refusal,
    revolutions_per_minute,
    seconds,
    shown,
)
from pcbstator.errors import Complaint

LEAST_ANGLE = 1e-5  # degrees; no sensor tells less apart
LEAST_SPEED = 1e-6  # rpm
NONE = "nothing is asked of it"
MOST_ACCEPTED = 200


class Requirement(Record):
    """Limits that the motion, the heat, the supply and the price must keep; each is optional."""

    position_error: Annotated[float, degrees(LEAST_ANGLE, 180)] | None = key(
        "position_error_deg", "largest distance from the target at rest, at any place of the turn, from either side",
        None, example=0.1, otherwise=NONE,
    )  # fmt: skip
    repeatability: Annotated[float, degrees(LEAST_ANGLE, 360)] | None = key(
        "repeatability_deg", "largest spread of the places where it stops, same target, same side", None,
        example=0.05, otherwise=NONE,
    )  # fmt: skip
    direction_offset: Annotated[float, degrees(LEAST_ANGLE, 360)] | None = key(
        "direction_offset_deg", "largest distance between stops that come from one side and from the other", None,
        example=0.08, otherwise=NONE,
    )  # fmt: skip
    settling_time: Annotated[float, seconds(1e-4, 1e4)] | None = key(
        "settling_time_s", "from the end of a move until it stays within position_error_deg of its target", None,
        example=0.3, otherwise=NONE,
    )  # fmt: skip
    slow_speed: Annotated[float, revolutions_per_minute(LEAST_SPEED, 100_000)] | None = key(
        "slow_speed_rpm", "slowest speed at which it must turn evenly", None, example=1.5, otherwise=NONE
    )
    speed_ripple: Annotated[float, percent(0.01, 1000)] | None = key(
        "speed_ripple_percent", "largest ripple of the speed at slow_speed_rpm, peak over mean", None, example=10.0,
        otherwise=NONE,
    )  # fmt: skip
    smallest_step: Annotated[float, degrees(LEAST_ANGLE, 180)] | None = key(
        "smallest_step_deg", "smallest step that must be seen, in one direction", None, example=0.5, otherwise=NONE
    )
    step_error: Annotated[float, percent(0.1, 100)] | None = key(
        "step_error_percent", "largest error of that step, of its size", None, example=20.0, otherwise=NONE
    )
    move_time: Annotated[float, seconds(1e-4, 1e6)] | None = key(
        "move_time_s", "longest time of a move, from its start until it is to stand", None, example=2.0, otherwise=NONE
    )
    torque_reserve: Annotated[float, percent(0, 10_000)] | None = key(
        "torque_reserve_percent", "least torque in reserve over what the motion needs, peak and continuous", None,
        example=25.0, otherwise=NONE,
    )  # fmt: skip
    board_temperature_c: Annotated[float, celsius(-30, 250)] | None = key(
        "board_temperature_c", "hottest place of the board in the repeated motion", None, example=60.0, otherwise=NONE
    )
    touch_temperature_c: Annotated[float, celsius(-30, 250)] | None = key(
        "touch_temperature_c", "hottest face that a hand reaches in the repeated motion", None, example=45.0,
        otherwise=NONE,
    )  # fmt: skip
    supply_current: Annotated[float, amperes(1e-4, 2000)] | None = key(
        "supply_current_a", "largest direct current from the supply", None, example=1.0, otherwise=NONE
    )
    price: Annotated[float, Quantity("", 1.0, 1e-6, 1e9)] | None = key(
        "price", "of boards, magnets and steel of one machine, in the currency of [prices]", None, example=60.0,
        otherwise=NONE,
    )  # fmt: skip
    push: Annotated[float, degrees(LEAST_ANGLE, 180)] | None = key(
        "push_deg", "a push by hand that turns the load this far is told safely from noise, friction and play", None,
        example=0.5, otherwise=NONE,
    )  # fmt: skip


class Acceptance(Record):
    """Why a finding is no concern, and its value when that was decided; None where it may be any."""

    reason: Annotated[str, Text(200)] = key("reason", "why it is no concern", example="six tabs hold it")
    value: Annotated[float, Quantity("", 1.0, -1e12, 1e12, 0.0)] | None = key(
        "value", "of the finding when that was decided", None, example=0.6, otherwise="any"
    )


class Acceptances(Kind):
    """A table of findings' codes, each with a reason, or with a reason and the value that was accepted."""

    unit = ""
    rule = 'must be a table of findings\' codes, each with a reason: "board.bow" = "six tabs hold it"'

    def __get_pydantic_core_schema__(self, source: Any, handler: Any) -> core_schema.CoreSchema:
        return core_schema.no_info_before_validator_function(self.converted, handler(source))

    def converted(self, value: Any) -> dict[str, Any]:
        """The tables of acceptances by code, as their record reads them."""
        if not isinstance(value, dict) or len(value) > MOST_ACCEPTED:
            raise refusal(f"{self.rule}, at most {MOST_ACCEPTED} of them")
        return {code: each if isinstance(each, dict) else {"reason": each} for code, each in _by_code(value).items()}


def _by_code(table: dict[str, Any], before: str = "") -> dict[str, Any]:
    """Codes with their dots, whether the file quotes them or not: board.bow = "..." makes tables within each other."""
    found: dict[str, Any] = {}
    for name, value in table.items():
        code = f"{before}{name}"
        if isinstance(value, dict) and not value.keys() & {"reason", "value"}:
            found |= _by_code(value, f"{code}.")
        else:
            found[code] = value
    return found


MOVES = ("motion.move_deg", "motion.stops_deg", "motion.table_csv")
JOB: tuple[str | tuple[str, ...], ...] = (("load", "bearing"), "motion")
NEEDS: Mapping[str, tuple[str | tuple[str, ...], ...]] = {  # sections and keys, of several in brackets any one
    "position_error_deg": ("drive",),
    "repeatability_deg": ("drive",),
    "direction_offset_deg": ("drive",),
    "settling_time_s": ("drive", MOVES),
    "slow_speed_rpm": ("drive",),
    "speed_ripple_percent": ("requirement.slow_speed_rpm", "drive"),
    "smallest_step_deg": ("drive",),
    "step_error_percent": ("requirement.smallest_step_deg", "drive"),
    "move_time_s": (MOVES,),
    "torque_reserve_percent": JOB,
    "board_temperature_c": JOB,
    "touch_temperature_c": JOB,
    "supply_current_a": ("drive", *JOB),
    "price": ("prices",),
    "push_deg": ("drive",),
}
LEAST_COUNTS = {  # of the sensor, in an angle that is asked for
    "position_error_deg": 0.5,
    "repeatability_deg": 0.5,
    "direction_offset_deg": 0.5,
    "smallest_step_deg": 1.0,
    "push_deg": 1.0,
}


def requirement_complaints(tables: Mapping[str, Any], faulty: set[str]) -> list[Complaint]:
    """What is asked without what it needs, and angles that the sensor cannot tell.

    tables: as they stand in the file; faulty: keys that are complained about already.
    """
    asked = tables.get("requirement")
    if not isinstance(asked, Mapping):
        return []
    found = []
    for name in [n for n in NEEDS if asked.get(n) is not None and f"requirement.{n}" not in faulty]:
        missing = [need for need in NEEDS[name] if not any(_stands(tables, key) for key in _any_of(need))]
        if missing:
            lacks = " and ".join(" or ".join(map(_named, _any_of(need))) for need in missing)
            remedy = f"add {'it' if len(missing) == 1 else 'them'}, or take the requirement away"
            found.append(Complaint(f"requirement.{name}", f"needs {lacks}", shown(asked[name]), remedy))
        elif name in LEAST_COUNTS and (complaint := _below_count(tables, name, float(asked[name]), faulty)) is not None:
            found.append(complaint)
    return found


def _any_of(need: str | tuple[str, ...]) -> tuple[str, ...]:
    return (need,) if isinstance(need, str) else need


def _named(path: str) -> str:
    return path if "." in path else f"[{path}]"


def _stands(tables: Mapping[str, Any], path: str) -> bool:
    section, _, name = path.partition(".")
    table = tables.get(section)
    return isinstance(table, Mapping) and (not name or name in table)


def _below_count(tables: Mapping[str, Any], name: str, angle: float, faulty: set[str]) -> Complaint | None:
    """A complaint about an angle [deg] below what the sensor tells apart."""
    drive = tables["drive"]
    counts, ratio = drive.get("sensor_counts"), drive.get("gear_ratio", 1.0)
    if counts is None or not faulty.isdisjoint({"drive", "drive.sensor_counts", "drive.gear_ratio"}):
        return None
    least = LEAST_COUNTS[name] * 360.0 / counts / ratio
    if angle >= least:
        return None
    wanted = ceil(counts * least / angle)
    part = "half a count" if LEAST_COUNTS[name] < 1 else "a count"
    rule = f"must be at least {part} of drive.sensor_counts = {counts}, {least:.3g} deg"
    return Complaint(f"requirement.{name}", rule, shown(angle), f"ask for less, or a sensor of {wanted} counts or more")
