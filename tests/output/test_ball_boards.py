"""Both boards for balls, read back: folders, grooves between the mask, covered vias, fixing holes."""

from __future__ import annotations

import json
from math import hypot, pi

import numpy as np
import pytest
import shapely

import pcbstator
from pcbstator.analysis.electrical.slip_ring import lay_slip_ring_boards
from pcbstator.copper import size_design
from pcbstator.copper.connections.slip_ring import raceway, ring_radius
from pcbstator.design import Design, design_from_document
from pcbstator.output.drawing.slip_ring import slip_ring_svg
from pcbstator.output.fabrication.package import ordered_files
from pcbstator.project import report
from tests.check.test_findings import BALLS, SOUND
from tests.output import readback
from tests.output.svgread import read

HOLES = [{"diameter_mm": 3.2, "circle_diameter_mm": 88.0, "count": 3, "first_angle_deg": 30.0}]
ROOM = {"inner_diameter_mm": 50.0, "bore_diameter_mm": 30.0, "outer_diameter_mm": 96.0, "width_mm": 3.5, "holes": HOLES}
CASES = {"alike": {}, "apart": {"turning_lead_edge": "inner"}}


def asked(**values: object) -> Design:
    return design_from_document(SOUND | {"slip_ring": BALLS | ROOM | values}, "rings.toml")


@pytest.fixture(scope="module", params=CASES, ids=str)
def made(request):  # type: ignore[no-untyped-def]
    """The section, and the files of both folders by board and name."""
    design = asked(**CASES[request.param])
    copper = pcbstator.lay_copper(design)
    prediction = pcbstator.predict(design, copper)
    assert [finding for finding in prediction.findings if finding.severity == "error"] == []
    _, folders = ordered_files(design, copper)
    assert list(folders) == ["slip-ring/still", "slip-ring/turning"]
    return design.slip_ring, {folder.rpartition("/")[2]: files for folder, files in folders.items()}


def groove(section, index: int):  # type: ignore[no-untyped-def]
    """The bare ring [mm]."""
    aside, width = raceway(section)
    middle = 1e3 * (ring_radius(section, index) + aside)
    centre = shapely.Point(0, 0)
    outer, inner = (centre.buffer(middle + side * 500 * width, quad_segs=2000) for side in (1, -1))
    return outer.difference(inner)


def test_both_boards_leave_one_groove_bare(made) -> None:  # type: ignore[no-untyped-def]
    section, boards = made
    for files in boards.values():
        opened = shapely.union_all(readback.read_shapes(files["mask-top.gbr"]))
        terminals = section.rings * pi * (500 * section.terminal_pad + 0.05) ** 2
        fixing = 3 * pi * (1.6 + 0.05) ** 2
        whole = [groove(section, index) for index in range(section.rings)]
        assert opened.area == pytest.approx(sum(each.area for each in whole) + terminals + fixing, rel=1e-3)
        for each in whole:
            assert each.difference(opened).area < 2e-3 * each.area


def test_balls_meet_no_hole_and_only_copper(made) -> None:  # type: ignore[no-untyped-def]
    section, boards = made
    for files in boards.values():
        holes = readback.read_holes(files["drill-plated.drl"])
        assert holes
        copper = shapely.union_all(readback.read_shapes(files["copper-1.gbr"]))
        for index in range(section.rings):
            bare = groove(section, index)
            assert min(shapely.Point(x, y).distance(bare) - size / 2 for x, y, size, *_ in holes) > 0.1 - 5e-3
            assert bare.difference(copper).area < 1e-3 * bare.area


def test_vias_are_covered_on_both_sides(made) -> None:  # type: ignore[no-untyped-def]
    from gerbonara.ipc356 import Netlist

    for files in made[1].values():
        netlist = Netlist.from_string(files["netlist.ipc"], "rings.ipc")
        vias = [record for record in netlist.test_records if record.is_via]
        assert vias and {record.solder_mask.name for record in vias} == {"BOTH"}


def test_terminals_are_where_they_were_asked_for(made) -> None:  # type: ignore[no-untyped-def]
    section, boards = made
    rings = 1e3 * ring_radius(section, 0), 1e3 * ring_radius(section, section.rings - 1)
    for name, edge in (("still", section.lead_edge), ("turning", section.turning_edge)):
        places = json.loads(boards[name]["manifest.json"])["terminals"].values()
        for place in places:
            reach = hypot(place["x_mm"], place["y_mm"])
            assert reach > rings[1] if edge == "outer" else reach < rings[0]


def test_fixing_holes_are_drilled_and_free_of_copper(made) -> None:  # type: ignore[no-untyped-def]
    for files in made[1].values():
        holes = sorted(readback.read_holes(files["drill-unplated.drl"]))
        assert len(holes) == 3 and {hole[2] for hole in holes} == {3.2}
        for x, y, size, *_ in holes:
            assert hypot(x, y) == pytest.approx(44.0, abs=1e-3)
            for number in (1, 2):
                copper = shapely.union_all(readback.read_shapes(files[f"copper-{number}.gbr"]))
                assert copper.distance(shapely.Point(x, y)) - size / 2 > 0.2
        angles = sorted(np.degrees(np.arctan2([y for _, y, *_ in holes], [x for x, *_ in holes])) % 360)
        assert angles == pytest.approx([30.0, 150.0, 270.0], abs=1e-2)


def test_drawing_and_page_say_what_balls_need(made) -> None:  # type: ignore[no-untyped-def]
    for files in made[1].values():
        assert "prototype" in files["slip-ring.svg"] and "groove" in files["slip-ring.svg"]
    design = asked()
    page = report(design)
    assert "Balls on copper" in page and "slip-ring/turning" in page and "Brushes</b>" not in page


@pytest.mark.parametrize("more", [{"lead_edge": "inner"}, {"contact": "brushes", "rings": 4}], ids=str)
def test_names_cover_neither_rings_nor_outlines(more) -> None:  # type: ignore[no-untyped-def]
    design = asked(
        **({"inner_diameter_mm": 50.0, "bore_diameter_mm": 36.0, "holes": [], "outer_diameter_mm": 120.0} | more)
    )
    for name, board in lay_slip_ring_boards(size_design(design)).items():
        text = slip_ring_svg("Rings", design.slip_ring.boards[name], board)
        items = [item for item in read(text)[1] if "slip-ring" in item.groups]
        low, high = (f([x.box for x in items if x.tag == "circle"], axis=0) for f in (np.min, np.max))
        middle = (low[:2] + high[2:]) / 2
        circles = sorted(float(x.attributes["r"]) for x in items if x.tag == "circle")
        bore, outline = 18.0, circles[-1]
        assert any(abs(radius - bore) < 1e-3 for radius in circles)
        names = [shapely.box(*item.box) for item in items if item.tag == "text"]
        assert len(names) == design.slip_ring.rings
        for box in names:
            far = max(hypot(x - middle[0], y - middle[1]) for x, y in box.exterior.coords)
            assert far < bore or box.distance(shapely.Point(*middle)) > outline
        assert not any(names[i].intersects(names[j]) for i in range(len(names)) for j in range(i))
