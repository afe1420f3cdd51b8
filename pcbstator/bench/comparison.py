"""Every reading beside its prediction, both with their uncertainty; what contradicts itself is told first."""

from __future__ import annotations

from dataclasses import replace
from math import hypot, log
from typing import TYPE_CHECKING

import numpy as np

from pcbstator.analysis.tolerance import NINETY, tolerance_results
from pcbstator.bench.agreement import agreements
from pcbstator.bench.load import Bench
from pcbstator.bench.logs.found import KINDS as LOGGED
from pcbstator.bench.logs.found import motion_logs
from pcbstator.bench.machine_state import MachineState, machine_state
from pcbstator.bench.predicted import quantities
from pcbstator.bench.readings import Commissioning, Emf, Reading, TableReading
from pcbstator.bench.result import Comparison, Row
from pcbstator.bench.slips import likely_slip
from pcbstator.errors import Complaint, DesignError

if TYPE_CHECKING:
    from pcbstator.design import Design

UNITS = {
    "resistance": "ohm", "inductance": "H", "emf": "V", "static_torque": "N·m", "no_load": "A", "field": "T",
    "pull": "N", "gap": "m", "thickness": "m", "finished_copper": "m",
}  # fmt: skip

# One standard deviation of what is built over the prediction, where [tolerance] does not say: common practice, no
# source.
USUAL = {
    "resistance": 0.05, "inductance": 0.03, "emf": 0.04, "static_torque": 0.04, "no_load": 0.3, "field": 0.04,
    "pull": 0.08, "gap": 0.1, "thickness": 0.05, "finished_copper": 0.1,
}  # fmt: skip
TOLERANCE_KEYS = {
    "resistance": "phase_resistance_ohm",
    "inductance": "synchronous_inductance_h",
    "emf": "flux_linkage_peak_wb",
    "static_torque": "torque_constant_n_m_per_a",
}
ALIKE = 0.1  # part within which two quotients are one
LEAST_SPREAD = {"inductance": 0.024}  # careful finite elements miss measured boards by this much: see docs/bench.md


def compared(design: Design, bench: Bench, source: str = "bench", state: MachineState | None = None) -> Comparison:
    """Measured beside predicted. state: of the motor as designed, where it is known already.

    Raises DesignError where a reading is between terminals that the design does not have.
    """
    state = state or machine_state(design)
    complaints = list(_misplaced(bench, state))
    if complaints:
        raise DesignError(source, complaints)
    scalar = [reading for reading in bench.readings if reading.kind in UNITS]
    values, spreads = quantities(state, scalar), spreads_of(state)
    known = [(r, float(v)) for r, v in zip(scalar, values, strict=True) if np.isfinite(v) and v > 0]
    rows = tuple(_row(reading, value, spreads[reading.kind], state.pole_pairs) for reading, value in known)
    rows = borne_out(rows, {reading.name: reading.pair for reading in scalar})
    quotients = {row.name: row.measured / row.predicted for row in rows if not row.slip}
    agreed = agreements(bench.readings, quotients, state.pole_pairs)
    against = {name for each in agreed if each.contradiction for name in each.readings}
    rows = tuple(replace(row, doubtful=row.name in against) for row in rows)
    told = _remarks(bench, [reading.name for reading, _ in known])
    logs = motion_logs(bench, state, rows, spreads)
    return Comparison(design.title, design.source, source, rows, agreed, tuple(told), logs=logs)


def spreads_of(state: MachineState) -> dict[str, float]:
    """One standard deviation of every kind of reading among built motors, over the prediction."""
    work, found = state.work, dict(USUAL)
    if state.design.tolerance is None or work.magnetic is None or work.conductors is None or work.inductances is None:
        return found
    told = tolerance_results(
        state.design, work.conductors.copper, work.magnetic, work.inductances.synchronous_inductance
    )
    for kind, key in TOLERANCE_KEYS.items():
        spread = told[key]
        wide = (spread["high_95_percent"] - spread["low_5_percent"]) / (2 * NINETY * spread["nominal"])
        found[kind] = max(wide, LEAST_SPREAD.get(kind, 0.0))
    found["gap"] = max(state.design.tolerance.air_gap / NINETY / state.air_gap, 1e-3)
    return found


