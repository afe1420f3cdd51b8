"""Forces and masses of the rotor: axial magnetic force, flux in the steel, inertia, what the glue of a magnet holds."""

from __future__ import annotations

from math import pi, sin
from typing import TYPE_CHECKING

from pcbstator.analysis.magnetic.rotor_field import magnet_footprint, steel_ring
from pcbstator.analysis.mechanical.gap import Carried, gap_results
from pcbstator.analysis.mechanical.gap_stack import gap_stack
from pcbstator.analysis.mechanical.pull import pull_and_stiffness
from pcbstator.analysis.mechanical.records import MechanicalResult
from pcbstator.analysis.mechanical.rotor_plate import has_own_steel, plate_body
from pcbstator.design import BlockMagnet, DiscMagnet
from pcbstator.materials import knee_field_strength, neodymium, steel_density
from pcbstator.physics.magnetics.magnet_pattern import Footprint
from pcbstator.physics.magnetics.steel import SaturatedIron
from pcbstator.physics.magnetics.working_point import demagnetising_margin, working_point

if TYPE_CHECKING:
    from pcbstator.design import Design, SizedDesign

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


def rotor_masses(design: SizedDesign, footprint: Footprint) -> tuple[float, float, float, float]:
    """Mass [kg] of one magnet, of the steel behind one ring of them and of one plate; inertia [kg m2] of all that
    turns. The steel of a steel plate counts as the plate's.
    """
    rotor = design.rotor
    area, _, gyration = magnet_faces(design)
    magnet_mass = area * rotor.magnet.thickness * neodymium().density
    inner, outer = steel_ring(design, footprint)
    steel_mass = pi * (outer**2 - inner**2) * rotor.back_iron * steel_density() if has_own_steel(design) else 0.0
    plate_mass, plate_inertia = plate_body(design, footprint, area, gyration)
    inertia = rotor.poles * magnet_mass * gyration**2 + steel_mass * (inner**2 + outer**2) / 2 + plate_inertia
    return magnet_mass, steel_mass, plate_mass, (2 if rotor.arrangement == "double" else 1) * inertia


def rotor_inertia(design: SizedDesign) -> float:
    """Inertia of magnets, steel and plates about the axis [kg m2]."""
    return rotor_masses(design, magnet_footprint(design))[-1]


def load_mass(design: SizedDesign) -> float:
    """Mass of all bodies of the load [kg]."""
    return sum(body.mass for body in (design.load.bodies if design.load else None) or ())


def mechanical_results(design: SizedDesign, footprint: Footprint, iron: SaturatedIron) -> MechanicalResult:
    """Masses of magnets, steel and plates only: what carries them is the load's."""
    rotor = design.rotor
    rotors = 2 if rotor.arrangement == "double" else 1
    area, centroid, gyration = magnet_faces(design)
    magnet_mass, steel_mass, plate_mass, inertia = rotor_masses(design, footprint)
    magnets = rotor.poles * magnet_mass
    whole = rotors * (magnets + steel_mass + plate_mass)
    force, stiffness = pull_and_stiffness(design, footprint, iron)
    turning = whole + load_mass(design)
    carried = Carried(magnets + steel_mass, turning, force or 0.0, stiffness or 0.0, gyration)
    fastest = max(design.operation.speeds) if design.operation else None
    rim = max(steel_ring(design, footprint)[1], float(footprint.breakpoints[-1]))
    centrifugal = None if not fastest else magnet_mass * centroid * fastest**2
    back, plate = iron.back_iron, iron.plate
    working, knee = _working_point(design, footprint, iron)
    gap = gap_results(design, footprint, iron, carried)
    return MechanicalResult(
        axial_force=force,
        axial_stiffness=stiffness,
        magnet_flux=working,
        knee_flux=knee,
        magnet_mass=rotors * magnets,
        plate_mass=rotors * plate_mass if rotor.plate else None,
        rotor_mass=whole,
        rotor_inertia=inertia,
        rim_speed=None if not fastest else fastest * rim,
        centrifugal_force=centrifugal,
        glue_stress=None if centrifugal is None else centrifugal / area,
        back_iron_flux=back.mean if back else None,
        back_iron_wanted=rotor.back_iron * back.wanted / SATURATION if back else None,
        stator_iron_flux=plate.mean if plate else None,
        stator_iron_wanted=rotor.stator_iron * plate.wanted / SATURATION if plate else None,
        **gap,
        **gap_stack(design, gap.get("gap_at_rest")),
    )
