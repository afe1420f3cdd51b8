"""The stator as a drawing at true scale, and one coil layer by layer.

Seen from the rotor side. Hue tells the phase, tone the layer: the nearer to the rotor, the darker; links below layer 1
are dashed, as hidden lines are in any drawing. Names at coils and terminals say the same without colour.
"""

from __future__ import annotations

from math import ceil, cos, pi, sin
from typing import TYPE_CHECKING, Any

import numpy as np

from pcbstator.copper.records import Copper, FloatArray, Terminal, Track, Via
from pcbstator.output.sheet import (
    INK,
    PAPER,
    QUIET,
    Sheet,
    Symbol,
    number,
    path_data,
    phase_colour,
    scale_bar_length,
    tint,
)

if TYPE_CHECKING:
    from pcbstator.design import Design

TEXT = 2.7  # in units of the sheet
LEAST_WIDTH = 90.0  # mm, for words beside a small machine
DEEPEST_TONE = 0.30  # of the phase's colour, on the layer farthest from the rotor
_PERIOD = 3.2  # of dashes, in units of the sheet


def stator_svg(design: Design, copper: Copper) -> str:
    """The drawing of the whole stator as the text of an SVG file; the same design gives the same bytes."""
    reach = 1e3 * max(copper.board_outer_radius, _magnet_reach(design)[1])
    sheet = Sheet(max(LEAST_WIDTH, 2 * reach / 0.83), f"Stator of {design.title}, seen from the rotor side")
    unit = sheet.unit
    sheet.paragraph(design.title, 4.2 * unit, font_weight="bold")
    sheet.paragraph(_facts(design, copper), TEXT * unit)
    half = reach + 5.5 * unit
    sheet.bottom += 1.5 * unit
    plan = sheet.drawing.g(
        id="stator",
        transform=f"translate({number(sheet.width / 2)} {number(sheet.bottom + unit + half)})",
        text_anchor="middle",
    )
    _define_coil(sheet, copper, "coil")
    _add_board(sheet, plan, copper)
    _add_coils(sheet, plan, copper)
    _add_magnets(sheet, plan, design)
    _add_links(sheet, plan, copper)
    _add_holes(sheet, plan, copper)
    _add_names(sheet, plan, design, copper, reach)
    _add_rotation(sheet, plan, reach)
    sheet.page.add(plan)
    sheet.bottom += unit + 2 * half
    _add_legend(sheet, design, copper)
    return sheet.finish()


def coil_svg(design: Design, copper: Copper) -> str:
    """The first coil on each layer by itself, enlarged: how it winds and where its vias are."""
    tracks = copper.coil.tracks
    points = np.concatenate([track.points for track in tracks] + [np.array([[v.x, v.y] for v in copper.coil.vias])])
    edge = max(max(via.pad for via in copper.coil.vias), tracks[0].width)
    (left, low), (right, high) = 1e3 * (points.min(axis=0) - edge), 1e3 * (points.max(axis=0) + edge)
    count = len(copper.layers)
    columns = min(count, 4 if count % 4 == 0 else 3)
    sheet = Sheet(LEAST_WIDTH * 1.4, f"One coil of {design.title}, layer by layer")
    unit = sheet.unit
    sheet.paragraph("One coil, layer by layer", 3.6 * unit, font_weight="bold")
    sheet.paragraph(
        "The rotor side is towards you and the middle of the board below. The current of the coil enters at the dot "
        "and leaves at the ring of each layer; vias carry it on.", 2.4 * unit,
    )  # fmt: skip
    cell = (sheet.width - 2 * sheet.margin) / columns
    scale = min(0.92 * cell / (high - low), 60 * unit / (right - left))
    tall = scale * (right - left)
    _define_coil(sheet, copper, "one-coil")
    top = sheet.bottom + 2 * unit
    for index, layer in enumerate(copper.layers):
        row, column = divmod(index, columns)
        middle, base = sheet.margin + (column + 0.5) * cell, top + row * (tall + 6 * unit)
        sheet.text(_layer_name(copper, layer.number), middle, base + 3 * unit, 2.2 * unit, text_anchor="middle")
        # A quarter turn counter-clockwise puts the outer rim on top.
        place = f"translate({number(middle + scale * (low + high) / 2)} {number(base + 4.5 * unit + scale * right)})"
        group = sheet.drawing.g(transform=f"{place} scale({scale:.6f}) rotate(-90)")
        group.add(sheet.drawing.use(f"#one-coil-{layer.number}", stroke=_tone("A", index, count)))
        group.add(sheet.drawing.use("#one-coil-vias"))
        _mark_ends(sheet, group, tracks[index])
        sheet.page.add(group)
    sheet.bottom = top + ceil(count / columns) * (tall + 6 * unit)
    bar = scale_bar_length(30 * unit / scale)
    _scale_bar(sheet, bar, bar * scale)
    return sheet.finish()


