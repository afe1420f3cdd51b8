"""The shipped designs and the tutorial's do what they ask for; what warns is accepted with a reason."""

from pathlib import Path

import pytest

import pcbstator
from tests.command import DESIGNS
from tests.shipped import shipped

ROOT = Path(__file__).parents[2]


@pytest.mark.parametrize("design", DESIGNS, ids=lambda path: path.stem)
def test_requirements_are_met_and_warnings_are_accepted(design):
    _, _, prediction = shipped(design.stem)
    assert prediction.requirement
    assert [verdict.name for verdict in prediction.requirement if verdict.verdict != "met"] == []
    assert [finding for finding in prediction.findings if finding.severity != "note"] == []
    assert [finding for finding in prediction.findings if finding.code == "accepted.idle"] == []


@pytest.mark.parametrize("design", DESIGNS, ids=lambda path: path.stem)
def test_accepted_findings_state_the_value_that_they_have_now(design):
    """So that they come back when they grow by a tenth, and not before."""
    asked, _, prediction = shipped(design.stem)
    findings = {finding.code: finding for finding in prediction.findings}
    for code, acceptance in (asked.accepted or {}).items():
        assert findings[code].accepted == acceptance.reason
        assert acceptance.value == pytest.approx(findings[code].value, rel=0.02)


def test_every_cure_of_the_tutorial_is_needed():
    """With the four changes of docs/first-motor.md all is met without a warning; without any one of them it is not."""
    changes = {
        "board.track_width_mm": 0.4, "rotor.air_gap_mm": 1.2, "rotor.back_iron_mm": 2.5, "drive.choke_uh": 1000.0,
    }  # fmt: skip
    first = pcbstator.load_design(ROOT / "docs" / "first-motor.toml")

    def warned(**without):
        left = {key: value for key, value in changes.items() if key not in without.values()}
        return {found.code for found in pcbstator.predict(first.with_values(left)).findings if found.severity != "note"}

    assert warned() == set()
    assert "board.bow" in warned(key="rotor.air_gap_mm")
    assert "mechanical.back_iron" in warned(key="rotor.back_iron_mm")
    assert "drive.ripple" in warned(key="drive.choke_uh")
    assert "requirement.torque_reserve_percent" in warned(key="board.track_width_mm")
