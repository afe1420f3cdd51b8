"""All logs of a bench: each read against the drive it was taken on, and what to do about it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from pcbstator.bench.load import Bench
from pcbstator.bench.logs.advice import advised
from pcbstator.bench.logs.known import Known, known_drive
from pcbstator.bench.logs.moving import coast_downs_found, move_found
from pcbstator.bench.logs.result import Found, LogRow, MotionLogs
from pcbstator.bench.logs.sensing import sensor_found
from pcbstator.bench.logs.stops import approach_found, small_steps_found
from pcbstator.bench.logs.turning import slow_turn_found
from pcbstator.bench.result import Row

if TYPE_CHECKING:
    from pcbstator.bench.machine_state import MachineState

READERS: dict[str, Callable[[Any, Known], Found]] = {
    "move": move_found,
    "slow_turn": slow_turn_found,
    "sensor": sensor_found,
    "approach": approach_found,
    "small_steps": small_steps_found,
}
KINDS = (*READERS, "coast_down")


def motion_logs(
    bench: Bench, state: MachineState, rows: Sequence[Row], spreads: Mapping[str, float]
) -> MotionLogs | None:
    """What the logs of a bench say; None where it has none. rows: its other readings beside their prediction."""
    readings = [reading for reading in bench.readings if reading.kind in KINDS]
    if not readings:
        return None
    designed = {
        (reading.board, reading.rotor): known_drive(state, rows, reading, spreads["static_torque"])
        for reading in readings
    }
    known, parts = dict(designed), list[Found]()
    for kind, read in READERS.items():
        parts += [read(each, known[each.board, each.rotor]) for each in readings if each.kind == kind]
        if kind == "move":  # what follows counts with the inertia that moves gave
            known = _with_inertia(known, parts)
    moved = {(row.board, row.rotor): row for part in parts for row in part.rows if row.key == "inertia"}
    parts.append(coast_downs_found([(each, designed[each.board, each.rotor]) for each in bench.coast_down], moved))
    found = [row for part in parts for row in part.rows]
    tables = [table for part in parts for table in part.tables]
    return MotionLogs(
        rows=tuple(found),
        advice=tuple(advised(found, tables, designed)),
        pictures=tuple(
            replace(picture, name=f"log-{number + 1}-{picture.name}")
            for number, picture in enumerate(picture for part in parts for picture in part.pictures)
        ),
        tables=tuple(tables),
        remarks=tuple(remark for part in parts for remark in part.remarks),
    )


def _with_inertia(known: dict[tuple[str, str], Known], parts: Sequence[Found]) -> dict[tuple[str, str], Known]:
    """The same with the surest inertia that moves gave."""
    rows: list[LogRow] = [row for part in parts for row in part.rows if row.key == "inertia"]
    found = dict(known)
    for motor, drive in known.items():
        own = [row for row in rows if (row.board, row.rotor) == motor]
        if own:
            found[motor] = replace(drive, inertia=min(own, key=lambda row: row.sigma).value)
    return found