def _facts(design: Design, copper: Copper) -> str:
    board, winding = design.board, design.winding
    return (
        f"{winding.coils} coils, {design.rotor.poles} poles, {board.layers} layers, {copper.coil.turns} turns per "
        f"coil and layer, {winding.phases} phases, {winding.connection}. Board {2e3 * copper.board_outer_radius:.4g} mm "
        f"across with a bore of {2e3 * copper.board_inner_radius:.4g} mm, {1e3 * board.thickness:.3g} mm thick; tracks "
        f"{1e3 * board.track_width:.3g} mm, gaps {1e3 * board.track_gap:.3g} mm. Seen from the rotor side."
    )


def _layer_name(copper: Copper, layer: int) -> str:
    sides = {1: " (rotor side)", len(copper.layers): " (far side)"}
    return f"layer {layer}{sides.get(layer, '')}"


def _tone(phase: str, index: int, count: int) -> str:
    """Colour of a phase on a layer; ``index`` from 0."""
    return tint(phase_colour(phase), 1 - (1 - DEEPEST_TONE) * (index / max(count - 1, 1)) ** 0.7)


def _dashes(copper: Copper, layer: int, unit: float) -> tuple[float, float]:
    """Dash and gap [mm] of links on a layer; no gap on layer 1.

    The deeper, the sparser, and drawn over the less deep ones: where links run one above the other, all can be seen.
    """
    below = sorted({link.layer for link in copper.links if link.layer > 1})
    part = (below.index(layer) + 1) / (len(below) + 1) if layer in below else 0.0
    return (1 - part) * _PERIOD * unit, part * _PERIOD * unit


def _dash_start(link: Track) -> float:
    """Where the dashes of a link start [mm], so that those of all links lie one above the other along the rim."""
    middle = len(link.points) // 2
    before = float(np.hypot(*np.diff(link.points[: middle + 1], axis=0).T).sum())
    x, y = link.points[middle]
    return 1e3 * (float(np.hypot(x, y) * np.arctan2(y, x)) - before)


def _define_coil(sheet: Sheet, copper: Copper, name: str) -> None:
    """The coil template per layer, and its vias, to be used at every coil's place."""
    drawing = sheet.drawing
    for track in copper.coil.tracks:
        look = {"fill": "none", "stroke_linejoin": "round", "stroke_linecap": "round"}
        width = number(track.width * 1e3)
        drawing.defs.add(drawing.path(path_data(track.points), id=f"{name}-{track.layer}", stroke_width=width, **look))
    vias = drawing.g(id=f"{name}-vias")
    for via in copper.coil.vias:
        _add_hole(sheet, vias, via, INK)
    drawing.defs.add(vias)


def _add_hole(sheet: Sheet, parent: Any, hole: Via | Terminal, colour: str) -> None:
    centre = number(hole.x * 1e3), number(-hole.y * 1e3)
    parent.add(sheet.drawing.circle(centre, number(hole.pad * 500), fill=colour))
    parent.add(sheet.drawing.circle(centre, number(hole.drill * 500), fill=PAPER))


def _add_board(sheet: Sheet, plan: Any, copper: Copper) -> None:
    board = sheet.drawing.g(id="board", fill="none", stroke=INK, stroke_width=number(0.25 * sheet.unit))
    for radius in (copper.board_outer_radius, copper.board_inner_radius):
        board.add(sheet.drawing.circle((0, 0), number(radius * 1e3)))
    plan.add(board)


def _turned(angle: float) -> str:
    """Transform for a counter-clockwise turn by ``angle`` [rad]."""
    return f"rotate({-np.degrees(angle):.6f})"


