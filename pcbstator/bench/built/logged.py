"""Keys of load, bearing and drive that motion logs know better than the design assumed."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from math import radians, sin, sqrt
from typing import Any

from pcbstator.bench.built.keys import written
from pcbstator.bench.built.result import Setting
from pcbstator.bench.logs.known import Known
from pcbstator.bench.logs.result import LogRow

SURER = 0.5  # of the assumed spread: a value known as well as this replaces it, where it differs at all
DIFFERS = 2.0  # standard deviations of the value
STEP = 0.02  # least part of a value by which it is moved to see what it does: keys are written with four figures
SURE = 0.2  # of the value: what is known worse replaces nothing

Settings = Callable[[Sequence[LogRow], Known], Iterator[Setting]]


def log_settings(rows: Sequence[LogRow], known: Known) -> Iterator[Setting]:
    """Keys of one motor. rows: its own, of all logs."""
    for settings, own in _sources(rows, known):
        yield from settings(own, known)


def log_steps(rows: Sequence[LogRow], known: Known) -> Iterator[tuple[dict[str, Any], float]]:
    """For each value that goes into keys: those keys with it a step higher, and its standard deviation in steps."""
    for settings, own in _sources(rows, known):
        for at, row in enumerate(own):
            step = max(row.sigma, STEP * row.value)
            moved = [replace(row, value=row.value + step) if k == at else each for k, each in enumerate(own)]
            yield {each.key: each.value for each in settings(moved, known)}, row.sigma / step


def _sources(rows: Sequence[LogRow], known: Known) -> list[tuple[Settings, list[LogRow]]]:
    """What makes keys of rows, with those that go into them."""
    own = [row for row in rows if _better(row)]
    ring = known.design.drive is not None and known.design.drive.sensor_radius is not None
    seen = [row for row in own if row.about.startswith("sensor's error")]
    return [
        (_inertia, _surest(own, "inertia")),
        (_friction, _surest(own, "running_friction", "coast_friction")),
        (_viscous, _surest(own, "viscous_friction", "coast_drag")),
        (_spots, [row for row in own if row.key == "friction_spot" and row.place is not None]),
        (_play, _surest(own, "play")),
        (_sensor, _surest(seen, "sensor_once_per_turn" if ring else "sensor_twice_per_turn")),
    ]


def _better(row: LogRow) -> bool:
    if row.sigma > SURE * row.value:
        return False
    if row.assumed is None:
        return True
    surer = row.sigma < SURER * row.assumed_sigma and abs(row.value - row.assumed) > DIFFERS * row.sigma
    return row.far or (surer and not (row.at_most and row.value < row.assumed))


def _surest(rows: Sequence[LogRow], *keys: str) -> list[LogRow]:
    """The surest row of the first of these keys that there is."""
    for key in keys:
        found = [row for row in rows if row.key == key]
        if found:
            return [min(found, key=lambda row: row.sigma)]
    return []


def _said(row: LogRow, unit: str, scale: float = 1.0) -> str:
    return f"{row.log}: {scale * row.value:.4g} ± {scale * row.sigma:.1g} {unit} {row.about}"


def _inertia(rows: Sequence[LogRow], known: Known) -> Iterator[Setting]:
    """What is more or less than assumed is the load's: the rotor's own follows from its parts."""
    load = known.design.load
    row = next(iter(rows), None)
    if row is None or row.assumed is None or abs(row.assumed / known.inertia - 1) > 1e-6:
        return
    reason, assumed = _said(row, "kg·m²"), known.inertia - known.rotor_inertia
    wanted = row.value - known.rotor_inertia
    if wanted <= 0:
        return
    bodies = load.bodies if load is not None else None
    if load is None or not bodies:
        before = None if load is None else load.inertia
        yield Setting("load.inertia_kg_m2", written(wanted), before, reason)
        return
    if wanted >= assumed:
        more = written(load.inertia + wanted - assumed)
        yield Setting("load.inertia_kg_m2", more, load.inertia, f"{reason}; beside the bodies")
        return
    for number, body in enumerate(known.design.document["load"]["bodies"]):
        mass = float(body["mass_g"])
        yield Setting(f"load.bodies.{number}.mass_g", written(mass * wanted / assumed), mass, reason)


def _friction(rows: Sequence[LogRow], known: Known) -> Iterator[Setting]:
    row = next(iter(rows), None)
    if row is None:
        return
    bearing = known.design.bearing
    before = bearing.friction if bearing is not None else 0.0
    value = row.value if row.assumed is None else before + row.value - row.assumed
    if value <= 0:
        return
    yield Setting("bearing.friction_n_m", written(value), before or None, _said(row, "mN·m", 1e3))
    document = known.design.document.get("bearing", {})
    if before > 0 and "standstill_friction_n_m" in document:
        stuck = float(document["standstill_friction_n_m"])
        words = "grown with friction_n_m; a start from rest was not logged"
        yield Setting("bearing.standstill_friction_n_m", written(stuck * value / before), stuck, words)


def _viscous(rows: Sequence[LogRow], known: Known) -> Iterator[Setting]:
    row = next(iter(rows), None)
    if row is None:
        return
    before = known.design.bearing.viscous if known.design.bearing is not None else 0.0
    value = max(before + row.value - (row.assumed or 0.0), 0.0)
    yield Setting("bearing.viscous_n_m_s_per_rad", written(value), before or None, _said(row, "mN·m·s/rad", 1e3))


def _spots(rows: Sequence[LogRow], known: Known) -> Iterator[Setting]:
    """Spots of the logs beside those that were assumed elsewhere."""
    if not rows:
        return
    assumed = known.design.document.get("bearing", {}).get("friction_spots", [])
    found = [
        {"angle_deg": written(row.place[0]), "width_deg": written(row.place[1]), "extra_n_m": written(row.value)}
        for row in rows if row.place is not None
    ]  # fmt: skip
    kept = [dict(spot) for spot in assumed if not any(_near(spot, each) for each in found)]
    spots = sorted([*kept, *found], key=lambda spot: float(spot["angle_deg"]))
    yield Setting("bearing.friction_spots", spots, assumed or None, f"{', '.join({row.log: 0 for row in rows})}")


def _near(spot: dict[str, float], other: dict[str, float]) -> bool:
    apart = abs((spot["angle_deg"] - other["angle_deg"] + 180) % 360 - 180)
    return apart < (spot["width_deg"] + other["width_deg"]) / 2 + 5.0


def _play(rows: Sequence[LogRow], known: Known) -> Iterator[Setting]:
    """The bearing's play, where the design has one; else that between motor and load."""
    row = next(iter(rows), None)
    if row is None or row.value <= 0:
        return
    bearing, load, reason = known.design.bearing, known.design.load, _said(row, "degrees")
    play = load.play if load is not None else 0.0
    rest = radians(row.value) - play
    if bearing is not None and bearing.radial_play > 0 and known.play > play and rest > 0:
        value = bearing.radial_play * rest / (known.play - play)
        yield Setting("bearing.radial_play_mm", written(1e3 * value), written(1e3 * bearing.radial_play), reason)
    else:
        yield Setting("load.play_deg", written(row.value), play or None, reason)


def _sensor(rows: Sequence[LogRow], known: Known) -> Iterator[Setting]:
    """The offset that makes the harmonic of a ring or a chip off centre."""
    drive, row = known.design.drive, next(iter(rows), None)
    if drive is None or row is None:
        return
    size = sin(radians(row.value))
    if drive.sensor_radius is not None:
        offset = size * drive.sensor_radius
    else:
        part = 2 * size / (1 + size)
        offset = drive.sensor_distance * sqrt(part / (3 - part))
    reason = f"{_said(row, 'degrees')}; without the table of corrections"
    yield Setting("drive.sensor_offset_mm", written(1e3 * offset), written(1e3 * drive.sensor_offset), reason)
