"""Joints: several vias stand within one disc of copper and share the current; teardrops widen and keep the gap."""

from math import pi

import numpy as np
import pytest
import shapely

from pcbstator.analysis.electrical.conductors import Conductors
from pcbstator.copper import lay_copper
from pcbstator.copper.clearance import least_gap
from pcbstator.copper.connections.via_transitions import WEB, layer_areas, transition_vias, with_teardrops
from pcbstator.copper.geometry.tracks import strip_outline
from pcbstator.physics.conductors.resistance import via_resistance
from tests.copper.stators import design_of

MM = 1e-3
WIDE = {"board__track_width_mm": 2.0, "winding__turns": 2, "winding__coils": 6, "rotor__poles": 8, "board__layers": 2}


def test_further_vias_lie_within_the_copper_of_the_first_and_apart():
    copper = lay_copper(design_of(board__vias_per_transition=4, winding__turns=4))
    board = design_of().board
    vias = copper.coil.vias
    first, further = [v for v in vias if not v.within], [v for v in vias if v.within]
    assert len(further) == 3 * len(first)
    for via in further:
        middle = min(first, key=lambda one: np.hypot(one.x - via.x, one.y - via.y))
        assert np.hypot(middle.x - via.x, middle.y - via.y) + via.pad / 2 <= middle.pad / 2 + 1e-9
    places = np.array([(via.x, via.y) for via in vias])
    apart = np.hypot(*(places[:, None] - places).transpose(2, 0, 1)) + np.eye(len(places))
    assert apart.min() >= board.via_drill + WEB - 1e-9


def test_vias_side_by_side_share_the_current():
    """Barrels in parallel: the part of the resistance that is vias falls to a third."""
    results = []
    for count in (1, 3):
        design = design_of(board__vias_per_transition=count, winding__turns=4)
        copper = lay_copper(design)
        conductors = Conductors(copper, design.board.via_drill, design.board.via_plating)
        coil = copper.coil
        tracks = sum(conductors.track(track) for track in coil.tracks)
        results.append(conductors.coil(0) - tracks)
    assert results[0] / results[1] == pytest.approx(3.0, rel=1e-9)
    whole = float(via_resistance(design.board.via_drill, design.board.via_plating, design.board.thickness))
    assert results[0] == pytest.approx(whole * (len(coil.tracks) - 1) / (len(copper.layers) - 1), rel=1e-9)


def test_walls_have_the_section_of_a_wide_track():
    design = design_of(**WIDE)
    board = design.board
    count, diameter = transition_vias(design, board.track_width)
    wall = pi * (board.via_drill - board.via_plating) * board.via_plating
    needed = board.track_width * board.outer_copper / wall
    assert count >= min(needed, 7) and count - 1 < needed
    assert diameter <= max(board.track_width, board.via_pad)
    assert transition_vias(design_of(), design_of().board.track_width)[0] == 1


@pytest.mark.parametrize("values", [
    {}, {"winding__outline": "round"}, {"winding__connection_ring": "inner"},
    {"winding__kind": "wave", "winding__turns": 2},
    {"board__track_profile": "tapered", "winding__turns": 3}, {"board__vias_per_transition": 2, "winding__turns": 4},
])  # fmt: skip
def test_teardrops_keep_the_gap_and_touch_their_pads(values):
    """The gap is measured anew with shapely: every teardrop against all copper that is not joined to it."""
    design = design_of(**values)
    copper = with_teardrops(lay_copper(design), design.board.track_gap)
    assert len(copper.teardrops) > len(copper.coil_angles)
    pads = shapely.STRtree([shapely.Point(hole.x, hole.y).buffer(hole.pad / 2) for hole in copper.holes])
    gap = least_gap(copper, 2 * design.board.track_gap)
    assert gap is None or gap.distance >= design.board.track_gap - 1e-9
    tracks = [(track, shapely.Polygon(strip_outline(track))) for track in copper.tracks]
    for teardrop in copper.teardrops[:: max(1, len(copper.teardrops) // 60)]:
        area = shapely.Polygon(strip_outline(teardrop, caps=False))
        end = shapely.Point(teardrop.points[-1])
        assert len(pads.query(end, "within")) >= 1
        assert np.all(np.diff(teardrop.point_widths) >= -1e-12), "it widens towards the pad"
        for track, strip in tracks:
            same = (
                track.layer == teardrop.layer
                and min(np.hypot(*(track.points[[0, -1]] - teardrop.points[-1]).T)) > 1e-6
                and track.net != teardrop.net
            )
            if same:
                assert strip.distance(area) >= design.board.track_gap - 1e-6


def test_areas_of_layers():
    """Against the union of what is drawn, which counts the overlaps of tracks and pads once: a few per cent less."""
    copper = lay_copper(design_of())
    pads = [shapely.Point(hole.x, hole.y).buffer(hole.pad / 2) for hole in copper.holes]
    for layer, area in layer_areas(copper).items():
        strips = [shapely.LineString(t.points).buffer(t.width / 2) for t in copper.tracks if t.layer == layer]
        union = shapely.union_all([*strips, *pads]).area - sum(pi / 4 * hole.drill**2 for hole in copper.holes)
        assert union == pytest.approx(area, rel=0.05)
