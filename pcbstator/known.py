"""What a design says of its written boards beside their files, as plain numbers; beside the facade, as the room that
verifies knows no design.
"""

from __future__ import annotations

from itertools import combinations
from math import hypot, pi
from typing import TYPE_CHECKING

from pcbstator.analysis.drive.load_cycle import cycle_of
from pcbstator.analysis.electrical.conductors import Conductors, conductors_of
from pcbstator.analysis.magnetic.rotor_field import (
    copper_span,
    path_linkages,
    phase_linkages,
    rotor_field,
    rotor_iron,
    rotor_source,
)
from pcbstator.copper import TileJumper, lay_copper
from pcbstator.copper.connections.stack import PIN_PLAY
from pcbstator.copper.connections.tiles import TOP, lay_tiles, tile_folder
from pcbstator.copper.geometry.contour import turn
from pcbstator.errors import LawRangeError
from pcbstator.output.fabrication.package import SLIP_RING_FOLDER
from pcbstator.physics.conductors.resistance import COPPER_RESISTIVITY
from pcbstator.verify.conduction.board import Build
from pcbstator.verify.conduction.network import Wire
from pcbstator.verify.known import Expected, Known, PhaseEnds, Placed
from pcbstator.verify.spacing import SpacingRules

if TYPE_CHECKING:
    from pcbstator.copper import Copper
    from pcbstator.copper.plain_board import BoardCopper
    from pcbstator.design import SizedDesign
    from pcbstator.physics.magnetics.magnet_ring import RingField

SAME_PLACE = 2e-6  # m; terminals by which a tile's are known
INWARDS, OUTWARDS = 0.5, 1.3  # of the span of the winding: as far as the field is served


def known_of(design: SizedDesign, copper: Copper | None = None, magnets: bool = True) -> Known:
    """What the files of a design leave open; copper: where it was laid before. magnets: with their field."""
    copper = copper or lay_copper(design)
    board = copper.board
    conductors, field = conductors_of(design, copper), _field(design) if magnets else None
    build = Build(
        tuple(layer.thickness for layer in board.layers),
        tuple(layer.depth for layer in board.layers),
        design.board.via_plating,
        COPPER_RESISTIVITY,
    )
    placed, wires = _tiles(design, copper, conductors) if board.tiles > 1 else _stack(design, copper, conductors)
    names = {part.board for part in placed}
    return Known(
        builds=dict.fromkeys(names, build) | _slip_rings(design),
        terminals=_terminals(design, board),
        placed=tuple(placed),
        wires=tuple(wires),
        phases=_phases(design, copper),
        magnets=field,
        expected=_expected(design, copper, conductors, field),
        speed=_speed(design),
        rules=dict.fromkeys(names, _rules(design)),
        words=_words(design),
        rise=design.cooling.trace_rise if design.cooling else 20.0,
    )


def _terminals(design: SizedDesign, board: Copper) -> dict[str, dict[str, tuple[float, float]]]:
    """Places of the terminals of every board [mm]."""
    boards: dict[str, BoardCopper] = {tile_folder(kind): kind.board for kind in lay_tiles(design, board)}
    return {
        name: {t.name: (1e3 * t.x, 1e3 * t.y) for t in each.terminals} for name, each in (boards or {"": board}).items()
    }


def _rules(design: SizedDesign) -> SpacingRules:
    """The rule set [mm]; tracks and gaps as the design asks for them."""
    rules, board = design.rules, design.board
    return SpacingRules(
        track_width=1e3 * min(rules.track_width, board.track_width),
        track_gap=1e3 * min(rules.track_gap, board.track_gap),
        annular_ring=1e3 * rules.annular_ring,
        drill=1e3 * rules.drill,
        drill_to_copper=1e3 * rules.drill_to_copper,
        hole_web=1e3 * rules.hole_web,
        edge=1e3 * rules.edge,
    )


def _words(design: SizedDesign) -> tuple[str, ...]:
    """What is left out or comes as numbers, for people."""
    found = []
    if design.board.tiles > 1:
        found.append("wires across the cuts of the tiles come from the design, as round copper of their length")
    if design.boards > 1:
        found.append("pins between the boards of the stack come from the design, as round copper of their length")
    if design.slip_ring is not None:
        found.append("slip rings: nets and distances only; the way from a brush is not solved")
    return tuple(found)


def _field(design: SizedDesign) -> RingField | None:
    """The magnets' field well beyond the winding; None where the field laws do not hold."""
    inner, outer = copper_span(design)
    span = INWARDS * inner, OUTWARDS * outer
    try:
        return rotor_field(design, rotor_iron(design, rotor_source(design, span=span)), span=span)
    except LawRangeError:
        return None


def _speed(design: SizedDesign) -> float:
    """Highest speed of the rotor [rad/s] that the design states; 0 where none is."""
    cycle, ratio = cycle_of(design), design.drive.gear_ratio if design.drive else 1.0
    if cycle is not None and cycle.top_speed:
        return cycle.top_speed * ratio
    return max(design.operation.speeds) if design.operation else 0.0


