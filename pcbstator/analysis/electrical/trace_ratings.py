"""The standards' currents: one isolated track or via for a stated rise, as rms phase current."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from math import pi
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from pcbstator.analysis.electrical.conductors import Conductors
from pcbstator.copper.current_paths import Barrel
from pcbstator.errors import LawRangeError
from pcbstator.physics.conductors.trace_current import FloatArray, brooks_adam_current, ipc2221_current

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign

Law = Callable[[FloatArray, FloatArray, FloatArray, bool], FloatArray]


@dataclass(frozen=True)
class TraceCurrents:
    """Rms phase currents [A]; None where a law does not reach."""

    ipc2221: float | None
    ipc2152: float | None
    via: float | None
    by_layer: tuple[dict[str, float], ...]


class TraceCase(NamedTuple):
    """A stator whose currents are wanted, and the rise [K]."""

    design: SizedDesign
    conductors: Conductors
    rise: float


class _Row(NamedTuple):
    """The largest load of the tracks of one width on one layer; slot: number of that layer among those of all cases."""

    width: float
    thickness: float
    rise: float
    load: float
    slot: int
    outer: bool


def trace_currents(design: SizedDesign, conductors: Conductors, rise: float) -> TraceCurrents:
    """The worst track by each standard, the worst of every layer, and the worst via; rise: [K]."""
    return many_trace_currents([TraceCase(design, conductors, rise)])[0]


def many_trace_currents(cases: Sequence[TraceCase]) -> list[TraceCurrents]:
    """The standards' currents of many stators, each as if it were alone."""
    rows: list[_Row] = []
    layers, slots = [], [0]
    for conductors, rise in ((case.conductors, case.rise) for case in cases):
        most = _largest_loads(conductors)
        layers.append([layer for layer in conductors.copper.layers if layer.number in most])
        for slot, layer in enumerate(layers[-1], start=slots[-1]):
            rows += [
                _Row(width, layer.thickness, rise, load, slot, layer.outer)
                for width, load in most[layer.number].items()
            ]
        slots.append(slots[-1] + len(layers[-1]))
    plain, newer = (_least(law, rows, slots) for law in (ipc2221_current, brooks_adam_current))
    found = []
    for case, present, begin, end in zip(cases, layers, slots, slots[1:], strict=False):
        by_layer = zip(present, plain[begin:end], strict=True)
        listed = [(layer.number, current) for layer, current in by_layer if current is not None]
        found.append(
            TraceCurrents(
                ipc2221=_worst(plain[begin:end]),
                ipc2152=_worst(newer[begin:end]),
                via=_via_current(case),
                by_layer=tuple({"layer": number, "phase_current_rms_a": current} for number, current in listed),
            )
        )
    return found


def _largest_loads(conductors: Conductors) -> dict[int, dict[float, float]]:
    """The largest load of the tracks of every layer, by width [m]."""
    copper, most = conductors.copper, dict[int, dict[float, float]]()
    loaded = [(track, float(conductors.coil_loads[coils].max())) for track, coils in copper.template_tracks]
    for track, load in (*loaded, *zip(copper.current_paths.tracks, conductors.track_loads.tolist(), strict=True)):
        if load > 1e-9:
            widths, width = most.setdefault(track.layer, {}), track.narrowest
            widths[width] = max(load, widths.get(width, 0.0))
    return most


def _worst(currents: Sequence[float | None]) -> float | None:
    known = [current for current in currents if current is not None]
    return min(known) if known else None


def _least(law: Law, rows: Sequence[_Row], slots: Sequence[int]) -> list[float | None]:
    """The least phase current [A] of every slot; None for all slots of a case that is out of the law's range.

    slots: where those of each case begin, and their number.
    """
    found: list[float | None] = [None] * slots[-1]
    for outer in (True, False):
        own = [row for row in rows if row.outer == outer]
        if not own:
            continue
        width, thickness, rise, load = np.array([row[:4] for row in own]).T
        try:
            currents = (law(width, thickness, rise, outer) / load).tolist()
        except LawRangeError:
            if len(slots) == 2:
                return [None] * slots[-1]
            parts = [[row for row in rows if begin <= row.slot < end] for begin, end in pairwise(slots)]
            each = [
                _least(law, [row._replace(slot=row.slot - begin) for row in part], [0, end - begin])
                for part, (begin, end) in zip(parts, pairwise(slots), strict=True)
            ]
            return [current for one in each for current in one]
        for row, current in zip(own, currents, strict=True):
            before = found[row.slot]
            found[row.slot] = current if before is None else min(before, current)
    return found


def _via_current(case: TraceCase) -> float | None:
    """Phase current [A] of the worst via, those within coils included."""
    board, copper = case.design.board, case.conductors.copper
    barrels = [isinstance(transition, Barrel) for transition in copper.current_paths.transitions]
    load = max(float(case.conductors.coil_loads.max()), *case.conductors.transition_loads[barrels].tolist(), 0.0)
    single = _wall_current(board.via_drill, board.via_plating, case.rise)
    return None if single is None else copper.vias_per_transition * single / load


@lru_cache(maxsize=64)
def _wall_current(drill: float, plating: float, rise: float) -> float | None:
    """IPC-2221 for the wall of one via as an internal track: the lower of the two factors [A]."""
    try:
        return float(ipc2221_current(pi * (drill - plating), plating, rise, external=False))
    except LawRangeError:
        return None
