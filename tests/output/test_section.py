"""The section through axis and gap: parts to scale, nothing over anything else, the stack of the gap by hand."""

from __future__ import annotations

import itertools
import xml.etree.ElementTree as ET
from math import sqrt

import pytest
import shapely

import pcbstator
from pcbstator.analysis.mechanical.gap_stack import gap_stack
from pcbstator.copper import size_design
from pcbstator.output.canvas.text import text_width
from pcbstator.output.drawing.section import section_parts, section_svg
from tests.command import DESIGNS
from tests.shipped import shipped

SVG = "{http://www.w3.org/2000/svg}"


@pytest.mark.parametrize("path", DESIGNS, ids=lambda path: path.stem)
def test_parts_are_drawn_to_scale(path):
    _, _, prediction = shipped(path.stem)
    design = prediction.design
    solid = [part for part in section_parts(design) if part.kind != "gap"]
    page = ET.fromstring(section_svg(design, prediction))
    boxes = [{key: float(box.get(key)) for key in ("x", "y", "width", "height")} for box in page.iter(f"{SVG}rect")]
    boxes = [box for box in boxes if box["x"] > 0 and box["height"] > 0]
    found = {(round(box["width"] / box["height"], 1)) for box in boxes}
    for part in solid:
        assert any(
            abs(ratio - (part.outer - part.inner) / (part.high - part.low)) < 0.02 * ratio + 0.1 for ratio in found
        ), part.words
    names = [(float(text.get("y")), "".join(text.itertext())) for text in page.iter(f"{SVG}text")]
    for part in section_parts(design):
        assert any(part.words in words for _, words in names)
    beside = sorted(y for y, words in names if any(part.words == words for part in section_parts(design)))
    assert all(after - before > 2.0 for before, after in itertools.pairwise(beside))


def test_no_parts_lie_in_each_other_but_for_pockets():
    design = size_design(pcbstator.load_design(DESIGNS[-2]))
    parts = [part for part in section_parts(design) if part.kind not in ("gap", "plate")]
    heights = sorted((part.low, part.high) for part in parts)
    assert all(low >= high - 1e-12 for (_, high), (low, _) in itertools.pairwise(heights))


def test_stack_of_the_gap_by_hand():
    """Worst case the plain sum; by chance 1.645 standard deviations: normal, even either way, even up to."""
    design = size_design(
        pcbstator.load_design(DESIGNS[1]).with_values(
            {"tolerance": {"air_gap_mm": 0.1}, "build": {"board_bow_mm": 0.2, "rotor_run_out_mm": 0.1},
             "rotor.air_gap_mm": 1.0}
        )
    )  # fmt: skip
    part = (2 * design.rotor.magnet.outer_diameter / 2 / design.board.outer_diameter) ** 2
    found = gap_stack(design, None)
    assert found["gap_worst"] == pytest.approx((1.0 - 0.1 - 0.2 * part - 0.05) * 1e-3)
    chance = 1.645 * sqrt((0.1 / 1.645) ** 2 + (0.2 * part) ** 2 / 3 + 0.05**2 / 12)
    assert found["gap_usual"] == pytest.approx((1.0 - 0.025 - chance) * 1e-3)
    assert gap_stack(design, 0.7e-3)["gap_worst"] == pytest.approx(found["gap_worst"] - 0.3e-3)


BALLS = {"rings": 2, "inner_diameter_mm": 20.0, "width_mm": 4.0, "spacing_mm": 3.0, "current_rms_a": 1.0,
         "voltage_v": 24.0, "contact": "balls"}  # fmt: skip


def drawn(changes):
    quick = {"requirement": None, "motion": None, "drive": None, "build.draws": 100}
    design = pcbstator.load_design("designs/photogrammetry-stage.toml").with_values(quick | changes)
    prediction = pcbstator.predict(design)
    return prediction.design, prediction, ET.fromstring(section_svg(prediction.design, prediction))


def test_every_part_has_its_diameters_and_all_of_it_a_height():
    """Plate, steel wider than the magnets, bearing and envelope; the height by hand, a pocket taking from it."""
    plate = {"material": "wood", "thickness_mm": 5.0, "outer_diameter_mm": 108.5, "inner_diameter_mm": 40.5}
    _, _, page = drawn(
        {"rotor.plate": plate | {"pocket_depth_mm": 0.5, "held_diameter_mm": 50.0},
         "rotor.iron_inner_diameter_mm": 62.0, "envelope.height_mm": 20.0,
         "envelope.bearing_inner_diameter_mm": 64.0, "envelope.bearing_outer_diameter_mm": 109.0}
    )  # fmt: skip
    words = ["".join(text.itertext()) for text in page.iter(f"{SVG}text")]
    for ends in ("40.5 mm, plate", "108.5 mm, plate", "62 mm, steel", "64 mm, bearing", "109 mm, bearing",
                 "110 mm, envelope", "60 mm, kept free", "68 mm, magnets"):  # fmt: skip
        assert f"⌀ {ends}" in words, ends
    assert "12.4 mm" in words  # 1.6 + 0.8 + 3 + 2.5 + 5 − 0.5


def test_slip_rings_are_drawn_with_their_balls_to_scale():
    design, prediction, page = drawn({"slip_ring": BALLS})
    boxes = [[float(box.get(key)) for key in ("x", "y", "width", "height")] for box in page.iter(f"{SVG}rect")]
    upper, lower = (box for box in sorted(boxes, key=lambda box: box[1])[-2:])
    sizes, section = prediction.slip_ring, design.slip_ring
    scale = upper[2] / (sizes.board_outer_diameter - sizes.board_inner_diameter) * 2
    assert upper[3] == lower[3] == pytest.approx(scale * section.thickness, rel=1e-3)
    assert lower[1] - upper[1] - upper[3] == pytest.approx(scale * (3e-3 + 2 * section.copper), rel=1e-3)
    balls = [(float(ball.get("cy")), float(ball.get("r"))) for ball in page.iter(f"{SVG}circle")]
    assert len(balls) == section.rings
    for middle, radius in balls:
        assert radius == pytest.approx(scale * section.ball_diameter / 2, rel=1e-3)
        assert middle == pytest.approx((upper[1] + upper[3] + lower[1]) / 2, abs=1e-3)


@pytest.mark.parametrize("changes", [{"slip_ring": BALLS}, {"rotor.arrangement": "double"}], ids=str)
def test_words_and_lines_stay_on_the_page_and_apart(changes):
    *_, page = drawn(changes)
    width = float(page.get("viewBox").split()[2])
    boxes = []
    for text in page.iter(f"{SVG}text"):
        words, size = "".join(text.itertext()), float(text.get("font-size"))
        long, bold = text_width(words, size), text.get("font-weight") == "bold"
        x = float(text.get("x")) - (long if text.get("text-anchor") == "end" else 0)
        assert x > 0 and x + long * (1.1 if bold else 1.0) < width, words
        boxes.append(shapely.box(x, float(text.get("y")) - 0.7 * size, x + long, float(text.get("y"))))
    assert all(not one.intersects(other) for one, other in itertools.combinations(boxes, 2))
    solid = [[float(box.get(key)) for key in ("x", "y", "width", "height")] for box in page.iter(f"{SVG}rect")]
    solid = [shapely.box(x, y, x + wide, y + high) for x, y, wide, high in solid if wide < 0.9 * width]
    assert solid and all(not words.intersects(part) for words in boxes for part in solid)
