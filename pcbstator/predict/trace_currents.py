"""The standards' currents: one lonely track or via for a stated rise, as rms phase current."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import pi
from typing import TYPE_CHECKING

import numpy as np

from pcbstator.copper import Copper
from pcbstator.copper.ways import Barrel
from pcbstator.errors import LawRangeError
from pcbstator.physics.trace_current import FloatArray, brooks_adam_current, ipc2221_current
from pcbstator.predict.current_paths import way_loads

if TYPE_CHECKING:
    from pcbstator.design import Design

Law = Callable[[FloatArray, float, float, bool], FloatArray]


@dataclass(frozen=True)
class TraceCurrents:
    """Rms phase currents [A]; None where a law does not reach."""

    ipc2221: float | None
    ipc2152: float | None
    via: float | None
    by_layer: tuple[dict[str, float], ...]


def trace_currents(design: Design, copper: Copper, rise: float) -> TraceCurrents:
    """The worst track by each standard, the worst of every layer, and the worst via; rise: [K]."""
    loads, share = way_loads(copper).tolist(), float(copper.ways.share.max())
    widths: dict[int, set[tuple[float, float]]] = {}
    for track, _ in copper.template_tracks:
        widths.setdefault(track.layer, set()).add((track.narrowest, share))
    for link, load in zip(copper.ways.tracks, loads, strict=True):
        if load > 1e-9:
            widths.setdefault(link.layer, set()).add((link.narrowest, load))
    layers = [layer for layer in copper.layers if layer.number in widths]
    alike = [(layer.thickness, layer.outer, _most_loaded(widths[layer.number])) for layer in layers]

    def worst(law: Law) -> list[float] | None:
        try:
            found = {case: _least(law, rise, *case) for case in set(alike)}
        except LawRangeError:
            return None
        return [found[case] for case in alike]

    plain, newer = worst(ipc2221_current), worst(brooks_adam_current)
    listed = [] if plain is None else zip(layers, plain, strict=True)
    return TraceCurrents(
        ipc2221=None if plain is None else min(plain),
        ipc2152=None if newer is None else min(newer),
        via=_via_current(design, copper, loads, share, rise),
        by_layer=tuple({"layer": layer.number, "current_a": current} for layer, current in listed),
    )


def _most_loaded(tracks: set[tuple[float, float]]) -> frozenset[tuple[float, float]]:
    """The largest load of every width, which decides."""
    most: dict[float, float] = {}
    for width, load in tracks:
        most[width] = max(load, most.get(width, 0.0))
    return frozenset(most.items())


def _least(
    law: Law, rise: float, thickness: float, outer: bool, tracks: frozenset[tuple[float, float]]
) -> float:
    """The least phase current [A] of some tracks of one layer, given by width [m] and load."""
    width, load = np.array(list(tracks)).T
    return float((law(width, thickness, rise, outer) / load).min())


def _via_current(
    design: Design, copper: Copper, loads: Sequence[float], share: float, rise: float
) -> float | None:
    """IPC-2221 for the wall of one via as an internal track: the lower of the two factors."""
    load = share
    for met in copper.ways.joints:
        for joint in met.values():
            if isinstance(joint, Barrel) and joint.links is not None:
                load = max(load, min(loads[row] for row in joint.links))
    drill, plating = design.board.via_drill, design.board.via_plating
    try:
        single = float(ipc2221_current(pi * (drill - plating), plating, rise, external=False))
        return copper.vias_per_joint * single / load
    except LawRangeError:
        return None