def _add_coils(sheet: Sheet, plan: Any, copper: Copper) -> None:
    """The coils of every layer, layer 1 last and so on top."""
    drawing, count = sheet.drawing, len(copper.layers)
    for index in reversed(range(count)):
        layer = copper.layers[index].number
        group = drawing.g(id=f"layer-{layer}", fill="none")
        group.set_desc(title=_layer_name(copper, layer))
        for angle, phase in zip(copper.coil_angles, copper.coil_phases, strict=True):
            look = {"transform": _turned(float(angle)), "stroke": _tone(phase, index, count)}
            group.add(drawing.use(f"#coil-{layer}", **look))
        plan.add(group)


def _add_links(sheet: Sheet, plan: Any, copper: Copper) -> None:
    """The links and leads, those below layer 1 dashed and over it."""
    drawing, count = sheet.drawing, len(copper.layers)
    for index, layer in enumerate(layer.number for layer in copper.layers):
        group = drawing.g(id=f"links-{layer}", fill="none", stroke_linejoin="round")
        group.set_desc(title=f"links on {_layer_name(copper, layer)}")
        dash, gap = _dashes(copper, layer, sheet.unit)
        for link in (link for link in copper.links if link.layer == layer):
            look = {"stroke": _tone(link.phase, index, count), "stroke_width": number(link.width * 1e3)}
            if gap:
                link = link if _counter_clockwise(link) else link.reversed()
                look["stroke_dasharray"] = f"{number(dash)} {number(gap)}"
                look["stroke_dashoffset"] = number(_dash_start(link) % (dash + gap))
            group.add(drawing.path(path_data(link.points), **look))
        plan.add(group)


def _counter_clockwise(link: Track) -> bool:
    """Whether a link runs counter-clockwise about the board's centre."""
    x, y = link.points.T
    return float((x[:-1] * y[1:] - x[1:] * y[:-1]).sum()) > 0


def _add_holes(sheet: Sheet, plan: Any, copper: Copper) -> None:
    vias = sheet.drawing.g(id="vias")
    for angle in copper.coil_angles:
        vias.add(sheet.drawing.use("#coil-vias", transform=_turned(float(angle))))
    for via in copper.link_vias:
        _add_hole(sheet, vias, via, INK)
    plan.add(vias)
    terminals = sheet.drawing.g(id="terminals")
    for terminal in copper.terminals:
        _add_hole(sheet, terminals, terminal, phase_colour(terminal.name))
    plan.add(terminals)


def _magnet_outline(design: Design) -> FloatArray:
    """Outline [m] of the magnet on +x, closed."""
    magnet = design.rotor.magnet
    if magnet.shape == "disc":
        angles = np.linspace(0, 2 * pi, 97)
        return np.stack([magnet.circle_diameter / 2 + magnet.diameter / 2 * np.cos(angles),
                         magnet.diameter / 2 * np.sin(angles)], axis=1)  # fmt: skip
    if magnet.shape == "block":
        x, along, across = magnet.circle_diameter / 2, magnet.length / 2, magnet.width / 2
        corners = ((-1, -1), (1, -1), (1, 1), (-1, 1), (-1, -1))
        return np.array([(x + along * i, across * j) for i, j in corners])
    half = magnet.arc_ratio * pi / design.rotor.poles
    arc = np.linspace(-half, half, 49)
    outer = magnet.outer_diameter / 2 * np.stack([np.cos(arc), np.sin(arc)], axis=1)
    inner = magnet.inner_diameter / 2 * np.stack([np.cos(arc[::-1]), np.sin(arc[::-1])], axis=1)
    return np.concatenate([outer, inner, outer[:1]])


def _magnet_reach(design: Design) -> tuple[float, float]:
    """Least and largest radius [m] of the magnets."""
    outline = _magnet_outline(design)
    return float(np.abs(outline[:, 0]).min()), float(np.hypot(*outline.T).max())


