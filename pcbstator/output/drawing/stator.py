"""The stator as a drawing at true scale.

Seen from the rotor side. Hue tells the phase, tone the layer: the nearer to the rotor, the darker. Inter-coil
connections below layer 1 are dashed, as hidden lines are in any drawing. Names at coils and terminals say the
same without colour.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, pi, sin
from typing import TYPE_CHECKING, Any

import numpy as np

from pcbstator.analysis.mechanical.rotor_plan import outline_points, pole_outline
from pcbstator.check.envelope import magnet_radii
from pcbstator.copper import Copper, Track
from pcbstator.output.canvas.colours import INK, PAPER, QUIET, phase_colour
from pcbstator.output.canvas.places import spread_angles
from pcbstator.output.canvas.sheet import TEXT, Sheet, Sign, Symbol, scale_bar_length
from pcbstator.output.canvas.svg import number, path_data
from pcbstator.output.canvas.text import text_width
from pcbstator.output.drawing.board import LAND, add_board, add_non_winding, non_winding_signs
from pcbstator.output.drawing.coil import add_hole, coil_id, define_coil, layer_name, layer_tone

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign

LEAST_WIDTH = 90.0  # mm, for words beside a small machine
LEAST_TEXT = 1.4  # units: the smallest letters that a phone shows
_PERIOD = 3.2  # of dashes, in units of the sheet
STAR_MARK = "*"  # tells the terminal N from the pole N of a magnet


def stator_svg(design: SizedDesign, copper: Copper) -> str:
    """The drawing of the whole stator as the text of an SVG file; the same design gives the same bytes."""
    copper = copper.board
    rings = _rings(design, copper)
    sheet = Sheet(rings.page, f"Stator of {design.title}, seen from the rotor side")
    unit = sheet.unit
    sheet.paragraph(design.title, 4.2 * unit, bold=True)
    sheet.paragraph(_facts(design, copper), TEXT * unit)
    half = rings.outermost
    sheet.bottom += 1.5 * unit
    plan = sheet.drawing.g(
        id="stator",
        transform=f"translate({number(sheet.width / 2)} {number(sheet.bottom + unit + half)})",
        text_anchor="middle",
    )
    define_coil(sheet, copper, "coil")
    add_board(sheet, plan, copper)
    _add_coils(sheet, plan, copper)
    _add_magnets(sheet, plan, design, rings)
    _add_interconnects(sheet, plan, copper)
    _add_holes(sheet, plan, copper)
    add_non_winding(sheet, plan, design, copper)
    _add_names(sheet, plan, copper, rings)
    _add_rotation(sheet, plan, half)
    sheet.add(plan)
    sheet.bottom += unit + 2 * half
    _add_legend(sheet, design, copper)
    return sheet.finish()


def _facts(design: SizedDesign, copper: Copper) -> str:
    board, winding = design.board, design.winding
    across, bore = 2e3 * copper.shape.reach, 2e3 * copper.board_inner_radius
    per = "coil" if copper.alike else "pole and phase"
    turns = f"{copper.coil.turns}_{'turns' if copper.alike else 'active_conductors'} per {per} and layer"
    coils = f"{winding.coils}_coils" if copper.alike else "wave winding"
    words = (
        f"{coils}, {design.rotor.poles}_poles, {board.layers}_layers, {turns}, {winding.connection}. "
        f"Board {across:.4g}_mm across, bore {bore:.4g}_mm, "
        f"{1e3 * board.thickness:.3g}_mm thick. Tracks {1e3 * copper.track_width:.3g}_mm, "
        f"gaps {1e3 * board.track_gap:.3g}_mm. Seen from the rotor side."
    )
    return words.replace("_", "\u00a0")  # a number and its unit stay on one line


def _dashes(copper: Copper, layer: int, unit: float) -> tuple[float, float]:
    """Dash and gap [mm] of inter-coil connections on a layer; no gap on layer 1.

    The deeper, the sparser, and drawn over the less deep ones: where they lie one above the other, all can be seen.
    """
    below = sorted({interconnect.layer for interconnect in copper.interconnects if interconnect.layer > 1})
    part = (below.index(layer) + 1) / (len(below) + 1) if layer in below else 0.0
    return (1 - part) * _PERIOD * unit, part * _PERIOD * unit


def _dash_start(interconnect: Track) -> float:
    """Where the dashes of a connection start [mm], so that those of all lie one above the other along the ring."""
    middle = len(interconnect.points) // 2
    before = float(np.hypot(*np.diff(interconnect.points[: middle + 1], axis=0).T).sum())
    x, y = interconnect.points[middle]
    return 1e3 * (float(np.hypot(x, y) * np.arctan2(y, x)) - before)


def _turned(angle: float) -> str:
    """Transform for a counter-clockwise turn by ``angle`` [rad]."""
    return f"rotate({-np.degrees(angle):.6f})"


def _add_coils(sheet: Sheet, plan: Any, copper: Copper) -> None:
    """The coils of every layer, layer 1 last and so on top."""
    drawing, count = sheet.drawing, len(copper.layers)
    for index in reversed(range(count)):
        layer = copper.layers[index].number
        group = drawing.g(id=f"layer-{layer}", fill="none")
        group.set_desc(title=layer_name(copper, layer))
        for template, (coil, members) in enumerate(copper.templates):
            here = [track for track in coil.tracks if track.layer == layer]
            for member in members if here else ():
                tone = layer_tone(copper.coil_phases[member], index, count)
                look = {"transform": _turned(float(copper.coil_angles[member])), "stroke": tone}
                look |= {} if here[0].widths is None else {"fill": tone}
                group.add(drawing.use(f"#{coil_id('coil', template, layer)}", **look))
        plan.add(group)


def _add_interconnects(sheet: Sheet, plan: Any, copper: Copper) -> None:
    """The inter-coil connections and leads, those below layer 1 dashed and over it."""
    drawing, count = sheet.drawing, len(copper.layers)
    for index, layer in enumerate(layer.number for layer in copper.layers):
        group = drawing.g(id=f"interconnects-{layer}", fill="none", stroke_linejoin="round")
        group.set_desc(title=f"inter-coil connections on {layer_name(copper, layer)}")
        dash, gap = _dashes(copper, layer, sheet.unit)
        for interconnect in (interconnect for interconnect in copper.interconnects if interconnect.layer == layer):
            look = {
                "stroke": layer_tone(interconnect.phase, index, count),
                "stroke_width": number(interconnect.width * 1e3),
            }
            if gap:
                interconnect = interconnect if _counter_clockwise(interconnect) else interconnect.reversed()
                look["stroke_dasharray"] = f"{number(dash)} {number(gap)}"
                look["stroke_dashoffset"] = number(_dash_start(interconnect) % (dash + gap))
            group.add(drawing.path(path_data(interconnect.points), **look))
        plan.add(group)


def _counter_clockwise(interconnect: Track) -> bool:
    """Whether a connection goes counter-clockwise about the board's centre."""
    x, y = interconnect.points.T
    return float((x[:-1] * y[1:] - x[1:] * y[:-1]).sum()) > 0


