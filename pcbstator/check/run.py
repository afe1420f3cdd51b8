"""All findings about a design, worst first."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from pcbstator.analysis.kept import Kept
from pcbstator.analysis.pipeline import completed, worked
from pcbstator.analysis.prediction import Prediction
from pcbstator.analysis.stages import Work
from pcbstator.check.accepted import with_acceptances
from pcbstator.check.envelope import envelope_findings
from pcbstator.check.fabrication import fabrication_findings
from pcbstator.check.job import job_findings
from pcbstator.check.limits import at_least, at_most
from pcbstator.check.mechanical import mechanical_findings
from pcbstator.check.mechanical_features import feature_findings
from pcbstator.check.parallel_paths import path_findings
from pcbstator.check.requirement import Known, requirement_findings, verdicts
from pcbstator.check.rotor_plate import gap_findings
from pcbstator.check.slip_ring import slip_ring_findings
from pcbstator.check.surroundings import surroundings_findings
from pcbstator.check.thermal import thermal_findings
from pcbstator.check.ways_out.retrial import with_ways_out
from pcbstator.copper import Copper
from pcbstator.findings import Finding, Severity

if TYPE_CHECKING:
    from pcbstator.design import Design, SizedDesign

MOST_RIPPLE = 0.05  # of the torque (common practice, no source)
ORDER = {"error": 0, "warning": 1, "note": 2}


def checked_prediction(
    design: Design,
    copper: Copper | None = None,
    ways_out: bool = True,
    as_built: bool = True,
    kept: Kept | None = None,
) -> Prediction:
    """All results of a design with the verdict and the findings about it; ways_out: also what would meet each
    requirement that is not met; as_built: also the motor as built. kept: what designs before it left.

    Raises DesignError where winding or copper cannot be laid.
    """
    if kept is None:
        return checked_work(worked(design, copper), ways_out, as_built)
    work = worked(design, copper or kept.copper(design), kept.shared)
    work.drawn = kept.drawn
    return checked_work(work, ways_out, as_built)


def checked_work(work: Work, ways_out: bool = True, as_built: bool = True) -> Prediction:
    """The same of a design that went through all stages."""
    prediction, (_, conductors) = completed(work, as_built), work.laid
    found = verdicts(work.design, Known.of(prediction))
    if ways_out:
        found = with_ways_out(work, prediction, found)
    prediction = replace(prediction, requirement=found)
    return replace(prediction, findings=check_design(work.design, conductors.copper, prediction))


def check_design(design: SizedDesign, copper: Copper, prediction: Prediction) -> tuple[Finding, ...]:
    """Findings about copper, sizes and results."""
    board = copper.board
    findings = fabrication_findings(design, board, prediction.copper.closest) + envelope_findings(design, board)
    findings += feature_findings(design, board)
    findings += _results(prediction) + path_findings(design, prediction)
    if prediction.out_of_range and not any(finding.code == "magnets.overlap" for finding in findings):
        severity: Severity = "error" if prediction.magnetic is None else "warning"
        findings.append(Finding("law.range", severity, prediction.out_of_range))
    findings += mechanical_findings(design, prediction) + gap_findings(design, prediction)
    findings += job_findings(design, prediction) + surroundings_findings(design, prediction)
    findings += slip_ring_findings(design, prediction.slip_ring, prediction.slip_ring_balls)
    findings += thermal_findings(design, prediction) + requirement_findings(prediction.requirement)
    findings = with_acceptances(findings, design.accepted)
    return tuple(sorted(findings, key=lambda finding: (ORDER[finding.severity], finding.accepted is not None)))


def _results(prediction: Prediction) -> list[Finding]:
    """Findings about the results themselves."""
    findings = at_least(
        "winding.factor",
        prediction.winding.factor,
        0.7,
        "the winding factor {value} is low: below {limit} much of the copper works for nothing",
        "warning",
    )
    if prediction.magnetic is not None:
        build = prediction.build
        findings += at_most(
            "magnetic.torque_ripple",
            prediction.magnetic.torque_ripple if build is None else build.torque_ripple["p95"],
            MOST_RIPPLE,
            "the torque ripples by {value} of its mean in sine drive, above {limit}"
            + ("" if build is None else f", in one built motor of 20; {build.pays or 'the winding'} makes most of it"),
            "warning",
        )
    if prediction.thermal.ipc2221_current is None:
        findings.append(
            Finding(
                "law.range",
                "note",
                "IPC-2221 gives no current: a track is wider than 10.16 mm or stands more than 35 A (17.5 A inside)",
                where="thermal.ipc2221_phase_current_rms_a",
            )
        )
    resistances = prediction.electrical.phase_resistances
    findings += at_most(
        "electrical.unequal_phases",
        (max(resistances) - min(resistances)) / prediction.electrical.phase_resistance,
        0.02,
        "the phases' resistances differ by {value} of their mean, above {limit}, because of their inter-coil "
        "connections",
        "warning",
    )
    return findings + _delta_loop(prediction)


def _delta_loop(prediction: Prediction) -> list[Finding]:
    """The current around a delta at the highest current and speed of [operation], and over the cycle of [motion]."""
    usual, motion = prediction.thermal.copper_loss, prediction.motion
    cases: list[tuple[float, float | None, str, str]] = []
    points = [point for point in prediction.losses if "delta_loop_w" in point]
    if points:
        point = max(points, key=lambda point: (point["phase_current_peak_a"], point["speed_rpm"]))
        words = f"at {point['speed_rpm']:g} rpm"
        cases.append((point["delta_loop_w"], point["copper_w"] or usual, words, "losses"))
    if motion is not None and motion.loop_heat is not None:
        cases.append((motion.loop_heat, motion.copper_heat or usual, "in the motion", "motion"))
    findings = []
    for loop, copper, words, where in cases:
        if copper:
            findings += at_most(
                "electrical.delta_loop", loop / copper, 0.05,
                f"{words} the current around the delta takes {loop:.3g} W, {{value}} of the copper loss, above "
                "{limit}: connect the phases in star, where it cannot flow, or let magnets cover about two thirds of "
                "the pitch, which leaves little third harmonic", "warning", where,
            )  # fmt: skip
    return findings
