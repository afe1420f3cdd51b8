"""Which coil belongs to which phase: star of slots, winding factors, parallel paths. Angles and counts, no lengths."""

from pcbstator.winding.lay import lay_winding
from pcbstator.winding.star import (
    PHASE_NAMES,
    Winding,
    distribution_factor,
    feasible_windings,
    is_balanced,
    nearest_balanced,
    pitch_factor,
    wind,
    winding_factor,
)
from pcbstator.winding.wave import wind_wave

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
    "wind_wave",
    "winding_factor",
]