def _row(reading: Reading, predicted: float, spread: float, pole_pairs: int) -> Row:
    measured = float(getattr(reading, "value"))  # noqa: B009 - every kind with a unit has one
    row = Row(
        name=reading.name,
        kind=reading.kind,
        board=reading.board,
        rotor=reading.rotor,
        unit=UNITS[reading.kind],
        predicted=predicted,
        measured=measured,
        reading_sigma=reading.uncertainty * measured,
        predicted_sigma=spread * predicted,
    )
    # A reading that is 1000 times too large would have an uncertainty as large as itself: both at the prediction.
    room = (reading.uncertainty**2 + spread**2) ** 0.5 * min(measured, predicted)
    return replace(row, slip=likely_slip(reading.kind, measured, predicted, room, pole_pairs, _key(reading)))


def _key(reading: Reading) -> str:
    """How the size of an EMF was written; empty of all else."""
    if not isinstance(reading, Emf):
        return ""
    return "rms" if reading.rms is not None else "peak to peak" if reading.peak_to_peak is not None else "peak"


def borne_out(rows: tuple[Row, ...], pairs: dict[str, str]) -> tuple[Row, ...]:
    """The rows without the slips that other readings bear out: those are of the motor. pairs: terminals by name.

    Volts per speed and torque per ampere that are off alike are so together; a phase that differs shows in two of three
    pairs, and a slip of the pen in one or in all.
    """
    kept: set[str] = set()
    for motor in {(row.board, row.rotor) for row in rows}:
        own = [row for row in rows if (row.board, row.rotor) == motor]
        waves, torques = ([row for row in own if row.kind == kind] for kind in ("emf", "static_torque"))
        for row in (*waves, *torques):
            others = torques if row.kind == "emf" else waves
            apart = [abs(log(_quotient(row) / _quotient(other))) for other in others]
            near = [3 * hypot(row.reading_sigma / row.measured, o.reading_sigma / o.measured) for o in others]
            if any(a < max(n, ALIKE) for a, n in zip(apart, near, strict=True)):
                kept.add(row.name)
        for kind in ("resistance", "inductance", "emf"):
            alike = [row for row in own if row.kind == kind]
            slips = [row for row in alike if row.slip]
            if len(alike) == 3 and len({"".join(sorted(pairs[row.name])) for row in alike}) == 3 and len(slips) == 2:
                kept |= {row.name for row in slips}
    return tuple(replace(row, slip="") if row.name in kept else row for row in rows)


def _quotient(row: Row) -> float:
    return row.measured / row.predicted


def _misplaced(bench: Bench, state: MachineState) -> list[Complaint]:
    """Complaints about terminals and layers that the design does not have."""
    from pcbstator.bench.predicted import pair_phases

    found = []
    for reading in bench.readings:
        if isinstance(reading, Commissioning):
            found += _misread(reading, state)
        pair = getattr(reading, "between", None)
        if pair is not None and pair_phases(state, pair) is None:
            ends = [f"{name} and {name}2" for name in state.names] if state.connection == "open" else list(state.names)
            rule = f"must be terminals of this design ({state.connection})"
            found.append(Complaint(f"{reading.name}: between", rule, "".join(pair), f"it has {', '.join(ends)}"))
        layer = getattr(reading, "layer", 1)
        if layer > len(state.copper):
            rule = f"must be a layer of this design, 1 to {len(state.copper)}"
            found.append(Complaint(f"{reading.name}: layer", rule, str(layer), "count from the rotor"))
    return found


def _misread(reading: Commissioning, state: MachineState) -> list[Complaint]:
    """Complaints about terminals of a commissioning that the design does not have."""
    names, count, order = "".join(state.names), len(reading.sensor), reading.phase_order
    found = []
    if count > len(names):
        rule = f"must hold one angle for each terminal from A on, {len(names)} at most"
        found.append(Complaint(f"{reading.name}: sensor_deg", rule, f"{count} angles", "take the mean of repeats"))
    if order is not None and sorted(order) != sorted(names):
        rule = f"must name each of {names} once"
        found.append(Complaint(f"{reading.name}: phase_order", rule, order, f'write phase_order = "{names}"'))
    return found


def _remarks(bench: Bench, told: list[str]) -> list[str]:
    """What was mended in files, and readings that have no row."""
    found = []
    for reading in bench.readings:
        if isinstance(reading, TableReading) or (isinstance(reading, Emf) and reading.table_csv is not None):
            found += [f"{reading.name}, {reading.table_csv}: {remark}" for remark in getattr(reading, "_table").remarks]  # noqa: B009
        if reading.name not in told and reading.kind not in (*LOGGED, Commissioning.kind):
            found.append(f"{reading.name}: read, but there is no single predicted value to hold it against")
    return found
