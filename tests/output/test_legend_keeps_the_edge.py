"""Ink keeps 0.5 mm from every edge of the board (common practice, no source), also on rings as narrow as text."""

from dataclasses import replace

import numpy as np
import pytest
import shapely

from pcbstator.output.fabrication.legend import legend_shapes
from tests.output import readback

EDGE = 0.5e-3


@pytest.mark.parametrize("side", ["top", "bottom"])
def test_ink_keeps_from_the_edge_of_rings_of_every_width(side: str) -> None:
    """From too narrow for any letter to wide enough for the largest; two heights of letter are met between."""
    bare = {"coil_angles": np.array([]), "coil_nets": (), "coil_senses": (), "coil_phases": ()}
    stator = replace(readback.small_stator(), terminals=(), phases=(), interconnects=(), interconnect_vias=(), **bare)
    heights = set()
    for width in np.arange(2.1e-3, 3.6e-3, 0.1e-3):
        board = replace(stator, board_inner_radius=40e-3 - width, board_outer_radius=40e-3)
        ink = shapely.union_all(legend_shapes(board, side, "EHL"))
        if ink.is_empty:
            continue
        corners = np.hypot(*shapely.get_coordinates(ink).T)
        assert corners.max() <= 40e-3 - EDGE + 1e-6
        assert corners.min() >= 40e-3 - width + EDGE - 20e-6  # straight pieces sag below the circle
        heights.add(round(float(corners.max() - corners.min()), 4))
    assert len(heights) >= 3
