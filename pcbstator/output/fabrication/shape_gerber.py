"""Gerber commands for outlines of lines and arcs, and for lands that lie at any angle.

Source: Ucamco, "The Gerber Layer Format Specification", 2024.05: 4.7 circular plotting, 4.5 aperture macros, 5.6
object attributes.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from math import degrees

from shapely import Polygon

from pcbstator.copper.geometry.contour import Arc, Contour, Place
from pcbstator.copper.non_winding import Land
from pcbstator.copper.plain_board import Opening
from pcbstator.output.fabrication.attributes import attribute_text

# Length, width and turn of a rectangle about its middle: primitive 21, centre line.
RECTANGLE = "%AMTURNED*21,1,$1,$2,0,0,$3*%\n"


def contour_commands(contours: Iterable[Contour]) -> str:
    """The commands that draw closed outlines; modes are set where they change, arcs are multi-quadrant."""
    parts, mode = ["G75*\n"], ""
    for contour in contours:
        here = _whole(contour.start)
        move = f"X{here[0]}Y{here[1]}D02*\n"
        for _, segment in contour.pairs():
            wanted, centre = "G01", ""
            end = _whole(segment.end)
            if isinstance(segment, Arc):
                wanted = "G03" if segment.counter_clockwise else "G02"
                cx, cy = _whole(segment.centre)
                centre = f"I{cx - here[0]}J{cy - here[1]}"
            if wanted != mode:
                parts.append(f"{wanted}*\n")
                mode = wanted
            parts.append(f"{move}X{end[0]}Y{end[1]}{centre}D01*\n")
            here, move = end, ""
    return "".join([*parts, "G01*\n"])


def land_commands(lands: Sequence[Land], first_code: int) -> str:
    """Definitions and flashes of ``lands``, each with its net and pin; aperture numbers from ``first_code`` on."""
    if not lands:
        return ""
    shapes = {land: _shape(land.is_round, land.length, land.width, land.angle) for land in lands}
    text, codes = _definitions("SMDPad,CuDef", shapes.values(), first_code)
    for land in lands:
        text += (
            f"%TO.N,{attribute_text(land.net)}*%\n%TO.P,{land.part},{land.pin},{attribute_text(land.net)}*%\n"
            f"D{codes[shapes[land]]}*\n{_flash((land.x, land.y))}%TD*%\n"
        )
    return text


def opening_commands(openings: Sequence[Opening], first_code: int) -> str:
    """Definitions and flashes of the mask's openings."""
    shapes = [_opening_shape(opening) for opening in openings]
    text, codes = _definitions("Material", shapes, first_code)
    for code in sorted(set(codes.values())):
        text += f"D{code}*\n"
        text += "".join(
            _flash((opening.shape.centroid.x, opening.shape.centroid.y))
            for opening, shape in zip(openings, shapes, strict=True)
            if codes[shape] == code
        )
    return text


def _opening_shape(opening: Opening) -> str:
    if opening.radius:
        return _shape(True, 2 * opening.radius, 0.0, 0.0)
    assert isinstance(opening.shape, Polygon)
    (x0, y0), (x1, y1), (x2, y2) = opening.shape.exterior.coords[:3]
    first, second = complex(x1 - x0, y1 - y0), complex(x2 - x1, y2 - y1)
    from cmath import phase

    return _shape(False, abs(first), abs(second), phase(first))


def _shape(is_round: bool, length: float, width: float, angle: float) -> str:
    """The aperture of a disc or a turned rectangle, as its definition has it; mm and degrees."""
    if is_round:
        return f"C,{1e3 * length:.6f}"
    return f"TURNED,{1e3 * length:.6f}X{1e3 * width:.6f}X{degrees(angle):.6f}"


def _definitions(function: str, shapes: Iterable[str], first_code: int) -> tuple[str, dict[str, int]]:
    codes = {shape: code for code, shape in enumerate(sorted(set(shapes)), first_code)}
    if not codes:
        return "", codes
    macro = RECTANGLE if any(shape.startswith("TURNED") for shape in codes) else ""
    lines = [f"%TA.AperFunction,{function}*%\n%ADD{code}{shape}*%\n" for shape, code in codes.items()]
    return macro + "".join(lines) + "%TD*%\n", codes


def _flash(place: Place) -> str:
    x, y = _whole(place)
    return f"X{x}Y{y}D03*\n"


def _whole(place: Place) -> tuple[int, int]:
    """A place in whole nanometres."""
    return round(place[0] * 1e9), round(place[1] * 1e9)
