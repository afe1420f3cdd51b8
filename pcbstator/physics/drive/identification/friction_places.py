"""Friction over the turn from the torque of a slow turn, and the spots that stand out of it."""

from __future__ import annotations

from dataclasses import dataclass
from math import pi

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pcbstator.errors import LawRangeError
from pcbstator.physics.drive.friction import spot_friction
from pcbstator.physics.drive.identification.linear_fit import linear_fit

FloatArray = NDArray[np.float64]

SMOOTHED = 5  # places over which the speed, and a spot that is looked for, is a mean
SURE = 5.0  # deviations of the other places above their middle
WORTH = 0.08  # of the friction, the least of a spot that is told
MOST_SPOTS = 6
STEPS = 60  # of the search for the place and the width of a spot
FEWEST_PLACES = 24


@dataclass(frozen=True)
class Spot:
    """More friction at a place: middle [rad], width [rad], extra [N m] as ``spot_friction`` has them, and their
    standard deviations.
    """

    middle: float
    width: float
    extra: float
    middle_sigma: float
    width_sigma: float
    extra_sigma: float


@dataclass(frozen=True, eq=False)
class FrictionCurve:
    """Friction [N m] at places of the turn [rad]; level: of the places without a spot, with its standard deviation."""

    places: FloatArray
    friction: FloatArray
    level: float
    level_sigma: float
    spots: tuple[Spot, ...]

    @property
    def fitted(self) -> FloatArray:
        """Level and spots at the places."""
        spots = [(spot.middle, spot.width, spot.extra) for spot in self.spots]
        return self.level + spot_friction(self.places, spots)


