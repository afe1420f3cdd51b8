"""The tracks of every coil run counter-clockwise where its sense is +1, clockwise where it is -1."""

import numpy as np
import pytest

from pcbstator.copper import lay_copper
from tests.copper.stators import design_of

KINDS = {
    "sector": {},
    "round": {"winding__outline": "round"},
    "parallel paths": {"winding__coils": 12, "winding__parallel_paths": 2, "board__copper_outer_diameter_mm": 90.0},
    "nine coils": {"winding__coils": 9, "rotor__poles": 8},
}


def circled(points: np.ndarray) -> float:
    """Area to the left of a line from its first to its last point, closed straight [m2]."""
    x, y = points.T
    return float((x * np.roll(y, -1) - np.roll(x, -1) * y).sum() / 2)


@pytest.mark.parametrize("values", KINDS.values(), ids=KINDS)
def test_coils_turn_by_their_senses(values) -> None:
    copper = lay_copper(design_of(**values))
    each = len(copper.coil.tracks)
    assert set(copper.coil_senses) <= {1, -1} and len(copper.coil_tracks) == each * len(copper.coil_senses)
    for index, sense in enumerate(copper.coil_senses):
        for track in copper.coil_tracks[index * each : (index + 1) * each]:
            assert np.sign(circled(track.points)) == sense
            assert track.phase == copper.coil_phases[index]
