"""Half a section through axis and gap, to scale: each part with its thickness, all diameters, the stack of the gap."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from pcbstator.analysis.mechanical.assembly import board_heights, slip_ring_heights
from pcbstator.analysis.mechanical.rotor_bodies import rotor_bodies, stator_iron
from pcbstator.analysis.mechanical.rotor_plan import Plate, plates
from pcbstator.analysis.prediction import Prediction
from pcbstator.copper.connections.slip_ring import raceway, ring_radius
from pcbstator.output.canvas.colours import BODY_COLOURS, INK, QUIET, tint
from pcbstator.output.canvas.sheet import Sheet, scale_bar_length
from pcbstator.output.canvas.svg import number
from pcbstator.output.words import figures

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign
    from pcbstator.design.sections.slip_ring import SlipRing

PAGE_WIDTH = 180.0  # mm
LABELS = 64.0  # mm at the right, for the names of the parts
HEIGHTS = 24.0  # mm at the left, for the height over all
COLOURS = BODY_COLOURS | {"magnets": BODY_COLOURS["magnet"]}


@dataclass(frozen=True)
class Part:
    """A rectangle of the section: kind, words, radii and heights [m], z upwards from the rotor side of the board."""

    kind: str
    words: str
    inner: float
    outer: float
    low: float
    high: float


def section_parts(design: SizedDesign) -> list[Part]:
    """All parts from the top down."""
    rotor, board = design.rotor, design.board
    above, *below = [_rotor_parts(design, plate) for plate in plates(design)]
    near, far = above[0].inner, above[0].outer
    found = [*reversed(above), Part("gap", f"air gap {_mm(rotor.air_gap)}", near, far, 0.0, rotor.air_gap)]
    for number_of, (low, high) in enumerate(board_heights(design), start=1):
        name = "board" if design.boards == 1 else f"board {number_of}"
        words = f"{name} {_mm(board.thickness)}, {board.layers} layers"
        found.append(Part("board", words, board.inner_diameter / 2, board.outer_diameter / 2, low, high))
    bottom = -design.stator_thickness
    for parts in below:
        found.append(Part("gap", f"air gap {_mm(rotor.air_gap)}", near, far, bottom - rotor.air_gap, bottom))
        found += parts
    iron = stator_iron(design)
    if iron is not None:
        found.append(Part("steel", f"steel {_mm(rotor.stator_iron)}", *iron.radii, *iron.heights))
    return found


def _rotor_parts(design: SizedDesign, plate: Plate) -> list[Part]:
    """Magnets, steel and plate of a rotor, from the gap outwards."""
    found: dict[str, Part] = {}
    for placed in rotor_bodies(design, plate):
        kind, (low, high) = placed.body.kind, placed.heights
        name = "magnets" if kind == "magnet" else kind
        words = f"{name} {_mm(high - low)}" + (f", {placed.body.material}" if kind == "plate" else "")
        found.setdefault(kind, Part(name, words, *placed.radii, low, high))
    return list(found.values())


def slip_ring_parts(design: SizedDesign, prediction: Prediction, below: float) -> list[Part]:
    """The slip-ring boards, drawn below a height [m], from the top down."""
    section, sizes = design.slip_ring, prediction.slip_ring
    if section is None or sizes is None:
        return []
    found = []
    for name, (low, high) in slip_ring_heights(section, below).items():
        words = f"slip rings{f', {name}' if name else ''} {_mm(section.thickness)}"
        found.append(Part("board", words, sizes.board_inner_diameter / 2, sizes.board_outer_diameter / 2, low, high))
    return found


def _add_rings(sheet: Sheet, group: Any, section: SlipRing, boards: Sequence[Part], x: Any, y: Any) -> None:
    """Rings on the faces of the slip-ring boards, and balls between two of them."""
    aside = raceway(section)[0] if len(boards) == 2 else 0.0
    for index in range(section.rings):
        inner = ring_radius(section, index) - section.width / 2
        faces = [boards[0].low, boards[1].high] if len(boards) == 2 else [boards[0].high]
        for z in faces:
            group.add(_line(sheet, x(inner), y(z), x(inner + section.width), y(z), COLOURS["copper"], 0.35))
        if len(boards) == 2:
            middle = x(ring_radius(section, index) + aside), y((faces[0] + faces[1]) / 2)
            radius = (x(section.ball_diameter) - x(0)) / 2
            style = {"fill": tint(COLOURS["steel"], 0.45), "stroke": INK, "stroke_width": 0.15}
            group.add(sheet.drawing.circle(center=(number(middle[0]), number(middle[1])), r=number(radius), **style))


def _add_height(sheet: Sheet, parts: Sequence[Part], y: Any) -> None:
    """The height over all of the motor, at the left."""
    high, low = max(part.high for part in parts), min(part.low for part in parts)
    size, at, group = 2.2 * sheet.unit, sheet.margin + HEIGHTS - 3 * sheet.unit, sheet.drawing.g()
    group.add(_line(sheet, at, y(high), at, y(low), INK))
    for z in (high, low):
        group.add(_line(sheet, at - 0.35 * size, y(z), at + 0.35 * size, y(z), INK))
    sheet.add(group)
    sheet.text(_mm(high - low), at - 0.8 * size, (y(high) + y(low)) / 2 + 0.36 * size, size, anchor="end")


def _mm(length: float) -> str:
    return f"{figures(1e3 * length, 3)} mm"


def section_svg(design: SizedDesign, prediction: Prediction) -> str:
    """The drawing."""
    motor = section_parts(design)
    slip_rings = slip_ring_parts(design, prediction, min(part.low for part in motor))
    parts = motor + slip_rings
    sheet = Sheet(PAGE_WIDTH, f"Section through {design.title}")
    unit = sheet.unit
    sheet.paragraph("Section from the axis outwards", 3.2 * unit, bold=True)
    listed = diameters(design, parts)
    widest = max(radius for _, radius in listed)
    high, low = max(part.high for part in parts), min(part.low for part in parts)
    scale = (sheet.width - 2 * sheet.margin - LABELS - HEIGHTS) / (1e3 * widest)
    left, top = sheet.margin + HEIGHTS, sheet.bottom + 4 * unit

    def x(radius: float) -> float:
        return left + 1e3 * radius * scale

    def y(height: float) -> float:
        return top + 1e3 * (high - height) * scale

    group = sheet.drawing.g()
    # A plate holds magnets and steel in its pockets: it is drawn first.
    for part in sorted(parts, key=lambda part: part.kind != "plate"):
        if part.kind != "gap":
            group.add(_rectangle(sheet, part, x, y))
        if part.kind == "board" and part in motor:
            _add_copper(sheet, group, design, part, x, y)
    if design.slip_ring is not None and slip_rings:
        _add_rings(sheet, group, design.slip_ring, slip_rings, x, y)
    group.add(_line(sheet, x(0), y(high) - 2 * unit, x(0), y(low) + 2 * unit, dashed=True))
    sheet.add(group)
    bottom = _add_names(sheet, parts, x, y)
    _add_height(sheet, motor, y)
    sheet.bottom = max(bottom, y(low)) + 2 * unit
    _add_diameters(sheet, listed, x)
    sheet.scale_bar(scale_bar_length(0.4e3 * widest), scale_bar_length(0.4e3 * widest) * scale, "section")
    aside = ["Where slip rings are along the axis is not stated: they are drawn below the motor."] if slip_rings else []
    for words in [*_stack_words(design, prediction), *aside]:
        sheet.bottom += 0.6 * unit
        sheet.paragraph(words, 2.2 * unit)
    return sheet.finish()


def _rectangle(sheet: Sheet, part: Part, x: Any, y: Any) -> Any:
    return sheet.drawing.rect(
        insert=(number(x(part.inner)), number(y(part.high))),
        size=(number(x(part.outer) - x(part.inner)), number(y(part.low) - y(part.high))),
        fill=tint(COLOURS[part.kind], 0.45),
        stroke=INK,
        stroke_width=0.15,
    )


def _add_copper(sheet: Sheet, group: Any, design: SizedDesign, board: Part, x: Any, y: Any) -> None:
    """The copper's annulus on every layer, each at least as thick as can be seen."""
    inner, outer = design.board.copper_inner_diameter / 2, design.board.copper_outer_diameter / 2
    for z in design.board.layer_z:
        at = y(board.high + z)
        group.add(_line(sheet, x(inner), at, x(outer), at, COLOURS["copper"], 0.35))


