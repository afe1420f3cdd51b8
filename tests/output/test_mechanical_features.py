"""Holes, slots, mounting tabs and lands in the files, read back by gerbonara and ezdxf."""

from __future__ import annotations

import io
import json
from itertools import pairwise
from math import atan, cos, pi, radians, sin

import ezdxf
import numpy as np
import pytest
import shapely

from pcbstator.copper import Copper, lay_copper
from pcbstator.design import Design
from pcbstator.output.drawing.stator import stator_svg
from pcbstator.output.fabrication.drill import drill_xnc
from pcbstator.output.fabrication.gerber import copper_gerber, legend_gerber, mask_gerber, profile_gerber
from pcbstator.output.fabrication.netlist import netlist_ipc356
from pcbstator.output.fabrication.package import package_files
from pcbstator.output.rotor.dxf import rotor_dxf
from pcbstator.project import predict
from tests.command import no_rendering
from tests.copper.stators import design_of
from tests.output import readback

ALL = {
    "board__outer_diameter_mm": 86.0,
    "board__holes": [
        {"diameter_mm": 3.2, "circle_diameter_mm": 78.0, "count": 4, "first_angle_deg": 10.0},
        {"diameter_mm": 2.2, "circle_diameter_mm": 76.0, "count": 3, "first_angle_deg": 50.0, "plated": True,
         "pad_mm": 4.4},
    ],
    "board__slots": [
        {"width_mm": 2.0, "length_mm": 7.0, "circle_diameter_mm": 77.0, "first_angle_deg": 75.0, "count": 2,
         "direction": "tangential"},
    ],
    "board__tabs": [
        {"width_mm": 9.0, "reach_mm": 8.0, "count": 3, "first_angle_deg": 20.0},
        {"width_mm": 7.0, "reach_mm": 5.0, "first_angle_deg": 60.0, "rounded": False, "hole_mm": 0.0},
    ],
    "board__thermistor": {"circle_diameter_mm": 74.0, "angle_deg": -33.0, "size": "0805"},
    "board__keepouts": [{"name": "driver", "shape": "rectangle", "circle_diameter_mm": 76.0, "angle_deg": 120.0,
                         "length_mm": 5.0, "width_mm": 9.0}],
}  # fmt: skip


@pytest.fixture(scope="module")
def design() -> Design:
    return design_of(**ALL)


@pytest.fixture(scope="module")
def copper(design: Design) -> Copper:
    return lay_copper(design)


def around(circle: float, count: int, first: float) -> list[tuple[float, float]]:
    """Places on a circle, from the words of the design file."""
    angles = [radians(first) + 2 * pi * i / count for i in range(count)]
    return [(circle / 2 * cos(a), circle / 2 * sin(a)) for a in angles]


def test_the_design_has_no_findings(design: Design) -> None:
    assert not [f for f in predict(design).findings if f.severity == "error"]


def outlines(text: str) -> list[shapely.Polygon]:
    """The closed outlines of a profile [mm] by gerbonara's arcs and lines, arcs in steps of our own."""
    from gerbonara import MM, GerberFile
    from gerbonara.graphic_objects import Arc

    loops: list[list[tuple[float, float]]] = []
    for thing in GerberFile.from_string(text).objects:
        thing.convert_to(MM)
        start, end = (thing.x1, thing.y1), (thing.x2, thing.y2)
        if not loops or np.hypot(loops[-1][-1][0] - start[0], loops[-1][-1][1] - start[1]) > 1e-6:
            loops.append([start])
        if isinstance(thing, Arc):
            cx, cy = thing.x1 + thing.cx, thing.y1 + thing.cy
            a, b = np.arctan2(start[1] - cy, start[0] - cx), np.arctan2(end[1] - cy, end[0] - cx)
            turned = (a - b) % (2 * pi) if thing.clockwise else (b - a) % (2 * pi)
            steps = a + np.linspace(0, -turned if thing.clockwise else turned, 400)
            radius = np.hypot(start[0] - cx, start[1] - cy)
            assert np.hypot(end[0] - cx, end[1] - cy) == pytest.approx(radius, abs=3e-6)  # rounded to nanometres
            loops[-1] += [(cx + radius * np.cos(s), cy + radius * np.sin(s)) for s in steps[1:-1]]
        loops[-1].append(end)
    assert all(np.hypot(loop[0][0] - loop[-1][0], loop[0][1] - loop[-1][1]) < 1e-6 for loop in loops)  # closed
    return [shapely.Polygon(loop) for loop in loops]


