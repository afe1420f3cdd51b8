"""Written boards solved: resistances, linkages, the current of the vias, hot places, eddies."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pcbstator.physics.magnetics.magnet_ring import RingField
from pcbstator.verify.conduction.board import BoardNetwork, board_network, plating_section
from pcbstator.verify.conduction.heat import HotPlace, LayerLoss, hot_places, layer_losses
from pcbstator.verify.conduction.mesh import FloatArray
from pcbstator.verify.conduction.network import Network, Pair, joined_networks
from pcbstator.verify.eddies import LooseCopper, eddy_losses
from pcbstator.verify.known import Known, Placed
from pcbstator.verify.records import WrittenBoard
from pcbstator.verify.torque import ComplexArray, SheetLinkages, linkages_by_sheet

IDLE = 1e-4  # of the mean loss by area: copper with less carries no current of the drive


@dataclass(frozen=True)
class ViaCurrent:
    """Largest rms current [A] in the plating of a hole at a place [mm], and its density there [A/mm2]."""

    x: float
    y: float
    diameter: float
    current: float
    density: float


@dataclass(frozen=True, eq=False)
class PlacedSolution:
    """A board at its place in the machine, with one ampere rms in every phase, or none in a board without phases.

    pieces: what each piece of copper adds to the linkages, by layer. losses: by layer. vias, hot: worst first. loose:
    copper that carries no current of the drive.
    """

    placed: Placed
    network: BoardNetwork
    pieces: tuple[SheetLinkages, ...] = ()
    losses: tuple[LayerLoss, ...] = ()
    vias: tuple[ViaCurrent, ...] = ()
    hot: tuple[HotPlace, ...] = ()
    loose: tuple[LooseCopper, ...] = ()


@dataclass(frozen=True, eq=False)
class Solution:
    """What the files say by themselves.

    boards: of every folder. resistances: between terminals of the machine that copper joins [ohm]; apart: pairs that
    were to be joined and are not. states: phases that current goes through, linkages: of each (states, orders) [Wb],
    empty without magnets. flux_linkage [Wb], torque_constant [N m/A].
    """

    known: Known
    boards: Mapping[str, BoardNetwork]
    resistances: Mapping[Pair, float]
    apart: tuple[Pair, ...] = ()
    states: tuple[str, ...] = ()
    linkages: ComplexArray | None = None
    flux_linkage: float | None = None
    torque_constant: float | None = None
    placed: tuple[PlacedSolution, ...] = ()


def solved_boards(boards: Sequence[WrittenBoard], known: Known) -> Solution:
    """The boards solved, as far as what is known of them goes."""
    networks = {}
    for board in boards:
        if board.name in known.builds:
            terminals = board.terminals or known.terminals.get(board.name, {})
            networks[board.name] = board_network(replace(board, terminals=terminals), known.builds[board.name])
    present = [placed for placed in known.placed if placed.board in networks]
    if not present:
        return Solution(known, networks, {})
    names = [placed.names or {name: name for name in networks[placed.board].network.taps} for placed in present]
    machine, first = joined_networks([networks[placed.board].network for placed in present], names, known.wires)
    wanted = dict.fromkeys([phase.start for phase in known.phases] + [phase.end for phase in known.phases])
    every = machine.resistances([name for name in wanted if name in machine.taps])
    joined = {pair: value for pair, value in every.items() if np.isfinite(value)}
    apart = tuple(pair for pair in known.expected.resistances if pair not in joined)
    drives = phase_drives(machine, known)
    voltages = machine.driven(list(drives.values()))
    sound = np.asarray(np.isfinite(voltages).all(axis=0), bool)
    states = tuple(name for name, good in zip(drives, sound.tolist(), strict=True) if good)
    found = Solution(known, networks, joined, apart, states)
    parts = []
    for placed, start in zip(present, first, strict=True):
        network = networks[placed.board]
        own = voltages[start : start + len(network.network.node)][:, sound]
        parts.append(_placed(PlacedSolution(placed, network), known, states, own))
    return _with_linkages(replace(found, placed=tuple(parts)))


def phase_drives(machine: Network, known: Known) -> dict[str, dict[str, float]]:
    """One ampere through each phase by its name, as currents into terminals.

    A star whose star point has no terminal is driven against all phases alike, which leaves out what they have in
    common.
    """
    found: dict[str, dict[str, float]] = {}
    starts = [phase.start for phase in known.phases if phase.start in machine.taps]
    star = len({phase.end for phase in known.phases}) == 1
    for phase in known.phases:
        if phase.start not in machine.taps:
            continue
        if phase.end in machine.taps:
            found[phase.name] = {phase.start: 1.0, phase.end: -1.0}
        elif star and len(starts) > 2:
            found[phase.name] = {name: float(name == phase.start) - 1.0 / len(starts) for name in starts}
    return found


def _placed(found: PlacedSolution, known: Known, states: tuple[str, ...], voltages: FloatArray) -> PlacedSolution:
    """The board with what the current of the phases does in it; voltages: of its walls (walls, states) [V]."""
    network, field = found.network, known.magnets
    if states:
        names = [phase.name for phase in known.phases]
        turn = 2 * np.pi / len(names) if len(names) % 2 else np.pi / len(names)
        phasors = np.exp(1j * turn * np.array([names.index(name) for name in states]))
        losses = tuple(layer_losses(network, voltages, phasors))
        hot = tuple(hot_places(network, losses, known.rise))
        found = replace(found, losses=losses, hot=hot, vias=_vias(network, voltages @ phasors))
    if field is None:
        return found
    if states:
        placed = found.placed
        found = replace(found, pieces=tuple(linkages_by_sheet(network, voltages, field, placed.level, placed.angle)))
    return replace(found, loose=_loose(found, field))


def _with_linkages(found: Solution) -> Solution:
    """The solution with the linkages of the whole machine."""
    field = found.known.magnets
    if field is None or not found.states:
        return found
    linkages = sum(piece.each.sum(axis=0) for part in found.placed for piece in part.pieces)
    psi = float(np.abs(linkages[:, 0]).mean())
    constant = len(found.known.phases) / 2 * field.pole_pairs * psi
    return replace(found, linkages=linkages, flux_linkage=psi, torque_constant=constant)


def _vias(network: BoardNetwork, voltages: NDArray[np.inexact]) -> tuple[ViaCurrent, ...]:
    """The current of every hole's plating, largest first; those of terminals are full of solder."""
    currents = np.abs(network.barrel_currents(voltages[:, None])[:, 0])
    most = np.zeros(len(network.board.holes))
    np.maximum.at(most, network.barrels[:, 0], currents)
    soldered = {tap // len(network.sheets) for tap in network.network.taps.values()}
    found = []
    for number in np.unique(network.barrels[:, 0]).tolist():
        if number not in soldered:
            hole = network.board.holes[number]
            density = most[number] / plating_section(hole, 1e3 * network.build.plating)
            x, y = hole.path.mean(axis=0).tolist()
            found.append(ViaCurrent(x, y, hole.diameter, float(most[number]), float(density)))
    return tuple(sorted(found, key=lambda via: -via.current))


def _loose(found: PlacedSolution, field: RingField) -> tuple[LooseCopper, ...]:
    """The pieces that carry no current of the drive, with their eddies; largest loss first."""
    loose, layers = [], len(found.network.sheets)
    for index, sheet in enumerate(found.network.sheets):
        mesh, count = sheet.elements.mesh, len(sheet.carrying)
        if not count:
            continue
        owner, areas = sheet.piece[mesh.corners[:, 0]], mesh.areas
        area, idle = np.bincount(owner, areas, count), ~sheet.carrying
        if found.losses:
            power = np.bincount(owner, areas * found.losses[index].density, count)
            idle |= power * area.sum() < IDLE * power.sum() * area
        idle &= area > 0
        each = eddy_losses(mesh, owner, idle, sheet.conductance, field, found.placed.level * layers + index)
        middles = mesh.points[mesh.corners].mean(axis=1)
        x, y = (np.bincount(owner, areas * middles[:, axis], count) for axis in (0, 1))
        loose += [
            LooseCopper(index + 1, float(x[n] / area[n]), float(y[n] / area[n]), float(area[n]), float(each[n]))
            for n in np.flatnonzero(idle).tolist()
        ]
    return tuple(sorted(loose, key=lambda one: -one.loss))
