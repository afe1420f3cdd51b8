"""What the drawing of the free room says in words: diameters that are free, heights above the board, terminals."""

from __future__ import annotations

from math import atan2, degrees, hypot, pi
from typing import TYPE_CHECKING

from pcbstator.copper.free_room import FreeRoom, radii, widest_part
from pcbstator.copper.geometry.tracks import Terminal
from pcbstator.output.drawing.section import Part
from pcbstator.output.words import Row, figures, millimetres

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign

LEAST_SHOWN = 0.1e-3  # m between board and envelope, across


def room_rows(design: SizedDesign, room: FreeRoom, parts: list[Part], reach: float) -> list[Row]:
    """Bore and envelope, free laminate inside and outside the winding, and the height over each. reach: of the board
    from the axis [m]."""
    board, envelope = design.board, design.envelope
    bore = Row("Bore of the board", _across(board.inner_diameter), _height(parts, 0.0, board.inner_diameter / 2))
    rows = [bore]
    if envelope is not None and envelope.bore_diameter:
        rows.append(Row("Envelope's bore", _across(envelope.bore_diameter), "to stay free for what goes through it"))
    for name, ring, pieces in (
        ("Inside the winding", room.ring_inside, room.inside),
        ("Outside the winding", room.ring_outside, room.outside),
    ):
        if not pieces:
            rows.append(Row(name, "no free laminate", "the winding reaches to the board's edge"))
            continue
        area = f"{figures(1e6 * sum(piece.area for piece in pieces), 3)} mm² of free laminate"
        said = [f"up to {figures(1e3 * widest_part(pieces), 2)} mm wide", _height(parts, *radii(pieces))]
        if ring is not None:
            said.insert(0, f"all the way round from {figures(2e3 * ring[0])} to {_across(ring[1] * 2)}")
        rows.append(Row(name, area, "; ".join(said)))
    if envelope is not None and envelope.outer_diameter and envelope.outer_diameter > 2 * reach + LEAST_SHOWN:
        around = f"{figures(2e3 * reach)} to {_across(envelope.outer_diameter)}"
        above = _height(parts, reach, envelope.outer_diameter / 2)
        rows.append(Row("Around the board", around, f"up to the envelope; {above}"))
    return rows


def room_notes(design: SizedDesign, room: FreeRoom) -> str:
    """From what distances free laminate is reckoned, and what heights are meant."""
    sides = (
        "towards the rotor" if design.rotor.arrangement == "single" else "on either side, where the rotors are alike"
    )
    return (
        f"Free laminate keeps {millimetres(room.clearance)} from copper on every layer and {millimetres(room.edge)} "
        f"from the edge; keep-outs are drawn over it. Heights are those {sides}. Turning magnets heat areas of copper "
        "near them and pull on steel: keep planes, connectors and sensors as far from them as the room allows."
    )


def terminal_words(terminal: Terminal) -> str:
    """Place and size of a terminal."""
    angle = degrees(atan2(terminal.y, terminal.x) % (2 * pi))
    name = "N (star point)" if terminal.name == "N" else terminal.name
    return (
        f"{name}: x\u00a0{_signed(terminal.x)}, y\u00a0{_signed(terminal.y)}\u00a0mm, "
        f"{figures(1e3 * hypot(terminal.x, terminal.y))}\u00a0mm from the axis at {figures(angle, 4)}°"
    )


def _signed(length: float) -> str:
    return f"{round(1e3 * length, 3) + 0.0:.3f}".replace("-", "−")


def _across(diameter: float) -> str:
    return f"{figures(1e3 * diameter)} mm across"


def _height(parts: list[Part], inner: float, outer: float) -> str:
    """Free height towards the rotor over some radii [m]."""
    above = [part for part in parts if part.low > 0 and part.inner < outer - 1e-9 and part.outer > inner + 1e-9]
    lowest = min(above, key=lambda part: part.low, default=None)
    if lowest is None:
        return "nothing that the design states is above it"
    kind = "magnets" if lowest.kind == "magnets" else f"rotor's {lowest.kind}"
    return f"{millimetres(lowest.low)} of height where it lies under the {kind}"
