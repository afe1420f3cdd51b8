"""Moves with their current, and coast-downs: inertia and friction with their uncertainty."""

from __future__ import annotations

from collections.abc import Sequence
from math import hypot, pi

import numpy as np

from pcbstator.bench.logs.known import FRICTION_SPREAD, INERTIA_SPREAD, Known
from pcbstator.bench.logs.result import Found, Line, LogRow, Picture, thinned
from pcbstator.bench.readings import CoastDown, Move
from pcbstator.errors import LawRangeError
from pcbstator.physics.drive.identification.motion_fit import (
    CoastDownFit,
    coast_down_fit,
    inertia_from_two,
    move_fit,
)

NOISY = 0.02  # part of the acceleration that noise may make, before it is told


def move_found(reading: Move, known: Known) -> Found:
    """Inertia, friction and viscous friction from torque = J a + T sign(w) + b w."""
    columns = reading.table.columns
    torque = known.torque_constant * columns["terminal_peak"]
    angles = np.unwrap(columns.get("reference", columns["angle"]))
    try:
        fit = move_fit(columns["time"], angles, torque)
    except LawRangeError as error:
        return Found(remarks=(f"{reading.name}: {error}",))
    if fit.inertia <= 0:
        words = "the torque has the other sign than the acceleration: reverse the sign of the current in the log"
        return Found(remarks=(f"{reading.name}: {words}",))
    doubt, remarks = known.torque_sigma, list[str]()
    if fit.noise_share > NOISY:
        remarks.append(f"{reading.name}: noise of the angle makes {100 * fit.noise_share:.0f} % of the acceleration, "
                       "and lowers the inertia by as much; log more rows, or accelerate harder")  # fmt: skip
    if fit.pull > 0:
        remarks.append(f"{reading.name}: a torque that changes with the angle alone, unbalance, stood out and is taken "
                       "off; a slow turn both ways tells its size")  # fmt: skip
    friction = known.values.running or None
    words = f"with {known.torque_from}"
    sigmas = [
        hypot(own, doubt * value)
        for own, value in (
            (fit.inertia_sigma, fit.inertia),
            (fit.friction_sigma, fit.friction),
            (fit.viscous_sigma, fit.viscous),
        )
    ]
    rows = [
        _row(reading, "inertia", "inertia of all that turns", fit.inertia, sigmas[0], "kg·m²", known.inertia,
             INERTIA_SPREAD * known.inertia, words),
        _row(reading, "running_friction", "friction of the move", fit.friction, sigmas[1], "N·m", friction,
             FRICTION_SPREAD * (friction or 0.0), words),
    ]  # fmt: skip
    if fit.viscous > 0:
        assumed = known.values.viscous + known.drag
        rows.append(_row(reading, "viscous_friction", "friction that grows with speed", fit.viscous,
                         sigmas[2], "N·m·s/rad", assumed,
                         FRICTION_SPREAD * max(assumed, 0.1 * fit.viscous), words))  # fmt: skip
    lines = (
        Line("torque of the current", thinned(fit.times), 1e3 * thinned(fit.torques), dots=True),
        Line("inertia and friction", thinned(fit.times), 1e3 * thinned(fit.fitted)),
    )
    picture = Picture("move", f"{reading.name}: torque of the move", "time, s", "mN·m", lines)
    return Found(tuple(rows), (picture,), remarks=tuple(remarks))


def coast_downs_found(readings: Sequence[tuple[CoastDown, Known]], measured: dict[tuple[str, str], LogRow]) -> Found:
    """Friction and drag of all coast-downs. measured: rows of inertia that moves gave, by board and rotor."""
    fits: list[tuple[CoastDown, Known, CoastDownFit]] = []
    remarks = list[str]()
    for reading, known in readings:
        try:
            columns = reading.table.columns
            fits.append((reading, known, coast_down_fit(columns["time"], columns["speed"])))
        except LawRangeError as error:
            remarks.append(f"{reading.name}: {error}")
    rows, pictures = list[LogRow](), list[Picture]()
    for reading, known, fit in fits:
        pair = _pair(reading, fits)
        inertia, sigma, words = _inertia(reading, known, fit, pair, measured, rows, remarks)
        rows += _friction_rows(reading, known, fit, inertia, sigma, words)
        pictures.append(_picture(reading, fit))
    return Found(tuple(rows), tuple(pictures), remarks=tuple(remarks))


