"""The state of a motor whose rotor is not as it was designed: magnets the wrong way round, steel missing."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pcbstator.analysis.magnetic.as_built import ring_of
from pcbstator.analysis.magnetic.rotor_field import (
    ORDERS,
    copper_distances,
    copper_span,
    magnet_footprint,
    magnet_layers,
    path_linkages,
    rotor_iron,
    rotor_source,
)
from pcbstator.analysis.shared import Shared
from pcbstator.analysis.stages import Work, run_stage
from pcbstator.bench.causes.changed_copper import laid
from pcbstator.bench.machine_state import MachineState, state_of
from pcbstator.copper import size_design
from pcbstator.errors import PcbstatorError
from pcbstator.physics.magnetics.built_ring import ring_sums
from pcbstator.physics.magnetics.magnet_ring import ring_field
from pcbstator.physics.magnetics.one_magnet import one_magnet_field

STAGES = ("copper", "magnetics", "inductance")  # all that a state needs
TURN_ORDERS = 3  # times the pole pairs: what one magnet adds is followed up to there


def with_keys(state: MachineState, **changes: object) -> MachineState | None:
    """The motor of a changed design, its copper where it was; None where there is no such motor. changes: dotted keys
    with ``__`` for the dot.
    """
    keys = {name.replace("__", "."): value for name, value in changes.items()}
    try:
        copper = None if any(name.startswith("board") for name in keys) else laid(state)
        work, shared = Work(state.design.with_values(keys), copper, full=True), Shared(alone=True)
        for stage in STAGES:
            run_stage(stage, [work], shared)
        return None if work.refusal is not None else state_of(work)
    except PcbstatorError:
        return None


def one_magnet_reversed(state: MachineState) -> MachineState:
    """One magnet of one rotor with its other pole up: what it links counts against the rest."""
    design, conductors = state.design, state.work.laid[1]
    p = state.pole_pairs
    orders = np.arange(1, TURN_ORDERS * p + 1)
    layers = rotor_iron(design).layers
    table = one_magnet_field(
        magnet_footprint(design), layers, *copper_span(design), copper_distances(design, layers), orders
    ).itself
    alone = conductors.network.shares @ path_linkages(conductors.copper, table)
    ring = ring_of(design)
    weights = np.zeros((1, len(ring.places)))
    weights[0, 0] = -2.0 * ring.axial[0] / (2 if design.rotor.arrangement == "double" else 1)
    added = alone * ring_sums(weights, ring.places, orders)
    every = np.union1d(orders, state.orders)
    linkages = np.zeros((len(state.names), len(every)), complex)
    linkages[:, np.searchsorted(every, state.orders)] = state.linkages
    linkages[:, np.searchsorted(every, orders)] += added
    return replace(state, orders=every, linkages=linkages)


def like_poles(state: MachineState) -> MachineState | None:
    """Two rotors whose facing poles are alike: the field of one with the steel of the other before it, less the same
    from the other side. None for a single rotor.
    """
    rotor = state.design.rotor
    if rotor.arrangement != "double":
        return None
    facing = {"rotor.arrangement": "single"}
    if rotor.back_iron > 0:
        far = 1e3 * (rotor.air_gap + rotor.magnet.thickness)
        facing |= {"rotor.stator_iron_mm": 1e3 * rotor.back_iron, "rotor.stator_iron_gap_mm": far}  # type: ignore[dict-item]
    try:
        design = size_design(state.design.with_values(facing))
    except PcbstatorError:
        return None
    near = copper_distances(design, magnet_layers(design))
    far_side = 2 * rotor.air_gap + state.design.stator_thickness - near
    places = np.concatenate([near, far_side])
    iron = rotor_iron(design, rotor_source(design, nearest=float(places.min())))
    span, layers = copper_span(design), iron.layers
    both = ring_field(magnet_footprint(design), state.pole_pairs, layers, *span, places, ORDERS, iron.source)
    here, there = np.split(both.values, 2, axis=1)
    field = replace(both, distances=near, values=here - there)
    conductors = state.work.laid[1]
    linkages = conductors.network.shares @ path_linkages(conductors.copper, field)
    return replace(state, orders=ORDERS * state.pole_pairs, linkages=np.asarray(linkages))
