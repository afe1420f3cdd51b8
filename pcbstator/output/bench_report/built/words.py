"""The motor as built, its commissioning and the scatter of several, as rows and lines."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import replace
from math import degrees
from typing import Any

from pcbstator.analysis.drive.parameters import drive_parameters
from pcbstator.bench.built.commissioning import Commissioned, table_parameters
from pcbstator.bench.built.result import BuiltMotor, Outcome, Setting, within
from pcbstator.bench.built.scatter import Scatter
from pcbstator.bench.result import Comparison
from pcbstator.errors import printable
from pcbstator.findings import Verdict
from pcbstator.output.quantities import shown
from pcbstator.output.report.verdict import UNITS
from pcbstator.output.side_by_side_words import DifferenceRow, verdict_pair_rows
from pcbstator.output.words import figures

LEAST_SHOWN = 1e-3  # part of a value by which it may be off to be told
SAME = 0.005  # part by which a parameter of the drive must differ to be told
KINDS = {"emf": "EMF", "static_torque": "torque at rest", "no_load": "current without load", "gap": "air gap"}


def built_lines(found: Comparison) -> list[str]:
    """For a terminal: of every motor the decision, what was found and what it does."""
    lines: list[str] = []
    for motor in found.built:
        head = "as built" if len(found.built) == 1 else f"as built, {printable(motor.name)}"
        lines += ["", f"{head}: {printable(motor.decision)}"]
        lines += [f"  {line}" for line in _lines(motor)]
    if found.scatter:
        lines += ["", "scatter of the motors, over the prediction (one standard deviation)"]
        lines += ["  " + " · ".join(row) for row in map(scatter_row, found.scatter)]
    return lines


def _lines(motor: BuiltMotor) -> Iterator[str]:
    if motor.found is not None:
        for row in requirement_rows(motor):
            yield f"{row.name}: {row.other}   (design: {row.design})"
    for outcome in motor.outcomes:
        about, design, built, change = outcome_row(outcome)
        yield f"{about}: {built}   (design: {design}, {change})"
    for setting in motor.settings:
        key, before, value, reason = setting_row(setting)
        yield f"{key} = {value}   ({before}; {reason})"
    if motor.commissioned is not None:
        yield from (f"{name}: {value}" for name, value in commissioning_rows(motor.commissioned))
        yield from map(printable, (*motor.commissioned.contradictions, *motor.commissioned.words))


def requirement_rows(motor: BuiltMotor) -> list[DifferenceRow]:
    """Each requirement with the answers of the design and of the motor as built, and how far that may be off."""
    pairs = motor.found.requirement if motor.found is not None else ()
    return [
        row if pair.other is None else replace(row, other=_as_built(pair.other, row.other, motor.half_widths))
        for pair, row in zip(pairs, verdict_pair_rows(pairs), strict=True)
    ]


def _as_built(verdict: Verdict, words: str, half_widths: Mapping[str, float]) -> str:
    wide = half_widths.get(verdict.name, 0.0)
    if wide <= LEAST_SHOWN * abs(verdict.value or 0.0):
        return words
    unit = UNITS.get(verdict.name.rpartition("_")[2], "").replace("%", "points")
    off = f"± {figures(wide, 2)}{unit}"
    if not within(verdict, half_widths):
        return f"{words} {off}"
    head, _, rest = words.partition(":")
    return f"{head}, but within what the readings leave open: {off};{rest}"


def outcome_row(outcome: Outcome) -> tuple[str, str, str, str]:
    """What it is, as designed, as built with what is left open, the change."""
    section = "magnetic" if outcome.key.startswith("torque") else "electrical"
    design, built = (shown(f"{section}.{outcome.key}", value) for value in (outcome.predicted, outcome.built))
    change = 100 * (outcome.built / outcome.predicted - 1)
    return outcome.about, design, f"{built} ± {100 * outcome.spread:.2g} %", f"{change:+.2g} %"


def setting_row(setting: Setting) -> tuple[str, str, str, str]:
    """Key, value before and now, reason."""
    before = "not stated" if setting.before is None else _plain(setting.before)
    now = "taken away" if setting.value is None else _plain(setting.value)
    return setting.key, before, now, printable(setting.reason)


def _plain(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False)


def commissioning_rows(found: Commissioned) -> list[tuple[str, str]]:
    """What the test of the sensor gives."""
    scatter = "" if found.scatter is None else f" ± {figures(degrees(found.scatter), 2)}"
    rows = [
        ("sense of the sensor", "rises counter-clockwise" if found.sense > 0 else "falls counter-clockwise"),
        ("electrical zero", f"{figures(degrees(found.zero), 4)}{scatter}° electrical"),
        ("rotor there", f"at {figures(degrees(found.rotor_angle), 4)}°, or whole pole pairs "
                        f"({figures(360 / found.pole_pairs, 4)}°) on"),
    ]  # fmt: skip
    if found.order:
        rows.append(("order of the terminals", found.order))
    return rows


def scatter_row(each: Scatter) -> tuple[str, str, str, str, str, str]:
    """Quantity, motors, mean, spread found and assumed, whether they agree."""
    return (
        KINDS.get(each.kind, each.kind.replace("_", " ")),
        f"{each.count}",
        f"{100 * each.mean:+.2g} %",
        f"{100 * each.found:.2g} % ± {100 * each.found_sigma:.1g}",
        f"{100 * each.assumed:.2g} %",
        f"{each.words} (chi-square {each.chi_square:.2g}, {each.freedom} degrees of freedom)",
    )


def drive_of(motor: BuiltMotor) -> dict[str, Any] | None:
    """What is typed into its drive; None where there is no machine."""
    if motor.found is None or motor.found.other.design is None:
        return None
    parameters = drive_parameters(motor.found.other.design, motor.found.other)
    if parameters is None:
        return None
    tested = motor.commissioned.parameters() if motor.commissioned is not None else {}
    return parameters | tested | (table_parameters(motor.table) if motor.table is not None else {})


def drive_rows(motor: BuiltMotor) -> list[tuple[str, str, str, str]]:
    """Parameters of the drive that are not those of the design: name, before, now, change."""
    if motor.found is None or motor.found.design.design is None:
        return []
    before, now = drive_parameters(motor.found.design.design, motor.found.design) or {}, drive_of(motor) or {}
    found = []
    for name, value in now.items():
        old = before.get(name)
        if not isinstance(value, int | float) or not isinstance(old, int | float) or not old:
            continue
        if abs(value / old - 1) > SAME:
            found.append((name, figures(old, 4), figures(value, 4), f"{100 * (value / old - 1):+.2g} %"))
    return found
