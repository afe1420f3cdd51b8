"""The bench sheet in words: its parts in order, and what holds for all of it."""

from __future__ import annotations

from pcbstator.bench.sheet import Sheet
from pcbstator.output.bench_report.before_power import before_power
from pcbstator.output.bench_report.records import Part
from pcbstator.output.bench_report.with_power import at_rest, running
from pcbstator.output.words import figures

AT_REST = (
    "Direct current from a supply that limits it. Nothing before this part may be in doubt. Begin at a "
    "tenth of the current: "
    "does the voltage fit the resistance?"
)
RUNNING = (
    "With the driver. Current limit low at first, a switch in reach, the stator screwed down, a guard or distance."
)


def parts(sheet: Sheet) -> tuple[Part, ...]:
    """The parts that have tests; safe and cheap ones come first."""
    found = (
        Part("Before power", "Meters and hands only. Most mistakes show here and cost nothing.", before_power(sheet)),
        Part("First current, rotor at rest", AT_REST, at_rest(sheet)),
        Part("Running", RUNNING, running(sheet)),
    )
    return tuple(part for part in found if part.tests)


def how_to_read(sheet: Sheet) -> str:
    """What the numbers are, and what to do with the readings."""
    source = (
        "[tolerance] of the design"
        if sheet.stated_tolerance
        else "the defaults of [tolerance], since the design has none"
    )
    return (
        "Expected is the prediction. The band holds nine of ten motors made within "
        f"{source}; that of an inductance has 5 % for law and meter on top. Copper and magnets are at 20 °C where "
        "nothing else is said. Outside the band by more than your "
        "instrument's error: measure again, then look at what would be alarming. Write readings into bench.toml."
    )


def left_out(sheet: Sheet) -> tuple[str, ...]:
    """What is not on the sheet, and why."""
    words = []
    if not sheet.emf:
        words.append(f"No inductance, EMF or torque: {sheet.prediction.out_of_range or 'the field is not predicted'}.")
    if sheet.held is None:
        words.append("No test with current at rest: there is no heat balance, so no safe current is known.")
    if sheet.friction is None:
        words.append(
            "No expected coast-down and current without load: [bearing] states no friction, or there is a gear."
        )
    if sheet.prediction.motion is None or sheet.design.drive is None:
        words.append("No tests of the motion: the design has no [motion] or [drive].")
    if sheet.emf and sheet.emf[-1].speed < 30:
        words.append(
            f"No EMF above {figures(sheet.emf[-1].speed * 9.5493, 3)} rpm: the voltage would no longer be "
            "safe to touch."
        )
    return tuple(words)


def terminal_names(sheet: Sheet) -> tuple[str, ...]:
    """Terminals in the order of the pairs."""
    ends = [end for pair in sheet.resistances for end in (pair[:1], pair[1:])]
    return tuple(dict.fromkeys(ends))
