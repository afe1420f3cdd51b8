"""The plate of the rotor in DXF, sheet and list, and sheets cut into A4 pages."""

from __future__ import annotations

import io
import re
from math import atan2, hypot, pi

import ezdxf
import numpy as np
import pytest

import pcbstator
from pcbstator.analysis.mechanical.rotor_plan import plate_holes, plates
from pcbstator.copper import size_design
from pcbstator.output.canvas.page import Disc, Line, Page, Words
from pcbstator.output.canvas.tiles import HEIGHT, MARGIN, WIDTH, tiled
from pcbstator.output.rotor.assembly import assembly_sheet_svg, assembly_tiles_pdf
from pcbstator.output.rotor.dxf import rotor_dxf
from pcbstator.output.rotor.magnet_list import magnet_list
from tests.output.svgread import read
from tests.output.test_drawing import assert_tidy

HOLES = [{"diameter_mm": 3.2, "circle_diameter_mm": 22.0, "count": 3, "first_angle_deg": 20.0},
         {"diameter_mm": 5.0, "circle_diameter_mm": 0.0}]  # fmt: skip
PLATE = {"material": "wood", "thickness_mm": 5.0, "outer_diameter_mm": 62.0, "pocket_depth_mm": 1.5, "holes": HOLES}


@pytest.fixture(scope="module")
def fan():
    """Two rotors, each with a plate of its own."""
    design = pcbstator.load_design("designs/small-fan.toml")
    return size_design(design.with_values({"envelope": None, "rotor.plate": PLATE}))


def circles(design, plate, layer):
    space = ezdxf.read(io.StringIO(rotor_dxf(design, plate))).modelspace()
    return [(e.dxf.center.x, e.dxf.center.y, e.dxf.radius) for e in space.query(f'CIRCLE[layer=="{layer}"]')]


def test_dxf_has_outline_and_holes_where_the_machine_has_them(fan):
    """A hole at 20° of the machine is at 160° on the upper plate, which lies face up, and at 20° on the lower one."""
    for plate, first in zip(plates(fan), (160.0, 20.0), strict=True):
        assert circles(fan, plate, "PLATE_OUTLINE") == [(0, 0, pytest.approx(31.0))]
        found = circles(fan, plate, "PLATE_HOLES")
        assert sorted(round(radius, 6) for *_, radius in found) == [1.6, 1.6, 1.6, 2.5]
        angles = {round(np.degrees(atan2(y, x)) % 120, 6) for x, y, radius in found if radius < 2}
        assert angles == {first % 120}
        assert all(hypot(x, y) == pytest.approx(11.0, rel=1e-9) for x, y, radius in found if radius < 2)


def test_dxf_of_a_ring_has_its_bore(fan):
    ring = size_design(fan.asked.with_values({"rotor.plate.inner_diameter_mm": 12.0, "rotor.plate.holes": HOLES[:1]}))
    radii = sorted(radius for *_, radius in circles(ring, plates(ring)[0], "PLATE_OUTLINE"))
    assert radii == pytest.approx([6.0, 31.0], rel=1e-9)


def test_a_steel_plate_has_no_second_ring_of_steel(fan):
    changes = {"rotor.plate": PLATE | {"material": "steel", "pocket_depth_mm": 0.0}, "rotor.back_iron_mm": 5.0}
    steel = size_design(fan.asked.with_values(changes))
    assert circles(steel, plates(steel)[0], "BACK_IRON") == [] and len(circles(fan, plates(fan)[0], "BACK_IRON")) == 2
    assert "Steel" not in {row.name for row in magnet_list(steel)}


def test_sheet_and_list_say_what_is_drawn(fan):
    root, items = read(assembly_sheet_svg(fan))
    assert_tidy(root, items)
    radii = [float(item.attributes["r"]) for item in items if item.tag == "circle"]
    assert radii.count(31.0) == 1 and radii.count(1.6) == 3 and radii.count(2.5) == 1
    (row,) = [row for row in magnet_list(fan) if row.name == "Rotor plate"]
    assert row.value == "2 × wood disc, 62 mm outside, 5 mm thick"
    assert row.meaning == (
        "3 holes of 3.2 mm on a circle of 22 mm; 1 hole of 5 mm in the middle; pockets for the steel ring 1.5 mm deep"
    )


def test_holes_are_clear_of_each_other_on_the_bench(fan):
    for plate in plates(fan):
        placed = plate_holes(fan, plate)
        assert len(placed) == 4 and sum(pi * hole.radius**2 for hole in placed) == pytest.approx(
            pi * (3 * 1.6e-3**2 + 2.5e-3**2), rel=1e-12
        )


# ----------------------------------------------------------------- tiles
def page(width, height):
    items = (Disc((width / 2, height / 2), 40.0), Line(((0.0, 0.0), (width, height))), Words("end", (width - 9, 9), 3))
    return Page(width, height, "a page", items)


@pytest.mark.parametrize(("width", "height", "count"), [(297.0, 420.0, 4), (780.0, 900.0, 20), (190.0, 277.0, 1)])
def test_tiles_join_to_the_page(width, height, count):
    """Laid cross on cross, the parts of every tile come to the same places; the crosses too."""
    tiles = tiled(page(width, height))
    assert len(tiles) == count and all((tile.width, tile.height) == (WIDTH, HEIGHT) for tile in tiles)
    wide, tall = WIDTH - 2 * MARGIN, HEIGHT - 2 * MARGIN
    columns = -(-width // wide)
    marks = set()
    for number, tile in enumerate(tiles):
        x, y = number % columns * wide - MARGIN, number // columns * tall - MARGIN
        (disc,) = [item for item in tile.items if isinstance(item, Disc)]
        assert (disc.centre[0] + x, disc.centre[1] + y) == pytest.approx((width / 2, height / 2), abs=1e-9)
        assert disc.radius == 40.0
        marks |= {(round(sum(p[0] for p in item.points) / 2 + x, 6), round(sum(p[1] for p in item.points) / 2 + y, 6))
                  for item in tile.items if isinstance(item, Line) and item.width == 0.1}  # fmt: skip
    rows = len(tiles) / columns
    assert len(marks) == (columns + 1) * (rows + 1)  # each corner once, however many tiles share it
    assert sum(isinstance(item, Words) and item.text == "end" for tile in tiles for item in tile.items) >= 1


def test_only_sheets_larger_than_a4_are_cut(fan):
    assert assembly_tiles_pdf(fan) is None
    large = size_design(fan.asked.with_values({"rotor.plate.outer_diameter_mm": 260.0, "rotor.arrangement": "single"}))
    pdf = assembly_tiles_pdf(large)
    boxes = {tuple(map(float, box.split())) for box in re.findall(rb"/MediaBox \[([^\]]*)\]", pdf)}
    (box,) = boxes
    assert box == pytest.approx((0, 0, 210 * 72 / 25.4, 297 * 72 / 25.4), rel=1e-4)
    assert pdf == assembly_tiles_pdf(large)
    # As many rows as what is drawn on the sheet needs, 277 mm each, however large the paper: none is blank.
    root, items = read(assembly_sheet_svg(large))
    width, height = map(float, root.get("viewBox").split()[2:])
    lowest = max(item.box[3] for item in items if item.box[3] < height)  # but for the paper itself
    rows, columns = (int(-(-size // step)) for size, step in ((lowest, 277.0), (width, 190.0)))
    assert rows < -(-height // 277.0) and len(re.findall(rb"/MediaBox", pdf)) == rows * columns
