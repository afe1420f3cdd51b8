"""Boards, what joins them, screws and pads for wires in the parts list."""

from __future__ import annotations

from math import cos, degrees, sin
from typing import TYPE_CHECKING

from pcbstator.analysis.magnetic.screws import screw_groups
from pcbstator.analysis.mechanical.order import jumper_wire
from pcbstator.analysis.prediction import Prediction
from pcbstator.copper import Copper, Pin
from pcbstator.copper.connections.tiles import lay_tiles, tile_folder, tile_sides
from pcbstator.copper.geometry.board_shape import around
from pcbstator.copper.non_winding import CHIP
from pcbstator.output.fabrication.drill import TERMINAL_PART
from pcbstator.output.parts_list.parts import Part, counted, place_words
from pcbstator.output.report.rows.order_rows import range_words
from pcbstator.output.words import copper_weight, figures, millimetres

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign

UPLOAD = "board.zip"


def board_parts(design: SizedDesign, copper: Copper) -> list[Part]:
    """The stator's boards; tiles that are equal are one board with a count. copper: of one board or of the stack."""
    board, found = design.board, copper.board
    thick = f"{millimetres(board.thickness)} thick"
    weights = "; ".join(copper_weight(each) for each in sorted(set(board.layer_thicknesses), reverse=True))
    material = f"{board.layers} layers, copper {weights}, {board.finish}"
    if kinds := lay_tiles(design, found):
        across, up = tile_sides(design, found)
        size = f"within {figures(1e3 * across)} × {figures(1e3 * up)} mm, {thick}"
        return [
            Part(f"board {tile_folder(kind)}", len(kind.tiles), size, material,
                 f"tile{'s' if len(kind.tiles) > 1 else ''} {counted(list(kind.tiles))} of the ring",
                 file=f"{tile_folder(kind)}/{UPLOAD}")
            for kind in kinds
        ]  # fmt: skip
    left, low, right, high = found.shape.bounds
    size = f"{figures(1e3 * (right - left))} × {figures(1e3 * (high - low))} mm, {thick}"
    place = f"stator, {millimetres(design.stack.spacing)} apart" if design.stack and design.boards > 1 else "stator"
    turned = [f"{figures(degrees(angle))}°" for angle in copper.board_turns]
    note = f"turned by {', '.join(turned)}, counter-clockwise from the rotor side" if any(copper.board_turns) else ""
    return [Part("board", design.boards, size, material, place, note, UPLOAD)]


def joining_parts(design: SizedDesign, copper: Copper) -> list[Part]:
    """Pins through the boards of a stack, wires across the cuts between tiles."""
    found = []
    pins = {step for phase in copper.phases for path in phase.paths for step in path.steps if isinstance(step, Pin)}
    layers = len(copper.board.layers)
    for pin in sorted(pins, key=lambda pin: (pin.from_layer, pin.x, pin.y)):
        first, last = ((layer - 1) // layers + 1 for layer in (pin.from_layer, pin.to_layer))
        place = f"{place_words(pin.x, pin.y)}, from board {first} to board {last}"
        size = f"{millimetres(pin.diameter)} across, through {abs(last - first) + 1} boards"
        found.append(Part("pin", 1, size, "copper, tinned", place))
    if copper.jumper_holes:
        count = len(copper.jumper_holes) // 2
        found.append(Part("tile jumper", count, f"wire of {millimetres(jumper_wire(design))}", "copper, tinned",
                          "across each cut, the shortest way, X to Y"))  # fmt: skip
    return found


def screw_parts(design: SizedDesign, prediction: Prediction) -> list[Part]:
    """Screws and nuts for the board's holes: as the design says, else as large as the holes allow."""
    found, stated = [], {group.where: group for group in screw_groups(design)}
    order = prediction.order
    edge = design.board.outer_diameter / 2
    holes = [(f"board.holes[{n}]", h.circle_diameter / 2, h.count, h.first_angle, h.diameter, h.plated)
             for n, h in enumerate(design.board.holes, start=1)]  # fmt: skip
    holes += [(f"board.tabs[{n}]", edge + t.reach - t.width / 2, t.count, t.first_angle, t.hole, False)
              for n, t in enumerate(design.board.tabs, start=1) if t.hole > 0]  # fmt: skip
    for where, radius, count, first, diameter, plated in holes:
        angle = around(first, count)[0]
        place = f"{where}, holes of {millimetres(diameter)} on a circle of {millimetres(2 * radius)}"
        place += f", the first at {place_words(radius * cos(angle), radius * sin(angle))}"
        group = stated.get(where)
        if group is not None:
            (thread, low, high), *others = group.parts
            found.append(Part("screw", count, f"M{figures(1e3 * thread, 2)} × {figures(1e3 * (high - low))} mm",
                              group.material, place))  # fmt: skip
            if len(others) > 1:
                found.append(Part("nut", count, f"M{figures(1e3 * thread, 2)}", group.material, place))
        elif not plated and order is not None and order.screw is not None and order.screw_length is not None:
            size = f"{range_words('order.screw_diameter_mm', order.screw)}, "
            size += range_words("order.screw_length_mm", order.screw_length)
            found.append(Part("screw", count, size, order.screw_material or "", place, order.screw_length.why_most))
    return found


def wire_parts(design: SizedDesign, copper: Copper, prediction: Prediction) -> list[Part]:
    """Wires from driver to stator, the pads where they go, and the thermistor."""
    board, order, drive = design.board, prediction.order, design.drive
    ends = copper.board.terminals
    wired = 2 * len(copper.phases) if design.winding.connection == "open" else len(copper.phases)
    size, note = "", ""
    if order is not None and order.wire is not None and order.gauge is not None:
        size = f"{range_words('order.wire_section_mm2', order.wire)}; "
        size += range_words("order.wire_gauge_awg", order.gauge)
        note = order.wire.why_least
    if drive is not None and drive.cable_length:
        size += f"{', ' * bool(size)}{millimetres(drive.cable_length)} long"
    found = [Part("wire", wired, size, "stranded copper", "driver to stator", note)]
    holes = f"hole {millimetres(board.terminal_drill)}, pad {millimetres(board.terminal_pad)}"
    for number, end in enumerate(ends, start=1):
        note = "star point: no wire" if end.name == "N" else ""
        found.append(Part(f"pad {TERMINAL_PART}.{number}, {end.name}", design.boards, holes, "",
                          place_words(end.x, end.y), note))  # fmt: skip
    chip = board.thermistor
    if chip is not None:
        for land in copper.board.non_winding.lands:
            if land.part == CHIP and land.pin == 1:
                found.append(Part(f"thermistor {CHIP}", design.boards, chip.size, "NTC chip",
                                  f"far side, pin 1 at {place_words(land.x, land.y)}"))  # fmt: skip
        found.append(Part("wire", 2 * design.boards, "", "stranded copper", "thermistor to driver, T1 and T2"))
    return found
