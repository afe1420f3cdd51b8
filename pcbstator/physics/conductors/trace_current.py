"""Current that one isolated track carries, and the clearance that a voltage needs: IPC-2221 and a fit of IPC-2152.

Both current laws are for a single isolated track in still air. A stator is a plate full of hot copper; its heat
balance (pcbstator.physics heat laws) almost always allows less.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pcbstator.errors import LawRangeError
from pcbstator.physics.conductors.resistance import require_positive

FloatArray = NDArray[np.float64]
Condition = Literal["B1", "B2", "B4", "A6"]

MIL = 25.4e-6  # [m]
OUNCE = 1.378 * MIL  # [m], foil of one ounce per square foot

IPC2221_FACTOR = {True: 0.048, False: 0.024}  # external, internal
IPC2221_CURRENT_LIMIT = {True: 35.0, False: 17.5}  # [A] external, internal
IPC2221_WIDTH_LIMIT = 400 * MIL
IPC2221_RISE_RANGE = (10.0, 100.0)  # [K]

# Brooks & Adam 2015, Table 3-1: rise = K I^a W^b Th^c, W and Th in mil.
BROOKS_ADAM_EXTERNAL = (215.3, 2.0, -1.15, -1.00)
BROOKS_ADAM_INTERNAL = np.array(
    [  # ounces, K, a, b; c is -1.52 in every row
        [0.5, 120.0, 2.0, -1.10],
        [1.0, 200.0, 1.9, -1.10],
        [2.0, 300.0, 2.0, -1.15],
        [3.0, 262.5, 1.9, -1.15],
    ]
)
BROOKS_ADAM_INTERNAL_C = -1.52
FOIL_TOLERANCE = 0.03  # 18, 35, 70 and 105 um count as 0.5, 1, 2 and 3 ounces

# IPC-2221 Table 6-1: up to this voltage [V], spacing [mm] per condition; last row: per volt above 500 V.
SPACING_VOLTAGES = (15.0, 30.0, 50.0, 100.0, 150.0, 170.0, 250.0, 300.0, 500.0)
SPACING_MM: dict[str, tuple[float, ...]] = {
    "B1": (0.05, 0.05, 0.1, 0.1, 0.2, 0.2, 0.2, 0.2, 0.25),
    "B2": (0.1, 0.1, 0.6, 0.6, 0.6, 1.25, 1.25, 1.25, 2.5),
    "B4": (0.05, 0.05, 0.13, 0.13, 0.4, 0.4, 0.4, 0.4, 0.8),
    "A6": (0.13, 0.25, 0.4, 0.5, 0.8, 0.8, 0.8, 0.8, 1.5),
}
SPACING_MM_PER_VOLT = {"B1": 0.0025, "B2": 0.005, "B4": 0.00305, "A6": 0.00305}


def _check_ipc2221(current: FloatArray, width: FloatArray, rise: ArrayLike, external: bool) -> None:
    """Raise LawRangeError outside the charts of IPC-2221."""
    low, high = IPC2221_RISE_RANGE
    if not np.all((np.asarray(rise) >= low) & (np.asarray(rise) <= high)):
        raise LawRangeError(f"IPC-2221 holds for a rise of {low:g} to {high:g} K; got {np.asarray(rise)}")
    if np.any(width > IPC2221_WIDTH_LIMIT * (1 + 1e-9)):
        raise LawRangeError(f"IPC-2221 holds for widths to 400 mil (10.16 mm); got {np.max(width) * 1e3:.4g} mm")
    limit = IPC2221_CURRENT_LIMIT[external]
    if np.any(current > limit * (1 + 1e-9)):
        raise LawRangeError(
            f"IPC-2221 holds for {'external' if external else 'internal'} tracks to {limit:g} A; "
            f"got {np.max(current):.4g} A"
        )


def ipc2221_current(
    width: ArrayLike, thickness: ArrayLike, temperature_rise: ArrayLike, external: bool = True
) -> FloatArray:
    """Current that heats an isolated track by the given rise, after IPC-2221.

    width, thickness: (...) [m]; temperature_rise: (...) [K]; external: on a face of the board, else inside [-].
    Returns (...) [A]. Range: rise 10 to 100 K, width to 400 mil, 35 A external and 17.5 A internal, else LawRangeError.
    Source: IPC-2221, 6.2, I = k dT^0.44 A^0.725, A in square mil, k = 0.048 external and 0.024 internal.

    >>> round(float(ipc2221_current(1e-3, 35e-6, 10.0)), 2)
    2.39
    """
    require_positive(width=width, thickness=thickness, temperature_rise=temperature_rise)
    w, t = np.asarray(width, dtype=float), np.asarray(thickness, dtype=float)
    current = IPC2221_FACTOR[external] * np.asarray(temperature_rise) ** 0.44 * (w * t / MIL**2) ** 0.725
    _check_ipc2221(current, w, temperature_rise, external)
    return np.asarray(current)


def ipc2221_width(
    current: ArrayLike, thickness: ArrayLike, temperature_rise: ArrayLike, external: bool = True
) -> FloatArray:
    """Width at which an isolated track heats by the given rise, after IPC-2221.

    current: (...) [A]; thickness: (...) [m]; temperature_rise: (...) [K]; external: on a face, else inside [-].
    Returns (...) [m]. Range: as ipc2221_current. Source: IPC-2221, 6.2, solved for the section A.

    >>> round(float(ipc2221_width(5.0, 70e-6, 20.0)) * 1e3, 2)
    0.91
    """
    require_positive(current=current, thickness=thickness, temperature_rise=temperature_rise)
    amperes = np.asarray(current, dtype=float)
    section = (amperes / (IPC2221_FACTOR[external] * np.asarray(temperature_rise) ** 0.44)) ** (1 / 0.725) * MIL**2
    width = np.asarray(section / np.asarray(thickness, dtype=float))
    _check_ipc2221(amperes, width, temperature_rise, external)
    return width


def _brooks_adam_factors(thickness: FloatArray, external: bool) -> tuple[FloatArray, FloatArray, FloatArray]:
    """K Th^c, a and b for a thickness; between two rows of the table, straight lines in ln Th."""
    mils = thickness / MIL
    if external:
        K, a, b, c = BROOKS_ADAM_EXTERNAL
        return K * mils**c, np.asarray(a), np.asarray(b)
    ounces = thickness / OUNCE
    rows = BROOKS_ADAM_INTERNAL[:, 0]
    if np.any((ounces < rows[0] * (1 - FOIL_TOLERANCE)) | (ounces > rows[-1] * (1 + FOIL_TOLERANCE))):
        raise LawRangeError(
            f"the internal rows of Brooks & Adam run from 0.5 to 3 oz (17.5 to 105 um); got {thickness * 1e6} um"
        )
    nearest = rows[np.argmin(np.abs(np.log(ounces[..., None] / rows)), axis=-1)]
    ounces = np.where(np.abs(ounces / nearest - 1) <= FOIL_TOLERANCE, nearest, ounces)
    K, a, b = (
        np.interp(np.log(ounces), np.log(rows), column)
        for column in (np.log(BROOKS_ADAM_INTERNAL[:, 1]), BROOKS_ADAM_INTERNAL[:, 2], BROOKS_ADAM_INTERNAL[:, 3])
    )
    return np.exp(K) * mils**BROOKS_ADAM_INTERNAL_C, np.asarray(a), np.asarray(b)


def brooks_adam_rise(current: ArrayLike, width: ArrayLike, thickness: ArrayLike, external: bool = True) -> FloatArray:
    """Temperature rise of an isolated track after the fit of Brooks and Adam to the charts of IPC-2152.

    current: (...) [A]; width, thickness: (...) [m]; external: on a face of the board, else inside [-].
    Returns (...) [K]. Range: internal 0.5 to 3 oz (17.5 to 105 um), LawRangeError outside; the table has rows for 0.5,
    1, 2 and 3 oz only: a foil within 3 % of a row uses it, others lie between rows (straight in ln Th; derived here).
    Source: Brooks and Adam, Trace Currents and Temperatures Revisited, 2015, Table 3-1, dT = K I^a W^b Th^c.

    >>> round(float(brooks_adam_rise(5.054, 2.54e-3, 35e-6)), 1)
    20.0
    """
    require_positive(current=current, width=width, thickness=thickness)
    factor, a, b = _brooks_adam_factors(np.asarray(thickness, dtype=float), external)
    return np.asarray(factor * np.asarray(current, dtype=float) ** a * (np.asarray(width, dtype=float) / MIL) ** b)


def brooks_adam_current(
    width: ArrayLike, thickness: ArrayLike, temperature_rise: ArrayLike, external: bool = True
) -> FloatArray:
    """Current that heats an isolated track by the given rise, after the fit of Brooks and Adam to IPC-2152.

    width, thickness: (...) [m]; temperature_rise: (...) [K]; external: on a face of the board, else inside [-].
    Returns (...) [A]. Range: as brooks_adam_rise.
    Source: Brooks and Adam, Trace Currents and Temperatures Revisited, 2015, Table 3-1, solved for I.

    >>> round(float(brooks_adam_current(2.54e-3, 35e-6, 20.0, external=False)), 2)
    5.53
    """
    require_positive(width=width, thickness=thickness, temperature_rise=temperature_rise)
    factor, a, b = _brooks_adam_factors(np.asarray(thickness, dtype=float), external)
    per_unit = factor * (np.asarray(width, dtype=float) / MIL) ** b
    return np.asarray((np.asarray(temperature_rise, dtype=float) / per_unit) ** (1.0 / a))


def ipc2221_spacing(voltage: float, condition: Condition) -> float:
    """Least electrical clearance between two conductors.

    voltage: between the conductors, direct or peak [V]; condition: B1 internal, B2 external uncoated, B4 external under
    permanent coating (solder mask), A6 bare leads [-]. Returns the spacing [m].
    Range: from 0 V, sea level to 3050 m; LawRangeError for a negative voltage or another condition.
    Source: IPC-2221, Table 6-1; above 500 V the table's millimetres per volt are added.

    >>> round(ipc2221_spacing(600.0, "B1") * 1e3, 4)
    0.5
    """
    if condition not in SPACING_MM:
        raise LawRangeError(f"spacing condition must be one of {', '.join(SPACING_MM)}; got {condition!r}")
    if not (np.isfinite(voltage) and voltage >= 0):
        raise LawRangeError(f"voltage between conductors must be finite and not negative; got {voltage:g}")
    spacings = SPACING_MM[condition]
    if voltage > SPACING_VOLTAGES[-1]:
        return 1e-3 * (spacings[-1] + SPACING_MM_PER_VOLT[condition] * (voltage - SPACING_VOLTAGES[-1]))
    return 1e-3 * spacings[int(np.searchsorted(SPACING_VOLTAGES, voltage))]
