"""From a design to the metal: the coil template, the links on the rim, and the way of the current through both."""

from __future__ import annotations

from dataclasses import replace
from math import pi
from typing import TYPE_CHECKING

import numpy as np

from pcbstator.copper.board_shape import lay_board
from pcbstator.copper.fit import StatorPlan, settle_plan
from pcbstator.copper.fittings import lay_fittings
from pcbstator.copper.records import CoilVisit, Copper, Layer, Path, PhaseCopper, Point, Terminal, Track
from pcbstator.copper.routes import BusTree, Node, lay_bus
from pcbstator.copper.spiral import lay_coil
from pcbstator.winding import PHASE_NAMES, Winding, lay_winding

if TYPE_CHECKING:
    from pcbstator.design import Design

CoilEnds = dict[tuple[int, bool], tuple[BusTree, Node]]  # the links at a coil's (number, at its start), and the node


def _layers(design: Design) -> tuple[Layer, ...]:
    board = design.board
    last = board.layers
    return tuple(
        Layer(number, z, board.outer_copper if number in (1, last) else board.inner_copper)
        for number, z in enumerate(board.layer_z, start=1)
    )


def _terminals(design: Design, plan: StatorPlan, trees: list[BusTree]) -> tuple[Terminal, ...]:
    board = design.board
    found = []
    for tree in trees:
        tap = tree.bus.terminal
        if tap is None:
            continue
        lead = tree.walk(tree.terminal_node(), _any_other(tree))[0]
        x, y = (float(value) for value in lead.points[0])
        found.append(Terminal(tap.terminal, x, y, board.terminal_drill, board.terminal_pad, lead.layer, tree.bus.net))
    return tuple(sorted(found, key=lambda terminal: terminal.name))


def _any_other(tree: BusTree) -> Node:
    """Some node of the tree that is not the terminal."""
    terminal = tree.terminal_node()
    return next(node for edge in tree.edges for node in edge if node != terminal)


def _phase_paths(winding: Winding, phase: int, connection: str, ends: CoilEnds) -> tuple[Path, ...]:
    """The parallel paths of a phase, each from the terminal to the star point or the end."""
    share = 1 / len(winding.paths[phase])
    paths = []
    for coils in winding.paths[phase]:
        steps: list[CoilVisit | Track] = []
        tree, node = ends[coils[0], winding.sense[coils[0]] > 0]
        here = tree.terminal_node()
        for coil in coils:
            forward = winding.sense[coil] > 0
            tree, node = ends[coil, forward]
            steps += tree.walk(here, node)
            steps.append(CoilVisit(coil, forward))
            tree, here = ends[coil, not forward]
        steps += tree.walk(here, _star_node(tree) if connection == "star" else tree.terminal_node())
        paths.append(Path(share, tuple(steps)))
    return tuple(paths)


def _star_node(tree: BusTree) -> Node:
    """The star point: where the lead of terminal N leaves the arc, or the terminal itself if there is no arc."""
    node = tree.tap_of(tree.terminal_node())
    return node if any(node in edge for edge in tree.edges) else tree.terminal_node()


def _phases(design: Design, winding: Winding, trees: list[BusTree]) -> tuple[PhaseCopper, ...]:
    ends: CoilEnds = {post: (tree, node) for tree in trees for post, node in tree.coil_ends()}
    result = []
    for phase in range(winding.phases):
        paths = _phase_paths(winding, phase, design.winding.connection, ends)
        first, last = paths[0].steps[0], paths[0].steps[-1]
        assert isinstance(first, Track) and isinstance(last, Track)
        start, end = first.points[0], last.points[-1]
        result.append(
            PhaseCopper(
                PHASE_NAMES[phase],
                Point(float(start[0]), float(start[1]), first.layer),
                Point(float(end[0]), float(end[1]), last.layer),
                paths,
            )
        )
    return tuple(result)


def lay_copper(design: Design, winding: Winding | None = None) -> Copper:
    """All metal of the stator that a design asks for.

    Raises DesignError where the winding cannot be balanced or the copper does not fit, with what would.
    """
    winding = winding or lay_winding(design)
    shape, fittings = lay_board(design), lay_fittings(design)
    plan = settle_plan(design, winding)
    board = design.board
    width = board.link_width or board.track_width
    trees = [
        lay_bus(bus, plan.rim, channel, board.layers, width, plan.coil.corner, board.via_drill, board.via_pad)
        for bus, channel in zip(plan.buses, plan.channels, strict=True)
    ]
    net_of = {tap.coil: tree.bus.net for tree in trees for tap in tree.bus.taps if not tap.terminal}
    pitch = 2 * pi / winding.coils
    return Copper(
        layers=_layers(design),
        board_inner_radius=board.inner_diameter / 2,
        board_outer_radius=board.outer_diameter / 2,
        coil=lay_coil(plan.coil, board.layers, board.via_drill, board.via_pad),
        coil_angles=pitch * np.arange(winding.coils, dtype=np.float64),
        coil_phases=tuple(PHASE_NAMES[phase] for phase in winding.phase_of),
        coil_senses=winding.sense,
        coil_nets=tuple(net_of[coil] for coil in range(winding.coils)),
        links=tuple(track for tree in trees for track in tree.drawn()),
        terminals=_terminals(design, plan, trees),
        phases=_phases(design, winding, trees),
        link_vias=tuple(via for tree in trees for via in tree.vias),
        stated_shape=replace(shape, drilled=shape.drilled + fittings.holes),
        stated_fittings=fittings,
    )
