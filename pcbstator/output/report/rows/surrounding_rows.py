"""What stands in the rotor's field, for the report: sensor, bearing, steel screws, pads of holes."""

from __future__ import annotations

from pcbstator.analysis.fields import rows
from pcbstator.analysis.magnetic.surroundings import SurroundingsResult
from pcbstator.output.quantities import shown
from pcbstator.output.words import Row

NAMES = {
    "sensor_stray_field_t": "Stray field at the sensor",
    "sensor_stray_error_deg": "Error of the angle by it",
    "bearing_stray_field_t": "Stray field at the bearing",
    "screw_stray_field_t": "Stray field at the screws",
    "cogging_torque_n_m": "Cogging of steel screws",
    "one_screw_cogging_n_m": "Cogging of one screw",
    "cogging_per_turn": "Cogging per turn",
    "other_copper_loss_w": "Eddies in pads of holes",
    "other_copper_drag_n_m": "Drag of these eddies",
}


def surrounding_rows(found: SurroundingsResult | None) -> list[Row]:
    """Every result there is, in words."""
    if found is None:
        return []
    return [Row(NAMES[key], shown(f"surroundings.{key}", value), meaning) for key, meaning, value in rows(found)]
