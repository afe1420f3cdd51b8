"""Error of a sensor against a reference over the turn, and the table that takes it out."""

from __future__ import annotations

from dataclasses import dataclass
from math import pi

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pcbstator.errors import LawRangeError
from pcbstator.physics.drive.identification.linear_fit import linear_fit

FloatArray = NDArray[np.float64]

MOST_ORDERS = 48
MOST_TURNS = 128  # of a sensor in a turn of the reference, that are named
PLACES = 2048  # of a turn, of which means are taken where there are more rows
FEWEST_ROWS = 8
WIDEST_HOLE = pi / 3  # rad of the turn without a row
CHANCE = 0.01  # that noise alone keeps a harmonic, of all that are tried
TABLES = (32, 64, 128, 256, 512, 1024)
BETWEEN = 0.1  # of what is left, that straight lines between the values of a table may miss


@dataclass(frozen=True)
class Harmonic:
    """Error amplitude · cos(order · reading − phase) [rad]; sigma: standard deviation of the amplitude [rad]."""

    order: int
    amplitude: float
    phase: float
    sigma: float


@dataclass(frozen=True, eq=False)
class SensorCurve:
    """Error of the reading over the reading, its mean left out [rad].

    sense: +1 or −1, of the reading against the reference; table: what to subtract at even readings from 0 on, straight
    lines between; rms and largest error before and after; sigma: standard deviation of the table's values.
    """

    sense: int
    harmonics: tuple[Harmonic, ...]
    tried: int
    readings: FloatArray
    errors: FloatArray
    table: FloatArray
    sigma: float
    rms: float
    largest: float
    rms_after: float
    largest_after: float


def sensor_curve(reference: ArrayLike, sensor: ArrayLike) -> SensorCurve:
    """Harmonics of a sensor's error that stand out of the noise, and the table of corrections made of them.

    reference, sensor: readings at the same places, in any order (rows,) [rad]. Returns errors and table [rad]. As many
    orders are tried as a fifth of the rows allows, 48 at most; one is kept where noise alone would keep any of them
    once in 100. LawRangeError for fewer than 8 rows, a sixth of the turn without a row, or where the two do not turn
    alike. Source: derived here; the test of a harmonic is Fisher's of two factors at once, textbook.

    >>> true = np.arange(180) * 2 * np.pi / 180
    >>> found = sensor_curve(true, true + 0.5 + 0.004 * np.sin(true))
    >>> [(each.order, round(each.amplitude, 4)) for each in found.harmonics[:1]], len(found.table)
    ([(1, 0.004)], 256)
    """
    seen, true = np.asarray(sensor, dtype=float), np.asarray(reference, dtype=float)
    if len(seen) < FEWEST_ROWS:
        raise LawRangeError(f"a sensor's curve needs {FEWEST_ROWS} places round the turn; got {len(seen)}")
    sense, errors = _errors(true, seen)
    readings = np.mod(seen, 2 * pi)
    holes = np.diff(np.sort(readings), append=readings.min() + 2 * pi)
    if holes.max() > WIDEST_HOLE:
        raise LawRangeError(f"a sensor's curve needs the whole turn; {np.degrees(holes.max()):.0f} degrees are missing")
    places, means, weights = _means(readings, errors)
    harmonics, scatter, count = _harmonics(places, means, weights)
    variance = sum(each.sigma**2 for each in harmonics)
    table = _table(harmonics, scatter)
    even = np.arange(len(table) + 1) * 2 * pi / len(table)
    errors = errors - _offset(places, means, harmonics)
    left = errors - np.interp(readings, even, np.append(table, table[0]))
    return SensorCurve(
        sense=sense,
        harmonics=harmonics,
        tried=count,
        readings=readings,
        errors=errors,
        table=table,
        sigma=float(np.sqrt(variance)),
        rms=float(np.sqrt((errors**2).mean())),
        largest=float(np.abs(errors).max()),
        rms_after=float(np.sqrt((left**2).mean())),
        largest_after=float(np.abs(left).max()),
    )


