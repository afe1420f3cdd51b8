"""Resistance and mass of copper: tracks, tapers, via barrels and parallel paths."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pcbstator.errors import LawRangeError

FloatArray = NDArray[np.float64]

COPPER_RESISTIVITY = 1.7241e-8  # [ohm m] at 20 degC, 100 % IACS, IEC 60028
COPPER_TEMPERATURE_COEFFICIENT = 0.00393  # [1/K] referred to 20 degC, IEC 60028
COPPER_DENSITY = 8890.0  # [kg/m3] at 20 degC, IEC 60028
COLDEST, HOTTEST = -100.0, 300.0  # [degC] where the straight line in temperature is trusted


def require_positive(**quantities: ArrayLike) -> None:
    """Raise LawRangeError unless every named array is finite and above zero; the names go into the message.

    quantities: (...) [any unit]. Returns nothing [-]. Source: derived here.

    >>> require_positive(width=1e-3)
    """
    for name, value in quantities.items():
        if isinstance(value, float) and 0.0 < value < np.inf:
            continue  # most are plain numbers
        array = np.asarray(value, dtype=float)
        sound = (array > 0) & (array < np.inf)
        if not sound.all():
            raise LawRangeError(f"{name} must be finite and above zero; got {array[~sound].flat[0]:g}")


def conductor_resistivity(temperature_c: ArrayLike) -> FloatArray:
    """Resistivity of annealed copper, a straight line in temperature.

    temperature_c: (...) [degC]. Returns (...) [ohm m].
    Range: -100 to 300 degC, LawRangeError outside. Source: IEC 60028, rho = rho20 (1 + alpha (T - 20 degC)).

    >>> float(conductor_resistivity(20.0))
    1.7241e-08
    """
    temperature = np.asarray(temperature_c, dtype=float)
    if not ((temperature >= COLDEST) & (temperature <= HOTTEST)).all():
        raise LawRangeError(f"copper temperature must lie in {COLDEST:g} to {HOTTEST:g} degC; got {temperature}")
    return np.asarray(COPPER_RESISTIVITY * (1.0 + COPPER_TEMPERATURE_COEFFICIENT * (temperature - 20.0)))


def track_resistance(
    lengths: ArrayLike, width: ArrayLike, thickness: ArrayLike, temperature_c: ArrayLike = 20.0
) -> FloatArray:
    """Resistance of each track of constant width.

    lengths: (...) [m], zero allowed; width, thickness: broadcast with lengths [m]; temperature_c: [degC].
    Returns (...) [ohm]. Range: direct current, widths far below lengths (a corner counts with its centre-line);
    LawRangeError for a width or thickness that is not positive or a negative length.
    Source: R = rho l / (w t), definition of resistivity, IEC 60028.

    >>> round(float(track_resistance(0.1, 1e-3, 35e-6)) * 1e3, 2)
    49.26
    """
    require_positive(width=width, thickness=thickness)
    length = np.asarray(lengths, dtype=float)
    if not (length >= 0).all():
        raise LawRangeError(f"track length must not be negative; got {np.min(length):g}")
    section = np.asarray(width, dtype=float) * np.asarray(thickness, dtype=float)
    return np.asarray(conductor_resistivity(temperature_c) * length / section)


def tapered_track_resistance(
    length: ArrayLike,
    start_width: ArrayLike,
    end_width: ArrayLike,
    thickness: ArrayLike,
    temperature_c: ArrayLike = 20.0,
) -> FloatArray:
    """Resistance of a track whose width changes linearly from end to end.

    length: (...) [m]; start_width, end_width, thickness: [m]; temperature_c: [degC]. Returns (...) [ohm].
    Range: gentle tapers (current spreads at once), widths positive, else LawRangeError.
    Source: derived here, R = rho l / (t w_m) with the logarithmic mean width w_m = (w2 - w1) / ln(w2 / w1).

    >>> round(float(tapered_track_resistance(0.1, 1e-3, 2e-3, 35e-6)) * 1e3, 3)
    34.144
    """
    require_positive(start_width=start_width, end_width=end_width)
    start, end = np.asarray(start_width, dtype=float), np.asarray(end_width, dtype=float)
    growth = (end - start) / start
    level = np.abs(growth) < 1e-9  # ln(1 + x) / x tends to 1 - x / 2
    shortening = np.where(level, 1.0 - growth / 2, np.log1p(growth) / np.where(level, 1.0, growth))
    return np.asarray(track_resistance(length, start, thickness, temperature_c) * shortening)


def via_resistance(
    drill: ArrayLike, plating: ArrayLike, length: ArrayLike, temperature_c: ArrayLike = 20.0
) -> FloatArray:
    """Resistance of a plated barrel along its axis; the plating lies inside the drilled diameter.

    drill, plating, length: (...) [m]; temperature_c: [degC]. Returns (...) [ohm].
    Range: 0 < plating <= drill / 2, else LawRangeError. Source: derived here, R = rho l / (pi t (d - t)).

    >>> round(float(via_resistance(0.3e-3, 20e-6, 1.6e-3)) * 1e3, 3)
    1.568
    """
    require_positive(drill=drill, plating=plating)
    d, t = np.asarray(drill, dtype=float), np.asarray(plating, dtype=float)
    if np.any(2 * t > d):
        raise LawRangeError(f"via plating must not exceed half the drill; got plating {t} m in drill {d} m")
    return track_resistance(length, np.pi * (d - t), t, temperature_c)


def copper_mass(volume: ArrayLike) -> FloatArray:
    """Mass of solid copper.

    volume: (...) [m3], not negative, else LawRangeError. Returns (...) [kg]. Source: IEC 60028, 8890 kg/m3 at 20 degC.

    >>> round(float(copper_mass(1e-6)) * 1e3, 2)
    8.89
    """
    space = np.asarray(volume, dtype=float)
    if not np.all(space >= 0):
        raise LawRangeError(f"copper volume must not be negative; got {space}")
    return np.asarray(COPPER_DENSITY * space)


@dataclass(frozen=True, eq=False)
class PathNetwork:
    """Phases of parallel paths that share pieces, seen from their ends.

    resistance: (phases, phases) [ohm], drop along each phase per current of each, the others without current in all.
    shares: (phases, paths) [-], current of every path per current of each phase.
    """

    resistance: FloatArray
    shares: FloatArray


def path_network(matrix: ArrayLike, phase: ArrayLike) -> PathNetwork:
    """How the currents of the phases divide between their paths, and what drops along them.

    matrix: (n, n) [ohm], R_ij = resistance of the pieces that paths i and j both run through, less that of those they
    run through against each other, R_ii the whole path. phase: (n,) [-], number from 0 of the phase of each path; the
    paths of a phase begin together and end together. Returns a PathNetwork [ohm, -].
    Range: symmetric and positive definite (each path has a piece of its own), else LawRangeError.
    Source: derived here. Along every path of a phase the drops add to the same voltage, R i = A' U with A_kj = 1 where
    path j is of phase k, and A i = I: U = (A R^-1 A')^-1 I and i = R^-1 A' U. In a delta nothing else lets the current
    of one phase be told from that of the others; with the phases alike it is what a balanced load does.

    >>> star = path_network([[2.0, 0.0, 0.5], [0.0, 6.0, 0.5], [0.5, 0.5, 3.0]], [0, 0, 1])
    >>> star.resistance.round(4).tolist(), star.shares.round(4).tolist()
    ([[1.5, 0.5], [0.5, 3.0]], [[0.75, 0.25, 0.0], [0.0, 0.0, 1.0]])
    """
    shared, number = np.atleast_2d(np.asarray(matrix, dtype=float)), np.asarray(phase)
    square = shared.ndim == 2 and shared.shape[0] == shared.shape[1]
    scale = np.sqrt(np.abs(np.diag(shared))) if square else np.zeros(0)
    if not square or np.any(np.abs(shared - shared.T) > 1e-9 * np.outer(scale, scale)):
        raise LawRangeError("the matrix of shared resistances must be square and symmetric")
    if not np.all(scale > 0) or np.linalg.eigvalsh(shared / np.outer(scale, scale))[0] < 1e-12:
        raise LawRangeError("every parallel path needs resistance of its own: the matrix must be positive definite")
    belongs = (np.arange(number.max() + 1)[:, None] == number).astype(float)
    along = np.linalg.solve(shared, belongs.T).T
    resistance = np.linalg.inv(along @ belongs.T)
    resistance = (resistance + resistance.T) / 2
    return PathNetwork(resistance, resistance @ along)
