"""The state of a motor whose copper is not as it was laid: coils turned round or bridged, paths open, other widths."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from math import pi

import numpy as np
from numpy.typing import NDArray

from pcbstator.analysis.electrical.conductors import conductors_of
from pcbstator.analysis.electrical.inductance import inductance_matrix
from pcbstator.analysis.magnetic.losses import braking
from pcbstator.analysis.magnetic.rotor_field import path_linkages
from pcbstator.bench.machine_state import ClosedLoops, MachineState
from pcbstator.copper import Coil, Copper, Layer, Track
from pcbstator.copper.current_paths import CurrentPaths
from pcbstator.physics.magnetics.magnet_ring import RingField

FloatArray = NDArray[np.float64]


def laid(state: MachineState) -> Copper:
    """The copper of a motor."""
    return state.work.laid[1].copper


def with_copper(state: MachineState, copper: Copper, field: RingField | None = None) -> MachineState:
    """The same motor with other copper in it. Paths beyond those of the phases are closed loops."""
    field = field or state.work.field
    if field is None:
        raise ValueError("a motor without a field has no state")
    design, phases = state.design, len(state.names)
    conductors = conductors_of(design, copper)
    network = conductors.network
    linkages = np.asarray(network.shares @ path_linkages(copper, field))
    resistance, inductance = np.asarray(network.resistance), inductance_matrix(design, conductors)
    drag = state.drag
    loops = None
    if len(resistance) > phases:
        loops = ClosedLoops(
            resistance[phases:, phases:], inductance[phases:, phases:], inductance[:phases, phases:], linkages[phases:]
        )
        drag += float(_loop_drag(loops, state.orders))
    elif any(layer.thickness != was.thickness for layer, was in zip(copper.layers, laid(state).layers, strict=True)):
        brakes = braking(design, conductors, field, 20.0)
        drag = brakes.copper + brakes.steel
    return replace(
        state,
        resistance=resistance[:phases, :phases],
        inductance=inductance[:phases, :phases],
        linkages=linkages[:phases],
        drag=drag,
        copper=tuple(layer.thickness for layer in copper.layers),
        loops=loops,
    )


def _loop_drag(loops: ClosedLoops, orders: NDArray[np.integer]) -> float:
    """Braking torque over speed [N m s/rad] of the currents in closed loops, whose resistance decides them."""
    driven = np.abs(orders * loops.linkages) ** 2 / 2
    return float((driven.sum(axis=1) / np.diag(loops.resistance)).sum())


def with_paths(copper: Copper, paths: CurrentPaths) -> Copper:
    """The copper with current through it in another way."""
    found = replace(copper)
    vars(found)["current_paths"] = paths  # else walked anew from the steps of the phases
    return found


def coil_of(copper: Copper, phase: str, number: int = 0) -> int:
    """A coil of a phase, by its number in the order of the coils."""
    return [index for index, name in enumerate(copper.coil_phases) if name == phase][number]


def reversed_coil(copper: Copper, coil: int) -> Copper:
    """Current runs through a coil from its finish to its start."""
    senses = copper.current_paths.coils.copy()
    senses[:, coil] *= -1
    return with_paths(copper, replace(copper.current_paths, coils=senses))


def bridged_coil(copper: Copper, coil: int) -> Copper:
    """A coil whose two ends touch: current goes past it, and it is a loop of its own.

    For a wave winding the loop is left out: a lap is small beside the winding.
    """
    coils = copper.current_paths.coils.copy()
    coils[:, coil] = 0
    if not copper.alike:
        return with_paths(copper, replace(copper.current_paths, coils=coils))
    return with_paths(copper, _with_loop(copper.current_paths, coils, coil))


def bridged_part(copper: Copper, coil: int, part: slice) -> Copper | None:
    """A coil of which a part of its first track touches at its two ends; part: of the track's points. None where not
    all coils are alike.
    """
    if not copper.alike or copper.coil_templates:
        return None
    first, count = copper.coil.tracks[0], len(copper.coil_angles)
    start, stop, _ = part.indices(len(first.shape))
    ends = [piece for piece in (_piece(first, 0, start + 1), _piece(first, stop - 1, None)) if len(piece.shape) > 1]
    rest = (*ends, *copper.coil.tracks[1:])
    if not rest:
        return None
    cut = replace(copper.coil, tracks=rest)
    own = copper.current_paths.coils
    coils = np.concatenate([own, np.zeros_like(own), np.zeros_like(own)], axis=1)
    coils[:, count + coil], coils[:, coil] = own[:, coil], 0
    tripled = replace(
        copper,
        further_coils=(cut, replace(copper.coil, tracks=(_piece(first, start, stop),), vias=())),
        coil_templates=tuple(kind for kind in range(3) for _ in range(count)),
        coil_angles=np.tile(copper.coil_angles, 3),
        coil_phases=copper.coil_phases * 3,
        coil_senses=copper.coil_senses * 3,
        coil_nets=copper.coil_nets * 3,
    )
    return with_paths(tripled, _with_loop(copper.current_paths, coils, 2 * count + coil))


def _with_loop(paths: CurrentPaths, coils: FloatArray, coil: int) -> CurrentPaths:
    """A further path that is closed in itself through one coil."""
    loop = np.zeros((1, coils.shape[1]))
    loop[0, coil] = 1
    return replace(
        paths,
        coils=np.concatenate([coils, loop]),
        through=np.pad(paths.through, ((0, 1), (0, 0))),
        across=np.pad(paths.across, ((0, 1), (0, 0))),
        phase=np.append(paths.phase, paths.phase.max() + 1),
    )


def _piece(track: Track, start: int, stop: int | None) -> Track:
    """A part of a track."""
    widths = None if track.widths is None else track.widths[start:stop]
    return replace(track, shape=track.shape[start:stop], widths=widths)


def outermost_turn(coil: Coil) -> slice:
    """The points of the first turn of a coil's first track."""
    points = coil.tracks[0].shape
    x, y = (points - (points.max(axis=0) + points.min(axis=0)) / 2).T
    angle = np.unwrap(np.arctan2(y, x))
    around = np.flatnonzero(np.abs(angle - angle[0]) >= 2 * pi)
    return slice(0, int(around[0]) + 1 if len(around) else len(points))


