"""How slip-ring boards are fixed and fitted, and what balls between two of them stand."""

from __future__ import annotations

from math import pi
from typing import TYPE_CHECKING

from pcbstator.analysis.electrical.records import SlipRingResult
from pcbstator.analysis.mechanical.ball_contact import BallResult
from pcbstator.check.limits import at_least, at_most, found
from pcbstator.findings import Finding
from pcbstator.materials import raceway

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign
    from pcbstator.design.sections.slip_ring import SlipRing

FIT = 0.2e-3  # m in all between a board and a shaft or housing; outlines are routed to 0.1 mm a side (common practice)
OPEN = 1e-3  # chance that a ring has no contact (our choice)
SOFTENS = 0.08  # V across a contact at which gold softens, copper from 0.12 V (Holm, Electric Contacts, from memory)
STOCK = 0.5e-3, 25.4e-3 / 32  # m: balls come in steps of these (common practice, no source)
NEAR = 0.02e-3  # m by which the gap may miss such a size
INSTEAD = "a steel race ring on each board with the boards as its carriers, or brushes"


def fixing_findings(design: SizedDesign, results: SlipRingResult) -> list[Finding]:
    """Fixing holes against copper and edges, the board against shaft and housing; values in mm."""
    section, rules, findings = design.slip_ring, design.rules, []
    if section is None:
        return []
    said = f"{{limit}} mm of the rule set {rules.name}"
    for table, (metal, web) in (results.holes or {}).items():
        findings += at_least(
            "slip_ring.holes", 1e3 * metal, 1e3 * rules.drill_to_copper,
            f"holes of {table} come within {{value}} mm of copper, below the {said}: another circle or angle, and an "
            "outer_diameter_mm or bore_diameter_mm that leaves room for it", where=table,
        )  # fmt: skip
        findings += at_least(
            "slip_ring.holes", 1e3 * web, 1e3 * rules.hole_web,
            f"{{value}} mm of laminate stand between holes of {table} and each other or an edge, below the {said}: a "
            "larger outer_diameter_mm, a smaller bore_diameter_mm or fewer holes", where=table,
        )  # fmt: skip
    shaft, housing = section.shaft_diameter, section.housing_diameter
    bore, outline = results.board_inner_diameter, results.board_outer_diameter
    for free, where, remedy in (
        (None if shaft is None else bore - shaft, "shaft_diameter_mm", "use a larger bore_diameter_mm"),
        (None if housing is None else housing - outline, "housing_diameter_mm", "use a smaller outer_diameter_mm"),
    ):
        if free is not None:
            findings += at_least(
                "slip_ring.fit", 1e3 * free, 1e3 * FIT,
                f"between the slip-ring board and slip_ring.{where} there are {{value}} mm in all, below the {{limit}} "
                f"mm that routing may be off: {remedy}", "error" if free < 0 else "warning", where=where,
            )  # fmt: skip
    return findings


def run_out_findings(design: SizedDesign, results: BallResult | None) -> list[Finding]:
    """Balls as the bearing of the rotor, where they let it run out by more than [build] says."""
    if results is None or design.build is None:
        return []
    return at_most(
        "slip_ring.run_out", float(f"{1e3 * results.edge_run_out:.2g}"), 1e3 * design.build.rotor_run_out,
        "flatness of the slip-ring boards and balls lets the rotor run out by up to {value} mm at the edge of the "
        "magnets, if it has no other bearing, more than the {limit} mm of build.rotor_run_out_mm, which the least gap "
        "counts on: set that to this value, or use flatter boards, a larger raceway or a bearing", "warning",
    )  # fmt: skip


def ball_findings(section: SlipRing, results: BallResult | None) -> list[Finding]:
    """Balls: what cannot work is an error, what will not last a warning."""
    if results is None:
        message = (
            "nothing can be said of the balls: their gap leaves no room for them, or the rotor's forces are unknown"
        )
        return [Finding("slip_ring.balls", "error", message, where="board_gap_mm")]
    if results.pressure is None:
        message = (
            "no magnetic force, weight or spring presses the balls on the rings, so that they neither guide nor carry "
            "current: state preload_n, or an axis that stands (cooling.orientation)"
        )
        return [*_room(section, results), Finding("slip_ring.balls", "error", message, where="preload_n")]
    return _room(section, results) + _stress(section, results) + _contact(results)


