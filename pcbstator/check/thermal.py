"""Heat: what a wanted current does to board, magnets, solder and skin.

Currents come from [operation], and with [cooling] the continuous current as well. A design that asks for neither has
the figures among its results and no finding about them.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from pcbstator.analysis.drive.records import MotionResult
from pcbstator.analysis.prediction import Prediction
from pcbstator.analysis.thermal.current_limits import TOUCH_C
from pcbstator.analysis.thermal.records import ThermalResult
from pcbstator.check.limits import at_most
from pcbstator.currents import rms_current
from pcbstator.findings import Finding, Severity

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign

DRIVER_CURE = "more face in the air, a pad to the board or to a mount, switches of less resistance, or a place outside"
Cause = tuple[str, float | None, Severity, str]


def thermal_findings(design: SizedDesign, prediction: Prediction) -> list[Finding]:
    """Findings about heat; values and limits are rms phase currents [A], the limit is where it starts."""
    thermal, motion = prediction.thermal, prediction.motion
    if thermal.out_of_range:
        return [Finding("law.range", "warning", thermal.out_of_range, where="thermal")]
    if thermal.continuous_current is None:
        return []
    job = [] if motion is None or motion.required_rms is None else _job(thermal, motion)
    asked = rms_current(max(design.operation.currents)) if design.operation else 0.0
    current = max(asked, thermal.continuous_current) if design.cooling else asked
    findings = _no_current(thermal) if design.cooling or design.operation else []
    reached = None if motion is None else motion.cycle_face_c
    for code, start, severity, message in (*_causes(design, thermal), *_touch(thermal, reached)):
        if start is not None:
            findings += at_most(code, current, start, message, severity)
    return job + findings + (_magnets(design, thermal) if design.cooling else [])


def _job(thermal: ThermalResult, motion: MotionResult) -> list[Finding]:
    """What the repeated cycle does, whatever the continuous current would do."""
    if motion.cycle_board_c is None or motion.cycle_rotor_c is None or motion.cycle_face_c is None:
        if thermal.heat is None:
            return []
        words = "the cycle, repeated continuously, has no steady temperature below 300 °C: longer rests, less torque"
        return [Finding("thermal.job", "warning", words, where="motion")]
    findings, rest = [], ""
    if motion.cycle_shortest_rest:
        rest = f", rests of {motion.cycle_shortest_rest:.3g} s or more"
    for reached, limit, what, code in (
        (motion.cycle_board_c, thermal.board_limit_c, "board", "thermal.job"),
        (motion.cycle_rotor_c, thermal.magnet_limit_c, "magnets", "thermal.job"),
        (motion.cycle_rotor_c, thermal.glue_limit_c, "glue of the magnets", "thermal.glue"),
        (motion.cycle_rotor_c, thermal.plate_limit_c, "rotor plate", "thermal.plate"),
    ):  # fmt: skip
        if limit is not None:
            findings += at_most(
                code, reached, limit,
                f"the cycle, repeated continuously, heats the {what} to {{value}} °C, above {{limit}} °C: less torque"
                f"{rest}, or cooling", "warning", where=f"motion, {what}",
            )  # fmt: skip
    if motion.cycle_driver_c is not None and thermal.driver_limit_c is not None:
        findings += at_most(
            "thermal.driver", motion.cycle_driver_c, thermal.driver_limit_c,
            "the cycle, repeated continuously, heats the driver in the ring to {value} °C, above {limit} °C: "
            + DRIVER_CURE, "warning", where="motion, driver",
        )  # fmt: skip
    beyond = ""
    if thermal.surface_temperature_c is not None:
        beyond = f"; at the highest continuous current it would reach {thermal.surface_temperature_c:.3g} °C"
    return findings + at_most(
        "thermal.touch", motion.cycle_face_c, TOUCH_C,
        "the cycle, repeated continuously, heats what a finger touches to {value} °C, above {limit} °C: it burns skin; "
        f"cover it or warn{beyond}", "warning", where="motion",
    )  # fmt: skip


def _touch(thermal: ThermalResult, reached: float | None) -> tuple[Cause, ...]:
    """The touch at the current that is judged; ``reached``: what a finger meets in the job [C], which stands first."""
    if reached is not None and reached > TOUCH_C:
        return ()  # the job alone says it
    first = "" if reached is None else f"in the motion what a finger touches stays at {reached:.3g} °C, but "
    words = first + "{value} A rms makes the board hotter than 60 °C, from {limit} A: it burns skin at a touch; "
    return (("thermal.touch", thermal.touch_current, "note", words + "cover it or warn"),)


def _no_current(thermal: ThermalResult) -> list[Finding]:
    """Eddies alone may be too much."""
    if thermal.continuous_drag is not None and thermal.continuous_current:
        words = (
            f"turning brakes with {thermal.continuous_drag:.3g} N·m, more than the continuous current drives: the "
            "motor cannot keep that speed; less speed, no steel beyond the board, narrower tracks"
        )
        return [Finding("thermal.drag", "warning", words, thermal.continuous_drag, where="thermal")]
    if thermal.continuous_current or thermal.board_limit_c is None:
        return []
    hot = thermal.driver_temperature_c
    if thermal.driver_current is not None and hot is not None and thermal.driver_limit_c is not None:
        words = "without any current in the motor the driver in the ring reaches {value} °C, above {limit} °C: "
        return at_most("thermal.driver", hot, thermal.driver_limit_c, words + DRIVER_CURE, "warning", where="thermal")
    words = "eddy currents alone heat the board or the magnets beyond their limits: narrower tracks or less speed"
    return [Finding("thermal.eddies", "warning", words, 0.0)]


def _causes(design: SizedDesign, thermal: ThermalResult) -> tuple[Cause, ...]:
    """Code, current at which it starts, severity and message."""
    tg = f"{design.board.laminate_tg_c:g} °C"
    return (
        (
            "thermal.continuous", thermal.continuous_current, "warning",
            "{value} A rms is more than the {limit} A that may flow continuously (" + (thermal.limited_by or "") + "): "
            "only intermittently" + _times(thermal),
        ),
        (
            "thermal.runaway", thermal.runaway_current, "warning",
            "{value} A rms has no steady temperature below 300 °C (from {limit} A): thermal runaway "
            "burns the copper; limit the current and its duration",
        ),
        (
            "thermal.tg", thermal.tg_current, "warning",
            "{value} A rms, continuous, softens the laminate: from {limit} A it passes its glass transition, " + tg,
        ),
        _rotor(thermal),
        (
            "thermal.solder", thermal.solder_current, "warning",
            "{value} A rms, continuous, melts tin-lead solder (183 °C), from {limit} A: wires come loose",
        ),
        (
            "thermal.via", thermal.ipc2221_via_current, "warning",
            "single vias carry {value} A rms, above {limit} A by IPC-2221: one weak barrel stops a phase; larger "
            "drills, thicker plating or more parallel paths",
        ),
        (
            "thermal.blister", thermal.blister_current, "warning",
            "{value} A rms takes cold copper past the glass transition within 1 s, from {limit} A: the laminate may "
            "blister, at once where it is moist; shorter pulses or less current",
        ),
    )  # fmt: skip


def _rotor(thermal: ThermalResult) -> Cause:
    """The part of the rotor that stands least."""
    start, least = thermal.magnet_current, thermal.rotor_limit_c
    if least is not None and least == thermal.plate_limit_c:
        words = (
            f"{{value}} A rms, continuous, makes the rotor plate hotter than its {least:g} °C, from {{limit}} A: it "
            "softens or warps and the gap with it; a plate of metal, a wider gap or less current"
        )
        return "thermal.plate", start, "warning", words
    if least is not None and least == thermal.glue_limit_c:
        words = (
            f"{{value}} A rms, continuous, makes the magnets' glue hotter than its {least:g} °C, from {{limit}} A: "
            "magnets come off; a glue for more heat, a plate of metal, a wider gap or less current"
        )
        return "thermal.glue", start, "warning", words
    words = (
        "{value} A rms, continuous, takes the magnets beyond what they stand, from {limit} A: they lose "
        "strength for good; a grade for more heat (H, SH, UH), a wider gap or less current"
    )
    return "thermal.magnets", start, "warning", words


def _times(thermal: ThermalResult) -> str:
    """The intermittent currents in words."""
    peaks = ((60, thermal.peak_60_cold), (10, thermal.peak_10_cold), (1, thermal.peak_1_cold))
    known = [f"{peak:.3g} A for {time} s" for time, peak in peaks if peak is not None]
    return f" ({', '.join(known)} from cold)" if known else ""


def _magnets(design: SizedDesign, thermal: ThermalResult) -> list[Finding]:
    """Magnets that get hotter than the file says are weaker than computed."""
    if thermal.rotor_temperature_c is None:
        return []
    return at_most(
        "thermal.magnet_temperature",
        thermal.rotor_temperature_c,
        design.rotor.magnet.temperature_c + 20.0,
        "at the continuous current the magnets reach {value} °C, more than 20 K above rotor.magnet.temperature_c: "
        "field and torque constant hold for that one, and the knee as well; set it to this value and look again",
        "note",
    )
