"""The slip-ring board: rings where they were asked for, gaps as drawn, leads that keep clear, refusals in words."""

import itertools
from math import hypot, pi

import numpy as np
import pytest
import shapely
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import pcbstator
from pcbstator.copper.connections.slip_ring import edge_distances, slip_ring_gaps
from pcbstator.design import design_from_document
from pcbstator.errors import DesignError
from tests.check.test_findings import SLIP_RING, SOUND


def design_of(**values):
    return design_from_document(SOUND | {"slip_ring": SLIP_RING | values}, "rings.toml")


def covered(board, layer):
    """What every net covers on a layer [m], with round ends of 128 pieces."""
    found = {}
    for net in (terminal.net for terminal in board.terminals):
        tracks = [t for t in board.tracks if t.net == net and t.layer == layer]
        holes = [hole for hole in (*board.vias, *board.terminals) if hole.net == net]
        found[net] = shapely.union_all(
            [shapely.LineString(t.points).buffer(t.width / 2, quad_segs=32) for t in tracks]
            + [shapely.Point(hole.x, hole.y).buffer(hole.pad / 2, quad_segs=32) for hole in holes]
        )
    return found


@pytest.mark.parametrize("edge", ["outer", "inner"])
def test_areas_are_those_of_rings(edge):
    """pi (R² - r²) and nothing beside the ring but its terminal: the pads of the vias lie within it."""
    design = design_of(lead_edge=edge, inner_diameter_mm=60.0, width_mm=3.0, spacing_mm=1.5)
    for index, (net, shape) in enumerate(covered(pcbstator.lay_slip_ring(design), 1).items()):
        inner = 30e-3 + index * 4.5e-3
        assert net == f"R{index + 1}"
        assert shape.area == pytest.approx(pi * ((inner + 3e-3) ** 2 - inner**2) + pi * 1e-6, rel=1e-4)


@pytest.mark.parametrize("edge", ["outer", "inner"])
@pytest.mark.parametrize("rings", [1, 2, 7, 32])
def test_every_net_is_one_piece_through_its_vias(edge, rings):
    design = design_of(lead_edge=edge, rings=rings, inner_diameter_mm=90.0)
    board = pcbstator.lay_slip_ring(design)
    top, bottom = covered(board, 1), covered(board, 2)
    assert list(top) == [f"R{number}" for number in range(1, rings + 1)]
    for net in top:
        assert shapely.get_num_geometries(top[net]) == 2  # ring, and terminal's pad
        assert shapely.get_num_geometries(bottom[net]) == 1  # vias, lead and terminal hang together
        vias = [via for via in board.vias if via.net == net]
        ring = next(track for track in board.bare if track.net == net)
        for via in vias:
            away = shapely.LineString(ring.points).distance(shapely.Point(via.x, via.y)) + via.pad / 2
            assert away <= ring.width / 2 + 1e-9
        for first, second in itertools.pairwise(vias):
            assert hypot(first.x - second.x, first.y - second.y) == pytest.approx(via.pad, rel=1e-9)


