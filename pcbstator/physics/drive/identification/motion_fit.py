"""Inertia and friction from a move with its torque, and from a rotor that is left alone."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pcbstator.errors import LawRangeError
from pcbstator.physics.drive.identification.linear_fit import LinearFit, linear_fit

FloatArray = NDArray[np.float64]

MOVES = 0.05  # of the highest speed; below it a load may stick
PIECES = (96, 64, 48, 32, 24, 16, 12, 8)  # of the moving time; the longer, the less noise of the angle counts
NOISE_SHARE = 0.003  # of the acceleration's variance that noise of the angle may make: it lowers the inertia by as much
FEWEST_PIECES = 8
FEWEST_ROWS = 8  # of a piece
APART = 0.03  # of the acceleration's square that a pull must leave unexplained, to be told from inertia
SURE = 3.0  # standard deviations from nothing, for a term to be kept
BLOCKS = 4000  # of a coast-down


@dataclass(frozen=True, eq=False)
class MoveFit:
    """Inertia [kg m2], friction [N m] and viscous friction [N m s/rad] with their standard deviations; viscous is 0
    where it did not stand out. noise_share: part of the acceleration's variance that noise of the angle makes.

    pull: of what changes with the angle alone, unbalance, its largest over the turn [N m], 0 where it did not stand
    out. times, torques, fitted: of the pieces [s], [N m].
    """

    inertia: float
    inertia_sigma: float
    friction: float
    friction_sigma: float
    viscous: float
    viscous_sigma: float
    pull: float
    noise_share: float
    times: FloatArray
    torques: FloatArray
    fitted: FloatArray


def move_fit(times: ArrayLike, angles: ArrayLike, torques: ArrayLike) -> MoveFit:
    """Inertia and friction of torque = J a + T sign(w) + b w, by least squares.

    times: rising (rows,) [s]; angles: without jumps (rows,) [rad]; torques: of the motor (rows,) [N m]. Returns
    [kg m2], [N m], [N m s/rad]. Viscous friction, and a pull u cos(angle) + v sin(angle), are fitted where they stand
    out, the pull only where it can be told from inertia: not along one short smooth move. The record is cut into
    pieces, each weighted by (1 − x²)⁴ from end to end, which moves both derivatives from the angle to the weight.
    Pieces that stand or turn round are left out; they are made so long that noise of the angle does not lower the
    inertia. LawRangeError where fewer than 8 pieces move, or where speed and acceleration do not change. Source:
    modulating functions, M. Shinbrot, Trans. ASME 79, 1957 (from memory); derived here.

    >>> t = np.linspace(0.0, 2.0, 2001)
    >>> angle, a = 1.0 - np.cos(np.pi * t / 2), (np.pi / 2) ** 2 * np.cos(np.pi * t / 2)
    >>> fit = move_fit(t, angle, 0.002 * a + 0.01)
    >>> round(fit.inertia, 6), round(fit.friction, 5), fit.viscous
    (0.002, 0.01, 0.0)
    """
    t, angle, torque = (np.asarray(each, dtype=float) for each in (times, angles, torques))
    if len(t) < FEWEST_PIECES * FEWEST_ROWS:
        raise LawRangeError(f"a move needs {FEWEST_PIECES * FEWEST_ROWS} rows; got {len(t)}")
    coarse = np.linspace(t[0], t[-1], min(400, max(3, len(t) // 4)))
    speeds = np.abs(np.diff(np.interp(coarse, t, angle)) / np.diff(coarse))
    top, moving = float(speeds.max()), float((speeds > MOVES * speeds.max()).mean()) * (t[-1] - t[0])
    if top <= 0:
        raise LawRangeError("nothing moves in this record")
    noise = float(np.median(np.abs(np.diff(angle, 3)))) * 1.4826 / 20**0.5
    shortest = FEWEST_ROWS * float(np.median(np.diff(t)))
    found = None
    for pieces in PIECES:
        if (length := moving / pieces) < shortest and pieces != PIECES[-1]:
            continue
        cut = _cut(t, angle, torque, length, top)
        if len(cut.torque) < FEWEST_PIECES:
            continue
        share = float((noise * cut.gain) ** 2 / max(cut.acceleration.var(), 1e-300))
        if found is None or share < found[1]:
            found = cut, share
        if share < NOISE_SHARE:
            break
    if found is None:
        raise LawRangeError(f"fewer than {FEWEST_PIECES} pieces of this record move one way for {FEWEST_ROWS} rows")
    return _fitted(*found)


@dataclass(frozen=True, eq=False)
class _Pieces:
    """Weighted means over pieces; gain: noise of the mean acceleration over that of the angle [1/s2]."""

    times: FloatArray
    angle: FloatArray
    acceleration: FloatArray
    speed: FloatArray
    torque: FloatArray
    gain: float


def _cut(t: FloatArray, angle: FloatArray, torque: FloatArray, length: float, top: float) -> _Pieces:
    at = np.floor((t - t[0]) / length).astype(np.int64)
    count = int(at[-1]) + 1
    step = np.gradient(t)
    place = 2 * ((t - t[0]) / length - at) - 1
    inner = np.clip(1 - place**2, 0.0, None)
    weight = inner**4
    slope = -8 * place * inner**3 * 2 / length
    bend = (48 * place**2 * inner**2 - 8 * inner**3) * 4 / length**2

    def total(values: FloatArray) -> FloatArray:
        return np.bincount(at, values * step, count).astype(float)

    rows = np.maximum(np.bincount(at, minlength=count), 1)
    middle = np.bincount(at, t, count) / rows
    mean = np.bincount(at, angle, count) / rows
    away, apart = t - middle[at], angle - mean[at]
    speed = np.bincount(at, away * apart, count) / np.maximum(np.bincount(at, away**2, count), 1e-300)
    apart -= speed[at] * away
    area = np.maximum(total(weight), 1e-300)
    acceleration = total(bend * apart) / area
    rough = speed - total(slope * apart) / area
    # A piece that turns round or stands within it: its speed at either end would change sign.
    ends = np.minimum(np.abs(rough + acceleration * length / 2), np.abs(rough - acceleration * length / 2))
    one_way = np.abs(acceleration) * length / 2 < np.abs(rough)
    kept = (rows >= FEWEST_ROWS) & (ends > MOVES * top) & one_way
    kept[-1] = False
    full = area > 0.9 * np.median(area[kept]) if kept.any() else kept
    kept &= full
    gains = np.sqrt(np.bincount(at, (bend * step) ** 2, count))[kept] / area[kept]
    gain = float(np.sqrt((gains**2).mean())) if kept.any() else 0.0
    return _Pieces(
        middle[kept], mean[kept], acceleration[kept], rough[kept], (total(weight * torque) / area)[kept], gain
    )


def _fitted(cut: _Pieces, share: float) -> MoveFit:
    plain = np.column_stack([cut.acceleration, np.sign(cut.speed)])
    pull = np.column_stack([np.cos(cut.angle), np.sin(cut.angle)])
    fit, more = linear_fit(plain, cut.torque, neighbours=True), np.empty((len(plain), 0))
    # Along a short smooth move a pull that changes with the angle is like the acceleration itself.
    pulled = _tried(np.hstack([plain, pull]), cut.torque) if _left(cut, pull) > APART else None
    freedom = len(plain) - 4
    if pulled is not None and fit.scatter**2 > pulled.scatter**2 * (1 + 2 * SURE**2 / freedom):
        fit, more = pulled, pull
    viscous = _tried(np.column_stack([plain, more, cut.speed]), cut.torque)
    dragged = viscous is not None and viscous.factors[-1] > SURE * viscous.deviations[-1]
    fit = viscous if viscous is not None and dragged else fit
    return MoveFit(
        inertia=float(fit.factors[0]),
        inertia_sigma=float(np.hypot(fit.deviations[0], share * fit.factors[0])),
        friction=float(fit.factors[1]),
        friction_sigma=float(fit.deviations[1]),
        viscous=float(fit.factors[-1]) if dragged else 0.0,
        viscous_sigma=float(fit.deviations[-1]) if dragged else 0.0,
        pull=float(np.hypot(*fit.factors[2:4])) if more.size else 0.0,
        noise_share=share,
        times=cut.times,
        torques=cut.torque,
        fitted=cut.torque - fit.residuals,
    )


def _left(cut: _Pieces, pull: FloatArray) -> float:
    """Part of the acceleration's square that friction and a pull by the angle could not make."""
    others = np.column_stack([np.sign(cut.speed), pull])
    rest = cut.acceleration - others @ np.linalg.lstsq(others, cut.acceleration, rcond=None)[0]
    return float(rest @ rest / max(cut.acceleration @ cut.acceleration, 1e-300))