def _add_holes(sheet: Sheet, plan: Any, copper: Copper) -> None:
    vias = sheet.drawing.g(id="vias")
    for template, (_, members) in enumerate(copper.templates):
        for angle in copper.coil_angles[members]:
            name = f"#{coil_id('coil', template, 'vias')}"
            vias.add(sheet.drawing.use(name, transform=_turned(float(angle))))
    for via in copper.interconnect_vias:
        add_hole(sheet, vias, via, INK)
    plan.add(vias)
    terminals = sheet.drawing.g(id="terminals")
    for terminal in copper.terminals:
        add_hole(sheet, terminals, terminal, phase_colour(terminal.name))
    plan.add(terminals)
    if copper.jumper_holes:
        _add_wires(sheet, plan, copper)


def _add_wires(sheet: Sheet, plan: Any, copper: Copper) -> None:
    """The tile jumpers across the cuts, from hole to hole."""
    drawing, group = sheet.drawing, sheet.drawing.g(id="tile-jumpers")
    for before, after in zip(copper.jumper_holes[::2], copper.jumper_holes[1::2], strict=True):
        ends = [(number(1e3 * hole.x), number(-1e3 * hole.y)) for hole in (before, after)]
        for hole in (before, after):
            add_hole(sheet, group, hole, LAND)
        group.add(drawing.line(*ends, stroke=LAND, stroke_width=number(600 * before.drill), stroke_linecap="round"))
    plan.add(group)


