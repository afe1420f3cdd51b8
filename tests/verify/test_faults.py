"""Faults put into written files, one at a time: each is named with its kind and place; the untouched raise no alarm.

The boards are those of the designs with two turns a coil, so that many can be read. The slow run draws some of each
kind; with WHOLE_FAULTS set, all 400.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from pcbstator.verify.reading import read_boards, read_texts
from pcbstator.verify.spacing import SpacingRules
from tests.random_designs import drawn_design
from tests.verify.designs import NAMES, design_texts, ordered_texts, written_folder
from tests.verify.faults import Faults, all_findings, board_findings, fault_findings

EACH = {
    "cut": 18, "narrowed": 12, "bridge": 18, "via": 14, "mirrored": 4, "shifted": 4, "exchanged": 4, "inverted": 4,
    "inches": 2, "pad": 10, "terminals": 4, "plane": 6,
}  # fmt: skip
WHOLE = bool(os.environ.get("WHOLE_FAULTS"))
RULES = SpacingRules(track_width=0.15, track_gap=0.15, annular_ring=0.15, drill=0.3, drill_to_copper=0.2, edge=0.3)


def test_the_whole_draw_is_400_faults() -> None:
    assert sum(EACH.values()) * len(NAMES) == 400


@pytest.mark.parametrize("kind", EACH)
def test_a_fault_of_each_kind_is_named(kind: str) -> None:
    faults = Faults(design_texts("filter-wheel", 2), seed=11)
    for fault in faults.some({kind: 1}):
        assert fault.named_by(fault_findings(fault)), fault.kind


def test_untouched_files_raise_no_alarm() -> None:
    assert all_findings(design_texts("filter-wheel", 2)) == []


@pytest.mark.slow
@pytest.mark.parametrize("name", NAMES)
def test_faults_are_named_with_kind_and_place(name: str) -> None:
    part = 1.0 if WHOLE else 0.3 if name == "filter-wheel" else 0.1
    faults = Faults(design_texts(name, 2), seed=NAMES.index(name))
    drawn = list(faults.some({kind: max(1, round(part * count)) for kind, count in EACH.items()}))
    missed = [f"{f.kind} at {f.place} on layer {f.layer}" for f in drawn if not f.named_by(fault_findings(f))]
    assert len(missed) <= 0.01 * len(drawn), missed


@pytest.mark.slow
@pytest.mark.parametrize("name", NAMES)
def test_the_designs_raise_no_alarm(name: str, tmp_path: Path) -> None:
    boards = read_boards(written_folder(name, tmp_path))
    assert len(boards) == (2 if name == "sky-tracker" else 1)
    for board in boards:
        assert board_findings(board, RULES) == []


@pytest.mark.slow
@pytest.mark.parametrize("seed", [1, 9])
def test_drawn_designs_raise_no_alarm(seed: int) -> None:
    for board in read_texts(ordered_texts(drawn_design(seed)), "drawn"):
        assert board_findings(board) == []
