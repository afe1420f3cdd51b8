"""Slip-ring boards and balls in the parts list."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pcbstator.analysis.electrical.slip_ring import lay_slip_ring_boards
from pcbstator.analysis.prediction import Prediction
from pcbstator.output.parts_list.parts import Part, place_words
from pcbstator.output.parts_list.stator_parts import UPLOAD
from pcbstator.output.words import copper_weight, figures, millimetres

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign


def slip_ring_parts(design: SizedDesign, prediction: Prediction) -> list[Part]:
    """Boards with their pads, then balls or brushes; nothing where the design has no slip rings."""
    section = design.slip_ring
    if section is None:
        return []
    found, pads = [], []
    for name, board in lay_slip_ring_boards(design).items():
        words = f"slip-ring board{f', {name}' if name else ''}"
        size = f"{figures(2e3 * board.board_outer_radius)} mm across, bore {figures(2e3 * board.board_inner_radius)} mm"
        size += f", {millimetres(section.thickness)} thick"
        material = f"2 layers, copper {copper_weight(section.copper)}, {section.finish}"
        folder = f"slip-ring/{name}" if name else "slip-ring"
        found.append(Part(words, 1, size, material, file=f"{folder}/{UPLOAD}"))
        for end in board.terminals:
            holes = f"hole {millimetres(end.drill)}, pad {millimetres(end.pad)}"
            pads.append(Part(f"pad {end.name} of the {words}", 1, holes, "", place_words(end.x, end.y)))
    balls = prediction.slip_ring_balls
    if section.contact == "balls" and balls is not None:
        found.append(Part("ball", balls.balls * section.rings, millimetres(section.ball_diameter),
                          f"{section.ball_material}, {section.ball_grade}", f"{balls.balls} on each ring",
                          "all of one lot, in a cage of plastic"))  # fmt: skip
    elif section.contact == "brushes":
        found.append(Part("brush", section.rings, f"for a ring of {millimetres(section.width)}", "", "one on each ring",
                          f"{figures(section.current, 3)} A rms each"))  # fmt: skip
    return [*found, *pads]
