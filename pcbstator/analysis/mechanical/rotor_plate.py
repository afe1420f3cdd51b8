"""The plate of a rotor: its mass and inertia, and how far it bends under pull and weight."""

from __future__ import annotations

from dataclasses import dataclass
from math import pi
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from pcbstator import materials
from pcbstator.analysis.magnetic.rotor_field import steel_ring
from pcbstator.constants import STANDARD_GRAVITY
from pcbstator.physics.magnetics.magnet_pattern import Footprint
from pcbstator.physics.mechanics.plate import flexural_rigidity, plate_deflection

if TYPE_CHECKING:
    from pcbstator.design import Design, SizedDesign

FloatArray = NDArray[np.float64]

PLACES = 41  # radii of the magnets at which the plate's deflection is looked up


@dataclass(frozen=True)
class Bending:
    """Deflection of a plate under its magnets: per force on them [m/N], and by the weight of all, axis upright [m]; the
    mean over the magnets, and the most.
    """

    mean: float = 0.0
    most: float = 0.0
    weight_mean: float = 0.0
    weight_most: float = 0.0


def has_own_steel(design: Design) -> bool:
    """Whether the steel behind the magnets is a part of its own, none of the plate."""
    plate = design.rotor.plate
    return design.rotor.back_iron > 0 and (plate is None or plate.material != "steel")


def plate_body(design: SizedDesign, footprint: Footprint, face: float, gyration: float) -> tuple[float, float]:
    """Mass [kg] and inertia [kg m2] of one plate; face: of one magnet [m2]; gyration: of the magnets [m]."""
    plate = design.rotor.plate
    if plate is None:
        return 0.0, 0.0
    inner, outer = plate.inner_diameter / 2, plate.outer_diameter / 2
    parts = [(pi * (outer**2 - inner**2) * plate.thickness, (inner**2 + outer**2) / 2)]
    for holes in plate.holes:
        radius, middle = holes.diameter / 2, holes.circle_diameter / 2
        parts.append((-holes.count * pi * radius**2 * plate.thickness, middle**2 + radius**2 / 2))
    if has_own_steel(design):
        near, far = steel_ring(design, footprint)
        parts.append((-pi * (far**2 - near**2) * plate.pocket, (near**2 + far**2) / 2))
    else:
        parts.append((-design.rotor.poles * face * plate.pocket, gyration**2))
    density = plate.values.density
    return density * sum(volume for volume, _ in parts), density * sum(volume * square for volume, square in parts)


def bending(design: SizedDesign, footprint: Footprint, carried: float) -> Bending:
    """How one plate bends; carried: mass of magnets and steel on it [kg]. Nil where there is no plate under them."""
    plate = design.rotor.plate
    if plate is None:
        return Bending()
    ends = plate.inner_diameter / 2, plate.outer_diameter / 2
    near, far = (float(np.clip(radius, *ends)) for radius in (footprint.breakpoints[0], footprint.breakpoints[-1]))
    held = plate.held_diameter / 2
    if far <= near or not held:
        return Bending()
    steel = steel_ring(design, footprint) if has_own_steel(design) else ()
    edges = np.unique([*ends, near, far, held, *np.clip(steel, *ends)])
    edges = edges[np.append(True, np.diff(edges) > 1e-9)]
    held = float(edges[np.argmin(np.abs(edges - held))])
    middle = (edges[1:] + edges[:-1]) / 2
    under = (middle > near) & (middle < far)
    rigidity = _rigidity(design, middle, under, steel)
    area = pi * (far**2 - near**2)
    radii = np.linspace(near, far, PLACES)

    def bent(pressure: FloatArray) -> tuple[float, float]:
        found = plate_deflection(edges, rigidity, pressure, plate.values.poisson, held, plate.held == "clamped", radii)
        return float((found * radii).sum() / radii.sum()), float(found.max())

    weight = STANDARD_GRAVITY * (plate.values.density * plate.thickness + under * carried / area)
    return Bending(*bent(under / area), *bent(weight))


def _rigidity(design: SizedDesign, middle: FloatArray, under: FloatArray, steel: tuple[float, ...]) -> FloatArray:
    """Of every ring [N m], by its middle [m]. Steel behind the magnets lies on the plate and bends with it, not bonded:
    that counts the glue for nothing, on the safe side; so are the magnets.
    """
    plate = design.rotor.plate
    if plate is None:
        return np.zeros_like(middle)
    on_steel = (middle > steel[0]) & (middle < steel[1]) if steel else np.zeros_like(under)
    thickness = plate.thickness - plate.pocket * (on_steel if steel else under)
    values, iron = plate.values, materials.plate_material("steel")
    rigidity = flexural_rigidity(values.modulus, thickness, values.poisson)
    if steel:
        rigidity = rigidity + on_steel * flexural_rigidity(iron.modulus, design.rotor.back_iron, iron.poisson)
    return rigidity
