"""Rule sets against the limits that board manufacturers print (tests/published/fabrication.toml)."""

import tomllib
from pathlib import Path

import pytest

from pcbstator.design import rule_set, rule_set_names

PRINTED = tomllib.loads((Path(__file__).parents[1] / "published" / "fabrication.toml").read_text(encoding="utf-8"))


@pytest.mark.parametrize("index", range(3))
def test_named_set_has_the_printed_limits(index):
    rules = rule_set(PRINTED["weights"][index])
    assert rules.name == PRINTED["weights"][index]
    printed = PRINTED["track_and_gap_mm"][index]
    assert [rules.track_width * 1e3, rules.track_gap * 1e3] == pytest.approx([printed, printed], rel=1e-12)
    assert rules.annular_ring * 1e3 == pytest.approx(PRINTED["annular_ring_mm"][index], rel=1e-12)
    for name in ("drill", "edge", "drill_to_copper"):
        assert getattr(rules, name) * 1e3 == pytest.approx(PRINTED[f"{name}_mm"], rel=1e-12)
    assert rules.aspect_ratio == PRINTED["aspect_ratio"]


def test_names():
    assert rule_set_names() == tuple(PRINTED["weights"])


def test_table_takes_the_rest_from_the_standard(design_of):
    rules = design_of({"board.rules": {"track_width_mm": 0.1, "name": "my board manufacturer"}}).rules
    assert (rules.name, rules.track_width, rules.track_gap) == (
        "my board manufacturer",
        0.1e-3,
        rule_set("1oz-standard").track_gap,
    )
    assert design_of({"board.rules": {}}).rules.name == "limits of the design file"
    assert design_of({"board.rules": "3oz-standard"}).rules == rule_set("3oz-standard")


def test_unknown_name_lists_the_known(complaints_of):
    complaint = complaints_of({"board.rules": "2oz-standart"})["board.rules"]
    assert complaint.remedy == 'did you mean "2oz-standard"? known are 1oz-standard, 2oz-standard, 3oz-standard'
    assert "known are 1oz-standard" in complaints_of({"board.rules": "cheap"})["board.rules"].remedy
    assert "known are 1oz-standard" in complaints_of({"board.rules": 2})["board.rules"].remedy
