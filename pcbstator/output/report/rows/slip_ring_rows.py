"""Rows of the report about slip rings: the board, and balls between two of them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pcbstator.analysis.prediction import Prediction
from pcbstator.output.words import Row, copper_weight, figures, measure, millimetres

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign


def slip_ring_rows(design: SizedDesign, prediction: Prediction) -> list[Row]:
    """What to order of the slip-ring board, and what it does; none without one."""
    asked, found = design.slip_ring, prediction.slip_ring
    if asked is None or found is None:
        return []
    outline = f"{millimetres(found.board_outer_diameter)} outside, {millimetres(found.board_inner_diameter)} inside"
    contact = "brush" if asked.contact == "brushes" else "ball"
    rise = f"for {figures(asked.temperature_rise)} K by IPC-2221"
    rows = [
        Row("Board", outline, f"2 layers, {millimetres(asked.thickness)} thick, copper {copper_weight(asked.copper)}"),
        Row("Rings", str(found.rings), f"{millimetres(asked.width)} wide, {millimetres(asked.spacing)} apart, bare, "
                                       f"{asked.finish}"),
        Row(f"From {contact} to terminal", measure(found.path_resistance, "Ω"),
            f"the worst ring, the {contact} opposite its vias, 20 °C; the {contact}'s contact comes on top"),
        Row("Current asked for", f"{figures(asked.current, 3)} A", f"rms in each ring; {figures(found.loss, 3)} W of "
                                                                   "heat in all of them"),
        Row("Current allowed", f"{figures(found.allowed_current, 3)} A",
            f"{rise}: ring {figures(found.ring_allowed_current, 3)} A, "
            f"lead {figures(found.lead_allowed_current, 3)} A, "
            f"{found.vias_per_ring} vias {figures(found.vias_allowed_current, 3)} A"),
        Row("Free of holes", millimetres(found.hole_free_width),
            "of each ring's width: " + ("let the brush slide there" if contact == "brush" else "vias stand beside it")),
    ]  # fmt: skip
    if asked.holes:
        count = sum(spec.count for spec in asked.holes)
        sizes = " and ".join(millimetres(spec.diameter) for spec in asked.holes)
        rows.append(Row("Fixing holes", str(count), f"{sizes} across, unplated"))
    if found.ring_gap is not None and found.creepage_needed is not None:
        wanted = f"{figures(asked.voltage, 3)} V want {millimetres(found.creepage_needed)} between clean bare rings"
        rows.append(Row("Between rings", millimetres(found.ring_gap), wanted))
    return rows


def ball_rows(prediction: Prediction) -> list[Row]:
    """Balls between two slip-ring boards; none where brushes are."""
    found = prediction.slip_ring_balls
    if found is None or found.section is None:
        return []
    section = found.section
    rows = [
        Row("Balls", f"{found.balls} on each ring", f"{millimetres(found.ball_diameter)}, {section.ball_material}, "
            f"{section.ball_grade} of one lot, in a cage of plastic that keeps them apart"),
        Row("Raceways", f"{millimetres(found.groove)} wide",
            f"bare between the mask, no holes; innermost circle {millimetres(found.raceway)} across"),
        Row("Load along the axis", f"{figures(found.load, 3)} N", "magnetic force, weight, spring"),
        Row("Axial run-out", f"{figures(1e6 * found.run_out, 3)} µm",
            f"flatness of boards and balls, at worst; {figures(1e3 * found.edge_run_out, 2)} mm at the magnets' edge"),
    ]  # fmt: skip
    if found.most_load is None or found.pressure is None or found.patch is None:
        return rows
    rows += [
        Row("Load of the worst ball", f"{figures(found.most_load, 3)} N",
            f"{found.carrying} of {found.balls * section.rings} balls touch both boards at a time"),
        Row("Pressure under it", f"{figures(1e-6 * found.pressure, 3)} MPa",
            f"by Hertz on thick copper, patch {figures(2e6 * found.patch, 3)} µm across; foil yields from "
            f"{figures(1e-6 * (found.allowed_pressure or 0.0), 3)} MPa, and on laminate it would be "
            f"{figures(1e-6 * (found.laminate_pressure or 0.0), 3)} MPa"),
        Row("A ring without contact", f"{figures(100 * (found.open_chance or 0.0), 3)} %",
            "chance that at a moment some ring has no ball that touches"),
        Row("One ball", measure(found.ball_resistance or 0.0, "Ω"), "two clean patches and the foil around, 20 °C"),
        Row("From terminal to terminal", measure(found.path or 0.0, "Ω"), "the worst ring of both boards, 20 °C"),
        Row("Current of the worst ball", f"{figures(found.current or 0.0, 3)} A",
            f"rms of {figures(section.current, 3)} A; its patch is {figures(found.rise or 0.0, 3)} K above the board"),
        Row("Friction", measure(found.friction or 0.0, "N·m"),
            f"on top of the bearing's; run-out adds ±{measure(found.unevenness or 0.0, 'N·m')} in a turn"),
    ]  # fmt: skip
    return rows
