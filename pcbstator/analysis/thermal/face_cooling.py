"""What a face in air gives off over its temperature: still or moving air, a turning disc's own air, radiation.

Tables depend on few numbers, which many designs of a search share: they are kept.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from pcbstator.physics.thermal.convection import (
    DISC_LAMINAR,
    DOWN_MOST,
    FLAT_MOST,
    VERTICAL_LIMIT,
    air_conductivity,
    air_prandtl,
    air_viscosity,
    churchill_chu_vertical_nusselt,
    flat_hot_side_down_nusselt,
    flat_hot_side_up_nusselt,
    rayleigh_number,
    turning_disc_coefficient,
)
from pcbstator.physics.thermal.radiation import radiation_coefficient

FloatArray = NDArray[np.float64]

KNOTS = 129
TABLE_END_C = 320.0  # a little beyond what the copper law allows
SURFACE_END_C = 330.0


@dataclass(frozen=True, eq=False)
class _StillAir:
    """Air between ambient and surfaces at KNOTS temperatures [C], ever further apart: its values at the mean of both,
    Rayleigh number for a length of 1 m, and what a black surface radiates [W/(m2 K)]."""

    surface: FloatArray
    mean: FloatArray
    conductivity: FloatArray
    prandtl: FloatArray
    viscosity: FloatArray
    rayleigh: FloatArray
    black: FloatArray


@lru_cache(maxsize=64)
def _still_air(ambient: float) -> _StillAir:
    surface = ambient + (SURFACE_END_C - ambient) * np.linspace(0.0, 1.0, KNOTS) ** 2
    mean = (surface + ambient) / 2
    values = (
        surface, mean, air_conductivity(mean), air_prandtl(mean), air_viscosity(mean),
        rayleigh_number(surface, ambient, 1.0), radiation_coefficient(surface, ambient, 1.0),
    )  # fmt: skip
    return _StillAir(*map(_frozen, values))


def _frozen(values: FloatArray) -> FloatArray:
    """Values that are shared and that nobody may change."""
    values.flags.writeable = False
    return values


@lru_cache(maxsize=1024)
def face_flux(
    ambient: float,
    airflow: float | None,
    looks: str,
    size: float,
    emissivity: float,
    through: float,
    speed: float,
    outer: float,
) -> FloatArray:
    """Flux [W/m2] from a node behind ``through`` [K m2/W] of laminate, at KNOTS even rises above ambient [C].

    airflow: coefficient of moving air instead of still air [W/(m2 K)]. looks: "up", "down" or "side"; size: the length
    of that law [m]. speed: of a face that turns [rad/s], with its outer radius [m].

    Outside the laminar range of a correlation its value at the limit is kept, which is less than turbulent air takes.
    """
    air = _still_air(ambient)
    if airflow is not None:
        h = np.full(KNOTS, airflow)
    else:
        ra = air.rayleigh * size**3
        if looks == "side":
            number = churchill_chu_vertical_nusselt(np.minimum(ra, VERTICAL_LIMIT), air.prandtl)
        elif looks == "up":
            number = flat_hot_side_up_nusselt(np.minimum(ra, FLAT_MOST))
        else:
            number = flat_hot_side_down_nusselt(np.minimum(ra, DOWN_MOST))
        h = number * air.conductivity / size
    if speed > 0:
        laminar = np.minimum(speed, DISC_LAMINAR * air.viscosity / outer**2)
        h = np.maximum(h, turning_disc_coefficient(laminar, outer, air.mean))
    rise = air.surface - ambient
    flux = (h + emissivity * air.black) * rise
    even = (TABLE_END_C - ambient) * np.linspace(0.0, 1.0, KNOTS)
    return _frozen(np.interp(even, rise + through * flux, flux))
