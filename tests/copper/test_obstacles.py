"""Copper near holes, slots, keep-outs and lands: what is found is what shapely measures on the rendered copper."""

import re
from functools import cache
from math import cos, pi, radians, sin

import numpy as np
import pytest
import shapely
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pcbstator.check.mechanical_features import feature_findings
from pcbstator.copper import lay_copper
from pcbstator.copper.obstacles import board_obstacles, too_near
from pcbstator.errors import DesignError
from pcbstator.project import predict
from tests.copper.stators import design_of

MM = 1e-3
BAND = 2e-7  # m; the discs of the rendered copper are polygons of 256 corners
WIDE = {"board__outer_diameter_mm": 90.0, "board__inner_diameter_mm": 10.0}


@cache
def rendered(outline):
    """All copper of the bench stator per layer, as the union of buffered tracks and pads [m]."""
    copper = lay_copper(design_of(winding__outline=outline, **WIDE))
    pads = [shapely.Point(h.x, h.y).buffer(h.pad / 2, quad_segs=64) for h in copper.holes]
    layers = {}
    for layer in copper.layers:
        lines = [shapely.LineString(t.points).buffer(t.width / 2, quad_segs=64)
                 for t in copper.tracks if t.layer == layer.number]  # fmt: skip
        layers[layer.number] = shapely.union_all(lines + pads)
    return layers


def codes(design):
    """Codes of obstacles that copper is too near to, with the distances."""
    copper = lay_copper(design)
    return copper, too_near(copper, board_obstacles(design, copper))


def agrees(distance, limit, found):
    """Whether a finding, or none, goes with a distance; within the band either does."""
    return bool(found) if distance < limit - BAND else not found if distance > limit + BAND else True


@settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.sampled_from(["sector", "round"]), st.floats(12, 88), st.floats(-180, 180), st.floats(0.3, 6))
def test_a_hole_is_found_exactly_where_copper_is_nearer_than_the_rule(outline, circle, angle, diameter):
    hole = {"diameter_mm": diameter, "circle_diameter_mm": circle, "first_angle_deg": angle}
    design = design_of(winding__outline=outline, board__holes=[hole], **WIDE)
    spot = shapely.Point(circle / 2 * MM * cos(radians(angle)), circle / 2 * MM * sin(radians(angle)))
    distance = min(shape.distance(spot) for shape in rendered(outline).values()) - diameter / 2 * MM
    _, near = codes(design)
    found = [n for n in near if n.obstacle.code == "board.hole_to_copper"]
    assert agrees(distance, design.rules.drill_to_copper, found)
    if found and distance > 0:  # its place and distance are the nearest copper's
        assert found[0].distance == pytest.approx(distance, abs=BAND)
        centre = shapely.Point(found[0].x, found[0].y)
        assert rendered(outline)[found[0].layer].distance(centre) < BAND


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.floats(14, 86), st.floats(-180, 180), st.floats(0.8, 4), st.floats(1.1, 5), st.booleans())
def test_a_slot_is_found_exactly_where_copper_is_nearer_than_the_edge_rule(circle, angle, width, longer, radial):
    slot = {"width_mm": width, "length_mm": width * longer, "circle_diameter_mm": circle, "first_angle_deg": angle,
            "direction": "radial" if radial else "tangential"}  # fmt: skip
    design = design_of(board__slots=[slot], **WIDE)
    half = width * (longer - 1) / 2 * MM
    flat = [(s * half, 0.0) if radial else (0.0, s * half) for s in (-1, 1)]
    c, s = cos(radians(angle)), sin(radians(angle))
    line = shapely.LineString([((circle / 2 * MM + x) * c - y * s, (circle / 2 * MM + x) * s + y * c) for x, y in flat])
    distance = min(shape.distance(line) for shape in rendered("sector").values()) - width / 2 * MM
    _, near = codes(design)
    assert agrees(distance, design.rules.edge, [n for n in near if n.obstacle.origin == "board.slots[1]"])


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.floats(10, 60), st.floats(1, 20), st.floats(-180, 180), st.floats(1, 90), st.integers(1, 4))
def test_a_keepout_is_found_exactly_where_copper_is_in_it_on_its_layers(inner, wide, start, span, layer):
    area = {"inner_diameter_mm": inner, "outer_diameter_mm": inner + wide, "from_deg": start, "to_deg": start + span,
            "layers": [layer]}  # fmt: skip
    design = design_of(board__keepouts=[area], **WIDE)
    turns = np.radians(np.linspace(start, start + span, 2000))
    rays = np.stack([np.cos(turns), np.sin(turns)], axis=1) * MM / 2
    shape = shapely.Polygon(np.concatenate([(inner + wide) * rays, inner * rays[::-1]]))
    copper = rendered("sector")[layer]
    _, near = codes(design)
    found = [n for n in near if n.obstacle.code == "board.keepout"]
    if shape.buffer(-3e-7).intersects(copper):
        assert found and found[0].layer == layer
    if not shape.buffer(3e-7).intersects(copper):
        assert not found