def test_profile_reads_back_with_ears_and_slots(copper: Copper) -> None:
    outer, inner, *slots = outlines(profile_gerber(copper, "t"))
    assert outer.area == pytest.approx(1e6 * copper.shape.outer.area, rel=1e-5)
    assert outer.bounds == pytest.approx([1e3 * value for value in copper.shape.bounds], abs=1e-3)
    assert inner.area == pytest.approx(pi / 4 * (26 - 1) ** 2, rel=1e-4)  # the bore: copper less 0.5 mm of edge
    assert [slot.area for slot in slots] == pytest.approx([2.0 * 5.0 + pi] * 2, rel=1e-4)
    centres = sorted((slot.centroid.x, slot.centroid.y) for slot in slots)
    assert np.array(centres) == pytest.approx(np.array(sorted(around(77, 2, 75))), abs=1e-4)
    tips = [np.hypot(*np.asarray(outer.exterior.coords).T).max(), 43.0 + 8.0]
    assert tips[0] == pytest.approx(tips[1], abs=1e-4)


def test_drill_files_read_back(copper: Copper) -> None:
    bare = readback.read_holes(drill_xnc(copper, plated=False))
    meant = [(x, y, 3.2) for x, y in [*around(78, 4, 10), *around(2 * (43 + 8 - 4.5), 3, 20)]]
    assert np.array(sorted(hole[:3] for hole in bare)) == pytest.approx(np.array(sorted(meant)), abs=0.51e-3)
    assert all(plated is False for *_, plated in bare)
    plated = readback.read_holes(drill_xnc(copper, plated=True))
    wanted = [(x, y, 2.2) for x, y in around(76, 3, 50)]
    found = [hole[:3] for hole in plated if hole[2] == pytest.approx(2.2)]
    assert np.array(sorted(found)) == pytest.approx(np.array(sorted(wanted)), abs=0.51e-3)
    assert len(plated) == len(copper.vias) + len(copper.terminals) + 3


@pytest.mark.parametrize("number", [1, 2, 4])
def test_copper_reads_back_with_pads_and_lands(copper: Copper, number: int) -> None:
    read = shapely.union_all(readback.read_shapes(copper_gerber(copper, number, "t")))
    lands = [shapely.transform(land.area(), lambda xy: 1e3 * xy) for land in copper.non_winding.lands if number == 4]
    leads = [shapely.LineString(1e3 * t.points).buffer(500 * t.width) for t in copper.non_winding.tracks if number == 4]
    pads = [shapely.Point(x, y).buffer(2.2, quad_segs=64) for x, y in around(76, 3, 50)]
    meant = shapely.union_all([readback.layer_shape(copper, number), *lands, *leads, *pads])
    assert read.area == pytest.approx(meant.area, rel=1e-4)
    assert read.symmetric_difference(meant).area < 2e-4 * meant.area
    assert (len(lands) > 0) == (number == 4)
    # Holes, slots and mounting tabs are free of copper, by what was read.
    for x, y in around(78, 4, 10):
        assert read.distance(shapely.Point(x, y)) > 1.6 + 0.2
    outer = outlines(profile_gerber(copper, "t"))[0]
    assert outer.buffer(-0.3).contains(read) and np.hypot(*shapely.get_coordinates(read).T).max() < 43.0


def test_nets_are_one_piece_each_in_the_files(copper: Copper) -> None:
    """T1 and T2 are pieces of their own, on the far side; an unconnected pad is one each."""
    text = copper_gerber(copper, 4, "t")
    assert "%TO.N,T1*%" in text and "%TO.P,RT1,1,T1*%" in text and "%TO.N,N/C*%" in text
    assert "%TO.N,T1*%" not in copper_gerber(copper, 1, "t")
    layers = [readback.net_shapes(copper_gerber(copper, layer.number, "t")) for layer in copper.layers]
    holes = [hole[:3] for hole in readback.read_holes(drill_xnc(copper, plated=True))]
    assert sorted(map(sorted, readback.pieces(layers, holes))) == sorted([["STAR"], ["T1"], ["T2"], *[["N/C"]] * 3])


def test_mask_opens_every_land_and_hole(copper: Copper) -> None:
    bottom = readback.read_shapes(mask_gerber(copper, "bottom", "t"))
    top = readback.read_shapes(mask_gerber(copper, "top", "t"))
    assert len(bottom) == len(top) + 4  # two lands and two pads for wires
    discs = [*(shapely.Point(x, y).buffer(2.25, 64) for x, y in around(76, 3, 50)),
             *(shapely.Point(x, y).buffer(1.65, 64) for x, y in around(78, 4, 10))]  # fmt: skip
    union = shapely.union_all(top)
    assert all(disc.buffer(-1e-3).within(union) for disc in discs)
    lands = [land for land in copper.non_winding.lands if not land.is_round]
    read = sorted((s for s in bottom if len(s.exterior.coords) == 5), key=lambda s: s.centroid.x)
    for land, shape in zip(sorted(lands, key=lambda land: land.x), read, strict=True):
        meant = shapely.transform(land.area(0.05e-3), lambda xy: 1e3 * xy)
        assert shape.symmetric_difference(meant).area < 1e-4 * meant.area


