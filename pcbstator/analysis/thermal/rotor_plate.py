"""The way of the magnets' heat through the plate that carries them, to its face in the air."""

from __future__ import annotations

from dataclasses import dataclass
from math import pi
from typing import TYPE_CHECKING

from pcbstator.physics.thermal.plate import fin_efficiency

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign

COEFFICIENT = 10.0  # W/(m2 K) of a face in still air with its radiation, for how far heat goes along the plate


@dataclass(frozen=True)
class OuterFace:
    """The face of a plate that looks outwards, as much of it as is warm: outer radius [m], area [m2], resistance from
    the magnets to it for that area [K m2/W], emissivity [-]; capacity: of the plate [J/K]."""

    outer: float
    area: float
    through: float
    grey: float
    capacity: float


def outer_face(design: SizedDesign, magnets: tuple[float, float], heated: float) -> OuterFace | None:
    """The outer face of the plate of one rotor; magnets: their least and largest radius [m]; heated: area by which
    magnets or their steel touch the plate [m2]. None without a plate.

    Through the plate heat goes straight: thickness over conductivity and touched area. Along it, beyond the magnets on
    either side, the plate cools as a fin of its own thickness. Its other face gives off nothing.
    """
    plate = design.rotor.plate
    if plate is None:
        return None
    values, inner, outer = plate.values, plate.inner_diameter / 2, plate.outer_diameter / 2
    near, far = (min(max(radius, inner), outer) for radius in magnets)
    airflow = design.cooling.airflow if design.cooling else None
    sheet, coefficient = values.conductivity * plate.thickness, max(COEFFICIENT, airflow or 0.0)
    area = pi * (far**2 - near**2)
    for begin, end in ((near, inner), (far, outer)):
        if begin != end:
            part = float(fin_efficiency(abs(end - begin), sheet, coefficient))
            area += pi * abs(end**2 - begin**2) * part
    # A steel plate is the steel behind the magnets; a pocket leaves less of the plate behind them.
    resistance = (plate.thickness - plate.pocket) / (values.conductivity * heated)
    volume = pi * (outer**2 - inner**2) * plate.thickness
    return OuterFace(
        outer=outer,
        area=area,
        through=resistance * area,
        grey=values.emissivity,
        capacity=volume * values.density * values.capacity,
    )
