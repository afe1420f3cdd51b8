"""Lands of a chip thermistor against its body: both ends of the chip lie on copper, whatever its size."""

from math import hypot

import pytest
import shapely

from pcbstator.copper import lay_copper
from tests.copper.stators import design_of

# Length and width of chips [mm], and the least length of an end's metal (makers' sheets agree, from memory).
CHIPS = {"0402": (1.0, 0.5, 0.2), "0603": (1.6, 0.8, 0.3), "0805": (2.0, 1.25, 0.4), "1206": (3.2, 1.6, 0.5)}


@pytest.mark.parametrize("size", CHIPS)
def test_ends_of_the_chip_lie_on_its_lands(size: str) -> None:
    """Each end's metal within its land, 0.05 to 0.15 mm of land beside the chip, and a clear space under its middle."""
    length, width, metal = CHIPS[size]
    chip = {"size": size, "circle_diameter_mm": 74.0, "angle_deg": 0.0, "direction": "radial"}
    copper = lay_copper(design_of(board__thermistor=chip, board__outer_diameter_mm=82.0))
    lands = [land for land in copper.non_winding.lands if land.part == "RT1"]
    assert len(lands) == 2
    for land, side in zip(sorted(lands, key=lambda land: land.x), (-1, 1), strict=True):
        x = side * (length - metal) / 2 * 1e-3
        end = shapely.box(37e-3 + x - metal / 2e3, -width / 2e3, 37e-3 + x + metal / 2e3, width / 2e3)
        area = land.area()
        assert area.buffer(1e-9).contains(end)
        beside = (area.bounds[3] - area.bounds[1] - width * 1e-3) / 2
        assert 0.05e-3 - 1e-9 <= beside <= 0.125e-3
    assert 0.3e-3 <= lands[0].area().distance(lands[1].area()) <= (length - 2 * metal) * 1e-3 + 1e-9


@pytest.mark.parametrize(("circle", "outwards"), [(74.0, True), (18.0, False)])
def test_wires_are_towards_the_edge_that_is_nearer(circle: float, outwards: bool) -> None:
    """Of a board from 10 to 90 mm, whose middle is at a circle of 50 mm."""
    chip = {"size": "0603", "circle_diameter_mm": circle, "angle_deg": 20.0, "direction": "radial"}
    board = {"board__outer_diameter_mm": 90.0, "board__inner_diameter_mm": 10.0}
    lands = lay_copper(design_of(board__thermistor=chip, **board)).non_winding.lands
    own, wires = ([hypot(land.x, land.y) for land in lands if (land.part == "RT1") is chips] for chips in (True, False))
    assert len(own) == len(wires) == 2
    assert min(wires) > max(own) if outwards else max(wires) < min(own)
    stated = lay_copper(
        design_of(board__thermistor=chip | {"wire_circle_diameter_mm": 80.0}, **board)
    ).non_winding.lands
    assert [hypot(land.x, land.y) for land in stated if land.part != "RT1"] == pytest.approx([0.04, 0.04])
