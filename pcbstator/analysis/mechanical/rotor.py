"""Forces and masses of the rotor: axial magnetic force, flux in the steel, inertia, what the glue of a magnet holds."""

from __future__ import annotations

from dataclasses import replace
from math import pi, sin
from typing import TYPE_CHECKING

from pcbstator.analysis.magnetic.rotor_field import magnet_footprint, steel_ring
from pcbstator.analysis.mechanical.records import MechanicalResult
from pcbstator.design import BlockMagnet, DiscMagnet
from pcbstator.materials import knee_field_strength, mild_steel, neodymium, steel_density
from pcbstator.physics.magnetics.magnet_pattern import Footprint
from pcbstator.physics.magnetics.steel import SaturatedIron, saturated_iron
from pcbstator.physics.magnetics.working_point import demagnetising_margin, working_point
from pcbstator.physics.mechanics.magnet_force import axial_force

if TYPE_CHECKING:
    from pcbstator.design import Design, SizedDesign

GAP_STEP = 0.01  # of the gap, for the change of the axial force with it
SATURATION = 1.5  # T; above it plain steel begins to cost field (common practice, no source)


def magnet_faces(design: Design) -> tuple[float, float, float]:
    """Face area [m2], centroid radius [m] and radius of gyration about the machine's axis [m] of one magnet."""
    magnet, poles = design.rotor.magnet, design.rotor.poles
    if isinstance(magnet, DiscMagnet):
        centre = magnet.circle_diameter / 2
        return pi * magnet.diameter**2 / 4, centre, (centre**2 + magnet.diameter**2 / 8) ** 0.5
    if isinstance(magnet, BlockMagnet):
        centre = magnet.circle_diameter / 2
        gyration = (centre**2 + (magnet.length**2 + magnet.width**2) / 12) ** 0.5
        return magnet.length * magnet.width, centre, gyration
    inner, outer = magnet.inner_diameter / 2, magnet.outer_diameter / 2
    half = magnet.arc_ratio * pi / poles
    centroid = 2 / 3 * (outer**3 - inner**3) / (outer**2 - inner**2) * sin(half) / half
    return half * (outer**2 - inner**2), centroid, ((inner**2 + outer**2) / 2) ** 0.5


def _working_point(design: SizedDesign, footprint: Footprint, iron: SaturatedIron) -> tuple[float | None, float | None]:
    """Lowest flux density in the magnets and that of their knee [T]; None where they are not known.

    Halbach rings have no working point by this law; a stated remanence says nothing of the knee.
    """
    magnet = design.rotor.magnet
    if footprint.segments_per_pole != 1:
        return None, None
    lowest = working_point(footprint, design.rotor.poles // 2, iron.layers, iron.source).flux_density
    if magnet.grade is None:
        return lowest, None
    strength = knee_field_strength(magnet.grade, magnet.temperature_c)
    return lowest, demagnetising_margin(lowest, magnet.remanence, magnet.recoil_permeability, strength).knee


def _axial_force(design: SizedDesign, footprint: Footprint, iron: SaturatedIron) -> tuple[float | None, float | None]:
    """Axial magnetic force [N] and its stiffness [N/m]; None where nothing faces the magnets.

    The stiffness comes from wider gaps, each with its steel: how far that saturates depends on the gap.
    """
    layers, pole_pairs = iron.layers, design.rotor.poles // 2
    if layers.facing_distance == float("inf"):
        return None, None
    forces, step = [], GAP_STEP * layers.facing_distance
    for steps in range(3):
        if steps:
            mirror, plate = (None if d is None else d + step for d in (layers.mirror_distance, layers.plate_distance))
            layers = replace(layers, mirror_distance=mirror, plate_distance=plate)
            ends = steel_ring(design, footprint)
            iron = saturated_iron(footprint, pole_pairs, layers, mild_steel(), iron.source, ends)
        forces.append(axial_force(footprint, pole_pairs, iron.layers, source=iron.source))
    slope = (4 * forces[1] - 3 * forces[0] - forces[2]) / (2 * step)
    # Between two rotors each face moves by half of a change of their gap; a plate stands still.
    return forces[0], -slope / (2 if design.rotor.arrangement == "double" else 1)


def rotor_masses(design: SizedDesign, footprint: Footprint) -> tuple[float, float, float]:
    """Mass [kg] of one magnet and of the steel behind one ring of them, and inertia [kg m2] of all that turns."""
    rotor = design.rotor
    area, _, gyration = magnet_faces(design)
    magnet_mass = area * rotor.magnet.thickness * neodymium().density
    inner, outer = steel_ring(design, footprint)
    steel_mass = pi * (outer**2 - inner**2) * rotor.back_iron * steel_density()
    inertia = rotor.poles * magnet_mass * gyration**2 + steel_mass * (inner**2 + outer**2) / 2
    return magnet_mass, steel_mass, (2 if rotor.arrangement == "double" else 1) * inertia


def rotor_inertia(design: SizedDesign) -> float:
    """Inertia of magnets and steel about the axis [kg m2]."""
    return rotor_masses(design, magnet_footprint(design))[2]


def mechanical_results(design: SizedDesign, footprint: Footprint, iron: SaturatedIron) -> MechanicalResult:
    """Masses of magnets and steel only: what carries them is the load's."""
    rotor = design.rotor
    rotors = 2 if rotor.arrangement == "double" else 1
    area, centroid, _ = magnet_faces(design)
    magnet_mass, steel_mass, inertia = rotor_masses(design, footprint)
    magnets = rotor.poles * magnet_mass
    force, stiffness = _axial_force(design, footprint, iron)
    fastest = max(design.operation.speeds) if design.operation else None
    rim = max(steel_ring(design, footprint)[1], float(footprint.breakpoints[-1]))
    centrifugal = None if not fastest else magnet_mass * centroid * fastest**2
    back, plate = iron.back_iron, iron.plate
    working, knee = _working_point(design, footprint, iron)
    return MechanicalResult(
        axial_force=force,
        axial_stiffness=stiffness,
        magnet_flux=working,
        knee_flux=knee,
        magnet_mass=rotors * magnets,
        rotor_mass=rotors * (magnets + steel_mass),
        rotor_inertia=inertia,
        rim_speed=None if not fastest else fastest * rim,
        centrifugal_force=centrifugal,
        glue_stress=None if centrifugal is None else centrifugal / area,
        back_iron_flux=back.mean if back else None,
        back_iron_wanted=rotor.back_iron * back.wanted / SATURATION if back else None,
        stator_iron_flux=plate.mean if plate else None,
        stator_iron_wanted=rotor.stator_iron * plate.wanted / SATURATION if plate else None,
    )
