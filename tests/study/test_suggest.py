"""Suggestions do the job that the design asks for, and differ from each other."""

from __future__ import annotations

import pytest

import pcbstator
from pcbstator.errors import DesignError, PcbstatorError
from pcbstator.study import suggest
from tests.command import run
from tests.study.studies import WHEEL


def test_different_designs_for_one_job(tmp_path, monkeypatch):
    monkeypatch.setattr(suggest, "BUDGET", 64)
    told = run("suggest", WHEEL, "--workers", "1", "-o", tmp_path / "options")
    assert told.code == 0 and "prices are invented" in told.out
    files = sorted((tmp_path / "options").glob("*.toml"))
    assert 3 <= len(files) <= 5
    asked = pcbstator.load_design(WHEEL)
    documents, costs = [], {}
    for file in files:
        design = pcbstator.load_design(file)
        for kept in ("load", "motion", "drive", "envelope"):
            assert getattr(design, kept) == getattr(asked, kept)
        found = pcbstator.predict(design)
        assert not [finding for finding in found.findings if finding.severity == "error"], file.name
        assert found.motion.available_peak >= 1.25 * found.motion.required_peak * (1 - 1e-9)
        assert found.motion.available_continuous >= 1.25 * found.motion.required_rms * (1 - 1e-9)
        documents.append(design.document | {"title": ""})
        costs[file.stem] = found
        assert file.stem in told.out
    assert all(one != other for i, one in enumerate(documents) for other in documents[:i])


def test_what_is_missing_is_named():
    fan = WHEEL.with_name("small-fan.toml")
    told = run("suggest", fan)
    assert told.code == 2
    assert [line.split(": ")[1] for line in told.err.splitlines()] == ["load", "motion", "drive"]


def test_a_job_that_nothing_does(tmp_path, monkeypatch):
    monkeypatch.setattr(suggest, "BUDGET", 32)
    text = WHEEL.read_text(encoding="utf-8").replace("friction_n_m = 0.0008", "friction_n_m = 40.0")
    text = text.replace("standstill_friction_n_m = 0.0011", "standstill_friction_n_m = 41.0")
    place = tmp_path / "heavy.toml"
    place.write_text(text, encoding="utf-8")
    with pytest.raises(PcbstatorError, match=r"none of \d+ designs does this job\nmotion.*_torque_reserve_ratio"):
        suggest.suggestions(pcbstator.load_design(place), place.read_text(encoding="utf-8"), 1)


def test_the_ring_must_be_wide_enough_for_poles():
    design = pcbstator.load_design(WHEEL)
    tiny = design.with_values({
        "board.copper_outer_diameter_mm": 7.0, "board.copper_inner_diameter_mm": 4.0, "board.outer_diameter_mm": None,
        "board.holes": None, "board.thermistor": None,
    })  # fmt: skip
    study = suggest.job_study(design, "")
    assert len(study.variables[0].options) > 6
    with pytest.raises(DesignError, match="wide enough for poles"):
        suggest.job_study(tiny, "")