def _errors(true: FloatArray, seen: FloatArray) -> tuple[int, FloatArray]:
    """Sense of the reading, and its errors about their middle."""
    steady = {turns: abs(np.exp(1j * (seen - turns * true)).mean()) for turns in (1, -1)}
    sense = max(steady, key=lambda turns: steady[turns])
    if steady[sense] < 0.9:
        others = [turns for count in range(2, MOST_TURNS) for turns in (count, -count)]
        found = max(others, key=lambda turns: abs(np.exp(1j * (seen - turns * true)).mean()))
        alike = abs(np.exp(1j * (seen - found * true)).mean()) > 0.9
        told = f"the sensor turns {found} times for it" if alike else "they are not alike at all"
        raise LawRangeError(f"sensor and reference must turn once together; {told}")
    apart = np.exp(1j * (seen - sense * true))
    return sense, np.angle(apart / apart.mean())


def _means(readings: FloatArray, errors: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Readings and errors as they are, or their means at even places where there are many, and their weights."""
    if len(readings) <= PLACES:
        return readings, errors, np.ones_like(errors)
    at = np.minimum((readings / (2 * pi) * PLACES).astype(np.int64), PLACES - 1)
    held = np.bincount(at, minlength=PLACES)
    kept = held > 0
    place, mean = (np.bincount(at, each, PLACES)[kept] / held[kept] for each in (readings, errors))
    return place, mean, held[kept].astype(float)


def _columns(places: FloatArray, orders: list[int]) -> FloatArray:
    turned = np.outer(places, orders)
    return np.hstack([np.ones((len(places), 1)), np.cos(turned), np.sin(turned)])


def _harmonics(places: FloatArray, means: FloatArray, weights: FloatArray) -> tuple[tuple[Harmonic, ...], float, int]:
    """Those that stand out, what is left beside them [rad], and how many were tried."""
    count = min(MOST_ORDERS, max(1, (len(places) - 2) // 5))
    root = np.sqrt(weights / weights.mean())[:, None]
    fit = linear_fit(root * _columns(places, list(range(1, count + 1))), root[:, 0] * means)
    freedom = len(places) - 2 * count - 1
    needed = freedom / 2 * ((CHANCE / count) ** (-2 / freedom) - 1)
    ratios = (fit.significance[1 : count + 1] ** 2 + fit.significance[count + 1 :] ** 2) / 2
    kept = [int(order) for order in np.flatnonzero(ratios > needed) + 1]
    fit = linear_fit(root * _columns(places, kept), root[:, 0] * means)
    found = []
    for at, order in enumerate(kept):
        along, across = fit.factors[1 + at], fit.factors[1 + len(kept) + at]
        sigma = float(np.hypot(fit.deviations[1 + at], fit.deviations[1 + len(kept) + at])) / 2**0.5
        found.append(Harmonic(order, float(np.hypot(along, across)), float(np.arctan2(across, along)), sigma))
    return tuple(found), fit.scatter, count


def _offset(places: FloatArray, means: FloatArray, harmonics: tuple[Harmonic, ...]) -> float:
    return float((means - harmonic_sum(places, harmonics)).mean())


def harmonic_sum(readings: ArrayLike, harmonics: tuple[Harmonic, ...]) -> FloatArray:
    """Error that harmonics come to.

    readings: (...) [rad]; harmonics: amplitudes [rad]. Returns (...) [rad]. Source: definition, derived here.

    >>> harmonic_sum([0.0, np.pi / 2], (Harmonic(2, 0.01, 0.0, 0.0),)).round(4).tolist()
    [0.01, -0.01]
    """
    turned = np.asarray(readings, dtype=float)
    parts = [each.amplitude * np.cos(each.order * turned - each.phase) for each in harmonics]
    return np.asarray(sum(parts, np.zeros_like(turned)))


def _table(harmonics: tuple[Harmonic, ...], scatter: float) -> FloatArray:
    """The shortest table whose straight lines miss little beside what is left."""
    whole = sum(each.amplitude for each in harmonics)
    room = BETWEEN * max(scatter, 1e-3 * whole)
    for count in TABLES:
        missed = sum(each.amplitude * (each.order * pi / count) ** 2 / 2 for each in harmonics)
        if missed <= room:
            break
    return harmonic_sum(np.arange(count) * 2 * pi / count, harmonics)
