"""Which coil belongs to which phase: star of slots, winding factors, parallel paths. Angles and counts, no lengths."""

from pcbstator.winding.star import (
    PHASE_NAMES,
    Winding,
    distribution_factor,
    feasible_windings,
    is_balanced,
    lay_winding,
    nearest_balanced,
    pitch_factor,
    wind,
    winding_factor,
)

__all__ = [
    "PHASE_NAMES",
    "Winding",
    "distribution_factor",
    "feasible_windings",
    "is_balanced",
    "lay_winding",
    "nearest_balanced",
    "pitch_factor",
    "wind",
    "winding_factor",
]
