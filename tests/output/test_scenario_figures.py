"""Pictures of the runs in time: what every line of them is, told beside them."""

from __future__ import annotations

import pytest

import pcbstator
from pcbstator.output.report.scenario_figures import BELIEVED, scenario_svg
from tests.shipped import shipped


@pytest.fixture(scope="module")
def runs():
    design, _, prediction = shipped("filter-wheel")
    return {run.name: run for run in pcbstator.simulate(design, ("approach", "hold"), prediction).runs}


def test_where_a_target_is_met_from_both_sides_and_as_the_sensor_believes(runs) -> None:
    """matplotlib keeps words that it draws as outlines in comments."""
    picture = scenario_svg(runs["approach"])
    for words in ("from below", "from above", BELIEVED, "target, deg"):
        assert f"<!-- {words} -->" in picture
    assert picture.startswith("<svg") and runs["approach"].title in picture
