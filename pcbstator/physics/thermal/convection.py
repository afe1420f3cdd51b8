"""Heat from surfaces to air: still air along upright and flat plates, a turning disc, air shut in a narrow gap.

Each law gives a Nusselt number or a coefficient for one surface at one temperature; the laws are means over a plate of
one temperature, and none is better than 10 to 20 %. Air is dry and at sea level.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pcbstator.constants import CELSIUS_ZERO, STANDARD_GRAVITY
from pcbstator.errors import LawRangeError
from pcbstator.physics.conductors.resistance import require_positive

FloatArray = NDArray[np.float64]

PRESSURE = 101325.0  # [Pa]
GAS_CONSTANT = 287.05  # [J/(kg K)], dry air
HEAT_CAPACITY = 1007.0  # [J/(kg K)], constant pressure, within 0.7 % from -50 to 300 degC
AIR_RANGE = (-60.0, 350.0)  # [degC]

VERTICAL_LIMIT = 1e9  # Rayleigh number where the boundary layer of an upright plate turns turbulent
FLAT_LEAST, FLAT_LAMINAR, FLAT_JOINED, FLAT_MOST = 1.0, 1e7, 1e8, 1e11
DOWN_MOST = 1e10
DISC_LAMINAR = 2.4e5  # rotational Reynolds number


def _in_range(name: str, value: FloatArray, low: float, high: float) -> None:
    """Raise LawRangeError unless all of ``value`` lies within the bounds."""
    if not np.all((value >= low) & (value <= high)):
        raise LawRangeError(f"{name} must lie in {low:g} to {high:g}; got {np.min(value):g} to {np.max(value):g}")


def air_conductivity(temperature_c: ArrayLike) -> FloatArray:
    """Thermal conductivity of dry air.

    temperature_c: (...) [degC]. Returns (...) [W/(m K)]. Range: -60 to 350 degC, else LawRangeError.
    Source: Sutherland's form with k0 = 0.0241 W/(m K) at 0 degC and S = 194 K (White, Viscous Fluid Flow, from memory).

    >>> round(float(air_conductivity(26.85)), 4)  # handbook tables: 0.0263
    0.0262
    """
    temperature = np.asarray(temperature_c, dtype=float)
    _in_range("air temperature [degC]", temperature, *AIR_RANGE)
    ratio = (temperature + CELSIUS_ZERO) / CELSIUS_ZERO
    return np.asarray(0.0241 * ratio * np.sqrt(ratio) * (CELSIUS_ZERO + 194.0) / (CELSIUS_ZERO * ratio + 194.0))


def air_viscosity(temperature_c: ArrayLike) -> FloatArray:
    """Kinematic viscosity of dry air at sea level.

    temperature_c: (...) [degC]. Returns (...) [m2/s]. Range: -60 to 350 degC, else LawRangeError.
    Source: Sutherland's form with 1.716e-5 Pa s at 0 degC and S = 110.4 K (White, Viscous Fluid Flow, from memory),
    over the density of an ideal gas.

    >>> round(float(air_viscosity(26.85)) * 1e6, 1)  # handbook tables: 15.9
    15.7
    """
    temperature = np.asarray(temperature_c, dtype=float)
    _in_range("air temperature [degC]", temperature, *AIR_RANGE)
    kelvin = temperature + CELSIUS_ZERO
    ratio = kelvin / CELSIUS_ZERO
    dynamic = 1.716e-5 * ratio * np.sqrt(ratio) * (CELSIUS_ZERO + 110.4) / (kelvin + 110.4)
    return np.asarray(dynamic * GAS_CONSTANT * kelvin / PRESSURE)


def air_prandtl(temperature_c: ArrayLike) -> FloatArray:
    """Prandtl number of dry air.

    temperature_c: (...) [degC]. Returns (...) [-]. Range: -60 to 350 degC, else LawRangeError.
    Source: definition, dynamic viscosity times heat capacity (1007 J/(kg K)) over conductivity.

    >>> round(float(air_prandtl(26.85)), 2)
    0.71
    """
    kelvin = np.asarray(temperature_c, dtype=float) + CELSIUS_ZERO
    density = PRESSURE / (GAS_CONSTANT * kelvin)
    return np.asarray(density * air_viscosity(temperature_c) * HEAT_CAPACITY / air_conductivity(temperature_c))


def rayleigh_number(surface_c: ArrayLike, ambient_c: ArrayLike, length: ArrayLike) -> FloatArray:
    """Rayleigh number of a surface in still air, air values at the mean of both temperatures.

    surface_c, ambient_c: (...) [degC]; length: (...) the law's own length [m]. Returns (...) [-].
    Range: mean temperature -60 to 350 degC, length above 0, else LawRangeError.
    Source: definition, g |dT| L^3 Pr / (T_mean nu^2) for an ideal gas.

    >>> round(float(rayleigh_number(60.0, 20.0, 0.1)) / 1e6, 1)
    3.1
    """
    require_positive(length=length)
    surface, ambient = np.asarray(surface_c, dtype=float), np.asarray(ambient_c, dtype=float)
    mean = (surface + ambient) / 2
    drive = STANDARD_GRAVITY * np.abs(surface - ambient) / (mean + CELSIUS_ZERO)
    return np.asarray(drive * np.asarray(length) ** 3 * air_prandtl(mean) / air_viscosity(mean) ** 2)


def churchill_chu_vertical_nusselt(rayleigh: ArrayLike, prandtl: ArrayLike = 0.71) -> FloatArray:
    """Mean Nusselt number of an upright plate in laminar still air; its length is the plate's height.

    rayleigh: (...) [-]; prandtl: (...) [-]. Returns (...) [-]. Range: 0 to 1e9, else LawRangeError.
    Source: Churchill and Chu 1975, laminar form, 0.68 + 0.670 Ra^(1/4) / [1 + (0.492/Pr)^(9/16)]^(4/9).

    >>> round(float(churchill_chu_vertical_nusselt(3.06e6)), 1)
    22.2
    """
    ra = np.asarray(rayleigh, dtype=float)
    _in_range("Rayleigh number of an upright plate", ra, 0.0, VERTICAL_LIMIT)
    blend = (1 + (0.492 / np.asarray(prandtl)) ** (9 / 16)) ** (4 / 9)
    return np.asarray(0.68 + 0.670 * np.sqrt(np.sqrt(ra)) / blend)


def flat_hot_side_up_nusselt(rayleigh: ArrayLike) -> FloatArray:
    """Mean Nusselt number of a flat plate whose hot side looks up; its length is area over perimeter.

    rayleigh: (...) [-]. Returns (...) [-]. Range: 0 to 1e11, else LawRangeError. 0.54 Ra^(1/4) from 1e4 to 1e7 and 0.15
    Ra^(1/3) from 1e8; a straight line in logarithms joins them (derived here: up to 6 % below the printed law, which
    has a step at 1e7). Below 1e4 the first law is kept: Goldstein, Sparrow and Jones 1973 found 0.59 Ra^(1/4) down to
    200 and more below, so it is on the safe side by 8 % or more. Source: McAdams; Lloyd and Moran 1974.

    >>> round(float(flat_hot_side_up_nusselt(1e6)), 2)
    17.08
    """
    ra = np.asarray(rayleigh, dtype=float)
    _in_range("Rayleigh number of a flat plate", ra, 0.0, FLAT_MOST)
    fourth = 0.54 * np.sqrt(np.sqrt(ra))
    if ra.size == 0 or ra.max() <= FLAT_LAMINAR:
        return np.asarray(fourth)
    ends = np.log([0.54 * FLAT_LAMINAR**0.25, 0.15 * FLAT_JOINED ** (1 / 3)])
    between = np.exp(np.interp(np.log(np.maximum(ra, FLAT_LEAST)), np.log([FLAT_LAMINAR, FLAT_JOINED]), ends))
    return np.asarray(np.where(ra <= FLAT_LAMINAR, fourth, np.where(ra < FLAT_JOINED, between, 0.15 * np.cbrt(ra))))


def flat_hot_side_down_nusselt(rayleigh: ArrayLike) -> FloatArray:
    """Mean Nusselt number of a flat plate whose hot side looks down; its length is area over perimeter.

    rayleigh: (...) [-]. Returns (...) [-]. Range: 0 to 1e10, else LawRangeError. Printed from 1e5; below, the law is
    kept, because the newer 0.52 Ra^(1/5) of Radziemska and Lewandowski 2001 (1e4 to 1e9) lies above it there: on the
    safe side. Source: McAdams, 0.27 Ra^(1/4).

    >>> round(float(flat_hot_side_down_nusselt(1e6)), 2)
    8.54
    """
    ra = np.asarray(rayleigh, dtype=float)
    _in_range("Rayleigh number of a flat plate", ra, 0.0, DOWN_MOST)
    return np.asarray(0.27 * np.sqrt(np.sqrt(ra)))


def turning_disc_coefficient(speed: ArrayLike, radius: ArrayLike, air_c: ArrayLike) -> FloatArray:
    """Mean heat transfer coefficient of a disc that turns in still air, laminar.

    speed: (...) [rad/s]; radius: (...) of the outer edge [m]; air_c: (...) mean of disc and air [degC]. Returns (...)
    [W/(m2 K)], the same over the whole disc. Range: speed not negative, rotational Reynolds number (speed radius^2 over
    viscosity) up to 2.4e5, else LawRangeError; beyond, turbulent air takes more.
    Source: Cobb and Saunders 1956, Nu = 0.36 Re^(1/2) (from memory).

    >>> round(float(turning_disc_coefficient(100.0, 0.05, 40.0)), 1)
    23.8
    """
    require_positive(radius=radius)
    omega, nu = np.asarray(speed, dtype=float), air_viscosity(air_c)
    reynolds = omega * np.asarray(radius) ** 2 / nu
    _in_range("rotational Reynolds number of a laminar disc", reynolds, 0.0, DISC_LAMINAR * (1 + 1e-9))
    return np.asarray(0.36 * air_conductivity(air_c) * np.sqrt(omega / nu))


def still_gap_coefficient(gap: ArrayLike, air_c: ArrayLike) -> FloatArray:
    """Conduction through a gap of still air, the least that such a gap passes on.

    gap: (...) [m]; air_c: (...) mean of both faces [degC]. Returns (...) [W/(m2 K)]. Range: gap above 0, air -60 to 350
    degC, else LawRangeError. Air that moves, by itself in gaps of a centimetre or driven by a rotor, takes more.
    Source: definition, k / gap.

    >>> round(float(still_gap_coefficient(1e-3, 40.0)), 1)
    27.2
    """
    require_positive(gap=gap)
    return np.asarray(air_conductivity(air_c) / np.asarray(gap, dtype=float))
