"""Every motor of a bench as it was built: the design with what was found of it, predicted again."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from pcbstator.analysis.pipeline import worked
from pcbstator.bench.built.commissioning import Commissioned, commissioned
from pcbstator.bench.built.estimate import Parts, parts_of, refitted
from pcbstator.bench.built.keys import part_settings, property_settings
from pcbstator.bench.built.logged import log_settings, log_steps
from pcbstator.bench.built.margins import LeftOpen, half_widths
from pcbstator.bench.built.remaining import result_spreads, tolerance_settings
from pcbstator.bench.built.result import BuiltMotor, Outcome, Setting
from pcbstator.bench.causes.allowances import readings_of, scaled
from pcbstator.bench.causes.search import Basis, Judgement, Motor
from pcbstator.bench.causes.words import is_it, to_do
from pcbstator.bench.comparison import spreads_of
from pcbstator.bench.load import Bench
from pcbstator.bench.logs.known import known_drive
from pcbstator.bench.logs.result import CorrectionTable
from pcbstator.bench.machine_state import MachineState, machine_state
from pcbstator.bench.result import Comparison
from pcbstator.check.run import checked_work
from pcbstator.check.side_by_side import SideBySide, side_by_side
from pcbstator.copper import size_design
from pcbstator.design.file_text import changed_text, design_file
from pcbstator.design.load import design_from_document
from pcbstator.errors import PcbstatorError

if TYPE_CHECKING:
    from pcbstator.analysis.prediction import Prediction
    from pcbstator.design import Design
    from pcbstator.findings import Verdict

FloatArray = NDArray[np.float64]

SENSOR_OFFSET = "drive.sensor_offset_mm"
ROUNDS = 2  # in which the straight lines are set right by the whole prediction
STRAIGHT = 1e-3  # of a reading: as straight as it needs to be
ABOUT = {
    "torque_constant_n_m_per_a": "torque constant",
    "phase_resistance_ohm": "resistance of a phase at 20 °C",
    "synchronous_inductance_h": "synchronous inductance",
}


def built_motors(
    design: Design, found: Comparison, judged: Mapping[Motor, Judgement], bench: Bench, state: MachineState
) -> tuple[BuiltMotor, ...]:
    """One for each pair of board and rotor of the bench. found: readings beside their prediction, with their causes."""
    motors = dict.fromkeys((each.board, each.rotor) for each in bench.readings)
    begun = [_begun(motor, found, judged.get(motor), bench, state) for motor in motors]
    known = None if all(told.refused for told, *_ in begun) else checked_work(state.work)
    return tuple(
        told if told.refused else _written(design, told, settings, spreads, left, found, known)
        for told, settings, spreads, left in begun
    )


def _begun(
    motor: Motor, found: Comparison, judgement: Judgement | None, bench: Bench, state: MachineState
) -> tuple[BuiltMotor, tuple[Setting, ...], dict[str, float], LeftOpen]:
    """What is known of a motor, before it is predicted: keys to set, and what is left open of results and keys."""
    board, rotor = motor
    table = _table(motor, found, bench)
    told = BuiltMotor(board, rotor, commissioned=_commissioned(motor, bench, state, table), table=table)
    refused = _refused(motor, found, judgement, state)
    if refused:
        return replace(told, refused=refused), (), {}, LeftOpen()
    logged, steps = _logged(motor, found, bench, state)
    if judgement is None:
        return told, logged, {}, LeftOpen(None, steps)
    settings, parts = _of_readings(judgement.basis, state)
    return told, (*settings, *logged), result_spreads(judgement.basis, parts), LeftOpen(parts, steps)


def _refused(motor: Motor, found: Comparison, judgement: Judgement | None, state: MachineState) -> str:
    """Why there is no design of this motor as it is; empty where there is one."""
    names = {row.name for row in found.rows if (row.board, row.rotor) == motor}
    for each in found.contradictions:
        if names & set(each.readings):
            return f"its readings contradict each other, so nothing is known yet; take them again: {each.words}"
    if judgement is None:
        return ""
    lead = judgement.basis.lead
    fault = lead.allowance < 0 and lead.of_motor and judgement.causes
    if fault and property_settings(state.design, lead) is None:
        return f"repair it first. Most likely it is {is_it(lead.name, lead.where)}. {to_do(lead.name, lead.where)}"
    if not judgement.basis.fits:
        return "its readings fit no motor that can be described by the design file; take the far ones again."
    return ""


def _of_readings(basis: Basis, state: MachineState) -> tuple[tuple[Setting, ...], Parts]:
    """Keys that the readings change, and the quantities behind them."""
    properties = property_settings(state.design, basis.lead) or () if basis.lead.of_motor else ()
    base = {each.key: float(each.value) for each in properties if isinstance(each.value, float)}
    parts = parts_of(basis)
    if parts.told.any():
        parts = replace(parts, values=_set_right(basis, parts, state, properties, base))
    found = {each.key: each for each in (*properties, *part_settings(state.design, parts, base))}
    values = {key: float(each.value) for key, each in found.items() if isinstance(each.value, float)}
    settings = (*found.values(), *tolerance_settings(state.design, basis, parts, values))
    return settings, parts


def _set_right(
    basis: Basis, parts: Parts, state: MachineState, properties: Sequence[Setting], base: dict[str, float]
) -> FloatArray:
    """Values for which the whole prediction, not its straight lines, lies on the readings."""
    values = parts.values
    for _ in range(ROUNDS):
        keys = {each.key: each.value for each in (*properties, *part_settings(state.design, replace(
            parts, values=values), base))}  # fmt: skip
        try:
            changed = machine_state(size_design(state.design.asked).with_values(_of_geometry(keys)))
        except PcbstatorError:
            return values
        strength = values[parts.names.index("remanence")] if "remanence" in parts.names else 0.0
        changed = replace(changed, linkages=changed.linkages * np.exp(strength))
        whole = scaled(basis.model.readings, _read(changed, basis, state), basis.model.values)
        whole += strength * np.array([{"field": 1.0, "pull": 2.0}.get(each.kind, 0.0) for each in basis.model.readings])
        own = parts.told.astype(float)
        straight = basis.model.allowed.columns @ (values * own) + (basis.lead.shift if properties else 0.0)
        off = np.where(np.isfinite(whole), whole - straight, 0.0)
        values = refitted(basis, parts, off)
        if np.abs(off[basis.taken]).max(initial=0.0) < STRAIGHT:
            break
    return values


def _read(changed: MachineState, basis: Basis, state: MachineState) -> FloatArray:
    return readings_of(changed, basis.model.readings, state, basis.model.values)


def _of_geometry(keys: Mapping[str, Any]) -> dict[str, Any]:
    """All but the remanence, which only scales what is linked."""
    left_out = ("rotor.magnet.remanence_t", "rotor.magnet.grade", "cooling.magnet_max_c")
    return {key: value for key, value in keys.items() if key not in left_out}


def _logged(
    motor: Motor, found: Comparison, bench: Bench, state: MachineState
) -> tuple[tuple[Setting, ...], list[tuple[dict[str, Any], float]]]:
    """Keys that logs change, and these keys a step on."""
    if found.logs is None:
        return (), []
    rows = [row for row in found.logs.rows if (row.board, row.rotor) == motor]
    reading = next((each for each in bench.readings if (each.board, each.rotor) == motor), None)
    if not rows or reading is None:
        return (), []
    known = known_drive(state, found.rows, reading, spreads_of(state)["static_torque"])
    return tuple(log_settings(rows, known)), list(log_steps(rows, known))


def _commissioned(
    motor: Motor, bench: Bench, state: MachineState, table: CorrectionTable | None
) -> Commissioned | None:
    """The last of the tests of this motor."""
    tests = [each for each in bench.commissioning if (each.board, each.rotor) == motor]
    return commissioned(tests[-1], state, table) if tests else None


def _table(motor: Motor, found: Comparison, bench: Bench) -> CorrectionTable | None:
    """The last table of this motor's sensor."""
    names = {each.name for each in bench.sensor if (each.board, each.rotor) == motor}
    tables = [table for table in (found.logs.tables if found.logs else ()) if table.log in names]
    return tables[-1] if tables else None