def _line(
    sheet: Sheet, x1: float, y1: float, x2: float, y2: float, colour: str = QUIET, width: float = 0.15,
    dashed: bool = False,
) -> Any:  # fmt: skip
    line = sheet.drawing.line(
        start=(number(x1), number(y1)), end=(number(x2), number(y2)), stroke=colour, stroke_width=width
    )
    return line.dasharray([2, 0.8, 0.4, 0.8]) if dashed else line


def _add_names(sheet: Sheet, parts: Sequence[Part], x: Any, y: Any) -> float:
    """The parts' names at the right, each beside its part as far as they have room; returns where they end."""
    size, unit = 2.2 * sheet.unit, sheet.unit
    at = x(max(part.outer for part in parts)) + 2 * unit
    wanted = [(y((part.high + part.low) / 2), part) for part in parts]
    step = 1.5 * size
    start = min(
        min(place for place, _ in wanted), sum(p for p, _ in wanted) / len(wanted) - step * (len(wanted) - 1) / 2
    )
    group, last = sheet.drawing.g(), start - step
    for place, part in wanted:
        row = max(place, last + step)
        group.add(_line(sheet, x(part.outer) + 0.4 * unit, place, at, place))
        group.add(_line(sheet, at, place, at + 2 * unit, row))
        sheet.text(part.words, at + 2.5 * unit, row + 0.36 * size, size)
        last = row
    sheet.add(group)
    return float(last + size)