@dataclass(frozen=True, eq=False)
class CoastDownFit:
    """Decelerations over the inertia: constant [rad/s2], with the speed [1/s], with its square [1/rad], each 0 where it
    did not stand out; covariance of the three; times [s], speeds and fitted speeds [rad/s] of blocks.
    """

    factors: tuple[float, float, float]
    covariance: FloatArray
    times: FloatArray
    speeds: FloatArray
    fitted: FloatArray

    @property
    def sigmas(self) -> FloatArray:
        """Standard deviations of the three."""
        return np.asarray(np.sqrt(np.diag(self.covariance)))

    def deceleration(self, speed: float) -> tuple[float, float]:
        """At a speed [rad/s]: its value [rad/s2] and its standard deviation."""
        powers = np.array([1.0, speed, speed**2])
        return float(powers @ self.factors), float(np.sqrt(powers @ self.covariance @ powers))


def coast_down_fit(times: ArrayLike, speeds: ArrayLike) -> CoastDownFit:
    """Friction over inertia of J dw/dt = −(T + b w + c w²), by least squares on the speed.

    times: rising (rows,) [s]; speeds: of one sense (rows,) [rad/s]. Returns T/J [rad/s2], b/J [1/s], c/J [1/rad]. Only
    what follows the highest speed counts, down to a fiftieth of it. The equation is summed over time, so that no speed
    is differentiated; terms that are below 0 or below 3 standard deviations are left out, the least sure first.
    LawRangeError for fewer than 8 rows, or where the speed does not fall. Source: derived here, textbook.

    >>> t = np.linspace(0.0, 4.0, 400)
    >>> [round(value, 4) for value in coast_down_fit(t, 50 * np.exp(-0.5 * t)).factors]
    [0.0, 0.5, 0.0]
    """
    t, w = _falling(np.asarray(times, dtype=float), np.asarray(speeds, dtype=float))
    turned, squared = (_sums(t, part) for part in (w, w**2))
    rows = np.column_stack([np.ones_like(t), -t, -turned, -squared])
    kept = [1, 2, 3]
    while True:
        fit = _tried(rows[:, [0, *kept]], w)
        if fit is None:
            kept = kept[:-1]
            continue
        sure = fit.significance[1:]
        if len(kept) == 1 or sure.min() > SURE:
            break
        del kept[int(sure.argmin())]
    factors, covariance = np.zeros(3), np.zeros((3, 3))
    places = np.array(kept) - 1
    factors[places], covariance[np.ix_(places, places)] = fit.factors[1:], fit.covariance[1:, 1:]
    return CoastDownFit((float(factors[0]), float(factors[1]), float(factors[2])), covariance, t, w, w - fit.residuals)


