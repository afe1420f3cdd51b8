"""Where the simulation finds more than the requirement allows."""

from __future__ import annotations

from math import degrees
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pcbstator.design.sections.requirement import Requirement

# Scenario, its number, attribute and key of the requirement, shown unit, scale from the number to that unit.
COMPARED: tuple[tuple[str, str, str, str, str, float], ...] = (
    ("moves", "error_after_rest_deg", "position_error", "position_error_deg", "degrees", 1.0),
    ("approach", "worst_error_deg", "position_error", "position_error_deg", "degrees", 1.0),
    ("approach", "repeatability_deg", "repeatability", "repeatability_deg", "degrees", 1.0),
    ("approach", "offset_between_directions_deg", "direction_offset", "direction_offset_deg", "degrees", 1.0),
    ("moves", "settling_time_s", "settling_time", "settling_time_s", "s", 1.0),
    ("approach", "settling_time_s", "settling_time", "settling_time_s", "s", 1.0),
    ("slow", "speed_ripple_peak_ratio", "speed_ripple", "speed_ripple_percent", "%", 100.0),
    ("slow", "drawn_motor_speed_ripple_peak_ratio", "speed_ripple", "speed_ripple_percent", "%", 100.0),
    ("steps", "step_error_ratio", "step_error", "step_error_percent", "%", 100.0),
    ("hold", "smallest_told_deflection_deg", "push", "push_deg", "degrees", 1.0),
)


def requirement_remarks(asked: Requirement | None, found: dict[str, dict[str, Any]]) -> list[str]:
    """A sentence for every number of the scenarios that is above what is asked for."""
    told = []
    for scenario, number, attribute, key, unit, scale in COMPARED:
        limit = getattr(asked, attribute, None)
        value = found.get(scenario, {}).get(number)
        if limit is None or value is None:
            continue
        allowed = degrees(limit) if unit == "degrees" else limit * scale
        if value * scale > allowed:
            words = number.rpartition("_")[0].replace("_", " ")
            told.append(f"{scenario}: {words} {value * scale:.3g} {unit}, above requirement.{key} {allowed:.3g}")
    return told
