"""The door for readings: a bench file with its CSV files becomes a checked bench, or one error with every complaint."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Annotated, Any, get_args

from annotated_types import Len

from pcbstator.bench.readings import (
    Approach,
    CoastDown,
    Commissioning,
    Emf,
    Field,
    FinishedCopper,
    Gap,
    Inductance,
    Move,
    NoLoad,
    Pull,
    Reading,
    Resistance,
    Sensor,
    SlowTurn,
    SmallSteps,
    StaticTorque,
    TableReading,
    Thickness,
    WarmUp,
)  # fmt: skip
from pcbstator.bench.recorded import Table, read_table
from pcbstator.bench.waves import WHOLE_PERIODS, ShortWaveError, wave_size
from pcbstator.design.load import read_tables, record_from_tables
from pcbstator.design.quantities import Record, Text, key
from pcbstator.errors import Complaint, DesignError

MOST_READINGS = 500  # of one kind
Most = Len(0, MOST_READINGS)


class Bench(Record):
    """Everything that was measured on one or several motors of a design."""

    title: Annotated[str, Text(120)] = key("title", "what was measured, and when", "measured")
    resistance: Annotated[tuple[Resistance, ...], Most] = key("resistance", "between terminals", ())
    inductance: Annotated[tuple[Inductance, ...], Most] = key("inductance", "between terminals", ())
    emf: Annotated[tuple[Emf, ...], Most] = key("emf", "between terminals, turned by hand or by a drill", ())
    static_torque: Annotated[tuple[StaticTorque, ...], Most] = key("static_torque", "with direct current", ())
    no_load: Annotated[tuple[NoLoad, ...], Most] = key("no_load", "turning freely", ())
    coast_down: Annotated[tuple[CoastDown, ...], Most] = key("coast_down", "left alone", ())
    warm_up: Annotated[tuple[WarmUp, ...], Most] = key("warm_up", "with a held current", ())
    field: Annotated[tuple[Field, ...], Most] = key("field", "of the lone rotor", ())
    pull: Annotated[tuple[Pull, ...], Most] = key("pull", "between rotor and steel", ())
    gap: Annotated[tuple[Gap, ...], Most] = key("gap", "by feeler gauge", ())
    thickness: Annotated[tuple[Thickness, ...], Most] = key("thickness", "of parts", ())
    finished_copper: Annotated[tuple[FinishedCopper, ...], Most] = key("finished_copper", "of layers", ())
    sensor: Annotated[tuple[Sensor, ...], Most] = key("sensor", "against a reference", ())
    slow_turn: Annotated[tuple[SlowTurn, ...], Most] = key("slow_turn", "at a steady slow speed", ())
    approach: Annotated[tuple[Approach, ...], Most] = key("approach", "one target from both sides", ())
    small_steps: Annotated[tuple[SmallSteps, ...], Most] = key("small_steps", "up and down", ())
    move: Annotated[tuple[Move, ...], Most] = key("move", "with its current", ())
    commissioning: Annotated[tuple[Commissioning, ...], Most] = key("commissioning", "of sensor and driver", ())

    @property
    def readings(self) -> tuple[Reading, ...]:
        """All readings, kind by kind, in the order of the file."""
        return tuple(each for name in KINDS for each in getattr(self, name))


KINDS: dict[str, type[Reading]] = {
    str(field.alias): get_args(field.annotation)[0]
    for field in Bench.model_fields.values()
    if Ellipsis in get_args(field.annotation)
}


def load_bench(path: str | Path) -> Bench:
    """The bench in a TOML file, with the CSV files that it names beside it.

    Raises DesignError with every complaint at once.
    """
    place = Path(path)
    return bench_from_tables(read_tables(place)[0], place.absolute().parent, place.name)


def bench_from_tables(tables: dict[str, Any], folder: Path | None = None, source: str = "bench") -> Bench:
    """The bench in nested tables as a bench file has them; ``folder``: where its CSV files lie."""
    bench = record_from_tables(Bench, tables, source)
    if not bench.readings:
        rule = "at least one reading is needed"
        raise DesignError(
            source, [Complaint("bench", rule, "none", "add [[resistance]] with between, ohm and copper_c")]
        )
    complaints: list[Complaint] = []
    read = {name: tuple(_complete(name, getattr(bench, name), folder, complaints)) for name in KINDS}
    if complaints:
        raise DesignError(source, complaints)
    return bench.model_copy(update=read)


def _complete(
    name: str, readings: tuple[Reading, ...], folder: Path | None, complaints: list[Complaint]
) -> Iterator[Reading]:
    """The readings with a name each, and with their files read."""
    for index, reading in enumerate(readings):
        words = " ".join(filter(None, [name.replace("_", " "), reading.pair, f"#{index + 1}"]))
        named = reading if reading.name != "-" else reading.model_copy(update={"name": words})
        if isinstance(named, TableReading | Emf) and named.table_csv is not None:
            table = read_table(folder, named.table_csv, named.columns, named.decimal)
            if isinstance(table, Complaint):
                complaints.append(Complaint(f"{name}[{index + 1}].table_csv", table.rule, table.value, table.remedy))
            elif isinstance(named, Emf):
                named._table = _measured_wave(table, f"{name}[{index + 1}]", complaints)
            else:
                named._table = table
        yield named


def _measured_wave(table: Table, path: str, complaints: list[Complaint]) -> Table:
    """The recorded wave with its frequency and its size."""
    try:
        return replace(table, facts=wave_size(table.columns["time"], table.columns["voltage"]))
    except ShortWaveError as error:
        rule = f"must hold at least {WHOLE_PERIODS:g} whole periods of the wave"
        complaints.append(Complaint(f"{path}.table_csv", rule, str(error), "record it for longer, or turn faster"))
        return table
