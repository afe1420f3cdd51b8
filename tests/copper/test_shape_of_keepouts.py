"""A keep-out between two angles is the part of the ring it names, its arcs no coarser than all others."""

from math import radians

import numpy as np
import pytest
import shapely

from pcbstator.copper.geometry.contour import SAGITTA
from pcbstator.copper.obstacles import keepout_shape
from tests.copper.stators import design_of


@pytest.mark.parametrize(("start", "stop"), [(10.0, 25.0), (-30.0, 60.0), (0.0, 300.0)])
def test_sector_has_the_area_and_the_arcs_of_its_ring(start: float, stop: float) -> None:
    area = {
        "name": "driver", "shape": "sector", "inner_diameter_mm": 70.0, "outer_diameter_mm": 80.0,
        "from_deg": start, "to_deg": stop,
    }  # fmt: skip
    flat, wider = keepout_shape(design_of(board__keepouts=[area]).board.keepouts[0])
    assert wider == 0.0
    assert flat.area == pytest.approx(radians(stop - start) / 2 * (0.040**2 - 0.035**2), rel=1e-3)
    corners = shapely.get_coordinates(flat)
    middles = np.hypot(*((corners[1:] + corners[:-1]) / 2).T)
    outer = np.hypot(*corners.T)
    chords = np.isclose(outer[1:], outer[:-1])
    assert chords.sum() >= 2
    sag = np.where(outer[1:] > 0.0375, 0.040, 0.035) - middles
    assert sag[chords].max() <= SAGITTA * (1 + 1e-6)
