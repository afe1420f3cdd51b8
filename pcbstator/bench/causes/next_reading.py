"""Which reading to take next: that which tells two causes apart best, with the two values to expect."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from math import exp
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pcbstator.bench.amounts import amount
from pcbstator.bench.causes.evidence import Hypothesis, Model
from pcbstator.bench.comparison import UNITS
from pcbstator.bench.load import bench_from_tables
from pcbstator.bench.machine_state import MachineState
from pcbstator.bench.readings import Emf, Field, FinishedCopper, Gap, Reading, Resistance, StaticTorque, Thickness

FloatArray = NDArray[np.float64]

APART = 2.0  # standard deviations by which two causes must differ for a reading to tell them apart
PLAIN = 4.0  # by which it is plain; beyond, the simpler reading is the better one
HAND_RPM = 120.0  # a speed of a hand drill; common practice, no source
DIRECT = 0.5  # of the continuous current, for a short test at rest
FIELD_AT = 2.0  # mm from the magnets' face
AGAIN = " again"


def further_readings(state: MachineState, taken: Sequence[Reading]) -> tuple[Reading, ...]:
    """Readings of the sheet that were not taken, simple ones first, then those that were taken, once again. Their
    values mean nothing yet.
    """
    known = {_what(reading) for reading in taken}
    fresh = [reading for reading in _of_the_sheet(state) if _what(reading) not in known]
    again = [reading.model_copy(update={"name": reading.name + AGAIN}) for reading in taken]
    return (*fresh, *again)


def _what(reading: Reading) -> tuple[Any, ...]:
    pair = tuple(sorted(getattr(reading, "between", ())))
    return reading.kind, pair, getattr(reading, "of", ""), getattr(reading, "layer", 0)


def _of_the_sheet(state: MachineState) -> tuple[Reading, ...]:
    if state.connection == "open":
        pairs = [[name, f"{name}2"] for name in state.names]
    else:
        pairs = [list(pair) for pair in combinations(state.names, 2)]
    steady = state.work.steady
    continuous = steady.board_current if steady is not None else None
    current = float(f"{DIRECT * (continuous or 0.4):.1g}")
    middle = 1e3 * _middle(state)
    found: dict[str, list[dict[str, Any]]] = {
        "gap": [{"mm": 1e3 * state.air_gap}],
        "thickness": [{"of": part, "mm": 1e3 * state.thickness[part]} for part in ("board", "magnet")],
        "resistance": [{"between": pair, "ohm": 1.0, "copper_c": 20.0} for pair in pairs],
        "emf": [
            {"between": pair, "peak_to_peak_v": 1.0, "frequency_hz": HAND_RPM / 60 * state.pole_pairs} for pair in pairs
        ],
        "static_torque": [{"between": pairs[0], "current_a": current, "lever_mm": 100.0, "newton": 1.0}],
        "inductance": [{"between": pair, "henry": 1e-4, "frequency_khz": 1.0} for pair in pairs],
        "field": [{"peak_mt": 100.0, "distance_mm": FIELD_AT, "radius_mm": middle}],
        "finished_copper": [{"layer": layer, "um": 35.0} for layer in (1, 2)[: len(state.copper)]],
    }
    bench = bench_from_tables(found)
    return tuple(reading for kind in found for reading in getattr(bench, kind))


def _middle(state: MachineState) -> float:
    """Mean radius of the copper [m], where the magnets are."""
    board = state.design.board
    return (board.copper_inner_diameter + board.copper_outer_diameter) / 4


@dataclass(frozen=True)
class Separation:
    """A reading that tells two causes apart: its number, how far [standard deviations], and the two values."""

    reading: int
    apart: float
    first: float
    second: float


def best_separation(
    model: Model, measured: FloatArray, taken: NDArray[np.bool_], first: Hypothesis, second: Hypothesis
) -> Separation | None:
    """The reading that was not taken and tells two causes apart best; None where none does. Simple ones are preferred
    where several do.
    """
    (one, wide), (other, broad) = (model.expected(each, measured, taken) for each in (first, second))
    apart = np.where(taken, 0.0, np.abs(one - other) / np.sqrt(np.where(taken, 1.0, (wide + broad) / 2)))
    apart[~np.isfinite(apart)] = 0.0
    worth = np.minimum(apart, PLAIN)
    chosen = int(np.argmax(worth > worth.max() - 1e-6)) if worth.max() >= PLAIN else int(np.argmax(worth))
    if apart[chosen] < APART:
        return None
    values = [_value(model, chosen, float(line[chosen])) for line in (one, other)]
    return Separation(chosen, float(apart[chosen]), *values)


def _value(model: Model, at: int, line: float) -> float:
    """The value of a reading from what ``scaled`` makes of it."""
    part = 1 + line if isinstance(model.readings[at], Gap) else exp(line)
    return float(model.values[at]) * part


def shown(model: Model, at: int, value: float) -> str:
    """A value of a reading with its unit."""
    kind = model.readings[at].kind
    return amount(value, UNITS[kind], kind)


def what_to_measure(reading: Reading) -> str:
    """In words, with all that the value depends on."""
    if reading.name.endswith(AGAIN):
        return f"take {reading.name.removesuffix(AGAIN)} once more"
    between = " and ".join(getattr(reading, "between", ()))
    if isinstance(reading, Resistance):
        return f"measure the resistance between {between}, copper at {reading.temperature_c:g} °C"
    if isinstance(reading, Emf):
        frequency = reading.frequency or 0.0
        return f"turn the motor until the wave between {between} has {frequency:.3g} Hz, and read its peak to peak"
    if isinstance(reading, StaticTorque):
        return (
            f"send {reading.current:g} A from {' to '.join(reading.between)} and measure the largest torque of a turn"
        )
    if isinstance(reading, Field):
        place = f"{1e3 * reading.distance:g} mm from the magnets' face, {1e3 * reading.radius:.3g} mm from the axis"
        return f"take the rotor off and measure the largest field {place}"
    if isinstance(reading, Thickness):
        return f"measure the thickness of the {reading.of.replace('_', ' ')}"
    if isinstance(reading, FinishedCopper):
        return f"measure the finished copper of layer {reading.layer}"
    if isinstance(reading, Gap):
        return "measure the air gap with a feeler gauge"
    kilohertz = getattr(reading, "frequency", 1e3) / 1e3
    return f"measure the inductance between {between} at {kilohertz:g} kHz"
