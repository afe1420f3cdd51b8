"""A small machine to change."""

import pytest

from pcbstator.design import design_from_document

DOCUMENT = {
    "title": "Small machine",
    "winding": {"coils": 6, "turns": 4},
    "board": {
        "layers": 2, "track_width_mm": 0.5, "track_gap_mm": 0.3,
        "copper_inner_diameter_mm": 24.0, "copper_outer_diameter_mm": 66.0,
    },
    "rotor": {
        "poles": 8, "air_gap_mm": 1.0,
        "magnet": {
            "shape": "sector", "inner_diameter_mm": 30.0, "outer_diameter_mm": 56.0, "arc_ratio": 0.8,
            "thickness_mm": 3.0, "remanence_t": 1.3,
        },
    },
}  # fmt: skip


@pytest.fixture
def small():
    return design_from_document(DOCUMENT)
