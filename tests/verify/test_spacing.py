"""Widths, gaps, rings and distances of figures whose numbers are known."""

from __future__ import annotations

from dataclasses import replace

import pytest
import shapely

from pcbstator.verify.records import WrittenBoard
from pcbstator.verify.spacing import SpacingRules, rules_of_job, spacing_findings
from tests.verify.boards import ENDS, PADS, TOP, hole, pair, track

RULES = SpacingRules(0.3, 0.2, 0.15, 0.3, 0.2, 0.5, 0.5)


def test_a_good_board_keeps_its_rules() -> None:
    assert spacing_findings(pair(), RULES) == []


def found(board: WrittenBoard, rules: SpacingRules = RULES) -> dict[str, tuple[object, str | None]]:
    return {f.code: (f.value, f.where) for f in reversed(spacing_findings(board, rules))}


def test_least_width_of_a_narrowed_track() -> None:
    parts = [track([(0, 0), (4, 0)]), track([(4, 0), (5, 0)], 0.17), track([(5, 0), (10, 0)]), *PADS[:3]]
    value, where = found(pair(TOP | {"A": parts}))["board.track_width"]
    assert value == pytest.approx(0.17, rel=0.01)
    assert str(where).startswith("layer 1, x 4.5")


@pytest.mark.parametrize("gap", [0.05, 0.12, 0.19])
def test_least_gap_between_nets_and_within_one(gap: float) -> None:
    near = [*TOP["B"], track([(2, 0.3 + gap), (3, 0.3 + gap), (3, 5)])]
    value, where = found(pair(TOP | {"B": near}))["board.track_gap"]
    assert value == pytest.approx(gap, rel=0.01)
    assert str(where).startswith("layer 1, x ")
    hook = track([(0, 0), (2, 0), (2, 0.3 + gap), (0.2, 0.3 + gap), (0, 0)])
    board = pair({"A": [hook, *PADS[:3]], "B": TOP["B"]})
    value, where = found(board, SpacingRules(track_gap=0.2))["board.track_gap"]
    assert value == pytest.approx(gap, rel=0.05)  # the slit narrows to a point at one end, where chords count
    assert str(where).startswith("layer 1, x ")


def test_rings_drills_and_distances() -> None:
    board = pair(holes=[hole(x, y, 0.4) for x, y in ENDS])
    assert found(board)["board.annular_ring"][0] == pytest.approx(0.1, rel=0.02)
    board = pair(holes=[hole(x, y, 0.2) for x, y in ENDS])
    assert found(board)["board.drill"][0] == pytest.approx(0.2)
    near = TOP | {"B": [*TOP["B"], track([(10, 5), (10, 0.45)], 0.2)]}
    assert found(pair(near), SpacingRules(drill_to_copper=0.25))["board.drill_to_copper"][0] == (
        pytest.approx(0.2, rel=0.02)
    )
    board = pair()
    bare = replace(board, holes=(*board.holes, hole(5, 1, 1.5, plated=False), hole(5, 2.1, 0.5, plated=False)))
    assert found(bare)["board.hole_to_copper"][0] == pytest.approx(0.1, rel=0.02)
    assert found(bare)["board.hole_web"][0] == pytest.approx(0.1, rel=0.02)


def test_copper_at_and_beyond_the_edge() -> None:
    board = replace(pair(), edge=shapely.box(-0.5, -5, 25, 10))
    assert found(board)["board.edge"][0] == pytest.approx(0.2, rel=0.01)
    board = replace(pair(), edge=shapely.box(0, -5, 25, 10))
    assert found(board)["board.edge"][0] == 0.0


def test_rules_of_a_job_file() -> None:
    assert rules_of_job({"MinLineWidth": 0.3, "TrackToTrack": 0.2}) == SpacingRules(track_width=0.3, track_gap=0.2)
    assert rules_of_job({}) == SpacingRules()