def open_path(copper: Copper, path: int) -> Copper | None:
    """Without one of several parallel paths of a phase; None where a phase has one path only."""
    paths = copper.current_paths
    if (paths.phase == paths.phase[path]).sum() < 2:
        return None
    kept = np.arange(len(paths.phase)) != path
    return with_paths(
        copper,
        replace(
            paths, coils=paths.coils[kept], through=paths.through[kept], across=paths.across[kept],
            phase=paths.phase[kept],
        ),
    )  # fmt: skip


def with_layers(copper: Copper, change: Callable[[Layer], Layer]) -> Copper:
    """Copper whose layers are changed."""
    return with_paths(replace(copper, layers=tuple(map(change, copper.layers))), copper.current_paths)


def thicker(copper: Copper, outer: float, inner: float) -> Copper:
    """Layers on the faces and inside thicker by these factors."""
    return with_layers(
        copper, lambda layer: replace(layer, thickness=layer.thickness * (outer if layer.outer else inner))
    )


def widened(copper: Copper, more: float) -> Copper:
    """Every track wider by so much [m], its centre-line where it is."""

    def wide(track: Track) -> Track:
        widths = None if track.widths is None else track.widths + more
        return replace(track, width=track.width + more, widths=widths)

    def coil(one: Coil) -> Coil:
        return replace(one, tracks=tuple(map(wide, one.tracks)))

    paths = copper.current_paths
    found = replace(
        copper,
        coil=coil(copper.coil),
        further_coils=tuple(map(coil, copper.further_coils)),
        interconnects=tuple(map(wide, copper.interconnects)),
    )
    return with_paths(found, replace(paths, tracks=tuple(map(wide, paths.tracks))))


def swapped_layers(copper: Copper, first: int, second: int) -> tuple[Copper, list[int]]:
    """The copper of two layers, counted from 0, in each other's place, and where that of every layer lies then."""
    order = list(range(len(copper.layers)))
    order[first], order[second] = order[second], order[first]
    places = copper.layers
    return with_layers(
        copper,
        lambda layer: replace(places[order[layer.number - 1]], number=layer.number),
    ), order