def _add_magnets(sheet: Sheet, plan: Any, design: SizedDesign, rings: _Rings) -> None:
    """Outlines at rotor angle 0 and the pole that faces the board: north on +x, then alternating. The poles stand
    beside the magnets, clear of the copper; on them only where a machine is so small that there is no room.
    """
    drawing, unit, poles = sheet.drawing, sheet.unit, design.rotor.poles
    points = outline_points(pole_outline(design))
    outline = np.array([*points, points[0]])
    # Off the vias in the eye of the coils, which lie towards the connection ring.
    part = 0.5 if design.rotor.magnet.shape == "disc" else 0.3 if design.winding.connection_ring == "outer" else 0.7
    middle = 1e3 * float(outline[:, 0].min() + part * np.ptp(outline[:, 0]))
    size = min(2.4 * unit, 600 * float(np.ptp(outline[:, 1])), 600 * float(np.ptp(outline[:, 0])))
    beside = rings.pole_size > LEAST_TEXT * unit
    if beside:
        middle, size = rings.poles, rings.pole_size
    data, dash = path_data(outline, close=True), f"{number(unit)} {number(0.5 * unit)}"
    drawing.defs.add(drawing.path(data, id="magnet", fill="none"))
    group = drawing.g(id="magnets")
    group.set_desc(title="magnets at rotor angle 0, seen through the rotor")
    for index in range(poles):
        angle = 2 * pi * index / poles
        for colour, width, extra in ((PAPER, 0.4, {"stroke_opacity": "0.5"}), (INK, 0.16, {"stroke_dasharray": dash})):
            turned = {"transform": _turned(angle), "stroke": colour, "stroke_width": number(width * unit)}
            group.add(drawing.use("#magnet", **turned, **extra))
        x, y = middle * cos(angle), -middle * sin(angle)
        if not beside:
            group.add(drawing.circle((number(x), number(y)), number(0.72 * size), fill=PAPER, fill_opacity="0.85"))
        sheet.label_in(group, "NS"[index % 2], x, y + 0.36 * size, size, font_weight="bold")
    plan.add(group)


@dataclass(frozen=True)
class _Rings:
    """Circles [mm] for the names of coils and terminals, the size of coil names, how far all reaches, width of page;
    circle and size for the poles of magnets.
    """

    coils: float
    coil_size: float
    terminals: float
    outermost: float
    page: float
    free: float
    poles: float
    pole_size: float


def _pole_size(radius: float, poles: int, unit: float) -> float:
    """Of letters around a circle [mm] that keep apart; 0 where the circle has no room."""
    return min(2.0 * unit, 2 * pi * max(radius, 0.0) / (1.6 * poles))


def _rings(design: SizedDesign, copper: Copper) -> _Rings:
    """Terminals are named beyond the edge that carries them, coils beyond the other where names fit there."""
    (low, high), count = magnet_radii(design), design.rotor.poles
    reach, hollow = 1e3 * max(copper.shape.reach, high), 1e3 * min(copper.board_inner_radius, low)
    page = max(LEAST_WIDTH, 2 * reach / 0.83)
    unit = page / 100
    if design.winding.connection_ring == "inner":
        terminals, poles = max(hollow - 2.6 * unit, 0.6 * hollow), reach + 1.6 * unit
        size = _pole_size(poles, count, unit)
        return _Rings(reach + 4.5 * unit, 2.4 * unit, terminals, reach + 6.2 * unit, page, 0.0, poles, size)
    named = len(copper.coil_angles) if copper.alike else 1
    size = min(2.4 * unit, 2 * pi * hollow / (2.1 * named + 6))  # neighbours keep apart
    if size > 1.5 * unit:
        poles = hollow - 2.3 * size - 1.1 * unit
        letters = _pole_size(poles, count, unit)
        free = poles - letters if letters > LEAST_TEXT * unit else hollow - 2.1 * size
        return _Rings(hollow - 1.1 * size, size, reach + 3.9 * unit, reach + 6.6 * unit, page, free, poles, letters)
    page = max(LEAST_WIDTH, 2 * reach / 0.77)
    unit = page / 100
    poles = hollow - 1.5 * unit
    letters = _pole_size(poles, count, unit)
    free = poles - letters if letters > LEAST_TEXT * unit else hollow
    return _Rings(reach + 1.9 * unit, 2.1 * unit, reach + 5.6 * unit, reach + 8.5 * unit, page, free, poles, letters)