def test_way_out_by_angle_and_by_diameter_clears_the_hole():
    crowded = design_of(
        board__holes=[{"diameter_mm": 3.0, "circle_diameter_mm": 66.5, "count": 2, "first_angle_deg": 1.0}], **WIDE
    )
    found = {f.code: f for f in feature_findings(crowded, lay_copper(crowded))}
    message = found["board.hole_to_copper"].message
    angle = float(message.rpartition("first_angle_deg = ")[2])
    outer = float(message.partition("copper_outer_diameter_mm of at most ")[2].split()[0])
    where = found["board.hole_to_copper"].where
    assert all(word in where for word in ("hole H", "layer", "x ", "y ", "net "))
    turned = crowded.with_values({"board.holes": [{**crowded.document["board"]["holes"][0], "first_angle_deg": angle}]})
    assert not feature_findings(turned, lay_copper(turned))
    step = 1.0 if angle > 1.0 else -1.0  # it is the least turn by whole degrees
    hole = crowded.document["board"]["holes"][0]
    less = crowded.with_values({"board.holes": [{**hole, "first_angle_deg": angle - step}]})
    assert feature_findings(less, lay_copper(less))
    smaller = crowded.with_values({"board.copper_outer_diameter_mm": outer})
    assert not feature_findings(smaller, lay_copper(smaller))


def test_way_out_by_circle_clears_a_hole_in_the_coils():
    crowded = design_of(board__holes=[{"diameter_mm": 3.0, "circle_diameter_mm": 46.0, "count": 9}], **WIDE)
    message = next(f.message for f in feature_findings(crowded, lay_copper(crowded)))
    circle = float(message.partition("circle_diameter_mm of at least ")[2].split(",")[0])
    moved = crowded.with_values({"board.holes": [{"diameter_mm": 3.0, "circle_diameter_mm": circle, "count": 9}]})
    assert not feature_findings(moved, lay_copper(moved))


def test_a_design_with_such_a_hole_has_an_error_and_one_with_a_free_hole_has_none():
    free = design_of(board__holes=[{"diameter_mm": 3.0, "circle_diameter_mm": 76.0, "count": 6}], **WIDE)
    assert not [f for f in predict(free).findings if f.severity == "error"]
    bad = free.with_values({"board.holes": [{"diameter_mm": 3.0, "circle_diameter_mm": 50.0}]})
    assert {f.code for f in predict(bad).findings if f.severity == "error"} == {"board.hole_to_copper"}


@pytest.mark.parametrize("side", ["outer", "inner"])
@pytest.mark.parametrize("tabs", [[], [{"width_mm": 8.0, "reach_mm": 8.0, "count": 5}]], ids=["plain", "tabs"])
def test_edge_to_copper_is_measured_on_the_outline(side, tabs):
    """Terminals touch the ring's end: copper at the limit of the edge is let pass, a step nearer it is found."""
    ring = {"outer": 66.0, "inner": 26.0}[side]
    for edge, names in ((0.3, set()), (0.29, {f"the {side} edge"})):
        diameter = ring + 2 * edge if side == "outer" else ring - 2 * edge
        design = design_of(winding__connection_ring=side, board__tabs=tabs, **{f"board__{side}_diameter_mm": diameter})
        found = [n for n in codes(design)[1] if n.obstacle.code == "board.edge"]
        assert {n.obstacle.name for n in found} == names
        assert all(n.distance == pytest.approx(0.29e-3, abs=3e-6) for n in found[:1])


