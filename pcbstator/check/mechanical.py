"""Steel that saturates or loses energy, and glue that must hold the magnets."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pcbstator.analysis.mechanical.records import MechanicalResult
from pcbstator.analysis.prediction import Prediction
from pcbstator.check.limits import at_least, at_most
from pcbstator.findings import Finding

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign

SATURATION = 1.5  # T (common practice, no source)
NEAR_KNEE = 0.05  # of the remanence: reserve above the knee (common practice, no source)
GLUE_RESERVE = (
    5.0  # strength over mean stress: glue joints age, peel and are never perfect (common practice, no source)
)


def mechanical_findings(design: SizedDesign, prediction: Prediction) -> list[Finding]:
    """Findings about steel and glue."""
    found = prediction.mechanical
    if found is None:
        return []
    findings = circuit_findings(design, found)
    if design.rotor.stator_iron > 0:
        findings.append(
            Finding(
                "mechanical.stator_iron_loss",
                "warning",
                f"the field turns in the steel beyond the board, heats and brakes ({_steel_loss(prediction)}), "
                "and pulls on the bearing; keep such a plate for slow machines",
            )
        )
    strength, stress = design.rotor.glue_strength, found.glue_stress
    if strength is not None and stress is not None:
        findings += at_most(
            "mechanical.glue",
            1e-6 * stress,
            1e-6 * strength / GLUE_RESERVE,
            "the glue of a magnet bears {value} MPa at the highest speed, above {limit} MPa, a fifth of its strength: "
            "hold the magnets by a retaining ring as well, and guard the rotor",
        )
    return findings


def circuit_findings(design: SizedDesign, found: MechanicalResult) -> list[Finding]:
    """Findings about steel that saturates, and magnets that may lose strength."""
    findings: list[Finding] = []
    for name, place, flux, wanted in (
        ("mechanical.back_iron", "behind the magnets", found.back_iron_flux, found.back_iron_wanted),
        ("mechanical.stator_iron", "beyond the board", found.stator_iron_flux, found.stator_iron_wanted),
    ):
        if flux is not None and wanted is not None:
            findings += at_most(
                name,
                flux,
                SATURATION,
                f"the steel {place} carries {{value}} T, above {{limit}} T: it saturates and leaks; "
                f"{1e3 * wanted:.1f} mm of it would do",
                "warning",
            )
    if found.magnet_flux is not None and found.knee_flux is not None:
        findings += at_least(
            "magnets.knee",
            found.magnet_flux,
            found.knee_flux + NEAR_KNEE * design.rotor.magnet.remanence,
            f"at {design.rotor.magnet.temperature_c:g} °C the magnets work down to {{value}} T, below {{limit}} T, a "
            "reserve above their knee: they may lose strength for good; use steel behind them, thicker magnets, or a "
            "grade for more heat (H, SH, UH)",
            "warning",
        )
    return findings


def _steel_loss(prediction: Prediction) -> str:
    """The loss of the steel beyond the board at the highest speed of [operation], in words."""
    if not prediction.losses:
        return "state [operation] to see by how much"
    point = max(prediction.losses, key=lambda each: float(each["speed_rpm"]))
    loss = point["stator_iron_eddy_w"] + point["stator_iron_hysteresis_w"]
    return f"{loss:.2g} W at {point['speed_rpm']:g} rpm, a third off either way"
