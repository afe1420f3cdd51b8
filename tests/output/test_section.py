"""The section through axis and gap: parts to scale, nothing over anything else, the stack of the gap by hand."""

from __future__ import annotations

import itertools
import xml.etree.ElementTree as ET
from math import sqrt

import pytest

import pcbstator
from pcbstator.analysis.mechanical.gap_stack import gap_stack
from pcbstator.copper import size_design
from pcbstator.output.drawing.section import section_parts, section_svg
from tests.command import DESIGNS

SVG = "{http://www.w3.org/2000/svg}"


@pytest.mark.parametrize("path", DESIGNS, ids=lambda path: path.stem)
def test_parts_are_drawn_to_scale(path):
    prediction = pcbstator.predict(pcbstator.load_design(path))
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