def _add_magnets(sheet: Sheet, plan: Any, design: Design) -> None:
    """Outlines at rotor angle 0 and the pole that faces the board: north on +x, then alternating."""
    drawing, unit, poles = sheet.drawing, sheet.unit, design.rotor.poles
    outline = _magnet_outline(design)
    # Off the vias in the eye of the coils, which lie towards the rim of the links.
    part = 0.5 if design.rotor.magnet.shape == "disc" else 0.3 if design.winding.link_rim == "outer" else 0.7
    middle = 1e3 * float(outline[:, 0].min() + part * np.ptp(outline[:, 0]))
    size = min(2.4 * unit, 600 * float(np.ptp(outline[:, 1])), 600 * float(np.ptp(outline[:, 0])))
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
        group.add(drawing.circle((number(x), number(y)), number(0.72 * size), fill=PAPER, fill_opacity="0.85"))
        sheet.text("NS"[index % 2], x, y + 0.36 * size, size, group, font_weight="bold")
    plan.add(group)


def _add_names(sheet: Sheet, plan: Any, design: Design, copper: Copper, reach: float) -> None:
    """Terminals beyond the rim that carries them, coils beyond the other one."""
    unit = sheet.unit
    hollow = 1e3 * min(copper.board_inner_radius, _magnet_reach(design)[0])
    inside = design.winding.link_rim == "outer"
    group = sheet.drawing.g(id="names")
    for terminal in copper.terminals:
        radius = reach + 2.4 * unit if inside else hollow - 2.4 * unit
        angle = float(np.arctan2(terminal.y, terminal.x))
        _name(sheet, group, terminal.name, angle, radius, 3.4 * unit, phase_colour(terminal.name))
    count = len(copper.coil_angles)
    size = min(2.4 * unit, 2 * pi * hollow / (2.1 * count + 6)) if inside else 2.4 * unit
    radius = hollow - 1.1 * size if inside else reach + 1.4 * size
    if size < 1.2 * unit:  # no room in the bore: on the coil itself
        size, radius = 2.0 * unit, 1e3 * float(copper.coil.vias[0].x)
    senses = zip(copper.coil_angles, copper.coil_phases, copper.coil_senses, strict=True)
    for coil_angle, phase, sense in senses:
        words = f"{phase}{'+' if sense > 0 else '−'}"
        _name(sheet, group, words, float(coil_angle), radius, size, phase_colour(phase))
    if inside and radius - size > 5 * unit:
        _add_axes(sheet, group, min(6 * unit, 0.5 * (radius - size)))
    plan.add(group)


def _name(sheet: Sheet, group: Any, words: str, angle: float, radius: float, size: float, colour: str) -> None:
    x, y = radius * cos(angle), -radius * sin(angle) + 0.36 * size
    look = {"fill": colour, "font_weight": "bold", "stroke": PAPER, "paint_order": "stroke"}
    sheet.text(words, x, y, size, group, stroke_width=number(0.25 * size), **look)


def _add_axes(sheet: Sheet, group: Any, length: float) -> None:
    """The board's axes in its middle."""
    drawing, size = sheet.drawing, 0.42 * length
    head = f"M{number(length)} 0l{number(-0.25 * length)} {number(-0.1 * length)}v{number(0.2 * length)}z"
    for turn in (0, -90):
        axis = drawing.g(transform=f"rotate({turn})", stroke=QUIET, fill=QUIET, stroke_width=number(0.03 * length))
        axis.add(drawing.line((0, 0), (number(length), 0)))
        axis.add(drawing.path(head))
        group.add(axis)
    sheet.text("x", 0.75 * length, 0.62 * size + 0.15 * length, size, group, fill=QUIET)
    sheet.text("y", -0.3 * length, -0.72 * length, size, group, fill=QUIET)


def _add_rotation(sheet: Sheet, plan: Any, reach: float) -> None:
    """An arrow about the board's centre, in the upper left corner of the page."""
    drawing, unit = sheet.drawing, sheet.unit
    radius, half = reach + 6.3 * unit, 4.5 * unit
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
        sheet.text(words, left, -reach - 2.6 * unit + 3.2 * unit * line, TEXT * unit, arrow, text_anchor="start")
    plan.add(arrow)


