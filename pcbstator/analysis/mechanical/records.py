"""Results about forces and masses of the rotor."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from pcbstator.analysis.fields import inside, result


@dataclass(frozen=True, kw_only=True)
class MechanicalResult:
    """Forces and masses of the rotor's magnets, steel and plate, and the gap that they leave."""

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
    gap_at_rest: float | None = result(
        "gap_at_rest_mm",
        "air gap where pull and weight rest on bearing and plate, mean over the magnets; play of the bearing taken up",
        1e3,
    )
    least_gap: float | None = result(
        "least_gap_mm",
        "least gap around the turn from magnets to the solder mask: the gap at rest less run-out, bow of the board and "
        "the copper that stands on it",
        1e3,
    )
    gap_worst: float | None = result(
        "gap_worst_mm", "least gap from magnets to laminate with every tolerance at its worst at once", 1e3
    )
    gap_usual: float | None = result(
        "gap_95_percent_mm", "least gap from magnets to laminate that 95 % of motors keep, tolerances by chance", 1e3
    )
    gap_stack: tuple[dict[str, Any], ...] = result("gap_stack", "what may close the gap, part by part", default=())
    stiffness_ratio: float | None = result(
        "axial_stiffness_ratio",
        "stiffness of bearing and plate over the growth of the magnetic force, at the gap at rest; below 1 nothing "
        "holds the gap",
    )
    safe_gap: float | None = result(
        "safe_air_gap_mm",
        "air gap to draw with which 0.1 mm would be left, and bearing and plate twice as stiff as the growth of the "
        "magnetic force; where the drawn one closes",
        1e3,
    )
    tilt_wanted: float | None = inside()  # tilt stiffness of a bearing that would do [N m/rad], where it does not
    gap_failure: str | None = inside()  # "contact", "pull" or "tilt": what closes the gap
    bearing_load: float | None = result(
        "bearing_axial_load_n", "axial force on the bearing: magnetic force, weight of rotor and of the load's bodies"
    )
    plate_sag: float | None = result(
        "plate_sag_um",
        "largest deflection of the rotor plate towards the board under the magnets, by pull and weight",
        1e6,
    )
    plate_mass: float | None = result("plate_mass_g", "mass of all rotor plates, less holes and pockets", 1e3)
    magnet_mass: float = result("magnet_mass_g", "mass of all magnets", 1e3)
    rotor_mass: float = result("rotor_mass_g", "mass of all magnets, the steel behind them and the plates", 1e3)
    rotor_inertia: float = result("rotor_inertia_kg_m2", "inertia of magnets, steel and plates about the axis")
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