def _tried(columns: FloatArray, values: FloatArray) -> LinearFit | None:
    """The fit; None where the columns cannot be told apart."""
    try:
        return linear_fit(columns, values, neighbours=True)
    except LawRangeError:
        if columns.shape[1] <= 2:
            raise
        return None


def _falling(t: FloatArray, w: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Means of blocks from the highest speed down to a fiftieth of it, times from 0 on."""
    edges = np.linspace(0, len(t), min(BLOCKS, len(t)) + 1).astype(int)
    size = np.diff(edges)
    t, w = np.add.reduceat(t, edges[:-1]) / size, np.add.reduceat(w, edges[:-1]) / size
    w = w if w[np.abs(w).argmax()] > 0 else -w
    start = int(w.argmax())
    low = np.flatnonzero(w[start:] < w[start] / 50)
    t, w = t[start : start + low[0] if low.size else None], w[start : start + low[0] if low.size else None]
    if len(t) < 8:
        raise LawRangeError("a coast-down needs 8 rows from its highest speed down")
    if w[-3:].mean() > 0.9 * w[:3].mean():
        raise LawRangeError("the speed hardly falls in this record")
    return t - t[0], w


def _sums(t: FloatArray, values: FloatArray) -> FloatArray:
    """Integral from the first time on."""
    return np.append(0.0, np.cumsum((values[1:] + values[:-1]) / 2 * np.diff(t)))


def inertia_from_two(alone: CoastDownFit, loaded: CoastDownFit, added: float, speeds: ArrayLike) -> tuple[float, float]:
    """Inertia from two coast-downs, the second with a body of known inertia.

    alone, loaded: fits [SI]; added: inertia of the body [kg m2]; speeds: at which decelerations are held against each
    other (n,) [rad/s]. Returns the inertia without the body and its standard deviation [kg m2]; LawRangeError where the
    body does not slow the fall. Source: derived here: (J + added)/J is the quotient of the decelerations.

    >>> t = np.linspace(0.0, 4.0, 400)
    >>> light, heavy = coast_down_fit(t, 50 * np.exp(-0.5 * t)), coast_down_fit(t, 50 * np.exp(-0.25 * t))
    >>> round(inertia_from_two(light, heavy, 2e-4, [30.0])[0], 8)
    0.0002
    """
    found = []
    for speed in np.atleast_1d(np.asarray(speeds, dtype=float)):
        (fast, fast_sigma), (slow, slow_sigma) = alone.deceleration(float(speed)), loaded.deceleration(float(speed))
        if not fast > slow > 0:
            continue
        quotient = fast / slow
        sigma = quotient * float(np.hypot(fast_sigma / fast, slow_sigma / slow))
        found.append((added / (quotient - 1), added * sigma / (quotient - 1) ** 2))
    if not found:
        raise LawRangeError("the rotor with the added body does not slow down more gently than without it")
    return min(found, key=lambda each: each[1])


def one_way_parts(angles: ArrayLike, least: float) -> list[tuple[int, int]]:
    """Rows from and to which a record turns one way, turns back by less than some angle counted as noise.

    angles: (rows,) [rad]; least: by which it must turn back [rad]. Returns pairs of row numbers, the second beyond the
    last [-]. Source: derived here.

    >>> one_way_parts([0.0, 1.0, 0.99, 2.0, 1.0, 0.0], 0.1)
    [(0, 4), (3, 6)]
    """
    turned = np.asarray(angles, dtype=float)
    blocks = np.unique(np.linspace(0, len(turned) - 1, min(len(turned), 20_000)).astype(int))
    corners, sense, far = [0], 0, 0
    for at in blocks:
        step = turned[at] - turned[far]
        if sense == 0:
            if abs(step) > least:
                sense, far = (1 if step > 0 else -1), int(at)
        elif step * sense > 0:
            far = int(at)
        elif -step * sense > least:
            corners.append(far)
            sense, far = -sense, int(at)
    corners.append(len(turned) - 1)
    return [(low, high + 1) for low, high in pairwise(corners) if high > low]