def _add_legend(sheet: Sheet, design: Design, copper: Copper) -> None:
    drawing, unit, count = sheet.drawing, sheet.unit, len(copper.layers)
    size = TEXT * unit

    def bar(colour: str, **extra: Any) -> Any:
        def draw(group: Any, x: float, y: float) -> None:
            look = {"stroke": colour, "stroke_width": number(0.9 * unit)} | extra
            group.add(drawing.line((number(x), number(y)), (number(x + 5 * unit), number(y)), **look))

        return draw

    def hole(ring: float, opening: float, colour: str) -> Any:
        def draw(group: Any, x: float, y: float) -> None:
            for radius, fill in ((ring, colour), (opening, PAPER)):
                group.add(drawing.circle((number(x + ring * unit), number(y)), number(radius * unit), fill=fill))

        return draw

    def magnet(group: Any, x: float, y: float) -> None:
        look = {"fill": "none", "stroke": INK, "stroke_width": number(0.16 * unit)}
        look["stroke_dasharray"] = f"{number(unit)} {number(0.5 * unit)}"
        corner, area = (number(x), number(y - 1.3 * unit)), (number(4 * unit), number(2.6 * unit))
        group.add(drawing.rect(corner, area, **look))

    phases = [Symbol(f"phase {phase.name}", 5 * unit, bar(phase_colour(phase.name))) for phase in copper.phases]
    if any(link.phase == "N" for link in copper.links):
        phases.append(Symbol("star point N", 5 * unit, bar(phase_colour("N"))))
    sheet.row("Colour", phases, size)
    layers = []
    for index, layer in enumerate(copper.layers):
        dash, gap = _dashes(copper, layer.number, unit)
        dashes = {"stroke_dasharray": f"{number(dash)} {number(gap)}"} if gap else {}
        layers.append(Symbol(_layer_name(copper, layer.number), 5 * unit, bar(_tone("N", index, count), **dashes)))
    sheet.row("Tone", [*layers, Symbol("(dashed: links only)")], size)
    sheet.row("Signs", [
        Symbol("via", 2 * unit, hole(1.0, 0.5, INK)),
        Symbol("terminal", 3 * unit, hole(1.5, 0.9, INK)),
        Symbol("A+ coil of phase A, current counter-clockwise; A− clockwise"),
    ], size)  # fmt: skip
    other = "; the lower rotor has the opposite poles there" if design.rotor.arrangement == "double" else ""
    words = f"magnet at rotor angle 0, N or S: the pole that faces the board{other}"
    sheet.row("Rotor", [Symbol(words, 4 * unit, magnet)], size)
    length = scale_bar_length(0.3 * sheet.width)
    _scale_bar(sheet, length, length)


def _scale_bar(sheet: Sheet, length: float, drawn: float) -> None:
    """A bar of ``length`` [mm], ``drawn`` [mm] long on the page."""
    drawing, unit = sheet.drawing, sheet.unit
    sheet.bottom += 2.2 * unit
    y, x = sheet.bottom + 1.5 * unit, sheet.margin + 13 * unit
    group = drawing.g(id="scale", stroke=INK, stroke_width=number(0.3 * unit))
    group.add(drawing.line((number(x), number(y)), (number(x + drawn), number(y))))
    for end in (x, x + drawn):
        group.add(drawing.line((number(end), number(y - unit)), (number(end), number(y + unit))))
    sheet.page.add(group)
    true = abs(drawn - length) < 1e-9
    sheet.text("Scale", sheet.margin, y + 0.95 * unit, TEXT * unit, font_weight="bold")
    words = f"{length:g} mm" + ("; 1:1 when printed at 100 %" if true else f"; enlarged {drawn / length:.2g} times")
    sheet.text(words, x + drawn + 1.5 * unit, y + 0.95 * unit, TEXT * unit)
    sheet.bottom = y + 1.2 * unit


def _mark_ends(sheet: Sheet, group: Any, track: Track) -> None:
    """A dot where the current of a coil track enters, a ring where it leaves."""
    radius = 0.9 * track.width * 1e3
    (x0, y0), (x1, y1) = track.points[0] * 1e3, track.points[-1] * 1e3
    look = {"stroke": INK, "stroke_width": number(0.35 * radius)}
    group.add(sheet.drawing.circle((number(x0), number(-y0)), number(radius), fill=INK, **look))
    group.add(sheet.drawing.circle((number(x1), number(-y1)), number(radius), fill=PAPER, **look))