def _room(section: SlipRing, results: BallResult) -> list[Finding]:
    findings = at_least(
        "slip_ring.groove", 1e3 * results.groove, 1e3 * results.least_groove,
        "beside vias and mask a groove of {value} mm is left, below {limit} mm balls ride on the edge of the mask: use "
        "wider rings, smaller vias or smaller balls",
    )  # fmt: skip
    if results.balls_apart is not None and results.balls_apart_needed is not None:
        findings += at_least(
            "slip_ring.balls_apart", 1e3 * results.balls_apart, 1e3 * results.balls_apart_needed,
            f"balls of neighbouring rings are {{value}} mm apart; {section.voltage:g} V want {{limit}} mm (IPC-2221 "
            "Table 6-1, B2): use a wider spacing_mm or smaller balls, and a cage with walls between rings",
        )  # fmt: skip
    around = results.balls * results.ball_diameter / (pi * results.raceway)
    findings += at_most(
        "slip_ring.balls", around, 0.9,
        "the balls fill {value} of the innermost ring, a cage needs the rest: above {limit} use fewer or smaller ones",
    )  # fmt: skip
    size = results.ball_diameter
    nearest = min((round(size / step) * step for step in STOCK), key=lambda each: abs(each - size))
    if abs(nearest - size) > NEAR and nearest > 0:
        gap = 1e3 * (nearest + 2 * section.copper)
        findings.append(
            found(
                "slip_ring.ball_size", "warning",
                "the gap wants balls of {value} mm, which nobody stocks; {limit} mm is the nearest size, with "
                f"board_gap_mm = {gap:.3f}", 1e3 * size, 1e3 * nearest,
            )
        )  # fmt: skip
    return findings


def _stress(section: SlipRing, results: BallResult) -> list[Finding]:
    findings = []
    if results.pressure and results.allowed_pressure and results.pressure > results.allowed_pressure:
        ways = [f"balls of {1e3 * results.diameter_wanted:.3g} mm"] if results.diameter_wanted else []
        ways += [f"{results.balls_wanted} balls on each ring"] if results.balls_wanted else []
        ways += ["a flatter or softer bed for the boards, less load", INSTEAD]
        findings.append(
            found(
                "slip_ring.ball_pressure", "warning",
                "under the most loaded ball the pressure is up to {value} MPa, copper foil yields from {limit} MPa: "
                f"balls press tracks into the rings and they will not last; {', or '.join(ways)}",
                float(f"{1e-6 * results.pressure:.3g}"), 1e-6 * results.allowed_pressure,
            )
        )  # fmt: skip
    if results.laminate_stress is not None:
        findings += at_most(
            "slip_ring.laminate", float(f"{1e-6 * results.laminate_stress:.3g}"), 1e-6 * raceway("laminate_strength"),
            "below the most loaded ball the laminate takes up to {value} MPa, above the {limit} MPa at which it is "
            f"crushed: larger balls, thicker copper, or {INSTEAD}", "warning",
        )  # fmt: skip
    return findings


def _contact(results: BallResult) -> list[Finding]:
    findings = []
    if results.open_chance is not None:
        findings += at_most(
            "slip_ring.ball_contact", results.open_chance, OPEN,
            "the chance that at a moment some ring has no ball on both boards is {value}, above {limit}: contact "
            "breaks and sparks; lay one board on felt or rubber (board_stiffness_n_per_mm), use flatter boards, more "
            "balls, more load, or brushes", "warning",
        )  # fmt: skip
    if results.voltage is not None:
        findings += at_most(
            "slip_ring.ball_heat", results.voltage, SOFTENS,
            "the most loaded patch takes {value} V, above the {limit} V at which gold softens: less current, two rings "
            "in parallel, more load on each ball, or brushes", "warning",
        )  # fmt: skip
    return findings