def test_netlist_reads_back(copper: Copper) -> None:
    from gerbonara.ipc356 import Netlist

    records = Netlist.from_string(netlist_ipc356(copper, "t"), "stator.ipc").test_records
    assert len(records) == len(copper.vias) + len(copper.terminals) + 3 + 4
    surface = [r for r in records if r.pad_type.name == "SMD_PAD"]
    assert sorted((r.net_name, r.ref_des, r.access_layer) for r in surface) == [
        ("T1", "J2", 4), ("T1", "RT1", 4), ("T2", "J2", 4), ("T2", "RT1", 4),
    ]  # fmt: skip
    for record, land in zip(surface, copper.non_winding.lands, strict=True):
        assert (record.x, record.y) == pytest.approx((1e3 * land.x, 1e3 * land.y), abs=0.51e-3)
    loose = [r for r in records if r.ref_des and r.ref_des.startswith("H")]
    assert {(r.hole_dia, r.w, r.is_plated) for r in loose} == {(2.2, 4.4, True)} and len(loose) == 3


@pytest.mark.parametrize("side", ["top", "bottom"])
def test_legend_keeps_off_holes_slots_and_lands(copper: Copper, side: str) -> None:
    ink = shapely.union_all(readback.read_shapes(legend_gerber(copper, side, "A long title for this board", ["x"])))
    openings = readback.read_shapes(mask_gerber(copper, side, "t"))
    assert ink.area > 5 and ink.distance(shapely.union_all(openings)) > 0.15
    outer, inner, *slots = outlines(profile_gerber(copper, "t"))
    board = outer.difference(shapely.union_all([inner, *slots]))
    assert board.buffer(-0.45).contains(ink)


def bulged_area(points: list[tuple[float, float, float]]) -> float:
    """Area of a polyline: shoelace, and for each bulge b the circle's segment of the angle 4 atan b (DXF reference)."""
    total = 0.0
    for (x0, y0, bulge), (x1, y1, _) in pairwise([*points, points[0]]):
        total += (x0 * y1 - x1 * y0) / 2
        if bulge:
            angle = 4 * atan(bulge)
            radius = np.hypot(x1 - x0, y1 - y0) / 2 / sin(angle / 2)
            total += radius**2 * (angle - sin(angle)) / 2
    return abs(float(total))


def test_board_outline_in_the_dxf_is_that_of_the_board(design: Design, copper: Copper) -> None:
    """Mirrored, as the plate above the board is; area by the shoelace formula with bulges."""
    document = ezdxf.read(io.StringIO(rotor_dxf(design)))
    loops = document.modelspace().query('LWPOLYLINE[layer=="BOARD_OUTLINE"]')
    areas = [bulged_area(loop.get_points("xyb")) for loop in loops]
    assert max(areas) == pytest.approx(1e6 * copper.shape.outer.area, rel=1e-9)
    assert sorted(areas)[:2] == pytest.approx([2.0 * 5.0 + pi] * 2, rel=1e-9)
    circles = document.modelspace().query('CIRCLE[layer=="BOARD_OUTLINE"]')
    bare = [c for c in circles if c.dxf.radius == pytest.approx(1.6)]
    mirrored = sorted((-c.dxf.center.x, c.dxf.center.y) for c in bare)
    meant = sorted([*around(78, 4, 10), *around(2 * (43 + 8 - 4.5), 3, 20)])
    assert np.array(mirrored) == pytest.approx(np.array(meant), abs=1e-6)


def test_drawing_report_and_job_speak_of_them(design: Design, copper: Copper) -> None:
    with no_rendering():
        files = package_files(design, copper, predict(design))
    svg, report = stator_svg(design, copper), files["report.html"]
    assert all(f">{name}<" in svg for name in ("H1", "H10", "T1", "T2", "A", "N"))
    assert "keep-out" in svg and "plated hole" in svg
    assert svg.count('fill-opacity="0.12"') == len(design.board.keepouts) + 1  # and the sign that explains it
    assert "4 of 3.2 mm" not in report and "7 of 3.2 mm" in report and "3 of 2.2 mm" in report
    job = json.loads(files["board.gbrjob"])
    left, low, right, high = copper.shape.bounds
    assert job["GeneralSpecs"]["Size"] == {"X": pytest.approx(1e3 * (right - left), abs=1e-4),
                                           "Y": pytest.approx(1e3 * (high - low), abs=1e-4)}  # fmt: skip