def _expected(design: SizedDesign, copper: Copper, conductors: Conductors, field: RingField | None) -> Expected:
    """What the laws say of the whole machine."""
    connection = design.winding.connection
    found = conductors.line_resistances(connection)
    if connection == "star" and design.boards == 1:
        found |= conductors.star_resistances
    names = [phase.name for phase in copper.phases]
    ends = [f"{name}2" for name in names] if connection == "open" else ["N"]
    pairs = {a + b: (a, b) for a, b in combinations([*names, *ends], 2)}
    resistances = {pairs[pair]: value for pair, value in found.items() if pair in pairs}
    if field is None:
        return Expected(resistances)
    linkages = phase_linkages(conductors, path_linkages(copper, field))[:, 0]
    constant = len(names) / 2 * field.pole_pairs * float(abs(linkages).mean())
    return Expected(resistances, dict(zip(names, linkages.tolist(), strict=True)), constant)


def _phases(design: SizedDesign, copper: Copper) -> tuple[PhaseEnds, ...]:
    """Every phase by its terminals in the machine."""
    names = [phase.name for phase in copper.phases]
    after = names[1:] + names[:1]
    ends = {"star": ["N"] * len(names), "delta": after, "open": [f"{name}2" for name in names]}
    return tuple(map(PhaseEnds, names, names, ends[design.winding.connection]))


def _stack(design: SizedDesign, copper: Copper, conductors: Conductors) -> tuple[list[Placed], list[Wire]]:
    """The boards of a stack, or the only one, and the pins between them. Terminals are named by board and name, but for
    those of the machine.
    """
    board, count = copper.board, design.boards
    local = {terminal.name: terminal for terminal in board.terminals}
    names = [{name: name if level == 0 else f"{name}/{level}" for name in local} for level in range(count)]
    joins: list[Wire] = []
    if design.boards_in_series:
        joins = _ends_of_a_series(design, [phase.name for phase in copper.phases], names)
    diameter, layers = design.board.terminal_drill - PIN_PLAY, len(board.layers)
    for level in range(1, count):
        for name, terminal in local.items():
            above = local.get(f"{name}2", terminal) if design.boards_in_series else terminal
            if design.boards_in_series and name.endswith("2"):
                continue
            top = above.layer + (level - 1 if design.boards_in_series else 0) * layers
            length = abs(conductors.depth[top] - conductors.depth[terminal.layer + level * layers])
            start = names[level - 1][above.name] if design.boards_in_series else name
            joins.append(Wire(start, names[level][name], conductors.wire(length, diameter)))
    turns = copper.board_turns
    return [Placed("", turns[level], level, own) for level, own in enumerate(names)], joins


def _ends_of_a_series(design: SizedDesign, phases: list[str], names: list[dict[str, str]]) -> list[Wire]:
    """Names the ends of the last board of a stack in series, and joins them as the winding is joined, by wires whose
    resistance is left out.
    """
    for level, own in enumerate(names):
        last = level == len(names) - 1
        own |= {f"{phase}2": f"{phase}2" if last else f"{phase}2/{level}" for phase in phases}
    if design.winding.connection == "star":
        names[-1][f"{phases[0]}2"] = "N"
        return [Wire("N", f"{phase}2", 0.0) for phase in phases[1:]]
    if design.winding.connection == "delta":
        return [Wire(after, f"{phase}2", 0.0) for phase, after in zip(phases, phases[1:] + phases[:1], strict=True)]
    return []


def _tiles(design: SizedDesign, copper: Copper, conductors: Conductors) -> tuple[list[Placed], list[Wire]]:
    """The tiles at their places in the ring, and the wires across the cuts; terminals are told by their places."""
    coils = len(copper.coil_angles)
    each = coils // copper.tiles
    there = [(terminal.name, terminal.x, terminal.y) for terminal in copper.terminals]
    there += [(f"cut {number}", hole.x, hole.y) for number, hole in enumerate(copper.jumper_holes)]

    def name_at(x: float, y: float) -> str:
        return next((name for name, a, b in there if hypot(a - x, b - y) < SAME_PLACE), "")

    placed = []
    for kind in lay_tiles(design, copper):
        for number in kind.tiles:
            angle = 2 * pi / coils * ((number - 1) * each + (each - 1) / 2) - TOP
            names = {t.name: name_at(*turn((t.x, t.y), angle)) for t in kind.board.terminals}
            placed.append(Placed(tile_folder(kind), angle, 0, {own: name for own, name in names.items() if name}))
    wires = [
        Wire(name_at(*jumper.start), name_at(*jumper.end), conductors.transition(jumper))
        for jumper in copper.current_paths.transitions
        if isinstance(jumper, TileJumper)
    ]
    return placed, wires


def _slip_rings(design: SizedDesign) -> dict[str, Build]:
    """The slip-ring boards by the names of their folders."""
    found = {}
    for name, section in (design.slip_ring.boards if design.slip_ring else {}).items():
        folder = f"{SLIP_RING_FOLDER}/{name}" if name else SLIP_RING_FOLDER
        found[folder] = Build(
            (section.copper, section.copper), (0.0, -section.thickness), section.via_plating, COPPER_RESISTIVITY
        )
    return found
