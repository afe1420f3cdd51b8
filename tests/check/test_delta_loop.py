"""The finding about the current around a delta: where it stands against the copper loss, and against which one."""

from dataclasses import replace

import pytest

import pcbstator
from pcbstator.check.run import check_design
from pcbstator.copper import lay_copper, size_design
from pcbstator.design import design_from_document
from tests.analysis.test_delta_loop import DOCUMENT

CODE = "electrical.delta_loop"


def told(design, prediction):
    return [found for found in check_design(design, lay_copper(design), prediction) if found.code == CODE]


@pytest.fixture(scope="module")
def wave():
    sections = {name: section for name, section in DOCUMENT.items() if name not in ("load", "motion", "drive")}
    design = size_design(design_from_document(sections))
    return design, pcbstator.predict(design)


def test_the_limit_is_a_twentieth_of_the_copper_loss(wave):
    design, prediction = wave
    for part, count in ((0.0501, 1), (0.0499, 0)):
        losses = tuple(point | {"delta_loop_w": part * point["copper_w"]} for point in prediction.losses)
        assert len(told(design, replace(prediction, losses=losses))) == count


def test_the_highest_current_and_speed_count(wave):
    """Not the points without load, where the loop is all there is."""
    design, prediction = wave
    (found,) = told(design, prediction)
    point = prediction.losses[-1]
    assert (point["speed_rpm"], point["phase_current_peak_a"]) == (1500.0, 2.0) and "at 1500 rpm" in found.message
    assert found.value == pytest.approx(point["delta_loop_w"] / point["copper_w"], rel=1e-5) and found.where == "losses"


def test_without_any_current_the_continuous_one_is_the_measure(wave):
    design, _ = wave
    idle = design.with_values({"operation.phase_currents_peak_a": [0.0]})
    prediction = pcbstator.predict(idle)
    (found,) = told(idle, prediction)
    expected = prediction.losses[-1]["delta_loop_w"] / prediction.thermal.copper_loss
    assert found.value == pytest.approx(expected, rel=1e-5)


def test_the_motion_counts_by_itself():
    """No [operation]: mean loss of the cycle over its mean copper loss, or over that of the continuous current."""
    for sections in (("load", "motion"), ("motion",)):
        kept = {name: DOCUMENT[name] for name in ("title", "winding", "board", "rotor", *sections)}
        design = size_design(design_from_document(kept))
        prediction = pcbstator.predict(design)
        (found,) = told(design, prediction)
        copper = prediction.motion.copper_heat if "load" in sections else prediction.thermal.copper_loss
        assert found.value == pytest.approx(prediction.motion.loop_heat / copper, rel=1e-5)
        assert found.where == "motion"
    slow = design.with_values({"motion.speed_rpm": 10.0})
    assert told(slow, pcbstator.predict(slow)) == []


def test_a_star_is_never_told(wave):
    star = size_design(wave[0].with_values({"winding.connection": "star"}))
    assert told(star, pcbstator.predict(star)) == []