@pytest.mark.parametrize("wires", ["pads", "holes"])
@pytest.mark.parametrize("direction", ["tangential", "radial"])
@pytest.mark.parametrize("size", ["0402", "0603", "0805", "1206"])
def test_thermistor_lands_and_pads_keep_apart_and_hang_together(size, direction, wires):
    chip = {"size": size, "circle_diameter_mm": 74.0, "angle_deg": 33.0, "direction": direction, "wires": wires}
    design = design_of(board__thermistor=chip, **WIDE)
    copper, near = codes(design)
    assert near == [] and feature_findings(design, copper) == []
    nets = {}
    for net in ("T1", "T2"):
        shapes = [land.area() for land in copper.non_winding.lands if land.net == net]
        shapes += [shapely.Point(h.x, h.y).buffer(h.pad / 2) for h in copper.shape.drilled if h.net == net]
        shapes += [shapely.LineString(t.points).buffer(t.width / 2) for t in copper.non_winding.tracks if t.net == net]
        nets[net] = shapely.union_all(shapes)
        assert nets[net].geom_type == "Polygon"  # one piece
    assert nets["T1"].distance(nets["T2"]) >= design.board.track_gap - BAND
    assert {land.layer for land in copper.non_winding.lands} == {design.board.layers}


def test_thermistor_in_a_coil_is_refused_with_its_place():
    x, y = next(t for t in lay_copper(design_of()).tracks if t.layer == 4 and t.role == "coil").points[40]
    spot = {"circle_diameter_mm": 2e3 * float(np.hypot(x, y)), "angle_deg": float(np.degrees(np.arctan2(y, x)))}
    design = design_of(board__thermistor=spot)
    found = feature_findings(design, lay_copper(design))
    assert {f.code for f in found} >= {"board.pad_gap"} and all("layer 4" in f.where for f in found if f.limit)


def test_mounting_tabs_that_meet_are_refused():
    with pytest.raises(DesignError, match=r"board.tabs\[1\].first_angle_deg: must stand .* degrees apart"):
        lay_copper(design_of(board__tabs=[{"width_mm": 20.0, "reach_mm": 12.0, "count": 10}]))


def test_copper_free_mounting_tabs():
    """Nothing of the winding reaches the mounting tabs: all copper stays within the ring that was asked for."""
    design = design_of(board__tabs=[{"width_mm": 8.0, "reach_mm": 8.0, "count": 5}])
    copper = lay_copper(design)
    tabs = copper.shape.outer.polygon.difference(shapely.Point(0, 0).buffer(33.5 * MM, quad_segs=512))
    assert tabs.area > 5 * 8 * 7 * MM**2 * 0.9
    assert all(shape.distance(tabs) > 0 for shape in rendered("sector").values())
    assert copper.shape.reach == pytest.approx((67 / 2 + 8) * MM, rel=1e-12)
    assert len(copper.shape.drilled) == 5 and not any(h.plated for h in copper.shape.drilled)
    assert copper.shape.outer.area > pi * (33.5 * MM) ** 2


def test_webs_of_mask_and_laminate_are_those_of_the_drawing():
    """Lands 0.15 mm apart and openings 0.05 mm wider leave 0.05 mm; holes 0.4 mm from an edge, 0.3 mm apart."""
    lands = {"land_length_mm": 1.0, "land_width_mm": 1.0, "land_pitch_mm": 1.15}
    chip = {"circle_diameter_mm": 74.0, "angle_deg": 90.0, **lands}
    design = design_of(board__thermistor=chip, **WIDE)
    web = next(f for f in feature_findings(design, lay_copper(design)) if f.code == "board.mask_web")
    x, y = (float(word) for word in re.search(r"bottom, x (\S+) mm, y (\S+) mm", web.where).groups())
    assert web.value == pytest.approx(0.05, rel=1e-6)
    assert x == 0 and abs(y - 37.0) <= 0.55  # anywhere on the strip between the openings
    hole = {"diameter_mm": 3.0, "circle_diameter_mm": 72.0}
    near = design_of(board__holes=[hole], board__outer_diameter_mm=75.8)
    found = feature_findings(near, lay_copper(near))
    assert [(f.code, f.where) for f in found] == [("board.hole_web", "hole H1, x 36.000 mm, y 0.000 mm")]
    assert found[0].value == pytest.approx(0.4, abs=2e-4)
    turn = float(np.degrees(2 * np.arcsin(3.3 / 72.0)))  # a chord of 3.3 mm
    pair = design_of(board__holes=[hole, {**hole, "first_angle_deg": turn}], **WIDE)
    found = feature_findings(pair, lay_copper(pair))
    assert [f.code for f in found] == ["board.hole_web"] and found[0].value == pytest.approx(0.3, rel=1e-5)
