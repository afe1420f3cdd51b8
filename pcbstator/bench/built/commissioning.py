"""Electrical zero, sense of the sensor and order of the phases, from currents that hold the rotor at known places.

Direct current in at one terminal and out at all the others makes the torque cos(electrical angle - phase of it); the
rotor rests where that falls through zero: there its field lies along the axis of that phase of the equivalent star,
which is where a driver counts its electrical angle from.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pcbstator.bench.logs.result import CorrectionTable
from pcbstator.bench.machine_state import MachineState
from pcbstator.bench.predicted import terminal_wave
from pcbstator.bench.readings import Commissioning

FloatArray = NDArray[np.float64]

ROOM = np.radians(20.0)  # electrical, by which friction may hold the rotor off its place; common practice, no source
MOST_POLE_PAIRS = 60


@dataclass(frozen=True)
class Commissioned:
    """What the test gives. zero: electrical angle of the sensor's reading where the rotor rests with current in at A,
    to be taken off [rad]; scatter: of the places about it, electrical, None of a single one [rad]; rotor_angle: of
    the rotor there, as docs/conventions.md counts it, within one pole pair [rad]; order: terminals in the order of
    their EMF in positive rotation, empty where it was not told; exchanged: it is not that of the design. table:
    corrections, taken off the readings beforehand.
    """

    sense: int
    zero: float
    rotor_angle: float
    pole_pairs: int
    order: str = ""
    scatter: float | None = None
    table: CorrectionTable | None = None
    contradictions: tuple[str, ...] = ()
    words: tuple[str, ...] = ()
    exchanged: bool = False

    def to_dict(self) -> dict[str, Any]:
        """Plain values."""
        told: dict[str, Any] = {
            "sensor_sense": self.sense,
            "electrical_zero_deg": float(np.degrees(self.zero)),
            "rotor_angle_at_zero_deg": float(np.degrees(self.rotor_angle)),
            "pole_pairs": self.pole_pairs,
            "phase_order": self.order,
            "scatter_electrical_deg": None if self.scatter is None else float(np.degrees(self.scatter)),
            "contradictions": list(self.contradictions),
            "words": list(self.words),
        }
        return {key: value for key, value in told.items() if value not in (None, "")}

    def parameters(self) -> dict[str, float | int | str]:
        """What a drive needs, by names with units; nothing where the test contradicts itself."""
        if self.contradictions:
            return {}
        found: dict[str, float | int | str] = {
            "sensor_sense": self.sense,
            "electrical_zero_rad": self.zero,
        }
        if self.order:
            found["phase_order"] = self.order
        return found


def table_parameters(table: CorrectionTable) -> dict[str, int | list[float]]:
    """The table of corrections as a drive takes it, by names with units."""
    values = [float(each) for each in np.round(np.radians(table.values), 9)]
    return {"sensor_table_count": len(values), "sensor_table_rad": values}


def resting_angle(state: MachineState, phase: int = 0) -> float:
    """Mechanical angle [rad], within one pole pair, at which the rotor rests with direct current in at a terminal and
    out at all the others joined; of open phases and of two: in at its terminal and out at its end.
    """
    names = state.names
    if state.connection == "open":
        pairs = [(names[phase], f"{names[phase]}2")]
    elif len(names) == 2:
        pairs = [(names[phase], "N")]
    else:
        pairs = [(names[phase], other) for other in names if other != names[phase]]
    torque = np.sum([terminal_wave(state, pair, 0.0) for pair in pairs], axis=0)
    turns = 1 if (np.asarray(state.orders) % state.pole_pairs == 0).all() else state.pole_pairs
    phasor = 2 * np.fft.rfft(torque)[turns] / len(torque)  # torque = Re(phasor exp(j p angle))
    return float((np.pi / 2 - np.angle(phasor)) % (2 * np.pi) / state.pole_pairs)


def step_between(phases: int) -> float:
    """Electrical angle from one phase's axis to the next [rad].

    >>> [round(float(np.degrees(step_between(phases))), 6) for phases in (3, 2)]
    [120.0, 90.0]
    """
    return float(np.pi / 2 if phases == 2 else 2 * np.pi / phases)


def commissioned(reading: Commissioning, state: MachineState, table: CorrectionTable | None = None) -> Commissioned:
    """The results of a test, with what in it contradicts itself or the design in words."""
    sense = 1 if reading.sense == "rises" else -1
    seen = np.array(reading.sensor)
    if table is not None:
        even = np.arange(len(table.values) + 1) * 2 * np.pi / len(table.values)
        seen = seen - np.interp(seen % (2 * np.pi), even, np.radians(np.append(table.values, table.values[0])))
    turned = sense * seen
    against = list(_counted(reading, state))
    told, zero, scatter = "", float(state.pole_pairs * turned[0] % (2 * np.pi)), None
    if len(turned) > 1:
        sign, zero, scatter = _fitted(turned, state.pole_pairs, len(state.names))
        told = _order(state.names, sign)
        if scatter > ROOM:
            against.append(_misfit(turned, state, scatter))
        elif reading.phase_order and not _alike(reading.phase_order, told):
            against.append(
                f"{reading.name}: the rotor went round as terminals in the order {told} make it, and phase_order says "
                f'{reading.phase_order}: one was seen from the other side, or the sense is not "{reading.sense}"'
            )
    order = told if scatter is not None and scatter <= ROOM else reading.phase_order or ""
    return Commissioned(
        sense, zero, resting_angle(state), state.pole_pairs, order, scatter, table, tuple(against),
        tuple(_words(order, state.names, reading)), bool(order) and not _alike(order, "".join(state.names)),
    )  # fmt: skip


def _counted(reading: Commissioning, state: MachineState) -> list[str]:
    if reading.pole_pairs is None or reading.pole_pairs == state.pole_pairs:
        return []
    poles = " (poles counted for pole pairs)" if reading.pole_pairs == 2 * state.pole_pairs else ""
    return [f"{reading.name}: {reading.pole_pairs} pole pairs counted, the design has {state.pole_pairs}{poles}"]


def _fitted(turned: FloatArray, pole_pairs: int, phases: int) -> tuple[int, float, float]:
    """Sense in which the terminals follow each other, electrical zero and scatter about it [rad]."""
    steps = np.arange(len(turned)) * step_between(phases)
    found = []
    for sign in (1, -1):
        vectors = np.exp(1j * (pole_pairs * turned - sign * steps))
        zero = float(np.angle(vectors.mean()))
        found.append((float(np.abs(np.angle(vectors * np.exp(-1j * zero))).max()), -sign, sign, zero % (2 * np.pi)))
    scatter, _, sign, zero = min(found)
    return sign, zero, scatter


def _misfit(turned: FloatArray, state: MachineState, scatter: float) -> str:
    """Why the places do not fit, with the number of pole pairs that they would."""
    steps = np.degrees(np.diff(turned))
    words = ", ".join(f"{abs(each):.4g}" for each in steps)
    expected = np.degrees(step_between(len(state.names))) / state.pole_pairs
    others = [
        count for count in range(1, MOST_POLE_PAIRS + 1)
        if len(turned) > 2 and _fitted(turned, count, len(state.names))[2] < ROOM / 2
    ]  # fmt: skip
    fits = f"; {others[0]} pole pairs would fit" if others and others[0] != state.pole_pairs else ""
    return (
        f"the places where the rotor rests lie {words} degrees apart, and {state.pole_pairs} pole pairs make "
        f"{expected:.4g}: {np.degrees(scatter):.0f} electrical degrees too far off{fits}; pole pairs, a coil, a joint, "
        "or much friction"
    )


def _order(names: Sequence[str], sign: int) -> str:
    """Terminals in the order of positive rotation."""
    return "".join(names) if sign > 0 else names[0] + "".join(reversed(names[1:]))


def _alike(order: str, other: str) -> bool:
    """Whether they are the same order from another terminal on."""
    return len(order) == len(other) and order in other + other


def _words(order: str, names: Sequence[str], reading: Commissioning) -> list[str]:
    found = []
    if order and not _alike(order, "".join(names)):
        last = f"{names[-2]} and {names[-1]}"
        found.append(
            f"the terminals follow each other as {order}: exchange the wires {last} at the driver; the electrical zero "
            f"stays, since {names[0]} does. Or give the driver this order"
        )
    if reading.sense == "falls":
        found.append("the sensor's reading falls in positive rotation: set its sense, not the wires")
    return found
