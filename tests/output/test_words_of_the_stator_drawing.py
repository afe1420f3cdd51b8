"""The sentence over the stator tells the sizes that the design file asked for."""

import re

import pytest

from pcbstator.copper import lay_copper
from pcbstator.output.drawing.stator import stator_svg
from tests.copper.stators import design_of
from tests.output.svgread import read


@pytest.mark.parametrize(("across", "bore"), [(70.0, 14.0), (72.5, 11.5)])
def test_outer_diameter_and_bore_are_told(across: float, bore: float) -> None:
    design = design_of(board__outer_diameter_mm=across, board__inner_diameter_mm=bore, board__thickness_mm=1.2)
    text = " ".join(item.text for item in read(stator_svg(design, lay_copper(design)))[1] if item.tag == "text")
    text = text.replace("\u00a0", " ")
    assert float(re.search(r"Board ([\d.]+) mm across", text)[1]) == across
    assert float(re.search(r"bore ([\d.]+) mm", text)[1]) == bore
    assert float(re.search(r"([\d.]+) mm thick", text)[1]) == 1.2
    assert float(re.search(r"Tracks ([\d.]+) mm", text)[1]) == pytest.approx(0.4)
    assert float(re.search(r"gaps ([\d.]+) mm", text)[1]) == pytest.approx(0.25)
