"""Rows of the report about the machine as a whole: what the drive sees, the rotor, losses, tolerances."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pcbstator.analysis.electrical.working_point import induced_loss
from pcbstator.analysis.prediction import Prediction
from pcbstator.output.words import Row, figures, measure

if TYPE_CHECKING:
    from pcbstator.analysis.mechanical.records import MechanicalResult

TOLERANCE_NAMES = {
    "phase_resistance_ohm": ("Phase resistance at 20 °C", "Ω"),
    "flux_linkage_peak_wb": ("Flux linkage (psi)", "Wb"),
    "torque_constant_n_m_per_a": ("Torque constant", "N·m/A"),
    "synchronous_inductance_h": ("Synchronous inductance", "H"),
}


def inductance_rows(prediction: Prediction) -> list[Row]:
    """What the current loop of the drive works against."""
    electrical = prediction.electrical
    return [
        Row("Synchronous inductance", measure(electrical.synchronous_inductance, "H"),
            "what the drive's current loop sees in each phase; small, so the drive needs a high switching frequency"),
        Row("Phase inductance", measure(electrical.phase_inductance, "H"),
            f"one phase by itself; two phases share {measure(electrical.mutual_inductance, 'H')}"),
    ]  # fmt: skip


def rotor_rows(prediction: Prediction) -> list[Row]:
    """Masses and forces of magnets and steel."""
    found = prediction.mechanical
    if found is None:
        return []
    rows = [
        Row("Magnets", f"{figures(1e3 * found.magnet_mass, 3)} g", "mass of all of them"),
        *_mass_rows(found),
    ]
    if found.back_iron_flux is not None and found.back_iron_wanted is not None:
        wanted = f"1.5 T at {figures(1e3 * found.back_iron_wanted, 3)} mm; above that plain steel saturates"
        rows.append(Row("Flux in the steel behind", f"{figures(found.back_iron_flux, 3)} T", wanted))
    if found.stator_iron_flux is not None and found.stator_iron_wanted is not None:
        wanted = f"1.5 T at {figures(1e3 * found.stator_iron_wanted, 3)} mm"
        rows.append(Row("Flux in the steel beyond", f"{figures(found.stator_iron_flux, 3)} T", wanted))
    if found.axial_force is not None and found.axial_stiffness is not None:
        growth = f"{figures(1e-3 * found.axial_stiffness, 3)} N more for every millimetre that the gap closes"
        rows.append(Row("Axial magnetic force", f"{figures(found.axial_force, 3)} N",
                        f"bearing and plates must carry it; {growth}"))  # fmt: skip
    if found.centrifugal_force is not None and found.glue_stress is not None and found.rim_speed is not None:
        stress = f"shear stress of the glue {figures(1e-6 * found.glue_stress, 3)} MPa"
        speed = f"rim speed {figures(found.rim_speed, 3)} m/s"
        force = f"{figures(found.centrifugal_force, 3)} N"
        rows.append(Row("Centrifugal force on one magnet", force, f"at the highest speed; {stress}, {speed}"))
    return rows + _gap_rows(found)


def _mass_rows(found: MechanicalResult) -> list[Row]:
    """Mass and inertia, with the plate where one is stated."""
    mass, inertia = f"{figures(1e3 * found.rotor_mass, 3)} g", f"{figures(1e6 * found.rotor_inertia)} kg·mm²"
    if found.plate_mass is None:
        return [
            Row("Magnets and steel", mass, "plate and load come on top"),
            Row("Inertia", inertia, "of magnets and steel about the axis"),
        ]
    part = f"{figures(1e3 * found.plate_mass, 3)} g of it the plate; the load comes on top"
    return [
        Row("Magnets, steel and plate", mass, part),
        Row("Inertia", inertia, "of magnets, steel and plate about the axis"),
    ]


def _gap_rows(found: MechanicalResult) -> list[Row]:
    """The gap as it rests on bearing and plate, and what the bearing carries."""
    rows = []
    if found.gap_at_rest is not None:
        sag = "" if found.plate_sag is None else f"; the plate sags by {measure(found.plate_sag, 'm', 2)}"
        stiff = ""
        if found.stiffness_ratio is not None:
            stiff = f"; bearing and plate are {figures(found.stiffness_ratio, 2)} times as stiff as the force grows"
        rows.append(
            Row("Gap at rest", f"{figures(1e3 * found.gap_at_rest, 3)} mm", f"under pull and weight{sag}{stiff}")
        )
    if found.least_gap is not None:
        words = "with run-out and bow at their largest, from magnets to solder mask"
        rows.append(Row("Least gap around the turn", f"{figures(1e3 * found.least_gap, 2)} mm", words))
    if found.bearing_load is not None:
        words = "along the axis: magnetic force, rotor and the load's bodies"
        rows.append(Row("Load of the bearing", f"{figures(found.bearing_load, 3)} N", words))
    return rows


def loss_rows(prediction: Prediction) -> list[dict[str, str]]:
    """One line per working point."""
    return [
        {
            "speed": figures(point["speed_rpm"]),
            "current": figures(point["phase_current_peak_a"], 3),
            "copper": figures(point["copper_w"], 3),
            "eddy": figures(induced_loss(point), 3),
            "torque": figures(1e3 * point["torque_n_m"], 3),
            "efficiency": f"{figures(100 * point['efficiency'], 3)} %" if "efficiency" in point else "–",
        }
        for point in prediction.losses
    ]


def tolerance_rows(prediction: Prediction) -> list[Row]:
    """Nominal values, and between what most built motors will lie."""
    return [
        Row(name, measure(spread["nominal"], unit),
            f"nine of ten motors lie between {measure(spread['low_5_percent'], unit)} and "
            f"{measure(spread['high_95_percent'], unit)}")
        for key, spread in (prediction.tolerance or {}).items()
        for name, unit in [TOLERANCE_NAMES[key]]
    ]  # fmt: skip
