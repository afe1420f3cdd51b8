"""From a design to the metal: the coil template, the inter-coil connections, and the current paths through both."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from pcbstator.copper.clearance import least_gap
from pcbstator.copper.connections.buses import BusTree, Node, lay_bus
from pcbstator.copper.connections.stack import stacked
from pcbstator.copper.connections.tiles import cut_board, lay_cuts
from pcbstator.copper.connections.via_transitions import transition_vias, with_via_transitions
from pcbstator.copper.current_paths import CoilVisit, Path, PhaseCopper
from pcbstator.copper.geometry.board_shape import lay_board
from pcbstator.copper.geometry.tracks import Layer, Point, Terminal, TileJumper, Track, Via
from pcbstator.copper.non_winding import lay_non_winding
from pcbstator.copper.plan import StatorPlan
from pcbstator.copper.records import Coil, Copper
from pcbstator.copper.sizing import settle_plan, size_design
from pcbstator.copper.spiral.coil import CoilPlan, lay_coil
from pcbstator.copper.wave.laps import lay_laps
from pcbstator.winding import PHASE_NAMES, Winding, lay_winding

if TYPE_CHECKING:
    from pcbstator.design import Design

CoilEnds = dict[tuple[int, bool], tuple[BusTree, Node]]  # the bus at a coil's (number, at its start), and the node


def _layers(design: Design) -> tuple[Layer, ...]:
    board = design.board
    sizes = zip(board.layer_z, board.layer_thicknesses, strict=True)
    return tuple(
        Layer(number, z, thickness, number in (1, board.layers)) for number, (z, thickness) in enumerate(sizes, start=1)
    )


def _terminals(design: Design, plan: StatorPlan, trees: list[BusTree]) -> tuple[Terminal, ...]:
    board = design.board
    found = []
    for tree in trees:
        tap = tree.bus.terminal
        if tap is None:
            continue
        (node,) = tree.beside[tree.terminal_node]
        lead = tree.edge(tree.terminal_node, node)
        assert isinstance(lead, Track)
        x, y = lead.ends[0]
        found.append(Terminal(tap.terminal, x, y, board.terminal_drill, board.terminal_pad, lead.layer, tree.bus.net))
    return tuple(sorted(found, key=lambda terminal: terminal.name))


def _phase_paths(winding: Winding, phase: int, connection: str, ends: CoilEnds, copies: int) -> tuple[Path, ...]:
    """The parallel paths of a phase, each from the terminal to the star point or the end, on every copy of coils."""
    paths = []
    for copy, coils in itertools.product(range(copies), winding.paths[phase]):
        steps: list[CoilVisit | Track | TileJumper] = []
        tree, node = ends[coils[0], winding.sense[coils[0]] > 0]
        here = tree.terminal_node
        for coil in coils:
            forward = winding.sense[coil] > 0
            tree, node = ends[coil, forward]
            steps += tree.walk(here, node)
            steps.append(CoilVisit(coil + copy * winding.coils, forward))
            tree, here = ends[coil, not forward]
        steps += tree.walk(here, _star_node(tree) if connection == "star" else tree.terminal_node)
        paths.append(Path(tuple(steps)))
    return tuple(paths)


def _star_node(tree: BusTree) -> Node:
    """The star point: where the lead of terminal N leaves the arc, or the terminal itself if there is no arc."""
    node = tree.tap_of(tree.terminal_node)
    return node if any(node in edge for edge in tree.edges) else tree.terminal_node


def _phases(connection: str, winding: Winding, trees: list[BusTree], copies: int) -> tuple[PhaseCopper, ...]:
    ends: CoilEnds = {coil_end: (tree, node) for tree in trees for coil_end, node in tree.coil_ends()}
    result = []
    for phase in range(winding.phases):
        paths = _phase_paths(winding, phase, connection, ends, copies)
        first, last = paths[0].steps[0], paths[0].steps[-1]
        assert isinstance(first, Track) and isinstance(last, Track)
        start, end = Point(*first.ends[0], first.layer), Point(*last.ends[1], last.layer)
        result.append(PhaseCopper(PHASE_NAMES[phase], start, end, paths))
    return tuple(result)


def lay_copper(design: Design, winding: Winding | None = None, plan: StatorPlan | None = None) -> Copper:
    """All metal of the stator that a design asks for; plan: where it is known.

    Raises DesignError where the winding cannot be balanced or the copper does not fit, with what would.
    """
    design = size_design(design)
    winding = winding or lay_winding(design)
    shape, non_winding = cut_board(design, lay_board(design)), lay_non_winding(design)
    plan = plan or settle_plan(design, winding)
    winding = plan.winding
    board = design.board
    used = board.used_layers
    width = board.interconnect_width
    count, pad = transition_vias(design, board.track_width)
    cuts = lay_cuts(design, width)
    trees = [
        lay_bus(bus, plan.ring, channel, len(used), width, plan.corner, board.via_drill, pad, cuts)
        for bus, channel in zip(plan.buses, plan.channels, strict=True)
    ]
    net_of = {tap.coil: tree.bus.net for tree in trees for tap in tree.bus.taps if not tap.terminal}
    templates = _templates(design, plan, winding, pad)
    copies = len(templates.coils) // templates.kinds
    copper = Copper(
        layers=_layers(design),
        board_inner_radius=board.inner_diameter / 2,
        board_outer_radius=board.outer_diameter / 2,
        coil=templates.coils[0],
        further_coils=templates.coils[1:],
        coil_templates=templates.chosen if len(templates.coils) > 1 else (),
        coil_angles=np.tile(plan.coil_angles, copies),
        coil_phases=tuple(PHASE_NAMES[phase] for phase in winding.phase_of) * copies,
        coil_senses=winding.sense * copies,
        coil_nets=tuple(net_of[coil] for coil in range(winding.coils)) * copies,
        interconnects=tuple(track for tree in trees for track in tree.drawn()),
        terminals=_terminals(design, plan, trees),
        phases=_phases(design.board_connection, winding, trees, copies),
        interconnect_vias=tuple(via for tree in trees for via in tree.vias),
        alike=design.winding.kind == "spiral",
        stated_shape=replace(shape, drilled=shape.drilled + non_winding.holes),
        stated_non_winding=non_winding,
        tiles=board.tiles,
        jumper_holes=tuple(jumper_hole for tree in trees for jumper_hole in tree.jumper_holes),
    )
    copper = with_via_transitions(copper, design, count)
    if board.track_profile == "tapered":
        copper = _shaved(copper, board.track_gap)
    copper = copper if used == tuple(range(1, board.layers + 1)) else on_layers(copper, used)
    return stacked(copper, design) if design.boards > 1 else copper


def _shaved(copper: Copper, gap: float) -> Copper:
    """Tapered tracks less what the drawn gap lacks, where they widen and bend at once; nowhere below their base."""
    for _ in range(4):
        closest = least_gap(copper, gap)
        if closest is None or closest.distance >= gap - 1e-9:
            break
        less = gap - closest.distance + 1e-7

        def narrower(track: Track, less: float = less) -> Track:
            if track.widths is None:
                return track
            widths = np.maximum(track.widths - less, track.narrowest)
            return replace(track, widths=widths, width=float(widths.max()))

        def coil(template: Coil) -> Coil:
            return replace(template, tracks=tuple(map(narrower, template.tracks)))

        copper = replace(copper, coil=coil(copper.coil), further_coils=tuple(map(coil, copper.further_coils)))
    return copper


@dataclass(frozen=True)
class _Templates:
    """Templates of coils, the template of every coil, and how many kinds differ in shape: the others are copies."""

    coils: tuple[Coil, ...]
    chosen: tuple[int, ...]
    kinds: int


def _templates(design: Design, plan: StatorPlan, winding: Winding, pad: float) -> _Templates:
    """The coil of a spiral winding; of a wave winding, its laps by row of vias and pair of layers."""
    board, count = design.board, winding.coils
    if isinstance(plan.coil, CoilPlan):
        coil = lay_coil(plan.coil, len(board.used_layers), board.via_drill, pad)
        return _Templates((coil,), (0,) * count, 1)
    kinds = (False, True) if plan.coil.staggered else (False,)
    first = [lay_laps(plan.coil, odd, board.via_drill, pad, len(board.used_layers)) for odd in kinds]
    pairs = len(board.used_layers) // 2 if design.winding.layer_connection == "parallel" else 1
    coils = tuple(_lowered(coil, 2 * pair) for pair in range(pairs) for coil in first)
    chosen = tuple(pair * len(kinds) + index % len(kinds) for pair in range(pairs) for index in range(count))
    return _Templates(coils, chosen, len(kinds))


def _lowered(coil: Coil, layers: int) -> Coil:
    """The same coil some layers further down; it shares the vias of the first."""
    if layers == 0:
        return coil
    return replace(coil, tracks=tuple(replace(track, layer=track.layer + layers) for track in coil.tracks), vias=())


def on_layers(copper: Copper, used: tuple[int, ...]) -> Copper:
    """The copper moved to other layers: what was on layer n comes to the n-th of ``used``."""

    def moved(track: Track) -> Track:
        return replace(track, layer=used[track.layer - 1])

    last = copper.layers[-1].number

    def drilled(vias: tuple[Via, ...]) -> tuple[Via, ...]:
        return tuple(replace(via, to_layer=last) for via in vias)

    def coil(template: Coil) -> Coil:
        return replace(template, tracks=tuple(map(moved, template.tracks)), vias=drilled(template.vias))

    def path(path: Path) -> Path:
        return replace(path, steps=tuple(moved(step) if isinstance(step, Track) else step for step in path.steps))

    def point(place: Point) -> Point:
        return replace(place, layer=used[place.layer - 1])

    return replace(
        copper,
        coil=coil(copper.coil),
        further_coils=tuple(map(coil, copper.further_coils)),
        interconnects=tuple(map(moved, copper.interconnects)),
        interconnect_vias=drilled(copper.interconnect_vias),
        terminals=tuple(replace(terminal, layer=used[terminal.layer - 1]) for terminal in copper.terminals),
        jumper_holes=tuple(
            replace(jumper_hole, layer=used[jumper_hole.layer - 1]) for jumper_hole in copper.jumper_holes
        ),
        phases=tuple(
            replace(phase, terminal=point(phase.terminal), end=point(phase.end), paths=tuple(map(path, phase.paths)))
            for phase in copper.phases
        ),
    )
