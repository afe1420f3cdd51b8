"""Pictures of the runs in time: what every line of them is, told beside them."""

from __future__ import annotations

import pytest

import pcbstator
from pcbstator.output.report.scenario_figures import BELIEVED, scenario_svg
from pcbstator.output.report.simulation import simulation_text
from tests.shipped import shipped


@pytest.fixture(scope="module")
def found():
    design, _, prediction = shipped("filter-wheel")
    return pcbstator.simulate(design, ("approach", "hold"), prediction)


def test_where_a_target_is_met_from_both_sides_and_as_the_sensor_believes(found) -> None:
    """matplotlib keeps words that it draws as outlines in comments."""
    run = next(run for run in found.runs if run.name == "approach")
    picture = scenario_svg(run)
    for words in ("from below", "from above", BELIEVED, "target, deg"):
        assert f"<!-- {words} -->" in picture
    assert picture.count(f"<!-- {BELIEVED} -->") == 2  # for the stops, and for the run beside them
    assert picture.startswith("<svg") and run.title in picture


def test_the_text_has_a_heading_for_every_run(found) -> None:
    lines = simulation_text(found).splitlines()
    places = [lines.index(f"{run.name}: {run.title}") for run in found.runs]
    assert len(places) == 2 and all(lines[place - 1] == "" and lines[place + 1].startswith("  ") for place in places)
