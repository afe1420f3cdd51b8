"""The job file, read by the standard library; keys by the Gerber Job Format Specification (from memory)."""

from __future__ import annotations

import json

import pytest

from pcbstator.output.fabrication.job_file import BoardFacts, JobEntry, job_file
from tests.output import readback

FACTS = BoardFacts(thickness=1.6e-3, track_width=0.3e-3, track_gap=0.2e-3, finish="HASL lead-free")
ENTRIES = [
    JobEntry("copper-1.gbr", "Copper,L1,Top"),
    JobEntry("mask-top.gbr", "Soldermask,Top", "Negative"),
    JobEntry("plated.drl", "Plated,1,4,PTH", None),
]


def test_what_the_board_is() -> None:
    job = json.loads(job_file(readback.small_stator(), readback.ODD_TITLE, ENTRIES, FACTS))
    general = job["GeneralSpecs"]
    assert general["Size"] == {"X": 88.0, "Y": 88.0}
    assert (general["LayerNumber"], general["BoardThickness"], general["Finish"]) == (4, 1.6, "HAL lead-free")
    assert general["ProjectId"]["Name"] == " ".join(readback.ODD_TITLE.split())
    assert job["FilesAttributes"] == [
        {"Path": "copper-1.gbr", "FileFunction": "Copper,L1,Top", "FilePolarity": "Positive"},
        {"Path": "mask-top.gbr", "FileFunction": "Soldermask,Top", "FilePolarity": "Negative"},
        {"Path": "plated.drl", "FileFunction": "Plated,1,4,PTH"},
    ]
    assert [rule["Layers"] for rule in job["DesignRules"]] == ["Outer", "Inner"]


def test_stackup_adds_up_to_the_laminate() -> None:
    """From face to face: everything but the two outer copper layers is 1.6 mm, the distance of the outer mid-planes."""
    job = json.loads(job_file(readback.small_stator(), "t", [], FACTS))
    stack = job["MaterialStackup"]
    kinds = ["Copper", "Dielectric"] * 3 + ["Copper"]
    assert [part["Type"] for part in stack] == ["Legend", "SolderMask", *kinds, "SolderMask", "Legend"]
    inside = [part["Thickness"] for part in stack[3:-3]]
    assert sum(inside) == pytest.approx(1.6, rel=1e-3)


def test_same_bytes_twice_and_no_date() -> None:
    text = job_file(readback.small_stator(), readback.ODD_TITLE, ENTRIES, FACTS)
    assert text == job_file(readback.small_stator(), readback.ODD_TITLE, ENTRIES, FACTS)
    assert text.isascii()
    assert "Date" not in text