def _pair(reading: CoastDown, fits: list[tuple[CoastDown, Known, CoastDownFit]]) -> tuple[float, CoastDownFit] | None:
    """Another coast-down of the same motor with a body added, or for one with a body that without."""
    for other, _, fit in fits:
        same = (other.board, other.rotor, other.with_load) == (reading.board, reading.rotor, reading.with_load)
        if same and (other.added_inertia is None) != (reading.added_inertia is None):
            return (other.added_inertia or reading.added_inertia or 0.0), fit
    return None


def _inertia(
    reading: CoastDown, known: Known, fit: CoastDownFit, pair: tuple[float, CoastDownFit] | None,
    measured: dict[tuple[str, str], LogRow], rows: list[LogRow], remarks: list[str],
) -> tuple[float, float, str]:  # fmt: skip
    """Inertia of what coasts, its standard deviation, and where it comes from."""
    added, assumed = reading.added_inertia or 0.0, known.inertia if reading.with_load else known.rotor_inertia
    if pair is not None:
        alone, loaded = (pair[1], fit) if reading.added_inertia else (fit, pair[1])
        top = float(min(alone.speeds.max(), loaded.speeds.max()))
        try:
            inertia, sigma = inertia_from_two(alone, loaded, pair[0], np.array([0.3, 0.5, 0.7, 0.9]) * top)
        except LawRangeError as error:
            remarks.append(f"{reading.name}: {error}")
        else:
            if not reading.added_inertia:
                rows.append(_row(reading, "inertia", "inertia, from two coast-downs", inertia, sigma, "kg·m²", assumed,
                                 INERTIA_SPREAD * assumed, "with and without the added body"))  # fmt: skip
            return inertia + added, sigma, "with the inertia of both coast-downs"
    moved = measured.get((reading.board, reading.rotor))
    if moved is not None and reading.with_load:
        return moved.value + added, moved.sigma, f"with the inertia of {moved.log}"
    remarks.append(f"{reading.name}: one coast-down gives friction over inertia only; the predicted inertia is used. "
                   "One more with a body of known inertia tells both")  # fmt: skip
    return assumed + added, INERTIA_SPREAD * assumed, "with the predicted inertia"


def _friction_rows(
    reading: CoastDown, known: Known, fit: CoastDownFit, inertia: float, sigma: float, words: str
) -> list[LogRow]:
    doubt = sigma / inertia
    friction = (known.values.running or 0.0) + known.hysteresis
    assumed = (friction if known.values.running > 0 else None, known.values.viscous + known.drag, None)
    told = (
        ("coast_friction", "friction at any speed", "N·m"),
        ("coast_drag", "drag that grows with speed", "N·m·s/rad"),
        ("coast_air_drag", "drag that grows with the square of speed", "N·m·s²/rad²"),
    )
    rows = []
    for (key, about, unit), factor, error, guess in zip(told, fit.factors, fit.sigmas, assumed, strict=True):
        if factor > 0:
            value = inertia * factor
            spread = FRICTION_SPREAD * max(guess or 0.0, 0.1 * value)
            rows.append(_row(reading, key, about, value, hypot(inertia * float(error), doubt * value), unit, guess,
                             spread, words))  # fmt: skip
    return rows


def _row(
    reading: Move | CoastDown, key: str, about: str, value: float, sigma: float, unit: str, assumed: float | None,
    spread: float, words: str,
) -> LogRow:  # fmt: skip
    return LogRow(key, reading.name, about, value, sigma, unit, assumed, spread, False, words,
                  reading.board, reading.rotor)  # fmt: skip


def _picture(reading: CoastDown, fit: CoastDownFit) -> Picture:
    rpm = 30 / pi
    lines = (
        Line("measured", thinned(fit.times), rpm * thinned(fit.speeds), dots=True),
        Line("friction and drag", thinned(fit.times), rpm * thinned(fit.fitted)),
    )
    return Picture("coast", f"{reading.name}: coast-down", "time, s", "rpm", lines)
