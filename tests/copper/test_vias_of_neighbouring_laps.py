"""Wide waves on many layers: the rows of vias at the ends of neighbouring laps keep apart on the connection ring."""

import pytest

from pcbstator.copper import lay_copper
from pcbstator.copper.clearance import least_gap
from tests.output.matrix import cases, design_of

CHOSEN = {"winding.kind": "wave", "winding.phases": 2, "board.layers": 8}
NAMES = [name for name, values in cases().items() if CHOSEN.items() <= {key: values[key] for key in CHOSEN}.items()]


@pytest.mark.parametrize("name", NAMES)
def test_gap_is_kept_where_laps_end(name: str) -> None:
    """Two phases of two turns in two paths have the least room between the first and last vias of a lap."""
    design = design_of(name)
    found = least_gap(lay_copper(design), design.board.track_gap)
    assert found is None or found.distance >= design.board.track_gap - 1e-9