@settings(max_examples=5, deadline=None, suppress_health_check=list(HealthCheck))
@given(
    st.fixed_dictionaries({
        "rings": st.integers(1, 32), "inner_diameter_mm": st.floats(2, 300), "width_mm": st.floats(0.3, 10),
        "spacing_mm": st.floats(0.05, 10), "current_rms_a": st.floats(0.001, 30), "voltage_v": st.floats(0, 1000),
        "copper_um": st.sampled_from([18.0, 35.0, 70.0, 105.0, 210.0]),
        "lead_edge": st.sampled_from(["outer", "inner"]),
        "temperature_rise_k": st.floats(10, 100), "terminal_pad_mm": st.floats(1.1, 9),
        "via_drill_mm": st.floats(0.1, 1.2), "via_pad_mm": st.floats(0.3, 2.4),
    })
)  # fmt: skip
def test_random_sections_are_laid_or_refused_in_words(values):
    """What is laid keeps its gaps, measured here on the areas; what is not says which key and what to do."""
    try:
        board = pcbstator.lay_slip_ring(design_of(**values))
    except DesignError as error:
        assert all(c.key.startswith("slip_ring.") and c.rule and c.remedy for c in error.complaints)
        return
    gaps = slip_ring_gaps(board)
    drawn = [gap for gap in (gaps.rings, gaps.terminals, gaps.leads) if gap]
    measured = []
    for layer in (1, 2):
        shapes = np.array(list(covered(board, layer).values()))
        pairs = list(itertools.combinations(range(len(shapes)), 2))
        if pairs:
            first, second = np.array(pairs).T
            measured.append(shapely.distance(shapes[first], shapes[second]).min())
    assert bool(measured) == bool(drawn) == (values["rings"] > 1)
    if drawn:  # round ends of 128 pieces stay 2e-4 of their radius inside the true circle
        assert min(gap.distance for gap in drawn) == pytest.approx(min(measured), abs=4e-6)
        assert min(gap.distance for gap in drawn) > 0
    if gaps.rings:
        assert 1e3 * gaps.rings.distance == pytest.approx(values["spacing_mm"], rel=1e-6)
    everything = shapely.union_all([shape for layer in (1, 2) for shape in covered(board, layer).values()])
    near = everything.distance(shapely.Point(0, 0)) - board.board_inner_radius
    far = board.board_outer_radius - float(np.hypot(*shapely.get_coordinates(everything).T).max())
    assert (near, far) == pytest.approx(edge_distances(board), abs=4e-6)
    assert min(near, far) >= 0.5e-3 - 1e-6  # what is left out of the file is 0.5 mm; round ends as above


@pytest.mark.parametrize(
    ("values", "key", "text"),
    [
        ({"inner_diameter_mm": 5.0, "lead_edge": "inner"}, "inner_diameter_mm", 'or lead_edge = "outer"'),
        ({"inner_diameter_mm": 9.0, "rings": 8, "lead_edge": "inner"}, "rings", "meet at x"),
        ({"outer_diameter_mm": 60.0}, "outer_diameter_mm", "4 rings with their terminals need"),
        ({"bore_diameter_mm": 39.0, "lead_edge": "inner"}, "inner_diameter_mm", "and for the terminals inside"),
        ({"bore_diameter_mm": 41.0}, "inner_diameter_mm", "larger than slip_ring.bore_diameter_mm"),
        ({"rings": 32, "spacing_mm": 50.0}, "rings", "must fit on a board of 2000 mm"),
        ({"rings": 32, "lead_width_mm": 10.0}, "rings", "side by side round the circle"),
        ({"vias": 64, "inner_diameter_mm": 20.0}, "vias", "shorter than half of the innermost ring"),
        ({"rings": 33}, "rings", "from 1 to 32"),
        ({"rings": 0}, "rings", "from 1 to 32"),
        ({"width_mm": 0.5}, "width_mm", "larger than slip_ring.via_pad_mm"),
        ({"via_plating_um": 100.0, "via_drill_mm": 0.2}, "via_plating_um", "leave the 0.2 mm hole open"),
        ({"thickness_mm": 0.1, "copper_um": 70.0}, "thickness_mm", "thicker than its two layers"),
        ({"voltage_v": 230_000}, "voltage_v", "from 0 to 1000 V"),
    ],
)  # fmt: skip
def test_impossible_boards_are_refused_by_key(values, key, text):
    with pytest.raises(DesignError) as caught:
        pcbstator.lay_slip_ring(design_of(**values))
    told = {complaint.key: str(complaint) for complaint in caught.value.complaints}
    assert set(told) == {f"slip_ring.{key}"}
    assert text in told[f"slip_ring.{key}"]


def test_the_stated_way_out_is_one():
    """The inner diameter that a refusal names does fit."""
    with pytest.raises(DesignError) as caught:
        pcbstator.lay_slip_ring(design_of(inner_diameter_mm=6.0, lead_edge="inner", rings=2))
    wanted = float(str(caught.value).split("use ")[1].split(" ")[0])
    assert pcbstator.lay_slip_ring(design_of(inner_diameter_mm=wanted, lead_edge="inner", rings=2))
    with pytest.raises(DesignError):
        pcbstator.lay_slip_ring(design_of(inner_diameter_mm=wanted - 0.2, lead_edge="inner", rings=2))
