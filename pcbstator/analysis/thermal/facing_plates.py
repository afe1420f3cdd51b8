"""The plates that face the board, rotors and steel beyond it, and the narrow gaps between."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from math import pi
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from pcbstator import materials
from pcbstator.analysis.magnetic.rotor_field import magnet_footprint, steel_ring
from pcbstator.analysis.mechanical.rotor import magnet_faces
from pcbstator.analysis.mechanical.rotor_plate import has_own_steel
from pcbstator.analysis.thermal.cooling import cooling_of
from pcbstator.analysis.thermal.rotor_plate import outer_face
from pcbstator.physics.thermal.network import Gap
from pcbstator.physics.thermal.radiation import facing_emissivity

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class FacingPlate:
    """A plate that faces the board: outer radius, area that faces outwards [m2], heat capacity [J/K], side it looks to,
    speed [rad/s], and at each radius [m] the parts of the circle where magnets and anything at all face the board."""

    outer: float
    area: float
    capacity: float
    looks: str
    speed: float
    outside: str  # "open", "covered" or "mount"
    magnets: Callable[[FloatArray], FloatArray]
    anything: Callable[[FloatArray], FloatArray]
    gap: float
    behind: float  # further gap where there is no magnet [m]
    turns: bool
    through: float = 0.0  # from the magnets to the face that looks outwards, for its area [K m2/W]
    grey: float = materials.heat_values().rotor_emissivity  # emissivity of that face [-]


def plate_gap(
    plate: FacingPlate, index: int, edges: FloatArray, area: FloatArray, through: float
) -> tuple[Gap | None, FloatArray]:
    """The gap between the rings and a plate, and the area [m2] of each ring that the plate leaves bare."""
    fine = edges[:-1, None] + np.diff(edges)[:, None] * (np.arange(8) + 0.5) / 8
    magnets = plate.magnets(fine.ravel()).reshape(fine.shape).mean(axis=1)
    anything = np.maximum(plate.anything(fine.ravel()).reshape(fine.shape).mean(axis=1), magnets)
    facing = np.flatnonzero(anything > 1e-6)
    bare = area * (1 - anything)
    if not len(facing):
        return None, bare
    part, full = magnets[facing], anything[facing]
    reach = (part / plate.gap + (full - part) / (plate.gap + plate.behind)) / full
    return Gap(facing, index, area[facing] * full, reach, _grey(), through), bare


@cache
def _grey() -> float:
    """Emissivity of mask and rotor together [-]."""
    mask, metal = materials.laminate().mask_emissivity, materials.heat_values().rotor_emissivity
    return float(facing_emissivity(mask, metal))


def facing_plates(design: SizedDesign) -> list[FacingPlate]:
    """The plates that face the board: the rotor, then the second rotor or the steel beyond the board."""
    rotor, cooling = design.rotor, cooling_of(design)
    heats, footprint = materials.heat_values(), magnet_footprint(design)
    face, _, _ = magnet_faces(design)
    inner, outer = steel_ring(design, footprint)
    pieces = rotor.poles * footprint.segments_per_pole
    edge = float(footprint.breakpoints[-1])

    def magnet_part(radius: FloatArray) -> FloatArray:
        inside = (radius >= footprint.breakpoints[0]) & (radius <= edge)
        safe = np.clip(radius, footprint.breakpoints[0], edge)
        part = (footprint.upper(safe) - footprint.lower(safe)) * pieces / pi
        return np.where(inside, np.clip(part, 0.0, 1.0), 0.0)

    def steel_part(radius: FloatArray) -> FloatArray:
        return np.where((radius >= inner) & (radius <= outer) & (rotor.back_iron > 0), 1.0, 0.0)

    steel = pi * (outer**2 - inner**2)
    heated = steel if rotor.back_iron > 0 and steel > 0 else rotor.poles * face
    back = outer_face(design, (float(footprint.breakpoints[0]), edge), heated) if rotor.plate else None
    mass = rotor.poles * face * rotor.magnet.thickness * materials.neodymium().density
    capacity = mass * heats.magnet_capacity
    if has_own_steel(design):
        capacity += steel * rotor.back_iron * materials.steel_density() * heats.steel_capacity
    capacity += back.capacity if back else 0.0
    sides = {"rotor-up": ("up", "down"), "rotor-down": ("down", "up"), "upright": ("side", "side")}[cooling.orientation]

    def turning(looks: str) -> FacingPlate:
        return FacingPlate(
            outer=back.outer if back else max(outer, edge),
            area=back.area if back else heated,
            capacity=capacity,
            looks=looks,
            speed=cooling.speed or 0.0,
            outside="open",
            magnets=magnet_part,
            anything=steel_part,
            gap=rotor.air_gap,
            behind=rotor.magnet.thickness,
            turns=True,
            **({"through": back.through, "grey": back.grey} if back else {}),
        )

    plates = [turning(sides[0])]
    if rotor.arrangement == "double":
        plates.append(turning(sides[1]))
    elif rotor.stator_iron > 0 and steel > 0:
        plates.append(_stator_iron(design, inner, outer, sides[1]))
    return plates


def _stator_iron(design: SizedDesign, inner: float, outer: float, looks: str) -> FacingPlate:
    """The steel beyond the board, between two radii [m]; looks: the side it looks to."""
    rotor, area = design.rotor, pi * (outer**2 - inner**2)
    return FacingPlate(
        outer=outer,
        area=area,
        capacity=area * rotor.stator_iron * materials.steel_density() * materials.heat_values().steel_capacity,
        looks=looks,
        speed=0.0,
        outside={"open": "open", "covered": "covered", "clamped": "mount"}[cooling_of(design).far_face],
        magnets=np.zeros_like,
        anything=lambda radius: np.where((radius >= inner) & (radius <= outer), 1.0, 0.0),
        gap=rotor.stator_iron_gap,
        behind=0.0,
        turns=False,
    )
