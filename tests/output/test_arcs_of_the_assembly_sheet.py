"""Arcs of magnets on the sheet to glue by are drawn in steps that leave less than 0.005 mm, at true scale."""

import numpy as np
import pytest

from tests.output.svgread import path_points
from tests.output.test_assembly import sheet


@pytest.mark.parametrize("name", ["filter-wheel", "photogrammetry-stage", "halbach"])
def test_steps_of_arcs_leave_little(name: str) -> None:
    _, _, _, items, centre = sheet(name)
    sags = []
    for item in items:
        if item.tag != "path" or "A" in item.attributes["d"]:
            continue
        points = np.array(path_points(item.attributes["d"])) - centre
        radii = np.hypot(*points.T)
        middles = np.hypot(*((points[1:] + points[:-1]) / 2).T)
        even = np.abs(np.diff(radii)) < 2e-3
        if even.sum() > 8:
            sags += ((radii[1:] + radii[:-1]) / 2 - middles)[even].tolist()
    if sags:
        assert max(sags) < 0.005 + 0.0006  # places are rounded to 0.001 mm
