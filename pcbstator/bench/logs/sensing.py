"""The sensor against a reference: its error curve with causes named, and the table that takes it out."""

from __future__ import annotations

from math import degrees, sin, sqrt

import numpy as np

from pcbstator.analysis.drive.driver_fit import sensor_error
from pcbstator.bench.logs.known import ERROR_SPREAD, Known
from pcbstator.bench.logs.result import CorrectionTable, Found, Line, LogRow, Picture, thinned
from pcbstator.bench.readings import Sensor
from pcbstator.errors import LawRangeError
from pcbstator.physics.drive.identification.sensor_table import Harmonic, SensorCurve, harmonic_sum, sensor_curve

LISTED = 6  # harmonics that get a row


def sensor_found(reading: Sensor, known: Known) -> Found:
    """Error curve and table of a sensor at the load; of one behind a gear it is told in turns of the sensor."""
    columns = reading.table.columns
    try:
        curve = sensor_curve(columns["reference"], columns["sensor"])
    except LawRangeError as error:
        return Found(remarks=(f"{reading.name}: {error}",))
    remarks = []
    if curve.sense < 0:
        remarks.append(f"{reading.name}: the reading falls where the reference rises: turn the sensor's sense")
    if len(columns["sensor"]) < 12:
        remarks.append(f"{reading.name}: fewer than twelve places: only once per turn is told")
    if not curve.harmonics:
        remarks.append(
            f"{reading.name}: no harmonic stands out of {degrees(curve.rms):.2g} degrees rms: no table is needed"
        )
    largest = sorted(curve.harmonics, key=lambda each: -each.amplitude)[:LISTED]
    rows = tuple(_row(reading, known, each) for each in largest)
    return Found(
        rows, (_picture(reading, curve),), (_table(reading, curve),) if curve.harmonics else (), tuple(remarks)
    )


def _row(reading: Sensor, known: Known, harmonic: Harmonic) -> LogRow:
    drive = known.design.drive
    ring = drive is not None and drive.sensor_radius is not None
    eccentric = drive is not None and harmonic.order == (1 if ring else 2)
    assumed = sensor_error(drive) if drive is not None and eccentric else 0.0 if drive is not None else None
    spread = ERROR_SPREAD * (assumed or 0.0) + (0.1 * sensor_error(drive) if drive is not None else 0.0)
    spread = max(spread, 0.5 * np.pi / drive.counts if drive is not None else 0.0)
    key = {1: "sensor_once_per_turn", 2: "sensor_twice_per_turn"}.get(harmonic.order, "sensor_harmonic")
    return LogRow(
        key, reading.name, f"sensor's error {harmonic.order} per turn: {_cause(known, harmonic.order)}",
        degrees(harmonic.amplitude), degrees(harmonic.sigma), "deg", None if assumed is None else degrees(assumed),
        degrees(spread), True, _shift(known, harmonic), reading.board, reading.rotor,
    )  # fmt: skip


def _cause(known: Known, order: int) -> str:
    poles = known.pole_pairs
    if order == 1:
        return "ring, marks or reference off centre"
    if order == 2:
        return "tilt, an oval ring, or a chip off the centre of its magnet"
    if order % poles == 0:
        return "field of the rotor's own magnets, or of the currents, at the sensor"
    return "marks or poles of the sensor, interpolation between them"


def _shift(known: Known, harmonic: Harmonic) -> str:
    """How far off centre that is, where the sensor's kind is known."""
    drive = known.design.drive
    if drive is None:
        return ""
    if harmonic.order == 1 and drive.sensor_radius is not None:
        # The ring's error is offset/radius · sin(angle from where its middle is towards the head).
        offset, place = sin(harmonic.amplitude) * drive.sensor_radius, degrees(harmonic.phase) - 90
        return (f"the ring is {1e3 * offset:.3g} ± {1e3 * harmonic.sigma * drive.sensor_radius:.1g} mm off centre, "
                f"towards the head where the sensor reads {place % 360:.0f} degrees")  # fmt: skip
    if harmonic.order == 2 and drive.sensor_radius is None and harmonic.amplitude < 0.7:
        part = 2 * sin(harmonic.amplitude) / (1 + sin(harmonic.amplitude))
        offset = drive.sensor_distance * sqrt(part / (3 - part))
        return f"a chip {1e3 * offset:.3g} mm off the axis would do that"
    return ""


def _table(reading: Sensor, curve: SensorCurve) -> CorrectionTable:
    return CorrectionTable(
        log=reading.name,
        values=np.degrees(curve.table),
        sigma=degrees(curve.sigma),
        rms_before=degrees(curve.rms),
        rms_after=degrees(curve.rms_after),
        largest_before=degrees(curve.largest),
        largest_after=degrees(curve.largest_after),
        harmonics=tuple(
            (each.order, degrees(each.amplitude), degrees(each.sigma), degrees(each.phase)) for each in curve.harmonics
        ),
    )


def _picture(reading: Sensor, curve: SensorCurve) -> Picture:
    order = np.argsort(curve.readings)
    x, y = curve.readings[order], curve.errors[order]
    fitted = harmonic_sum(x, curve.harmonics)
    lines = (
        Line("sensor less reference", np.degrees(thinned(x)), np.degrees(thinned(y)), dots=True),
        Line("harmonics that stand out", np.degrees(thinned(x)), np.degrees(thinned(fitted))),
        Line("what is left", np.degrees(thinned(x)), np.degrees(thinned(y - fitted)), dots=True),
    )
    return Picture("sensor", f"{reading.name}: error of the sensor", "reading of the sensor, degrees", "degrees", lines)
