"""Faults of a motor, each as the state that the real geometry has with it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from pcbstator.bench.causes.changed_copper import (
    bridged_coil,
    bridged_part,
    laid,
    open_path,
    outermost_turn,
    reversed_coil,
    swapped_layers,
    thicker,
    with_copper,
)
from pcbstator.bench.causes.changed_rotor import like_poles, one_magnet_reversed, with_keys
from pcbstator.bench.machine_state import MachineState

WEIGHTS = (
    (2.0, 2.0, "twice that of the design"), (0.5, 0.5, "half that of the design"),
    (2.0, 1.0, "outer layers twice that of the design"), (0.5, 1.0, "outer layers half that of the design"),
    (1.0, 2.0, "inner layers twice that of the design"), (1.0, 0.5, "inner layers half that of the design"),
)  # fmt: skip


@dataclass(frozen=True, eq=False)
class Fault:
    """A fault of the motor at one place. name: as results have it; where: in words, empty where there is one place;
    cancels: the field cancels out, so that what is left of it depends on how exactly the parts are made.
    """

    name: str
    where: str
    state: MachineState
    cancels: bool = False


def faults(state: MachineState) -> Iterator[Fault]:
    """Every fault that this design can have."""
    yield from coil_faults(state)
    yield from _board_faults(state)
    yield from _rotor_faults(state)


def coil_faults(state: MachineState) -> Iterator[Fault]:
    """One coil turned round or bridged, in each phase; one coil for all that act alike. Of a part of a coil, which
    moves little, one for all of the phase.
    """
    copper = laid(state)
    seen: set[str] = set()
    for coil in distinct_coils(state):
        where = f"in phase {copper.coil_phases[coil]}"
        yield Fault("coil_reversed", where, with_copper(state, reversed_coil(copper, coil)))
        yield Fault("coil_shorted", where, with_copper(state, bridged_coil(copper, coil)))
        if copper.coil_phases[coil] in seen:
            continue
        seen.add(copper.coil_phases[coil])
        for name, part in (("layer_shorted", slice(None)), ("turn_shorted", outermost_turn(copper.coil))):
            bridged = bridged_part(copper, coil, part)
            if bridged is not None:
                yield Fault(name, where, with_copper(state, bridged))
    for path, phase in enumerate(copper.current_paths.phase):
        left = open_path(copper, path)
        if left is not None:
            yield Fault("path_open", f"in phase {state.names[phase]}", with_copper(state, left))


def distinct_coils(state: MachineState) -> list[int]:
    """One coil of each phase for all that stand alike before the magnets and carry as much."""
    copper = laid(state)
    found: dict[tuple[str, complex], int] = {}
    turned = np.exp(1j * state.pole_pairs * copper.coil_angles) * np.array(copper.coil_senses)
    for coil, phase in enumerate(copper.coil_phases):
        if copper.coil_templates and copper.coil_templates[coil]:
            continue
        key = phase, complex(np.round(turned[coil], 6) + 0)
        found.setdefault(key, coil)
    return list(found.values())


def _board_faults(state: MachineState) -> Iterator[Fault]:
    copper, field = laid(state), state.work.field
    names = list(state.names)
    if len(names) == 3:
        swapped = tuple([names[1], names[0], *names[2:]])
        yield Fault("phases_exchanged", "", replace(state, names=swapped))
        other = {"star": "delta", "delta": "star"}.get(state.connection)
        if other is not None:
            yield Fault(
                "connection", f"{other}, not the {state.connection} of the design", replace(state, connection=other)
            )
    inside = not all(layer.outer for layer in copper.layers)
    for outer, inner, words in WEIGHTS:
        if inside or (outer == inner):
            yield Fault("copper_weight", words, with_copper(state, thicker(copper, outer, inner)))
    for first in range(len(copper.layers) - 1):
        changed, order = swapped_layers(copper, first, first + 1)
        if field is not None:
            moved = replace(field, values=field.values[:, order])
            where = f"layers {first + 1} and {first + 2}"
            yield Fault("layer_order", where, with_copper(state, changed, moved))


def _rotor_faults(state: MachineState) -> Iterator[Fault]:
    yield Fault("magnet_reversed", "", one_magnet_reversed(state))
    facing = like_poles(state)
    if facing is not None:
        yield Fault("like_poles", "", facing, cancels=True)
    if state.design.rotor.back_iron > 0:
        bare = with_keys(state, rotor__back_iron_mm=0.0)
        if bare is not None:
            yield Fault("steel_missing", "", bare)
