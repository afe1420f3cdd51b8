"""Every key of a design file is a knob, at one place of the story, with the bounds of its record."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from pcbstator.design.keys import keys, sections
from pcbstator.web.knobs import CURES, cure_of, knob_groups

GROUPS = knob_groups()
KNOBS = [knob for group in GROUPS for section in group["sections"] for knob in section["knobs"]]


def test_every_key_is_a_knob_once() -> None:
    lists = {path for path, section in sections().items() if section.many}
    expected = [key for found in keys().values() for key in found if key.section not in lists]
    assert sorted(knob["path"] for knob in KNOBS) == sorted({key.path for key in expected})
    for knob in KNOBS:
        assert knob["shapes"] == [key.shape for key in keys()[knob["path"]] if key.shape]
    assert {path for group in GROUPS for path in group["lists"]} == lists


def test_bounds_are_taken_by_the_record() -> None:
    numbers = [knob for knob in KNOBS if knob["kind"] in ("number", "count")]
    assert len(numbers) > 100
    for knob in numbers:
        for key in keys()[knob["path"]]:  # the bounds are the same for every shape of a magnet
            assert key.kind is not None
            for end in (knob["low"], knob["high"]):
                key.kind.converted(end)
            with pytest.raises(Exception, match="refused"):
                key.kind.converted(knob["high"] + max(1, abs(knob["high"])))


def test_few_keys_come_first() -> None:
    for group in GROUPS:
        knobs = [knob for section in group["sections"] for knob in section["knobs"]]
        assert 0 < sum(knob["first"] for knob in knobs) <= 24
        assert all(knob["meaning"] and knob["label"] for knob in knobs)


def test_findings_stand_beside_knobs_that_there_are() -> None:
    text = (Path(__file__).parents[2] / "docs" / "findings.md").read_text(encoding="utf-8")
    codes = set(
        re.findall(
            r"`([a-z_]+\.[a-z_]+)`",
            "\n".join(line.split("|")[1] for line in text.splitlines() if line.startswith("| `")),
        )
    )
    assert set(CURES) <= codes and set(CURES.values()) <= set(keys())
    assert sum(bool(cure_of(code, None)) for code in codes) > len(codes) / 3
