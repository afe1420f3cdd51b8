"""Readings that do not say what was measured: written under another key, with leads, simply wrong."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from math import log, sqrt

import numpy as np
from numpy.typing import NDArray

from pcbstator.bench.machine_state import MachineState
from pcbstator.bench.readings import Emf, Inductance, Reading, Resistance
from pcbstator.bench.result import UNITS_OFF

FloatArray = NDArray[np.float64]

LEADS, LEADS_SPREAD = 0.25, 0.15  # ohm of a pair of usual meter leads; common practice, no source
WRONG = 0.4  # of a wrong reading: it may be off by tens of percent

PEAK, WHOLE, RMS = 1.0, 2.0, sqrt(0.5)  # over the peak of a sine wave
SIZES = {
    "rms_for_peak": (RMS, PEAK), "rms_for_peak_to_peak": (RMS, WHOLE), "peak_to_peak_for_peak": (WHOLE, PEAK),
    "peak_for_peak_to_peak": (PEAK, WHOLE), "peak_for_rms": (PEAK, RMS), "peak_to_peak_for_rms": (WHOLE, RMS),
}  # fmt: skip


@dataclass(frozen=True, eq=False)
class Misreading:
    """What was written is not what was meant: shift of every reading, as ``scaled`` has them, and further columns of
    spread (readings, columns).
    """

    name: str
    where: str
    shift: FloatArray
    spread: FloatArray


def misreadings(readings: Sequence[Reading], values: FloatArray, state: MachineState) -> Iterator[Misreading]:
    """Every misreading that these readings can have. values: (readings,) predicted ones; state: of the motor."""
    pole_pairs = state.pole_pairs
    count = len(readings)
    for name, (meant, written) in SIZES.items():
        yield from _waves(name, readings, log(meant / written), partial(_written_as, written))
    yield from _waves("mechanical_frequency", readings, log(pole_pairs), lambda wave: wave.frequency is not None)
    yield from _waves("electrical_speed", readings, -log(pole_pairs), _only_by_speed)
    yield from _waves("poles_miscounted", readings, log(2.0), _only_by_speed)
    if state.connection == "star":
        yield from _to_star_point(readings)
    ohms = np.array([isinstance(r, Resistance) and r.leads is None for r in readings])
    if ohms.any():
        shift, spread = np.zeros(count), np.zeros((count, 1))
        shift[ohms] = np.log1p(LEADS / values[ohms])
        spread[ohms, 0] = LEADS_SPREAD / (values[ohms] + LEADS)
        yield Misreading("leads", "", shift, spread)
    for at, reading in enumerate(readings):
        spread = np.zeros((count, 1))
        spread[at, 0] = WRONG
        yield Misreading("wrong_reading", reading.name, np.zeros(count), spread)


def _to_star_point(readings: Sequence[Reading]) -> Iterator[Misreading]:
    """From a terminal to the star point, of all readings of a kind; one by one they are wrong readings."""
    for kind, share, words in ((Resistance, 0.5, "resistance"), (Inductance, 0.5, "inductance"), (Emf, 3**-0.5, "EMF")):
        own = np.array([isinstance(each, kind) and "N" not in getattr(each, "between", ()) for each in readings])
        if own.any():
            yield Misreading("to_star_point", f"all readings of {words}", log(share) * own, np.zeros((len(own), 0)))


def _written_as(over_peak: float, wave: Emf) -> bool:
    return wave.over_peak == over_peak


def _only_by_speed(wave: Emf) -> bool:
    return wave.measured_frequency is None


def _waves(name: str, readings: Sequence[Reading], shift: float, chosen: Callable[[Emf], bool]) -> Iterator[Misreading]:
    """A slip in all such readings of EMF, or in one of them."""
    members = [k for k, r in enumerate(readings) if isinstance(r, Emf) and r.table_csv is None and chosen(r)]
    groups = [members, *([k] for k in members)] if len(members) > 1 else [members]
    for group in groups:
        if not group or shift == 0:
            continue
        found = np.zeros(len(readings))
        found[group] = shift
        where = "in all EMF readings" if len(group) == len(members) else readings[group[0]].name
        yield Misreading(name, where, found, np.zeros((len(readings), 0)))


def usable(slip: str) -> bool:
    """Whether a reading with this likely slip says something about the motor all the same."""
    return not slip.startswith(UNITS_OFF)