def diameters(design: SizedDesign, parts: Sequence[Part]) -> list[tuple[str, float]]:
    """What ends at which radius [m], from the axis outwards; plates and steel only where the magnets do not."""
    board, envelope = design.board, design.envelope
    magnets = next(part for part in parts if part.kind == "magnets")
    listed = [
        ("bore of the board", board.inner_diameter / 2), ("copper", board.copper_inner_diameter / 2),
        ("magnets", magnets.inner), ("magnets", magnets.outer), ("copper", board.copper_outer_diameter / 2),
        ("outline of the board", board.outer_diameter / 2),
    ]  # fmt: skip
    for part in parts:
        name = "slip rings" if part.words.startswith("slip rings") else part.kind
        if part.kind in ("plate", "steel") or name == "slip rings":
            known = (magnets.inner, magnets.outer) if name in ("plate", "steel") else ()
            ends = [radius for radius in (part.inner, part.outer) if radius > 0 and not _is_one_of(radius, known)]
            listed += [(name, radius) for radius in ends if (name, radius) not in listed]
    if envelope is not None:
        kept = (
            ("kept free", envelope.bore_diameter), ("envelope", envelope.outer_diameter),
            ("bearing", envelope.bearing_inner_diameter), ("bearing", envelope.bearing_outer_diameter),
        )  # fmt: skip
        listed += [(words, diameter / 2) for words, diameter in kept if diameter]
    return sorted(listed, key=lambda pair: pair[1])


def _is_one_of(radius: float, known: Sequence[float]) -> bool:
    """Whether a radius is one of those known, to a nanometre."""
    return any(abs(radius - each) < 1e-9 for each in known)


def _add_diameters(sheet: Sheet, listed: Sequence[tuple[str, float]], x: Any) -> None:
    """Every diameter on a line of its own, from the axis to where it is."""
    size, group = 2.2 * sheet.unit, sheet.drawing.g()
    for words, radius in listed:
        row = sheet.bottom + 1.1 * size
        group.add(_line(sheet, x(0), row, x(radius), row, INK))
        for end in (x(0), x(radius)):
            group.add(_line(sheet, end, row - 0.35 * size, end, row + 0.35 * size, INK))
        sheet.text(f"⌀ {figures(2e3 * radius, 4)} mm, {words}", x(radius) + 0.8 * size, row + 0.36 * size, size)
        sheet.bottom = row + 0.4 * size
    sheet.add(group)


def _stack_words(design: SizedDesign, prediction: Prediction) -> list[str]:
    """The tolerance stack of the gap in lines."""
    found = prediction.mechanical
    if found is None or found.gap_worst is None or found.gap_usual is None:
        return []
    rest = "" if found.gap_at_rest is None else f", {_mm(found.gap_at_rest)} under pull and weight"
    parts = "; ".join(f"{row['part']} {figures(row['largest_mm'], 2)} mm, {row['spread']}" for row in found.gap_stack)
    return [
        f"Gap drawn {_mm(design.rotor.air_gap)}{rest}. What may close it: {parts}.",
        f"Least gap with everything at its worst {_mm(found.gap_worst)}; 95 % of motors keep {_mm(found.gap_usual)}.",
    ]
