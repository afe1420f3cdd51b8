"""Outlines as SVG at true scale: one layer a file, or all of them; the page is the same in all files of a board.

Millimetres with y down, the origin where the cross in the bore is. Copper is filled by the even-odd rule, one path for
each piece, in groups by net.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from math import hypot, pi
from xml.sax.saxutils import escape

import numpy as np
import shapely
from shapely import Polygon

from pcbstator.copper.geometry.contour import Arc, Contour, circle, signed_sweep
from pcbstator.copper.geometry.tracks import FloatArray
from pcbstator.copper.net_areas import NetArea
from pcbstator.output.canvas.colours import INK, phase_colour
from pcbstator.output.outlines.drawn_board import MARKS, PADS, PLATED, PROFILE, UNPLATED, DrawnBoard
from pcbstator.output.outlines.marks import marks, page_box

DIGITS = 4  # after the point, of a millimetre
LINE = 0.05  # mm, of what is cut: thin, so that its middle is seen


def layer_svg(drawn: DrawnBoard, layer: str) -> str:
    """One layer of copper, or the profile with all that is cut without copper."""
    if layer == PROFILE:
        return _page(drawn, layer, [_edges(drawn), _unplated(drawn)])
    return _page(drawn, layer, [_copper(layer, drawn.copper[layer], INK, 1.0)])


def all_layers_svg(drawn: DrawnBoard) -> str:
    """All layers one above the other, the one nearest to the rotor on top, in groups by their names."""
    copper = [
        _copper(layer, areas, phase_colour("ABCDEFG"[index % 7]), 0.5)
        for index, (layer, areas) in enumerate(drawn.copper.items())
    ]
    pads = [_disc(hole.x, hole.y, hole.pad) for hole in drawn.plated]
    drilled = [_disc(hole.x, hole.y, hole.drill) for hole in drawn.plated]
    lands = [_filled(area) for land in drawn.lands if isinstance(area := land.area(), Polygon)]
    groups = [*reversed(copper), _group(PADS, [*pads, *lands], _outlined()), _group(PLATED, drilled, _outlined())]
    return _page(drawn, "all layers", [*groups, _unplated(drawn), _edges(drawn)])


def _page(drawn: DrawnBoard, what: str, groups: Iterable[str]) -> str:
    left, low, right, high = (1e3 * side for side in page_box(drawn.board))
    size = f'width="{right - left:.{DIGITS}f}mm" height="{high - low:.{DIGITS}f}mm"'
    box = f'viewBox="{left:.{DIGITS}f} {-high:.{DIGITS}f} {right - left:.{DIGITS}f} {high - low:.{DIGITS}f}"'
    crosses = [f'<path d="{_ring(1e3 * np.array(ring))}"/>' for ring in marks(drawn.board)]
    title = escape(f"{drawn.title}: {what}, seen from the rotor side, 1:1")
    head = f'<svg xmlns="http://www.w3.org/2000/svg" {size} {box}>\n<title>{title}</title>\n'
    return f"{head}{''.join(groups)}{_group(MARKS, crosses, f'fill={_quoted(INK)}')}</svg>\n"


def _copper(layer: str, areas: Sequence[NetArea], colour: str, opacity: float) -> str:
    look = f'fill="{colour}" fill-rule="evenodd"' + (f' fill-opacity="{opacity:g}"' if opacity < 1 else "")
    nets = [
        _group(f"{layer}-{''.join(c if c.isalnum() else '_' for c in area.net)}", map(_filled, area.pieces),
               f"data-net={_quoted(area.net)}")
        for area in areas
    ]  # fmt: skip
    return _group(layer, nets, look)


def _edges(drawn: DrawnBoard) -> str:
    return _group(PROFILE, map(_contour, drawn.edges), _outlined())


def _unplated(drawn: DrawnBoard) -> str:
    return _group(UNPLATED, map(_contour, drawn.unplated), _outlined())


def _group(name: str, elements: Iterable[str], look: str = "") -> str:
    return f'<g id="{name}" {look}>\n' + "".join(f"{element}\n" for element in elements) + "</g>\n"


def _outlined() -> str:
    return f'fill="none" stroke="{INK}" stroke-width="{LINE:g}"'


def _quoted(words: str) -> str:
    return '"' + escape(words, {'"': "&quot;"}) + '"'


def _filled(piece: Polygon) -> str:
    rings = (piece.exterior, *piece.interiors)
    return f'<path d="{"".join(_ring(1e3 * shapely.get_coordinates(ring)[:-1]) for ring in rings)}"/>'


def _ring(points: FloatArray) -> str:
    """A closed ring [mm], y up, as path data."""
    flat = np.round(points * (1.0, -1.0), DIGITS) + 0.0
    text = f"%.{DIGITS}f %.{DIGITS}f"
    return "M" + "L".join([text] * len(flat)) % tuple(flat.ravel().tolist()) + "Z"


def _disc(x: float, y: float, diameter: float) -> str:
    return _contour(circle(diameter / 2, (x, y)))


def _contour(contour: Contour) -> str:
    """An outline of lines and arcs; a circle as such."""

    def text(*values: float) -> str:
        return " ".join(f"{round(1e3 * value, DIGITS) + 0.0:.{DIGITS}f}" for value in values)

    if contour.round is not None:
        (x, y), radius = contour.round
        return f'<circle cx="{text(x)}" cy="{text(-y)}" r="{text(radius)}"/>'
    parts = [f"M{text(contour.start[0], -contour.start[1])}"]
    for start, segment in contour.pairs():
        end = text(segment.end[0], -segment.end[1])
        if isinstance(segment, Arc):
            sweep = signed_sweep(start, segment)
            radius = hypot(start[0] - segment.centre[0], start[1] - segment.centre[1])
            parts.append(f"A{text(radius, radius)} 0 {int(abs(sweep) > pi)} {int(sweep < 0)} {end}")
        else:
            parts.append(f"L{end}")
    return f'<path d="{"".join(parts)}Z"/>'
