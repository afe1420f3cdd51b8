"""A design of the Pareto front predicted in full: whether it can be made, and whether the quick numbers were right."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from pcbstator.check import checked_prediction
from pcbstator.design.load import changed_design
from pcbstator.errors import PcbstatorError
from pcbstator.study.evaluate import bench
from pcbstator.study.keys import flat_results
from pcbstator.study.records import Outcome, Point, Study


@dataclass(frozen=True)
class Confirmation:
    """What the full prediction says: error findings in words, "" for none; counts of warnings; the largest difference
    of a result from the quick one, as a part of it, and whose."""

    errors: str
    warnings: int
    difference: float
    differs: str


def differences(quick: Mapping[str, float], full: Mapping[str, float]) -> dict[str, float]:
    """By how much each quick result differs from the full prediction's, as a part of the larger one.

    >>> differences({"a": 1.0, "b": 2.0, "occupied.height_mm": 3.0}, {"a": 1.0, "b": 2.5})
    {'a': 0.0, 'b': 0.2}
    """
    return {
        key: abs(full[key] - value) / max(abs(value), abs(full[key]), 1e-12)
        for key, value in quick.items()
        if key in full
    }


def confirm(study: Study, point: Point, outcome: Outcome) -> Confirmation:
    """The full prediction of a design against what the study found."""
    try:
        prediction = checked_prediction(changed_design(bench(study).base, study.settings(point)), ways_out=False)
    except PcbstatorError as error:
        return Confirmation(str(error), 0, 0.0, "")
    full = flat_results(prediction)
    apart = differences(outcome.results, full)
    worst = max(apart, key=lambda key: apart[key], default="")
    errors = [finding.message for finding in prediction.findings if finding.severity == "error"]
    return Confirmation("; ".join(errors), int(full["findings.warnings"]), apart.get(worst, 0.0), worst)