def required_with_table(
    told: BuiltMotor, built: Design, both: SideBySide, left: LeftOpen | None = None
) -> tuple[tuple[Verdict, ...], dict[str, float]]:
    """The requirement with the sensor's table in the controller, where it is missed without, and its half-widths; the
    table leaves as large a part of the offset as of the error.
    """
    missed = any(one.verdict == "not met" for one in both.other.requirement)
    if told.table is None or built.drive is None or not missed or built.drive.sensor_offset <= 0:
        return (), {}
    part = told.table.largest_after / told.table.largest_before
    offset = 1e3 * built.drive.sensor_offset * part
    work = worked(built.with_values({SENSOR_OFFSET: offset}))
    return checked_work(work).requirement, half_widths(work, (left or LeftOpen()).without(SENSOR_OFFSET))


def _written(
    design: Design,
    told: BuiltMotor,
    settings: Sequence[Setting],
    spreads: Mapping[str, float],
    left: LeftOpen,
    found: Comparison,
    known: Prediction | None,
) -> BuiltMotor:
    """The file with its settings, and both designs predicted."""
    unique = {each.key: each for each in settings}
    changes = {key: each.value for key, each in unique.items()}
    text = design_file(design).decode("utf-8-sig")
    if changes:
        text = changed_text(text, changes, {key: f"as built, {each.reason}" for key, each in unique.items()})
    text = f'# As built: {told.name}, by {found.bench_file}; changed keys say "as built".\n{text}'
    try:
        built = design_from_document(tomllib.loads(text), design.source, Path(design.folder) if design.folder else None)
        work = worked(built)
        both = side_by_side(design, built, known, checked_work(work))
        with_table, table_widths = required_with_table(told, built, both, left)
    except PcbstatorError as error:
        words = str(error).replace("\n", " ")
        return replace(told, settings=tuple(unique.values()), refused=f"what was found makes no design: {words}")
    return replace(
        told, settings=tuple(unique.values()), outcomes=tuple(_outcomes(both, spreads)), design=built, text=text,
        found=both, with_table=with_table, half_widths=half_widths(work, left), table_half_widths=table_widths,
    )  # fmt: skip


def _outcomes(both: SideBySide, spreads: Mapping[str, float]) -> list[Outcome]:
    found = []
    for key, about in ABOUT.items():
        values = [_value(prediction, key) for prediction in (both.design, both.other)]
        if key in spreads and values[0] is not None and values[1] is not None:
            found.append(Outcome(key, about, values[0], values[1], spreads[key]))
    return found


def _value(prediction: Any, key: str) -> float | None:
    if key.startswith("torque"):
        return prediction.magnetic.torque_constant if prediction.magnetic is not None else None
    name = {"phase_resistance_ohm": "phase_resistance", "synchronous_inductance_h": "synchronous_inductance"}[key]
    return getattr(prediction.electrical, name, None)
