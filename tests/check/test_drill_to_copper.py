"""The distance from a plated hole of the winding to copper not joined to it, against a search over all pairs."""

import re

import numpy as np
import pytest
import shapely

from pcbstator.copper import lay_copper
from pcbstator.project import predict
from tests.copper.stators import design_of

VARIANTS = [{}, {"winding__outline": "round"}, {"board__layers": 2}, {"board__via_pad_mm": 1.0}]


@pytest.mark.parametrize("values", VARIANTS)
def test_drill_to_copper_is_the_least_over_all_pairs(values):
    rules = {"drill_to_copper_mm": 0.8, "track_gap_mm": 0.15}
    design = design_of(**values, board__rules=rules)
    copper = lay_copper(design)
    least = np.inf
    for via in copper.vias:
        middle = shapely.Point(via.x, via.y)
        tracks = shapely.distance([shapely.LineString(t.points) for t in copper.tracks], middle)
        halves = np.array([t.width / 2 for t in copper.tracks])
        others = np.hypot([h.x - via.x for h in copper.holes], [h.y - via.y for h in copper.holes])
        pads = np.array([h.pad / 2 for h in copper.holes])
        # What ends at the via, or is the via itself, is joined to it.
        least = min(least, (tracks - halves)[tracks > 1e-9].min(), (others - pads)[others > 1e-9].min())
    least -= design.board.via_drill / 2
    found = [f for f in predict(design).findings if f.code == "board.drill_to_copper" and f.where.startswith("via")]
    assert len(found) == 1 and found[0].value == pytest.approx(1e3 * least, rel=1e-5)
    x, y = (float(word) / 1e3 for word in re.search(r"x (\S+) mm, y (\S+) mm", found[0].where).groups())
    assert min(np.hypot(via.x - x, via.y - y) for via in copper.vias) < 1e-6
    kept = design_of(**values, board__rules={**rules, "drill_to_copper_mm": 1e3 * least - 1e-3})
    assert not [f for f in predict(kept).findings if f.code == "board.drill_to_copper" and f.where.startswith("via")]
