"""A variable that has only one way to be takes nothing away from a study: every kind of it, in every kind of study."""

from __future__ import annotations

import pytest

from pcbstator.output.study_report.csv_table import designs_csv
from pcbstator.output.study_report.page import explore_text, study_files
from pcbstator.study.evaluate import FAULT
from pcbstator.study.results import gather
from pcbstator.study.run import needs_search, run_study
from pcbstator.study.store import open_store
from pcbstator.study.workforce import local_workforce
from tests.study.studies import COST, KM, WIDTH, wheel_study

ONE = {
    "number": {"key": "board.copper_outer_diameter_mm", "values": [84.0]},
    "word": {"key": "winding.outline", "values": ["round"]},
    "choice": {"name": "way", "choices": [{"label": "only", "rotor.air_gap_mm": 0.9}]},
    "step": {"key": "winding.turns", "from": 4, "to": 5, "step": 2},
}
RANGE = {"key": "board.track_width_mm", "from": 0.15, "to": 0.3}


@pytest.mark.parametrize(
    ("variables", "objectives", "budget", "designs"),
    [
        *(([way], [], 10, 1) for way in ONE.values()),
        ([*ONE.values()], [KM, COST], 10, 1),
        ([*ONE.values(), WIDTH], [], 10, 6),
        ([*ONE.values(), RANGE], [], 48, 48),
        ([*ONE.values(), RANGE], [KM, COST], 80, 80),
    ],
    ids=[*ONE, "all", "grid", "filling", "search"],
)
def test_one_value(tmp_path, variables, objectives, budget, designs):
    study = wheel_study(variables=variables, objectives=objectives, budget=budget)
    assert needs_search(study) == (budget == 80)
    with open_store(tmp_path, study, "test") as store, local_workforce(1) as alone:
        run_study(study, store, alone)
        outcomes = [outcome for _, _, outcome in store.rows()]
        assert len(outcomes) == designs
        assert not [outcome for outcome in outcomes if outcome.ruled_out.startswith(FAULT)]
        found = gather(study, store)
        assert found.feasible > 0 and "explore.html" in study_files(found, "x")
        assert explore_text(found, "x") and len(list(designs_csv(study, store))) == 1 + designs
