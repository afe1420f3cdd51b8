"""The slip-ring board against the rule set, IPC-2221 and what brushes do; more in ``slip_ring_contact.py``."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from pcbstator.analysis.electrical.records import SlipRingResult
from pcbstator.analysis.mechanical.ball_contact import BallResult
from pcbstator.check.limits import at_least, at_most, found
from pcbstator.check.slip_ring_contact import ball_findings, fixing_findings, run_out_findings
from pcbstator.copper.clearance import Gap
from pcbstator.findings import Finding

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign
    from pcbstator.design.sections.slip_ring import SlipRing

TOUCHABLE = 42.4  # V peak; 60 V for direct voltage (IEC 62368-1, ES1; from memory)
DUST = 2.0  # spacing over that of clean boards, for the dust of brushes (common practice, no source)
LEAST_RUN = 0.5  # of a ring's width that a brush should have without holes (common practice, no source)
MASK_WEB = 0.2e-3  # m of laminate for a web of mask, openings 0.05 mm wider all round (common practice, no source)
HARD = ("hard", "gold")  # words of a finish that stands wear


def slip_ring_findings(
    design: SizedDesign, results: SlipRingResult | None, balls: BallResult | None = None
) -> list[Finding]:
    """Findings about the slip-ring board, none where there is no such board; balls: between two of them."""
    section = design.slip_ring
    if section is None or results is None:
        return []
    findings = _board(design, section, results)
    if results.turning is not None and section.turning_edge != section.lead_edge:  # else both boards are alike
        turning = section.boards["turning"]
        findings += [
            replace(finding, where=f"turning board, {finding.where}" if finding.where else "turning board")
            for finding in _board(design, turning, results.turning)
        ]
    own = _brushes(section, results) if section.contact == "brushes" else ball_findings(section, balls)
    return findings + _contacts(section) + own + run_out_findings(design, balls)


def _board(design: SizedDesign, section: SlipRing, results: SlipRingResult) -> list[Finding]:
    """Findings about one board."""
    return (
        _rules(design, section, results)
        + _current(section, results)
        + _spacing(section, results)
        + _edges(design, section, results)
        + fixing_findings(design, results)
    )


def _at(gap: Gap | None) -> str | None:
    if gap is None:
        return None
    return f"layer {gap.layer}, {gap.nets[0]} and {gap.nets[1]}, x {1e3 * gap.x:.3f} mm, y {1e3 * gap.y:.3f} mm"


def _rules(design: SizedDesign, section: SlipRing, results: SlipRingResult) -> list[Finding]:
    """What the board manufacturer can make; values in mm."""
    rules, gaps = design.rules, results.gaps
    drawn = [gap for gap in (gaps.rings, gaps.terminals, gaps.leads) if gap] if gaps else []
    closest = min(drawn, key=lambda gap: gap.distance, default=None)
    limits = [("track_width", "the narrowest track", min(section.width, results.lead_width), rules.track_width, "lead")]
    if closest is not None:
        limits.append(("track_gap", "the least gap", closest.distance, rules.track_gap, _at(closest) or ""))
    for hole, drill, pad in (
        ("via", section.via_drill, section.via_pad), ("terminal", section.terminal_drill, section.terminal_pad),
    ):  # fmt: skip
        limits += [
            ("drill", f"the {hole}'s drill", drill, rules.drill, hole),
            ("annular_ring", f"the copper around a {hole}'s hole", (pad - drill) / 2, rules.annular_ring, hole),
        ]
        if closest is not None:
            away = (pad - drill) / 2 + closest.distance
            limits.append(("drill_to_copper", f"a {hole}'s hole to other copper", away, rules.drill_to_copper, hole))
    findings: list[Finding] = []
    for name, what, value, limit, where in limits:
        said = f"slip-ring board: {what} is {{value}} mm, below {name}_mm = {{limit}} of the rule set {rules.name}"
        findings += at_least("slip_ring.rules", 1e3 * value, 1e3 * limit, said, where=where)
    thinnest = min(section.via_drill, section.terminal_drill)
    said = f"the slip-ring board is {{value}} times as thick as its drill, above the {{limit}} of the set {rules.name}"
    return findings + at_most("slip_ring.rules", section.thickness / thinnest, rules.aspect_ratio, said, where="drill")


def _current(section: SlipRing, results: SlipRingResult) -> list[Finding]:
    parts = {
        "ring": results.ring_allowed_current, "lead": results.lead_allowed_current,
        "row of vias": results.vias_allowed_current,
    }  # fmt: skip
    weakest = min(parts, key=lambda part: parts[part])
    findings = at_least(
        "slip_ring.current",
        parts[weakest],
        section.current,
        f"a {weakest} of the slip-ring board stands {{value}} A for {section.temperature_rise:g} K (IPC-2221), less "
        "than the {limit} A asked for: use wider rings or leads, thicker copper, more or larger vias",
        where=weakest,
    )
    return findings + at_most(
        "slip_ring.via_sharing",
        results.via_worst_current,
        results.via_allowed_current,
        "the vias of a ring do not share its current equally: the first takes {value} A where IPC-2221 allows "
        "{limit} A; use a larger drill, thicker copper or two rings in parallel",
        "warning",
    )


def _spacing(section: SlipRing, results: SlipRingResult) -> list[Finding]:
    """IPC-2221 Table 6-1 on what is drawn; values in mm."""
    findings: list[Finding] = []
    gaps = results.gaps
    for code, what, gap, needed in (
        ("slip_ring.creepage", "bare rings are", gaps.rings if gaps else None, results.creepage_needed),
        ("slip_ring.creepage", "a terminal and its neighbour are", gaps.terminals if gaps else None,
         results.terminal_spacing_needed),
        ("slip_ring.lead_spacing", "leads under the mask are", gaps.leads if gaps else None,
         results.lead_spacing_needed),
    ):  # fmt: skip
        if gap is not None and needed is not None:
            said = f"{what} {{value}} mm apart; {section.voltage:g} V want {{limit}} mm (IPC-2221 Table 6-1)"
            findings += at_least(code, 1e3 * gap.distance, 1e3 * needed, said, where=_at(gap))
    if findings or gaps is None or gaps.rings is None or results.creepage_needed is None:
        return findings
    return at_least(
        "slip_ring.dust",
        1e3 * gaps.rings.distance,
        1e3 * DUST * results.creepage_needed,
        "bare rings are {value} mm apart: IPC-2221 is about clean boards, "
        f"{section.contact} shed conducting dust; "
        "{limit} mm, twice its spacing, is wise",
        "warning",
    )


def _edges(design: SizedDesign, section: SlipRing, results: SlipRingResult) -> list[Finding]:
    """Copper to the edges of the board, against the rule set and against a metal shaft or housing there."""
    findings: list[Finding] = []
    for place, distance in zip(("bore", "outer edge"), results.edges, strict=True):
        said = f"slip-ring board: copper is {{value}} mm from the {place}, below edge_mm = {{limit}} of the rules"
        near = at_least("slip_ring.rules", 1e3 * distance, 1e3 * design.rules.edge, said, where=place)
        findings += near or at_least(
            "slip_ring.edge_creepage",
            1e3 * distance,
            1e3 * (results.creepage_needed or 0.0),
            f"copper is {{value}} mm from the {place}: metal there wants {{limit}} mm for {section.voltage:g} V; "
            "use a plastic bush or a wider board there",
            "warning",
            where=place,
        )
    return findings


def _contacts(section: SlipRing) -> list[Finding]:
    """What holds for brushes and balls alike."""
    findings: list[Finding] = []
    if section.voltage > TOUCHABLE:
        findings.append(
            found(
                "slip_ring.voltage",
                "warning",
                "bare rings with {value} V, above {limit} V peak (60 V direct): they can shock; close them in, earth "
                "what is metal, and leave mains to a licensed person under local codes",
                section.voltage,
                TOUCHABLE,
            )
        )
    if not any(word in section.finish.lower() for word in HARD):
        message = f'a finish of "{section.finish}" wears through under {section.contact}: order hard gold on the rings'
        findings.append(Finding("slip_ring.finish", "warning", message))
    return findings


def _brushes(section: SlipRing, results: SlipRingResult) -> list[Finding]:
    findings = at_least(
        "slip_ring.brush",
        1e3 * results.hole_free_width,
        1e3 * LEAST_RUN * section.width,
        "beside its vias a ring has {value} mm for a brush, below {limit} mm, half of its width: use wider rings or "
        "smaller vias, or order the vias filled and capped",
        "warning",
    )
    if section.rings > 1:
        findings += at_least(
            "slip_ring.mask_web",
            1e3 * section.spacing,
            1e3 * MASK_WEB,
            "rings {value} mm apart leave no web of mask between them; below {limit} mm it peels and fouls the brushes",
            "warning",
        )
    return findings
