"""Findings about the drive at its job: torque, voltage, heat, ripple, loops, play."""

from __future__ import annotations

from math import ceil, degrees, radians
from typing import TYPE_CHECKING

from pcbstator.analysis.drive.records import RPM, DriveResult, MotionResult
from pcbstator.analysis.prediction import Prediction
from pcbstator.check.limits import at_least, at_most
from pcbstator.findings import Finding

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign
    from pcbstator.design.sections.job import Drive

RIPPLE = 0.2  # of the current, peak to peak (common practice, no source)
LEAST_MARGIN = 30.0  # degrees of phase (common practice, no source)
COARSEST_COUNT = 5.0  # electrical degrees (common practice, no source)
WORST_MISALIGNMENT = 0.05  # of the torque (common practice, no source)


def job_findings(design: SizedDesign, prediction: Prediction) -> list[Finding]:
    """Findings of motion and drive."""
    return _motion(prediction) + _driver(design, prediction) + _loops(design, prediction) + _bearing_play(design)


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
            "the cycle needs {value} N·m rms, above the {limit} N·m that the motor gives for any length of time at its "
            f"top speed, limited by {found.continuous_limited_by}: longer rests, slower moves, or cooling", "warning",
        )  # fmt: skip
    if found.available_continuous == 0 and found.drag and found.continuous_limited_by != "voltage":
        findings.append(
            Finding(
                "drive.drag", "warning",
                f"at the top speed eddies and steel brake with {found.drag:.3g} N·m, more than the continuous current "
                "drives: nothing is left for the load; less speed, no steel beyond the board, narrower tracks",
                found.drag, 0.0, where="motion",
            )
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
    findings += _ripple(drive, fit, prediction.motion) + _slow_speed(fit)
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


def _ripple(drive: Drive, fit: DriveResult, motion: MotionResult | None) -> list[Finding]:
    """The ripple against the current that the motion takes, in the motion; without a motion the worst case against
    the current limit."""
    cure = ""
    if fit.pwm_wanted is not None and fit.added_inductance is not None:
        choke = ceil(1e6 * (drive.choke + fit.added_inductance))
        cure = f": {1e-3 * fit.pwm_wanted:.3g} kHz, or a choke in each terminal's wire, drive.choke_uh = {choke},"
    if fit.ripple_at_job is None or motion is None or motion.peak_current is None:
        return at_most(
            "drive.ripple", fit.ripple, RIPPLE * drive.current_limit,
            "at its worst voltage switching makes the current ripple by {value} A peak to peak, above {limit} A, a "
            f"fifth of the current limit{cure} would keep it there", "warning",
        )  # fmt: skip
    heat = ""
    if motion.cycle_ripple_heat is not None and motion.copper_heat is not None:
        heat = (
            f"; it heats with {motion.cycle_ripple_heat:.2g} W on top of the {motion.copper_heat:.2g} W of the motion, "
            "and the controller measures it as noise"
        )
    return at_most(
        "drive.ripple", fit.ripple_at_job, RIPPLE * motion.peak_current,
        "in the motion switching makes the current ripple by {value} A peak to peak, above {limit} A, a fifth of the "
        f"{motion.peak_current:.3g} A that the motion takes at most{heat}{cure} would keep it there", "warning",
    )  # fmt: skip


def _slow_speed(fit: DriveResult) -> list[Finding]:
    """A sensor that is too coarse for the slow speed of the job."""
    if fit.slow_speed is None:
        return []
    cure = f"drive.speed_bandwidth_hz = {fit.speed_bandwidth * fit.slow_speed / fit.slowest:.2g} or less"
    if fit.counts_wanted is not None:
        cure = f"a sensor of {fit.counts_wanted} counts or more, or {cure}"
    return at_most(
        "drive.slow_speed", fit.slowest * RPM, fit.slow_speed * RPM,
        "the slowest speed that the sensor measures evenly is {value} rpm of the motor, above the {limit} rpm wanted, "
        f"at which it would go from count to count: {cure}", "warning",
    )  # fmt: skip


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


def _bearing_play(design: SizedDesign) -> list[Finding]:
    """Play of the bearing that no error of position counts."""
    play = 1e3 * design.bearing.radial_play if design.bearing else 0.0
    if design.drive is None or design.drive.mark_radius is not None or play == 0:
        return []
    words = (
        f"the bearing's {play:.3g} mm of sideways play count in no error of position, as angles alone do: say at which "
        "radius the position counts, drive.mark_radius_mm"
    )
    return [Finding("drive.bearing_play", "note", words, play, where="bearing.radial_play_mm")]
