"""The motor as it is built, for the report: what drawn motors do, and which tolerance pays."""

from __future__ import annotations

from typing import Any

from pcbstator.analysis.fields import rows
from pcbstator.analysis.mechanical.built_results import BuildResult
from pcbstator.output.quantities import shown
from pcbstator.output.words import Row, figures

NAMES = {
    "torque_ripple_ratio": "Torque ripple",
    "emf_unbalance_ratio": "Unequal phases",
    "modulation_ratio": "Change over a turn",
    "path_emf_unbalance_ratio": "Unequal paths",
    "circulating_path_current_rms_a": "Current between paths",
    "tilting_moment_n_m": "Tilting moment",
    "sideways_force_n": "Sideways force",
}
CAUSES = {
    "remanence_spread_percent": "magnets of unequal strength",
    "magnet_angle_deg": "magnets off their angle",
    "magnet_radius_mm": "magnets off their radius",
    "magnetisation_tilt_deg": "tilted magnetisation",
    "reversed_magnets": "a magnet the wrong way round",
    "rotor_eccentric_mm": "the ring of magnets off centre",
    "rotor_run_out_mm": "axial run-out",
    "board_eccentric_mm": "the board off centre",
    "board_bow_mm": "a bowed board",
    "stack_angle_deg": "boards of the stack off their angle",
}
WORTH_NAMING = 0.05  # part of the whole from which a cause is named


def spread_words(key: str, spread: dict[str, Any]) -> str:
    """Median and what 95 % of the motors keep."""
    values = [_value(key, spread[part]) for part in ("median", "p95")]
    return f"{values[0]}, 95 % of motors below {values[1]}"


def _value(key: str, value: float) -> str:
    return f"{figures(100 * value, 2)} %" if key.endswith("_ratio") else shown(f"build.{key}", value, 2)


def causes_words(spread: dict[str, Any]) -> str:
    """The causes that count, the largest first, with their parts."""
    parts = sorted(spread["parts"].items(), key=lambda item: -float(item[1]))
    named = [f"{CAUSES[name]} {100 * part:.0f} %" for name, part in parts if part >= WORTH_NAMING]
    return ", ".join(named) or "no single cause"


def build_rows(build: BuildResult | None) -> list[Row]:
    """What drawn motors do, each with its causes; then which tolerance pays and how many magnets to sort."""
    if build is None:
        return []
    found = [
        Row(NAMES[key], spread_words(key, value), f"{meaning}; from {causes_words(value)}")
        for key, meaning, value in rows(build)
        if key in NAMES
    ]
    if build.pays is not None and build.pays_ripple is not None:
        found.append(
            Row("The tolerance that pays", build.pays,
                f"{CAUSES[build.pays]}: half of that spread leaves 95 % of motors below "
                f"{_value('torque_ripple_ratio', build.pays_ripple)} of torque ripple")
        )  # fmt: skip
    for lot in build.sorting[1:]:
        found.append(
            Row(f"{lot['magnets']:.0f} magnets, sorted", f"{figures(lot['remanence_spread_percent'], 2)} % spread",
                "buy that many, measure each over the same spot of a field meter, leave out the strongest and weakest: "
                f"95 % of motors below {_value('torque_ripple_ratio', lot['ripple_p95_ratio'])} of torque ripple")
        )  # fmt: skip
    return found
