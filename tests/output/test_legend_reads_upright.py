"""The title at the bottom of the board stands upright: every L has its bar on the left and its foot below."""

from dataclasses import replace

import numpy as np
import pytest
import shapely

from pcbstator.output.fabrication.legend import legend_shapes
from tests.output import readback


@pytest.mark.parametrize("side", ["top", "bottom"])
def test_letters_stand_upright_and_are_not_mirrored(side: str) -> None:
    """Seen from the side that is printed on."""
    bare = {"coil_angles": np.array([]), "coil_nets": (), "coil_senses": (), "coil_phases": ()}
    stator = replace(readback.small_stator(), terminals=(), phases=(), interconnects=(), interconnect_vias=(), **bare)
    mirror = np.array([1.0 if side == "top" else -1.0, 1.0])
    letters = [shapely.transform(shape, lambda xy: xy * mirror) for shape in legend_shapes(stator, side, "LLLLL")]
    title = [shape for shape in letters if abs(np.arctan2(shape.centroid.y, shape.centroid.x) + np.pi / 2) < 0.3]
    assert len(title) == 5
    for letter in title:
        left, bottom, right, top = letter.bounds
        assert letter.centroid.x < (left + right) / 2 and letter.centroid.y < (bottom + top) / 2
