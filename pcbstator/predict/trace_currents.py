"""The standards' currents: one lonely track or via for a stated rise, as rms phase current."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import pi
from typing import TYPE_CHECKING

import numpy as np

from pcbstator.copper import Copper, Layer
from pcbstator.copper.ways import Barrel
from pcbstator.errors import LawRangeError
from pcbstator.physics.trace_current import FloatArray, brooks_adam_current, ipc2221_current
from pcbstator.predict.current_paths import way_loads

if TYPE_CHECKING:
    from pcbstator.design import Design

Law = Callable[[FloatArray, FloatArray, float, bool], FloatArray]


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
    most: dict[int, dict[float, float]] = {}  # the largest load of every width, by layer
    loaded = [(track, share) for track, _ in copper.template_tracks]
    for track, load in (*loaded, *zip(copper.ways.tracks, loads, strict=True)):
        if load > 1e-9:
            widths, width = most.setdefault(track.layer, {}), track.narrowest
            widths[width] = max(load, widths.get(width, 0.0))
    layers = [layer for layer in copper.layers if layer.number in most]
    plain, newer = (_least(law, rise, layers, most) for law in (ipc2221_current, brooks_adam_current))
    listed = [] if plain is None else zip(layers, plain, strict=True)
    return TraceCurrents(
        ipc2221=None if plain is None else min(plain),
        ipc2152=None if newer is None else min(newer),
        via=_via_current(design, copper, loads, share, rise),
        by_layer=tuple({"layer": layer.number, "current_a": current} for layer, current in listed),
    )


def _least(
    law: Law, rise: float, layers: Sequence[Layer], most: Mapping[int, Mapping[float, float]]
) -> list[float] | None:
    """The least phase current [A] of every layer, whose loads are given by width [m]; None out of the law's range."""
    found: dict[int, float] = {}
    for outer in (True, False):
        own = [(layer, *each) for layer in layers if layer.outer == outer for each in most[layer.number].items()]
        if not own:
            continue
        thickness, width, load = np.array([(layer.thickness, width, load) for layer, width, load in own]).T
        try:
            currents = (law(width, thickness, rise, outer) / load).tolist()
        except LawRangeError:
            return None
        for (layer, _, _), current in zip(own, currents, strict=True):
            found[layer.number] = min(current, found.get(layer.number, current))
    return [found[layer.number] for layer in layers]


def _via_current(
    design: Design, copper: Copper, loads: Sequence[float], share: float, rise: float
) -> float | None:
    """Phase current [A] of the worst via; the load of one is the lower of those of the tracks that meet there."""
    load = share
    for met in copper.ways.joints:
        for joint in met.values():
            if isinstance(joint, Barrel) and joint.links is not None:
                load = max(load, min(loads[row] for row in joint.links))
    single = _wall_current(design.board.via_drill, design.board.via_plating, rise)
    return None if single is None else copper.vias_per_joint * single / load


@lru_cache(maxsize=64)
def _wall_current(drill: float, plating: float, rise: float) -> float | None:
    """IPC-2221 for the wall of one via as an internal track: the lower of the two factors [A]."""
    try:
        return float(ipc2221_current(pi * (drill - plating), plating, rise, external=False))
    except LawRangeError:
        return None
