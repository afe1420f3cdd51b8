"""Rotor plate, bearing and the gap between rotor and board."""

from __future__ import annotations

from math import ceil, radians
from typing import TYPE_CHECKING

from pcbstator.analysis.mechanical.records import MechanicalResult
from pcbstator.analysis.prediction import Prediction
from pcbstator.check.envelope import magnet_radii
from pcbstator.check.limits import at_least, at_most, found
from pcbstator.findings import Finding

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign

WEB = 1e-3  # m of a plate that should be left beside a hole (common practice, no source)


def gap_findings(design: SizedDesign, prediction: Prediction) -> list[Finding]:
    """Findings about the gap at rest, and about what the bearing carries."""
    result = prediction.mechanical
    if result is None:
        return []
    return _plate(design) + _gap(design, result) + _load(design, prediction, result)


def _gap(design: SizedDesign, result: MechanicalResult) -> list[Finding]:
    """What closes the gap: nothing holds it, or something touches."""
    drawn, would_do = 1e3 * design.rotor.air_gap, _would_do(result.safe_gap)
    if result.gap_failure == "pull":
        words = (
            f"the magnets pull the gap of {{value}} mm shut: their force grows faster than bearing and plate hold "
            f"against it; {would_do}, or a stiffer plate or bearing"
        )
        return [found("mechanical.gap_unstable", "error", words, drawn)]
    if result.gap_failure == "tilt":
        has, wanted = (radians(each or 0.0) for each in (_tilt_stiffness(design), result.tilt_wanted))
        words = (
            "unequal attraction tilts the rotor further than the bearing's {value} N·m per degree can hold, and the "
            f"magnets come down on the board: bearing.tilt_stiffness_n_m_per_deg = {float(f'{wanted:.2g}') * 1.1:.2g} "
            f"would do, as it is, or {would_do}"
        )
        return [found("mechanical.tilt_unstable", "error", words, has, where="bearing")]
    if result.gap_failure == "contact":
        words = f"play and weight alone take the gap of {{value}} mm: the rotor lies on the board; {would_do}"
        return [found("mechanical.rubbing", "error", words, drawn)]
    if result.least_gap is None:
        return []
    at_rest = "" if result.gap_at_rest is None else f" of {1e3 * result.gap_at_rest:.3g} mm at rest"
    return at_least(
        "mechanical.rubbing", 1e3 * result.least_gap, 0.0,
        f"run-out, bow, copper and sag leave {{value}} mm of a gap{at_rest}: the rotor rubs on the board, if all come "
        f"together; {would_do}, or a smaller rotor_run_out_mm, board_bow_mm or play",
    )  # fmt: skip


def _tilt_stiffness(design: SizedDesign) -> float | None:
    return None if design.bearing is None else design.bearing.tilt_stiffness


def _would_do(gap: float | None) -> str:
    """The gap that would do, rounded up to what one would write."""
    if gap is None:
        return "no gap up to four times this one is safe: less steel beyond the board"
    return f"air_gap_mm = {ceil(gap * 1e5 - 1e-9) / 100:g} would do"


def _load(design: SizedDesign, prediction: Prediction, result: MechanicalResult) -> list[Finding]:
    bearing, findings = design.bearing, []
    if bearing is None:
        return []
    if bearing.allowed_axial_load is not None and result.bearing_load is not None:
        findings += at_most(
            "mechanical.bearing_load", result.bearing_load, bearing.allowed_axial_load,
            "magnetic force and weight load the bearing with {value} N along the axis, above the {limit} N that it "
            "may carry: a wider gap, no steel beyond the board, or a larger bearing", "warning",
        )  # fmt: skip
    build = prediction.build
    if bearing.allowed_tilting_moment is None or build is None or design.rotor.arrangement == "double":
        return findings
    if build.tilting_moment is None:
        return findings
    return findings + at_most(
        "mechanical.bearing_tilt", build.tilting_moment["p95"], bearing.allowed_tilting_moment,
        "unequal attraction tilts the bearing with up to {value} N·m in 19 of 20 built motors, above the {limit} N·m "
        "that it may carry: less rotor_run_out_mm and board_bow_mm, a wider gap, or a larger bearing", "warning",
    )  # fmt: skip


def _plate(design: SizedDesign) -> list[Finding]:
    """Magnets beyond the plate, holes beyond its edges or under magnets."""
    plate = design.rotor.plate
    if plate is None:
        return []
    inner, outer, (near, far) = plate.inner_diameter / 2, plate.outer_diameter / 2, magnet_radii(design)
    findings = at_most(
        "mechanical.plate_size", 2e3 * far, 2e3 * outer,
        "the magnets reach a diameter of {value} mm, beyond the rotor plate of {limit} mm", where="outline",
    ) + at_least(
        "mechanical.plate_size", 2e3 * near, 2e3 * inner,
        "the magnets begin at a diameter of {value} mm, within the plate's bore of {limit} mm", where="bore",
    )  # fmt: skip
    for number, holes in enumerate(plate.holes, start=1):
        middle, radius, where = holes.circle_diameter / 2, holes.diameter / 2, f"rotor.plate.holes[{number}]"
        if middle == 0 and inner == 0:
            continue  # the hole for a shaft
        left = min(outer - middle - radius, middle - radius - inner)
        findings += at_least(
            "mechanical.plate_hole", 1e3 * left, 1e3 * WEB,
            f"{where}: {{value}} mm of the plate are left beside a hole, below {{limit}} mm: move or shrink it",
            "error" if left < 0 else "warning", where=where,
        )  # fmt: skip
        if near - radius < middle < far + radius:
            words = f"{where}: the holes on a circle of {2e3 * middle:g} mm lie among the magnets: move them clear"
            findings.append(Finding("mechanical.plate_hole", "warning", words, where=where))
    return findings
