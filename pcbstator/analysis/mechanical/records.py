"""Results about forces and masses of the rotor."""

from __future__ import annotations

from dataclasses import dataclass

from pcbstator.analysis.fields import result


@dataclass(frozen=True, kw_only=True)
class MechanicalResult:
    """Forces and masses of the rotor's magnets and steel."""

    axial_force: float | None = result(
        "axial_force_n", "axial magnetic force between the rotors, or between rotor and the steel beyond the board"
    )
    axial_stiffness: float | None = result(
        "axial_stiffness_n_per_mm",
        "growth of the axial magnetic force as the gap closes; the bearing must be stiffer",
        1e-3,
    )
    magnet_flux: float | None = result("magnet_working_flux_density_t", "lowest flux density inside a magnet")
    knee_flux: float | None = result(
        "magnet_knee_flux_density_t", "flux density below which a magnet of this grade and temperature loses strength"
    )
    magnet_mass: float = result("magnet_mass_g", "mass of all magnets", 1e3)
    rotor_mass: float = result("rotor_mass_g", "mass of all magnets and the steel behind them", 1e3)
    rotor_inertia: float = result("rotor_inertia_kg_m2", "inertia of magnets and steel about the axis")
    rim_speed: float | None = result(
        "rim_speed_m_per_s", "speed of the rotor's outer edge at the highest speed of [operation]"
    )
    centrifugal_force: float | None = result(
        "magnet_centrifugal_n", "centrifugal force on one magnet at the highest speed of [operation]"
    )
    glue_stress: float | None = result(
        "glue_stress_mpa", "mean shear stress in the glue of a magnet at the highest speed of [operation]", 1e-6
    )
    back_iron_flux: float | None = result(
        "back_iron_flux_density_t", "mean flux density midway between two poles in the steel behind the magnets"
    )
    back_iron_wanted: float | None = result(
        "back_iron_for_1p5_t_mm",
        "thickness of the steel behind the magnets at which its flux density would be 1.5 T",
        1e3,
    )
    stator_iron_flux: float | None = result(
        "stator_iron_flux_density_t", "mean flux density midway between two poles in the steel beyond the board"
    )
    stator_iron_wanted: float | None = result(
        "stator_iron_for_1p5_t_mm",
        "thickness of the steel beyond the board at which its flux density would be 1.5 T",
        1e3,
    )
