"""The report: one page that stands by itself, with everything to judge, order and build the motor.

Nothing is worked out here; predictions are put into words, in the unit of a workshop.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pcbstator.analysis.drive.records import RPM
from pcbstator.analysis.electrical.finished_copper import ResistanceRange, resistance_range
from pcbstator.analysis.electrical.slip_ring import lay_slip_ring_boards
from pcbstator.analysis.magnetic.records import MagneticResult
from pcbstator.analysis.mechanical.built_results import BuildResult
from pcbstator.analysis.prediction import Prediction
from pcbstator.analysis.thermal.curves import heat_curves
from pcbstator.copper import Copper
from pcbstator.output.drawing.board import board_rows
from pcbstator.output.key_numbers import NOT_STATED, key_numbers
from pcbstator.output.report.figures import USUAL_RPM
from pcbstator.output.report.rows.build_rows import build_rows, spread_words
from pcbstator.output.report.rows.heat_rows import current_rows, heat_rows
from pcbstator.output.report.rows.job_rows import budget_groups, combined_rows, driver_rows, gain_rows, motion_rows
from pcbstator.output.report.rows.machine_rows import inductance_rows, loss_rows, rotor_rows, tolerance_rows
from pcbstator.output.report.rows.order_rows import order_rows
from pcbstator.output.report.rows.slip_ring_rows import ball_rows, slip_ring_rows
from pcbstator.output.report.rows.surrounding_rows import surrounding_rows
from pcbstator.output.report.rows.tile_rows import tile_rows
from pcbstator.output.report.verdict import STYLE, verdict_table
from pcbstator.output.rotor.magnet_list import magnet_list
from pcbstator.output.tables import besides_the_verdict
from pcbstator.output.words import Row, copper_weight, figures, measure, millimetres

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign


def report_html(design: SizedDesign, copper: Copper, prediction: Prediction) -> str:
    """The report as the text of one HTML file without outside resources; the same design gives the same bytes."""
    from jinja2 import Environment, StrictUndefined
    from markupsafe import Markup

    whole, copper = copper, copper.board
    template = Path(__file__).with_name("report.html").read_text(encoding="utf-8")
    page = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    page.filters["millimetres"] = millimetres
    text = page.from_string(template).render(
        design=design,
        verdict=Markup(verdict_table(prediction.requirement)) if prediction.requirement else "",
        verdict_style=Markup(STYLE),
        not_stated=NOT_STATED,
        first=key_numbers(prediction),
        prediction=prediction,
        findings=besides_the_verdict(prediction),
        numbers=_key_numbers(design, prediction, resistance_range(design, whole)),
        board=[
            *_stack_rows(design, prediction),
            *_board_rows(design, copper, prediction.copper.min_track_gap or design.board.track_gap),
        ],
        magnets=magnet_list(design),
        build=build_rows(prediction.build),
        order=order_rows(prediction),
        surroundings=surrounding_rows(prediction.surroundings),
        pictures=_pictures(design, copper, prediction),
        plates=2 if design.rotor.arrangement == "double" else 1,
        terminals=[(t.name, f"{1e3 * t.x:.2f}", f"{1e3 * t.y:.2f}") for t in copper.terminals],
        tiles=tile_rows(design, copper),
        rotor=rotor_rows(prediction),
        losses=loss_rows(prediction),
        heat=heat_rows(prediction.thermal, prediction.motion),
        tolerance=tolerance_rows(prediction),
        wave=design.winding.kind == "wave",
        slip_ring=slip_ring_rows(design, prediction),
        balls=ball_rows(prediction),
        motion=motion_rows(prediction),
        driver=driver_rows(prediction),
        gains=gain_rows(prediction),
        errors=combined_rows(prediction),
        budget=budget_groups(prediction),
        emf_rpm=figures(emf_speed(design, prediction), 3),
        triplen=_hidden_order(design) is not None,
    )
    return with_contents(text) + "\n"


def with_contents(page: str) -> str:
    """The page with links to its sections in the place that is kept for them."""
    links = re.findall(r'<h2 id="([\w-]+)">(.*?)</h2>', page)
    listed = "\n".join(f'<a href="#{name}">{title}</a>' for name, title in links[1:])  # the first is in view
    return page.replace("<!-- contents -->", f'<nav aria-label="Contents">\n{listed}\n</nav>', 1)


def _at_a_glance(stator: str) -> str:
    """The ring alone, out of the drawing that stands whole further down."""
    place = re.search(r'<g id="stator"[^>]* transform="translate\(([\d.]+)[ ,]+([\d.]+)\)"', stator)
    if place is None:
        raise ValueError("the drawing of the stator has no plan")
    half, middle = float(place[1]), float(place[2])
    box = f"0 {middle - half:.3f} {2 * half:.3f} {2 * half:.3f}"
    return f'<svg role="img" aria-label="The stator at a glance" viewBox="{box}"><use href="#stator"/></svg>'


def _pictures(design: SizedDesign, copper: Copper, prediction: Prediction) -> dict[str, Any]:
    """The drawings and figures, as markup that needs no escaping."""
    from markupsafe import Markup

    from pcbstator.output.drawing.coil import coil_svg
    from pcbstator.output.drawing.section import section_svg
    from pcbstator.output.drawing.slip_ring import slip_ring_svg
    from pcbstator.output.drawing.stator import stator_svg
    from pcbstator.output.report.figures import emf_svg, harmonics_svg, torque_svg
    from pcbstator.output.report.heat_figures import allowed_svg, heating_svg
    from pcbstator.output.report.job_figures import loss_map_svg, speed_torque_svg

    stator = stator_svg(design, copper)
    drawn = {"stator": stator, "glance": _at_a_glance(stator), "coil": coil_svg(design, copper)}
    drawn["section"] = section_svg(design, prediction)
    for name, board in lay_slip_ring_boards(design).items():
        if design.slip_ring is not None:
            section, title = design.slip_ring.boards[name], f"Slip rings, {name} board" if name else "Slip rings"
            drawn["slip_ring_turning" if name == "turning" else "slip_ring"] = slip_ring_svg(title, section, board)
    if prediction.magnetic is not None:
        samples, spectrum = prediction.magnetic.waves, prediction.magnetic.emf_harmonics
        orders, ratios = [int(entry["order"]) for entry in spectrum], [entry["ratio"] for entry in spectrum]
        drawn["emf"] = emf_svg(samples, [phase.name for phase in copper.phases], emf_speed(design, prediction))
        drawn["harmonics"] = harmonics_svg(orders, ratios, _hidden_order(design))
        drawn["torque"] = torque_svg(samples, prediction.magnetic.torque_ripple)
    curves = heat_curves(prediction.thermal)
    if curves is not None:
        drawn["heating"], drawn["allowed"] = (
            heating_svg(curves, prediction.motion.cycle_board_c if prediction.motion else None),
            allowed_svg(curves),
        )
    if prediction.motion is not None and prediction.motion.curve:
        drawn["speed_torque"] = speed_torque_svg(prediction.motion)
        drawn["loss_map"] = loss_map_svg(prediction.motion)
    return {name: Markup(text[text.index("<svg") :]) for name, text in drawn.items()}  # escaped by their makers


def emf_speed(design: SizedDesign, prediction: Prediction) -> float:
    """Speed of the motor [rpm] at which the EMF is shown: the top speed of the job, or what is usual."""
    top = prediction.motion.top_speed if prediction.motion else None
    ratio = design.drive.gear_ratio if design.drive else 1.0
    return USUAL_RPM if top is None else top * RPM * ratio


def _hidden_order(design: SizedDesign) -> int | None:
    """The harmonic order that, with its multiples, does not show between terminals."""
    phases = design.winding.phases
    return phases if phases % 2 and design.winding.connection != "open" else None


def _key_numbers(design: SizedDesign, prediction: Prediction, spread: ResistanceRange | None) -> list[Row]:
    electrical, copper = prediction.electrical, prediction.copper
    rows = []
    if prediction.magnetic:
        rows = _magnetic_rows(prediction.magnetic, prediction.winding.factor, prediction.build)
    rows.append(
        Row("Phase resistance at 20 °C", measure(electrical.phase_resistance, "Ω", 4),
            f"one phase, nominal copper, tracks, vias and inter-coil connections together. {_spread_words(spread)}")
    )  # fmt: skip
    if electrical.line_resistance is not None:
        rows.append(Row("Between two terminals", measure(electrical.line_resistance, "Ω", 4),
                        "what a meter shows on the board, nominal copper, 20 °C"))  # fmt: skip
    rows += inductance_rows(prediction)
    weight = f"{figures(copper.phase_length, 3)} m of conductor from terminal to end; {copper.via_count} vias"
    rows.append(Row("Copper of the winding", f"{figures(1e3 * copper.mass, 3)} g", weight))
    if copper.min_track_gap is not None:
        asked = f"between copper that is not joined there; asked for: {millimetres(design.board.track_gap)}"
        rows.append(Row("Least gap drawn", f"{figures(1e3 * copper.min_track_gap, 3)} mm", asked))
    return rows + current_rows(prediction.thermal)


def _built_words(build: BuildResult | None) -> str:
    if build is None:
        return "expect some percent (common practice, no source); [build] in the design gives the number"
    return f"as built {spread_words('torque_ripple_ratio', build.torque_ripple)}"


def _magnetic_rows(magnetic: MagneticResult, ideal_factor: float, build: BuildResult | None) -> list[Row]:
    rows = [
        Row("Torque constant", measure(magnetic.torque_constant, "N·m/A"),
            "torque for each ampere of peak phase current, sine drive"),
        Row("Motor constant", measure(magnetic.motor_constant, "N·m/√W"),
            "torque for one watt of heat in the copper at 20 °C; four watts give twice as much"),
        Row("Flux linkage (psi)", measure(magnetic.flux_linkage_peak, "Wb"),
            "peak of the magnets' flux in one phase, fundamental; many drives ask for it"),
        Row("EMF constant", measure(magnetic.emf_constant, "V·s/rad"),
            "peak voltage that the turning magnets make in one phase, for each rad/s of the rotor"),
    ]  # fmt: skip
    if magnetic.speed_constant is not None:
        rows.append(Row("Speed constant", f"{figures(magnetic.speed_constant, 3)} rpm/V",
                        "speed without load for each volt of line-to-line peak"))  # fmt: skip
    return [
        *rows,
        Row("Ripple of the winding alone", f"{figures(100 * magnetic.torque_ripple, 2)} %",
            "of the torque, peak to peak over mean, if all magnets are alike and in their places and the currents are "
            f"pure sines. No built motor is like that: {_built_words(build)}"),
        Row("Field at layer 1", measure(magnetic.gap_field_peak, "T"),
            "fundamental peak of the axial field, at the mean radius of the copper"),
        Row("Winding factor", f"{figures(ideal_factor, 3)} ideal, {figures(magnetic.effective_factor, 3)} real",
            "part of the flux that the winding uses: thin ideal coils, and the drawn copper, as in psi"),
    ]  # fmt: skip


def _spread_words(spread: ResistanceRange | None) -> str:
    if spread is None:
        return "Finished copper differs from nominal, so a measured value may differ without any mistake"
    plated = f"{figures(1e6 * spread.outer_plated, 3)} µm"
    if spread.inner_least is None:
        return (
            f"Outer layers that are plated on foil of this weight have at least {plated} by IPC-6012, which gives "
            f"{measure(spread.lowest, 'Ω')}; a measured value between the two, or a little lower, is no mistake"
        )
    return (
        f"Copper that IPC-6012 allows may give up to {measure(spread.highest, 'Ω')}, with inner layers at their least "
        f"of {figures(1e6 * spread.inner_least, 3)} µm, and down to {measure(spread.lowest, 'Ω')}, with outer layers "
        f"plated up to {plated}; a measured value in this range is no mistake"
    )


def _stack_rows(design: SizedDesign, prediction: Prediction) -> list[Row]:
    """How many boards to order, and how they go on top of each other."""
    turns, stack = prediction.copper.board_turns, design.stack
    if turns is None or stack is None:
        return []
    pin = "wire soldered into the terminals of neighbouring boards, cut flush on both sides"
    if not design.boards_in_series:
        how = f"straight under each other, rotor side up: {pin}, all terminals of one name together"
    else:
        angles = ", ".join(f"{figures(turn, 5)}°" for turn in turns)
        last = {
            "star": "join A2, B2 … of the last board: the star point",
            "delta": "join A2 of the last board with B of the first, B2 with C, and so on round",
            "open": "A2, B2 … of the last board are the phases' ends",
        }[design.winding.connection]
        how = (
            f"turned counter-clockwise by {angles}, rotor side up, so that A2 of each meets A of the next: {pin}; "
            f"A, B … of the first board go to the driver; {last}"
        )
    return [
        Row("Boards to order", str(design.boards), "all equal"),
        Row("Stack", f"{millimetres(stack.spacing)} apart", how),
    ]


def _board_rows(design: SizedDesign, copper: Copper, least_gap: float) -> list[Row]:
    board, rules = design.board, design.rules
    rows = [
        Row("Copper layers", str(board.layers)),
        Row("Thickness", millimetres(board.thickness)),
    ]
    if board.layer_copper is not None:
        listed = ", ".join(figures(1e6 * thickness) for thickness in board.layer_copper)
        rows.append(
            Row("Copper, from layer 1", f"{listed} µm", "unlike layers: ask the board manufacturer before you order")
        )
    else:
        rows.append(Row("Copper, outer layers", copper_weight(board.outer_copper)))
    if board.layer_copper is None and board.layers > 2:
        rows.append(Row("Copper, inner layers", copper_weight(board.inner_copper)))
    return [
        *rows,
        Row("Surface finish", board.finish),
        Row("Laminate", f"FR-4, Tg {figures(board.laminate_tg_c)} °C or more"),
        Row("Outline", f"ring of {millimetres(2 * copper.board_outer_radius)} outside, "
                       f"{millimetres(2 * copper.board_inner_radius)} inside"),
        *board_rows(copper),
        Row("Smallest track", millimetres(min(track.narrowest for track in copper.shapes))),
        Row("Smallest gap", f"{figures(1e3 * least_gap, 3)} mm"),
        Row("Smallest drill", millimetres(min(board.via_drill, board.terminal_drill)),
            f"vias: drill {millimetres(board.via_drill)}, pad {millimetres(board.via_pad)}, plated, through the board"),
        Row("Terminal holes", millimetres(board.terminal_drill), f"{len(copper.terminals)} pieces, plated"),
        Row("Limits checked", rules.name),
    ]  # fmt: skip
