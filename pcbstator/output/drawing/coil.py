"""One coil layer by layer, and what it shares with the drawing of the stator: the template, its tones and names."""

from __future__ import annotations

from math import ceil
from typing import TYPE_CHECKING, Any

import numpy as np

from pcbstator.copper import Copper, Terminal, Track, Via
from pcbstator.copper.geometry.tracks import strip_outline
from pcbstator.output.canvas.colours import INK, PAPER, phase_colour, tint
from pcbstator.output.canvas.sheet import Sheet, scale_bar_length
from pcbstator.output.canvas.svg import number, path_data

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign

PAGE_WIDTH = 126.0  # mm
DEEPEST_TONE = 0.30  # of the phase's colour, on the layer farthest from the rotor


def coil_svg(design: SizedDesign, copper: Copper) -> str:
    """The first coil on each layer by itself, enlarged: how it winds and where its vias are."""
    tracks = _shown(copper)
    vias = _vias_at(copper, tracks)
    points = np.concatenate([track.points for track in tracks] + [np.array([[via.x, via.y] for via in vias])])
    edge = max(max(via.pad for via in vias), tracks[0].width)
    (left, low), (right, high) = 1e3 * (points.min(axis=0) - edge), 1e3 * (points.max(axis=0) + edge)
    layers = [layer for layer in copper.layers if any(track.layer == layer.number for track in tracks)]
    count = len(layers)
    columns = min(count, 4 if count % 4 == 0 else 3)
    sheet = Sheet(PAGE_WIDTH, f"One coil of {design.title}, layer by layer")
    unit = sheet.unit
    whole = "One coil" if copper.alike else "The first two poles of one lap"
    sheet.paragraph(f"{whole}, layer by layer", 3.6 * unit, bold=True)
    sheet.paragraph(
        "The rotor side is towards you and the middle of the board below. The current of the coil enters at the dot "
        "and leaves at the ring of each layer; vias carry it on.", 2.4 * unit,
    )  # fmt: skip
    cell = (sheet.width - 2 * sheet.margin) / columns
    scale = min(0.92 * cell / (high - low), 60 * unit / (right - left))
    tall = scale * (right - left)
    top = sheet.bottom + 2 * unit
    for index, layer in enumerate(layers):
        row, column = divmod(index, columns)
        middle, base = sheet.margin + (column + 0.5) * cell, top + row * (tall + 6 * unit)
        sheet.text(layer_name(copper, layer.number), middle, base + 3 * unit, 2.2 * unit, anchor="middle")
        # A quarter turn counter-clockwise puts the outer edge on top.
        place = f"translate({number(middle + scale * (low + high) / 2)} {number(base + 4.5 * unit + scale * right)})"
        group = sheet.drawing.g(transform=f"{place} scale({scale:.6f}) rotate(-90)")
        tone = layer_tone("A", index, count)
        own = [track for track in tracks if track.layer == layer.number]
        paint = "stroke" if own[0].widths is None else "fill"
        group.add(copper_path(sheet.drawing, own, **{paint: tone}))
        for via in vias:
            add_hole(sheet, group, via, INK)
        for track in own:
            _mark_ends(sheet, group, track)
        sheet.add(group)
    sheet.bottom = top + ceil(count / columns) * (tall + 6 * unit)
    bar = scale_bar_length(30 * unit / scale)
    sheet.scale_bar(bar, bar * scale, "one-coil-scale")
    return sheet.finish()


def _shown(copper: Copper) -> list[Track]:
    """The first coil; of a wave winding, the first conductors of a pass on every layer."""
    if copper.alike:
        return list(copper.coil.tracks)
    shown: dict[int, Track] = {}
    for track, _ in copper.template_tracks:
        shown.setdefault(track.layer, track)
    return list(shown.values())


def _vias_at(copper: Copper, tracks: list[Track]) -> list[Via]:
    """The vias of the first template at the ends of these tracks."""
    ends = np.concatenate([track.points[[0, -1]] for track in tracks])
    return [via for via in copper.coil.vias if np.hypot(*(ends - (via.x, via.y)).T).min() < 1e-9]


def layer_name(copper: Copper, layer: int) -> str:
    """Number of a layer, with its side for the outer ones."""
    sides = {1: " (rotor side)", len(copper.layers): " (far side)"}
    return f"layer {layer}{sides.get(layer, '')}"


def layer_tone(phase: str, index: int, count: int) -> str:
    """Colour of a phase on a layer; ``index`` from 0."""
    return tint(phase_colour(phase), 1 - (1 - DEEPEST_TONE) * (index / max(count - 1, 1)) ** 0.7)


def coil_id(name: str, template: int, layer: int | str) -> str:
    """The name under which a template's copper on a layer, or its vias, is defined."""
    return f"{name}-{layer}" if template == 0 else f"{name}-{template + 1}-{layer}"


def define_coil(sheet: Sheet, copper: Copper, name: str) -> None:
    """The coil templates per layer, and their vias, to be used at every coil's place."""
    drawing = sheet.drawing
    for index, (coil, _) in enumerate(copper.templates):
        for layer in sorted({track.layer for track in coil.tracks}):
            drawing.defs.add(copper_path(drawing, [track for track in coil.tracks if track.layer == layer],
                                         id=coil_id(name, index, layer)))  # fmt: skip
        vias = drawing.g(id=coil_id(name, index, "vias"))
        for via in coil.vias:
            add_hole(sheet, vias, via, INK)
        drawing.defs.add(vias)


def copper_path(drawing: Any, tracks: list[Track], **look: Any) -> Any:
    """Tracks of one width, or of widths that vary, as one path; stroke and fill are left to where it is used."""
    if tracks[0].widths is not None:
        data = "".join(path_data(strip_outline(track), close=True) for track in tracks)
        return drawing.path(data, stroke="none", **look)
    round_ends = {"fill": "none", "stroke_linejoin": "round", "stroke_linecap": "round"}
    data = "".join(path_data(track.points) for track in tracks)
    return drawing.path(data, stroke_width=number(tracks[0].width * 1e3), **round_ends, **look)


def add_hole(sheet: Sheet, parent: Any, hole: Via | Terminal, colour: str) -> None:
    """A pad with its hole, in mm."""
    centre = number(hole.x * 1e3), number(-hole.y * 1e3)
    parent.add(sheet.drawing.circle(centre, number(hole.pad * 500), fill=colour))
    parent.add(sheet.drawing.circle(centre, number(hole.drill * 500), fill=PAPER))


def _mark_ends(sheet: Sheet, group: Any, track: Track) -> None:
    """A dot where the current of a coil track enters, a ring where it leaves."""
    radius = 0.9 * track.width * 1e3
    (x0, y0), (x1, y1) = track.points[0] * 1e3, track.points[-1] * 1e3
    look = {"stroke": INK, "stroke_width": number(0.35 * radius)}
    group.add(sheet.drawing.circle((number(x0), number(-y0)), number(radius), fill=INK, **look))
    group.add(sheet.drawing.circle((number(x1), number(-y1)), number(radius), fill=PAPER, **look))