def _add_names(sheet: Sheet, plan: Any, copper: Copper, rings: _Rings) -> None:
    """Names of terminals and coils, and the board's axes where they fit into the bore."""
    unit = sheet.unit
    group = sheet.drawing.g(id="names")
    _name_terminals(sheet, group, copper, rings.terminals)
    named = zip(copper.coil_angles, copper.coil_phases, copper.coil_senses, strict=True) if copper.alike else ()
    for angle, phase, sense in named:
        words = f"{phase}{'+' if sense > 0 else '−'}"
        _name(sheet, group, words, float(angle), rings.coils, rings.coil_size, phase_colour(phase))
    if rings.free > 5 * unit:
        _add_axes(sheet, group, min(6 * unit, 0.6 * rings.free))
    plan.add(group)


def _name_terminals(sheet: Sheet, group: Any, copper: Copper, radius: float) -> None:
    """Names on a circle, apart from each other, each with a line to its terminal."""
    size = min(3.4 * sheet.unit, 0.35 * radius)
    angles = [float(np.arctan2(terminal.y, terminal.x)) for terminal in copper.terminals]
    widest = max(text_width(terminal.name, size, bold=True) for terminal in copper.terminals)
    for terminal, angle in zip(copper.terminals, spread_angles(angles, (widest + 0.3 * size) / radius), strict=True):
        colour, outwards = phase_colour(terminal.name), np.array([cos(angle), -sin(angle)])
        start = 1e3 * np.array([terminal.x, -terminal.y])
        stop = radius * outwards
        line = stop - start
        length = float(np.hypot(*line))
        start, stop = start + line * (500 * terminal.pad / length), stop - line * (0.75 * size / length)
        ends = [(number(x), number(y)) for x, y in (start, stop)]
        if length > 500 * terminal.pad + 0.75 * size:
            group.add(sheet.drawing.line(*ends, stroke=colour, stroke_width=number(0.15 * sheet.unit)))
        _name(sheet, group, terminal.name + STAR_MARK * (terminal.name == "N"), angle, radius, size, colour)


def _name(sheet: Sheet, group: Any, words: str, angle: float, radius: float, size: float, colour: str) -> None:
    x, y = radius * cos(angle), -radius * sin(angle) + 0.36 * size
    look = {"fill": colour, "font_weight": "bold", "stroke": PAPER, "paint_order": "stroke"}
    sheet.label_in(group, words, x, y, size, stroke_width=number(0.25 * size), **look)


def _add_axes(sheet: Sheet, group: Any, length: float) -> None:
    """The board's axes in its middle."""
    drawing, size = sheet.drawing, 0.45 * length
    head = f"M{number(length)} 0l{number(-0.25 * length)} {number(-0.1 * length)}v{number(0.2 * length)}z"
    for turn in (0, -90):
        axis = drawing.g(transform=f"rotate({turn})", stroke=QUIET, fill=QUIET, stroke_width=number(0.03 * length))
        axis.add(drawing.line((0, 0), (number(length), 0)))
        axis.add(drawing.path(head))
        group.add(axis)
    sheet.label_in(group, "x", 0.75 * length, 0.62 * size + 0.15 * length, size, fill=QUIET)
    sheet.label_in(group, "y", -0.3 * length, -0.72 * length, size, fill=QUIET)


