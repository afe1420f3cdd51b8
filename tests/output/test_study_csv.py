"""The table of a study is safe to open: no text in it is a formula, and numbers stay numbers."""

from __future__ import annotations

import csv

from pcbstator.output.study_report.csv_table import designs_csv
from pcbstator.study.run import run_study
from pcbstator.study.store import open_store
from pcbstator.study.workforce import local_workforce
from tests.study.studies import wheel_study

LABELS = ["=1+1", "+1", "-1", "@SUM(1)", "thin = 1", "'quoted", '=HYPERLINK("x";"y")']


def test_no_cell_is_a_formula(tmp_path):
    choices = [{"label": label, "rotor.air_gap_mm": 0.5 + 0.1 * n} for n, label in enumerate(LABELS)]
    skew = {"key": "winding.skew_deg", "values": [-1.5, 0.0]}
    study = wheel_study(variables=[{"name": "=way", "choices": choices}, skew], columns=["copper.mass_g"])
    with open_store(tmp_path, study, "test") as store, local_workforce(1) as alone:
        run_study(study, store, alone)
        head, *rows = csv.reader(designs_csv(study, store))
    assert head[3:5] == ["'=way", "winding.skew_deg"] and len(rows) == 2 * len(LABELS)
    for row in rows:
        for cell in row:
            assert not cell.startswith(("=", "+", "@")) and (not cell.startswith("-") or float(cell) < 0)
    shown = ["'" + label if label[0] in "=+-@" else label for label in LABELS]
    assert [row[3] for row in rows[::2]] == shown
    assert {row[4] for row in rows} == {"-1.5", "0.0"}
