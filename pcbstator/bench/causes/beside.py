"""Causes that no electrical reading shows: inertia, by motion logs, and exchanged wires, by a commissioning test."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from math import log
from typing import TYPE_CHECKING

from pcbstator.bench.causes.search import SOUND
from pcbstator.bench.causes.words import is_it, to_do
from pcbstator.bench.logs.result import LogRow
from pcbstator.bench.result import Cause, Comparison

if TYPE_CHECKING:
    from pcbstator.bench.built.result import BuiltMotor

WIDE = 1.0  # one standard deviation of an inertia out of tolerance, over what was assumed; common practice, no source
SURE = 3.0  # evidence of an order of terminals that was seen: one in a thousand is noted wrongly (common practice)
EXCHANGED = "phases_exchanged"


def with_inertia(found: Comparison) -> Comparison:
    """With the inertia as a cause, of each motor where it is the odd one out: far from what was assumed with its
    tolerance, while nothing else in the motor's logs is far and its readings have no cause.
    """
    rows = found.logs.rows if found.logs is not None else ()
    motors = dict.fromkeys((row.board, row.rotor) for row in rows)
    readings = dict.fromkeys((row.board, row.rotor) for row in found.rows)
    blamed = {cause.motor for cause in found.causes}
    several = len(motors | readings) > 1
    if not several and found.judged not in ("", SOUND):
        return found
    for motor in motors:
        whose = f"board {motor[0]}, rotor {motor[1]}" if several else ""
        far = [row for row in rows if (row.board, row.rotor) == motor and row.far]
        if far and whose not in blamed and all(row.key == "inertia" and row.value > 0 for row in far):
            worst = max(far, key=lambda row: abs(row.deviation or 0.0))
            found = _named(found, _inertia(worst, whose), to_do("inertia", ""))
    return found


def _inertia(row: LogRow, whose: str) -> Cause:
    """Evidence as of any quantity (``evidence.py``): normal with a wide spread against normal with the assumed one."""
    assumed = row.assumed or 0.0
    narrow = row.sigma**2 + row.assumed_sigma**2
    wide = narrow + (WIDE * assumed) ** 2
    apart = (row.value - assumed) ** 2
    evidence = 0.5 * (apart / narrow - apart / wide + log(narrow / wide)) / log(10)
    words = is_it("inertia", "", log(row.value / assumed), row.sigma / row.value)
    return Cause("inertia", evidence, (), f"{words} ({row.log})", whose, beside=True)


def with_exchanged_phases(found: Comparison, built: Sequence[BuiltMotor]) -> Comparison:
    """With two exchanged phases as a cause of each motor whose terminals follow each other the other way round, and
    without them among the faults that would not show where every motor's order was seen.
    """
    tested = [
        (motor.name if len(built) > 1 else "", motor.commissioned) for motor in built
        if motor.commissioned is not None and motor.commissioned.order and not motor.commissioned.contradictions
    ]  # fmt: skip
    for whose, test in tested:
        if test.exchanged:
            words = f"{is_it(EXCHANGED, '')}: in positive rotation the terminals follow each other as {test.order}"
            advice = f"{test.words[0][0].upper()}{test.words[0][1:]}."  # says which two wires
            found = _named(found, Cause(EXCHANGED, SURE, (), words, whose, beside=True), advice)
    hidden = found.extra.get("not_shown", [])
    if tested and len(tested) == len(built):
        hidden = [each for each in hidden if each["name"] != EXCHANGED]
        found = replace(found, extra=found.extra | {"not_shown": hidden})
    return found


def _named(found: Comparison, cause: Cause, advice: str) -> Comparison:
    """With one more cause, beside those that were found; advice: about it, in a sentence."""
    whose = f"{cause.motor[0].upper()}{cause.motor[1:]}: " if cause.motor else ""
    head = "" if found.judged == SOUND else found.judged
    verdict = f"{head} {whose}Most likely it is {cause.words}.".strip()
    following = f"{found.next} {whose}{advice}".strip()
    return found.with_causes((*found.causes, cause), following, verdict)
