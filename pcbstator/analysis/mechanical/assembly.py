"""Everything that has a place in the motor, as bodies at rotor angle 0: what drawings and solids are made of."""

from __future__ import annotations

from collections.abc import Mapping
from math import pi
from typing import TYPE_CHECKING

from pcbstator.analysis.magnetic.rotor_field import magnet_footprint
from pcbstator.analysis.mechanical.ball_contact import balls_per_ring
from pcbstator.analysis.mechanical.bodies import Ball, Body, Group, Placed, Prism, ring
from pcbstator.analysis.mechanical.rotor_bodies import rotor_bodies, stator_iron
from pcbstator.analysis.mechanical.rotor_plan import plates
from pcbstator.copper.connections.slip_ring import raceway, ring_radius
from pcbstator.copper.connections.tiles import TOP, lay_tiles, tile_folder, tile_middle
from pcbstator.copper.geometry.contour import Contour, circle
from pcbstator.copper.geometry.tracks import Terminal
from pcbstator.copper.plain_board import BoardCopper
from pcbstator.copper.records import Copper
from pcbstator.materials import laminate

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign
    from pcbstator.design.sections.slip_ring import SlipRing

APART = 4e-3  # m below the motor, where slip-ring boards are shown: their place along the axis is not stated


def assembly(design: SizedDesign, copper: Copper, slip_rings: Mapping[str, BoardCopper]) -> Group:
    """The motor: rotor, stator, slip rings if it has any, and the spaces that must stay free.

    slip_rings: their boards by name, as ``lay_slip_ring_boards`` gives them.
    """
    ends = [rotor_bodies(design, plate) for plate in plates(design)]
    single = len(ends) == 1
    rotor = Group(
        "rotor",
        ends[0] if single else tuple(Group(f"{p.name} rotor", e) for p, e in zip(plates(design), ends, strict=True)),
        turns=True,
    )
    iron = stator_iron(design)
    stator = Group("stator", (*_boards(design, copper), *([iron] if iron else [])))
    heights = [placed.heights for group in (rotor, stator) for placed in group.bodies]
    span = min(low for low, _ in heights), max(high for _, high in heights)
    spaces = Group("spaces", _spaces(design, *span))
    return Group(design.title, (rotor, stator, *_slip_rings(design, slip_rings, span[0]), spaces))


def board_heights(design: SizedDesign) -> list[tuple[float, float]]:
    """Lower and upper face of every board [m], from the rotor down."""
    tops = [-number * design.board_pitch for number in range(design.boards)]
    return [(top - design.board.thickness, top) for top in tops]


def slip_ring_heights(section: SlipRing, below: float) -> dict[str, tuple[float, float]]:
    """Lower and upper face of every slip-ring board [m], by name, from the top down; ``below`` is the motor's end."""
    gap, high, found = section.ball_diameter + 2 * section.copper, below - APART, {}
    for name in ("turning", "still") if section.contact == "balls" else ("",):
        found[name] = high - section.thickness, high
        high = found[name][0] - gap
    return found


def _board(name: str, board: BoardCopper, holes: tuple[Terminal, ...], thickness: float, over: bool = False) -> Body:
    """A board with its slots and all holes but the vias, which copper and mask close; over: turned over, about x.

    holes: those for wires.
    """

    def seen(contour: Contour) -> Contour:
        return contour.mirrored().turned(pi).reversed() if over else contour

    shape = board.shape
    round_holes = [(hole.diameter, hole.x, hole.y) for hole in shape.drilled]
    round_holes += [(hole.drill, hole.x, hole.y) for hole in holes]
    openings = [*shape.cutouts, *(slot.contour for slot in shape.slots)]
    openings += [circle(diameter / 2, (x, y)) for diameter, x, y in dict.fromkeys(round_holes)]
    bore = None if shape.inner is None else seen(shape.inner)
    cuts = tuple(Prism(seen(opening), 0.0, thickness) for opening in openings)
    outline = Prism(seen(shape.outer), 0.0, thickness, bore)
    return Body(name, "board", outline, cuts, "FR-4", laminate().density)


def _boards(design: SizedDesign, copper: Copper) -> list[Placed]:
    """The stator's boards: one, those of a stack, or the tiles."""
    board, thickness = copper.board, design.board.thickness
    kinds = lay_tiles(design, board)
    if kinds:
        low = board_heights(design)[0][0]
        bodies = {n: _board(tile_folder(k), k.board, k.board.terminals, thickness) for k in kinds for n in k.tiles}
        return [Placed(f"tile {n}", bodies[n], tile_middle(board, n - 1) - TOP, low) for n in sorted(bodies)]
    body = _board("board", board, (*board.terminals, *board.jumper_holes), thickness)
    places = list(zip(copper.board_turns, board_heights(design), strict=True))
    names = ["board"] if len(places) == 1 else [f"board {number}" for number in range(1, len(places) + 1)]
    return [Placed(name, body, turn, low) for name, (turn, (low, _)) in zip(names, places, strict=True)]


def _slip_rings(design: SizedDesign, boards: Mapping[str, BoardCopper], below: float) -> list[Group]:
    section = design.slip_ring
    if section is None:
        return []
    heights, found = slip_ring_heights(section, below), []
    for name, (low, _) in heights.items():
        words = f"slip-ring board, {name}" if name else "slip-ring board"
        body = _board(words, boards[name], boards[name].terminals, section.thickness, over=name == "turning")
        title = f"slip rings, {name}" if name else "slip rings"
        found.append(Group(title, (Placed(words, body, 0.0, low),), turns=name == "turning"))
    if section.contact == "balls":
        middle = (heights["turning"][0] + heights["still"][1]) / 2
        found.append(Group("balls", tuple(_balls(section, middle))))
    return found


def _balls(section: SlipRing, height: float) -> list[Placed]:
    """Balls on their raceways, evenly around each."""
    count, aside, found = balls_per_ring(section), raceway(section)[0], []
    for index in range(section.rings):
        shape = Ball(ring_radius(section, index) + aside, height, section.ball_diameter)
        body = Body(f"ball, ring {index + 1}", "ball", shape, (), f"{section.ball_material} ball")
        found += [Placed(f"ball {n + 1}, ring {index + 1}", body, 2 * pi * n / count) for n in range(count)]
    return found


def _spaces(design: SizedDesign, low: float, high: float) -> tuple[Placed, ...]:
    """What must stay free: the gaps, and along the whole motor the bearing's room and the bore."""
    gap, envelope = design.rotor.air_gap, design.envelope
    ends = magnet_footprint(design).breakpoints
    body = Body("air gap", "space", ring(float(ends[0]), float(ends[-1]), 0.0, gap))
    found = [Placed("air gap", body)]
    if design.rotor.arrangement == "double":
        found = [Placed("upper air gap", body), Placed("lower air gap", body, 0.0, -design.stator_thickness - gap)]
    if envelope is None:
        return tuple(found)
    inner, outer = envelope.bearing_inner_diameter, envelope.bearing_outer_diameter
    rooms = [("bore kept free", 0.0, envelope.bore_diameter or 0.0)]
    rooms += [("bearing envelope", inner, outer)] if inner is not None and outer is not None else []
    for name, near, far in rooms:
        if far > 0:
            found.append(Placed(name, Body(name, "space", ring(near / 2, far / 2, low, high))))
    return tuple(found)