def _add_rotation(sheet: Sheet, plan: Any, outermost: float) -> None:
    """An arrow about the board's centre, in the upper left corner of the page."""
    drawing, unit = sheet.drawing, sheet.unit
    radius, half = outermost + 0.8 * unit, 4.5 * unit
    spread = half / radius
    start, tip = 3 * pi / 4 - spread, 3 * pi / 4 + spread
    x0, y0, x1, y1 = (number(radius * f(a) * s) for a in (start, tip) for f, s in ((cos, 1.0), (sin, -1.0)))
    arrow = drawing.g(id="rotation")
    look = {"fill": "none", "stroke": INK, "stroke_width": number(0.3 * unit)}
    arrow.add(drawing.path(f"M{x0} {y0}A{number(radius)} {number(radius)} 0 0 0 {x1} {y1}", **look))
    # The head lies along the tangent at the tip, 90 degrees ahead of the radius.
    place = f"translate({x1} {y1}) rotate({-np.degrees(tip) - 90:.3f})"
    length = number(1.2 * unit)
    arrow.add(drawing.path(f"M{length} 0L-{length} -{number(0.9 * unit)}V{number(0.9 * unit)}Z", transform=place))
    left = -sheet.width / 2 + sheet.margin
    for line, words in enumerate(("positive", "rotation")):
        sheet.label_in(
            arrow, words, left, -outermost + 2.9 * unit + 3.2 * unit * line, TEXT * unit, text_anchor="start"
        )
    plan.add(arrow)


def _bar(sheet: Sheet, colour: str, dashes: dict[str, str] | None = None) -> Sign:
    def draw(group: Any, x: float, y: float) -> None:
        look = {"stroke": colour, "stroke_width": number(0.9 * sheet.unit)} | (dashes or {})
        group.add(sheet.drawing.line((number(x), number(y)), (number(x + 5 * sheet.unit), number(y)), **look))

    return draw


def _hole(sheet: Sheet, ring: float, bore: float) -> Sign:
    def draw(group: Any, x: float, y: float) -> None:
        centre = number(x + ring * sheet.unit), number(y)
        for radius, fill in ((ring, INK), (bore, PAPER)):
            group.add(sheet.drawing.circle(centre, number(radius * sheet.unit), fill=fill))

    return draw


def _magnet(sheet: Sheet) -> Sign:
    def draw(group: Any, x: float, y: float) -> None:
        unit = sheet.unit
        look = {"fill": "none", "stroke": INK, "stroke_width": number(0.16 * unit)}
        look["stroke_dasharray"] = f"{number(unit)} {number(0.5 * unit)}"
        area = number(4 * unit), number(2.6 * unit)
        group.add(sheet.drawing.rect((number(x), number(y - 1.3 * unit)), area, **look))

    return draw


def _add_legend(sheet: Sheet, design: SizedDesign, copper: Copper) -> None:
    unit, count, size = sheet.unit, len(copper.layers), TEXT * sheet.unit
    bars = {f"phase {phase.name}": phase_colour(phase.name) for phase in copper.phases}
    if any(interconnect.phase == "N" for interconnect in copper.interconnects):
        bars[f"N{STAR_MARK} star point, no pole of a magnet"] = phase_colour("N")
    sheet.row("Colour", [Symbol(words, 5 * unit, _bar(sheet, colour)) for words, colour in bars.items()], size)
    layers = []
    for index, layer in enumerate(copper.layers):
        dash, gap = _dashes(copper, layer.number, unit)
        dashes = {"stroke_dasharray": f"{number(dash)} {number(gap)}"} if gap else {}
        tone = layer_tone("N", index, count)
        layers.append(Symbol(layer_name(copper, layer.number), 5 * unit, _bar(sheet, tone, dashes)))
    sheet.row("Tone", [*layers, Symbol("(dashed: inter-coil connections only)")], size)
    coils = [Symbol("A+ coil of phase A, current counter-clockwise; A−\u00a0clockwise")] if copper.alike else []
    holes = [Symbol("via", 2 * unit, _hole(sheet, 1.0, 0.5)), Symbol("terminal", 3 * unit, _hole(sheet, 1.5, 0.9))]
    sheet.row("Signs", [*holes, *non_winding_signs(sheet, design, copper), *coils], size)
    other = "; the lower rotor has the opposite poles there" if design.rotor.arrangement == "double" else ""
    words = f"magnet at rotor angle 0, N or S beside it: the pole that faces the board{other}"
    sheet.row("Rotor", [Symbol(words, 4 * unit, _magnet(sheet))], size)
    length = scale_bar_length(0.3 * sheet.width)
    sheet.scale_bar(length, length, "scale")