def torque_at_places(times: ArrayLike, angles: ArrayLike, torques: ArrayLike, inertia: float, count: int) -> FloatArray:
    """Torque against friction and load at even places of the turn, that of acceleration taken off.

    times: rising (rows,) [s]; angles: turning one way but for noise (rows,) [rad]; torques: of the motor (rows,) [N m];
    inertia: of all that turns [kg m2]; count: of places [-]. Returns (count,) [N m], the mean of several turns, NaN
    where it did not come by; its sign is that of the torque. Source: derived here: J a = J/2 times the slope of the
    squared speed over the angle.

    >>> t = np.linspace(0.0, 7.0, 7000)
    >>> found = torque_at_places(t, t, 0.01 + 0.002 * np.cos(t), 1e-3, 90)
    >>> [round(float(found[at]), 3) for at in (0, 22, 45)]
    [0.012, 0.01, 0.008]
    """
    t, turned, torque = (np.asarray(each, dtype=float) for each in (times, angles, torques))
    if count < FEWEST_PLACES:
        raise LawRangeError(f"friction over the angle needs {FEWEST_PLACES} places of the turn; got {count}")
    sense, step = (1.0 if turned[-1] > turned[0] else -1.0), 2 * pi / count
    gone = np.maximum.accumulate(sense * turned)
    first, last = int(np.ceil(gone[0] / step)), int(np.floor(gone[-1] / step))
    if last - first < FEWEST_PLACES:
        raise LawRangeError(f"friction over the angle needs {FEWEST_PLACES} of {count} places; got {last - first}")
    edges = np.arange(first, last + 1) * step
    # Where noise holds the angle back, its highest value so far comes in steps: only its rises count.
    rises = np.append(True, np.diff(gone) > 0)
    crossed = np.interp(edges, gone[rises], t[rises])
    square = (step / np.maximum(np.diff(crossed), 1e-12)) ** 2
    near = np.ones(SMOOTHED) / SMOOTHED
    padded = np.pad(square, SMOOTHED // 2, mode="edge")
    slope = np.gradient(np.convolve(padded, near, mode="valid"), step)
    at = np.floor(gone / step).astype(np.int64) - first
    inside = (at >= 0) & (at < last - first)
    held = np.bincount(at[inside], minlength=last - first)
    means = np.bincount(at[inside], torque[inside], last - first) / np.where(held > 0, held, np.nan)
    means -= sense * inertia / 2 * slope
    means[: SMOOTHED // 2 + 1] = means[-(SMOOTHED // 2 + 1) :] = np.nan  # the slope is not known at the ends
    place = np.arange(first, last) if sense > 0 else -np.arange(first, last) - 1
    known = np.isfinite(means)
    place = np.mod(place[known], count)
    times_there = np.bincount(place, minlength=count)
    return np.bincount(place, means[known], count) / np.where(times_there > 0, times_there, np.nan)


def friction_curve(friction: ArrayLike) -> FrictionCurve:
    """Level of the friction around the turn, and its spots.

    friction: at even places of the turn, from half a place on (places,) [N m], NaN where unknown. Returns level and
    spots [N m], [rad]. A spot is told where the mean of 5 places is above the middle of all by 5 deviations of the rest
    and by 8 % of it. Its shape is a squared cosine; place and width are those of least squares. LawRangeError below 24
    known places. Source: derived here.

    >>> angles = (np.arange(360) + 0.5) * 2 * np.pi / 360
    >>> rough = 0.01 + spot_friction(angles, [(1.0, 0.3, 0.004)]) + 1e-4 * np.cos(97 * angles)
    >>> spot, = friction_curve(rough).spots
    >>> round(spot.middle, 2), round(spot.width, 2), round(spot.extra, 4)
    (1.0, 0.3, 0.004)
    """
    heights = np.asarray(friction, dtype=float)
    count = len(heights)
    known = np.isfinite(heights)
    if known.sum() < FEWEST_PLACES:
        raise LawRangeError(f"friction over the angle needs {FEWEST_PLACES} places; got {int(known.sum())}")
    places = (np.arange(count) + 0.5) * 2 * pi / count
    left, spots = heights.copy(), list[Spot]()
    for _ in range(MOST_SPOTS):
        found = _largest(places, left, known)
        if found is None or any(_overlap(found, spot) for spot in spots):  # what a spot of another shape leaves
            break
        spots.append(found)
        left = left - spot_friction(places, [(found.middle, found.width, found.extra)])
    rest = linear_fit(np.ones((int(known.sum()), 1)), left[known], neighbours=True)
    order = sorted(spots, key=lambda spot: -spot.extra)
    return FrictionCurve(places[known], heights[known], float(rest.factors[0]), float(rest.deviations[0]), tuple(order))


def _overlap(one: Spot, other: Spot) -> bool:
    away = abs((one.middle - other.middle + pi) % (2 * pi) - pi)
    return away < (one.width + other.width) / 2


def _largest(places: FloatArray, heights: FloatArray, known: NDArray[np.bool_]) -> Spot | None:
    """The spot that stands out most; None where none does."""
    count = len(places)
    filled = np.where(known, heights, 0.0)
    around = np.arange(SMOOTHED) - SMOOTHED // 2
    at = (np.arange(count)[:, None] + around) % count
    smooth = filled[at].sum(axis=1) / np.maximum(known[at].sum(axis=1), 1)
    smooth = np.where(known, smooth, np.nan)
    middle = float(np.nanmedian(smooth))
    spread = 1.4826 * float(np.nanmedian(np.abs(smooth - middle)))
    top = int(np.nanargmax(smooth))
    height = float(smooth[top]) - middle
    if height < max(SURE * spread, WORTH * abs(middle)):
        return None
    above = np.nan_to_num(smooth - middle, nan=0.0) > height / 2
    right = next((k for k in range(1, count // 2) if not above[(top + k) % count]), count // 2)
    left = next((k for k in range(1, count // 2) if not above[(top - k) % count]), count // 2)
    step = 2 * pi / count
    return _shaped(places, heights, known, places[top] + (right - left) / 2 * step, 2 * (right + left - 1) * step)


def _shaped(
    places: FloatArray, heights: FloatArray, known: NDArray[np.bool_], middle: float, width: float
) -> Spot | None:
    """Place, width and extra by steps of Gauss and Newton, each halved until it helps."""
    step = 2 * pi / len(places)
    width = float(np.clip(width, 3 * step, 2 * pi / 3))
    near = known & (np.abs(np.mod(places - middle + pi, 2 * pi) - pi) < max(1.5 * width, 8 * step))
    there, wanted = places[near], heights[near]
    values = np.array([middle, width])

    def columns(at: FloatArray) -> FloatArray:
        return np.column_stack([np.ones_like(there), spot_friction(there, [(at[0], at[1], 1.0)])])

    fit = linear_fit(columns(values), wanted)
    for _ in range(STEPS):
        shifted = [columns(values + delta)[:, 1] for delta in np.eye(2) * step / 8]
        slopes = np.column_stack([(each - columns(values)[:, 1]) / (step / 8) for each in shifted]) * fit.factors[1]
        change = np.linalg.lstsq(np.column_stack([columns(values), slopes]), fit.residuals, rcond=None)[0][2:]
        tried = values + np.clip(change, -width / 4, width / 4)
        tried[1] = np.clip(tried[1], 2 * step, pi)
        better = linear_fit(columns(tried), wanted)
        if better.scatter > fit.scatter * (1 - 1e-9):
            break
        values, fit = tried, better
    slopes = np.column_stack(
        [(columns(values + delta)[:, 1] - columns(values)[:, 1]) for delta in np.eye(2) * step / 8]
    )
    try:
        whole = linear_fit(
            np.column_stack([columns(values), slopes / (step / 8) * fit.factors[1]]), wanted, neighbours=True
        )
    except LawRangeError:
        return None
    sigmas, extra = whole.deviations, float(fit.factors[1])
    if extra <= 0:
        return None
    # A mean over places counts for as much as an even distribution over them.
    middle_sigma = float(np.hypot(sigmas[2], step / 12**0.5))
    width_sigma = float(np.hypot(sigmas[3], SMOOTHED * step / 12**0.5))
    return Spot(float(np.mod(values[0], 2 * pi)), float(values[1]), extra, middle_sigma, width_sigma, float(sigmas[1]))
