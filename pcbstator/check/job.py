"""Findings about the drive at its job: torque, voltage, heat, ripple, loops, play."""

from __future__ import annotations

from math import degrees, radians
from typing import TYPE_CHECKING

from pcbstator.analysis.prediction import Prediction
from pcbstator.check.limits import at_least, at_most
from pcbstator.findings import Finding

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign

RIPPLE = 0.2  # of the current limit (common practice, no source)
LEAST_MARGIN = 30.0  # degrees of phase (common practice, no source)
COARSEST_COUNT = 5.0  # electrical degrees (common practice, no source)
WORST_MISALIGNMENT = 0.05  # of the torque (common practice, no source)


def job_findings(design: SizedDesign, prediction: Prediction) -> list[Finding]:
    """Findings of motion and drive."""
    return _motion(prediction) + _driver(design, prediction) + _loops(design, prediction)


def _motion(prediction: Prediction) -> list[Finding]:
    found, findings = prediction.motion, []
    if found is None:
        return []
    if found.required_peak is not None and found.available_peak is not None:
        findings += at_most(
            "drive.torque", found.required_peak, found.available_peak,
            "the motion needs {value} N·m at its peak, above the {limit} N·m that current and voltage give: "
            "less acceleration or friction, more current or supply", "warning",
        )  # fmt: skip
    if found.required_rms is not None and found.available_continuous is not None:
        findings += at_most(
            "drive.heat", found.required_rms, found.available_continuous,
            "the cycle needs {value} N·m rms, above the {limit} N·m that the copper stands continuously: longer rests, "
            "slower moves, or cooling", "warning",
        )  # fmt: skip
    if found.voltage_part is not None:
        findings += at_most(
            "drive.voltage", found.voltage_part, 1.0,
            "the motion needs {value} times the voltage that the supply gives: a higher supply, less speed, or fewer "
            "turns", "warning",
        )  # fmt: skip
    if found.braking_energy:
        findings.append(
            Finding(
                "drive.braking", "note",
                f"braking returns {found.braking_energy:.3g} J to the supply in a cycle: it must take that up, or the "
                "voltage rises", found.braking_energy, where="motion.braking_energy_j",
            )
        )  # fmt: skip
    return findings


def _driver(design: SizedDesign, prediction: Prediction) -> list[Finding]:
    fit, drive, findings = prediction.drive, design.drive, []
    if fit is None or drive is None:
        return []
    ripple = fit.ripple if fit.ripple_at_job is None else fit.ripple_at_job
    wish = f"{1e-3 * fit.pwm_wanted:.3g} kHz"
    if fit.added_inductance is not None:
        wish += f" or {1e6 * fit.added_inductance:.3g} µH more in each terminal's wire keeps it below in all cases"
    findings += at_most(
        "drive.ripple", ripple, RIPPLE * drive.current_limit,
        "switching makes the current ripple by {value} A peak to peak, above {limit} A, a fifth of the limit: " + wish,
        "warning",
    )  # fmt: skip
    findings += at_most(
        "drive.sensor", degrees(fit.count_electrical), COARSEST_COUNT,
        "a count of the sensor is {value} electrical degrees, above {limit}: torque and slow speed suffer", "warning",
    )  # fmt: skip
    findings += at_most(
        "drive.misalignment", fit.misalignment, WORST_MISALIGNMENT,
        "where the sensor errs most, {value} of the torque is lost, above {limit}: centre the sensor, or correct it by "
        "a table", "warning",
    )  # fmt: skip
    return findings


def _loops(design: SizedDesign, prediction: Prediction) -> list[Finding]:
    fit, load, findings = prediction.drive, design.load, []
    if fit is None:
        return []
    for name, margin in (
        ("current", fit.current_margin), ("speed", fit.speed_margin), ("position", fit.position_margin),
    ):  # fmt: skip
        if margin is not None:
            findings += at_least(
                "drive.margin", degrees(margin), LEAST_MARGIN,
                f"the {name} loop has {{value}} degrees of phase left, below {{limit}}: lower its bandwidth", "warning",
            )  # fmt: skip
    if load is not None and load.play > 0:
        findings.append(
            Finding(
                "drive.play", "warning",
                f"{degrees(load.play):.3g} degrees of play lie between motor and load: no gain takes them out, and the "
                "loops may hunt in them; preload the coupling or measure at the load", degrees(load.play),
                where="load.play_deg",
            )
        )  # fmt: skip
    if fit.speed_limited_by == "coupling":
        findings.append(
            Finding(
                "drive.coupling", "note",
                f"the load swings on its coupling at {fit.anti_resonance:.3g} Hz: that, not the motor, sets how stiff "
                "the loops can be", fit.anti_resonance, where="speed loop",
            )
        )  # fmt: skip
    if load is not None and fit.bare_margin is not None and fit.bare_margin < radians(LEAST_MARGIN):
        findings.append(
            Finding(
                "drive.bare_gains", "note",
                f"gains that suit the bare rotor would leave {degrees(fit.bare_margin):.3g} degrees of phase with this "
                "load, so that it swings: set the loops with the load on", degrees(fit.bare_margin),
                where="speed and position loop",
            )
        )  # fmt: skip
    return findings
