"""The stages of a search against the whole prediction: the same numbers, whatever was asked for before."""

from __future__ import annotations

from typing import Any

import pytest

from pcbstator.errors import DesignError, LawRangeError, PcbstatorError
from pcbstator.predict.quick import STAGE_OF, STAGES, Shared, Work, run_stage, start_work
from pcbstator.predict.records import Prediction
from pcbstator.predict.run import predict_design
from tests.random_designs import drawn_design

CLOSE = 1e-3
EVERYTHING = frozenset(STAGE_OF)
SPAN = 0.016, 0.125  # m, of all designs that are drawn


def flat(prediction: Prediction) -> dict[str, float]:
    """Every number of a prediction that a stage gives."""
    found: dict[str, float] = {}
    for group, values in prediction.to_dict().items():
        if isinstance(values, dict):
            found |= {f"{group}.{key}": value for key, value in values.items() if f"{group}.{key}" in STAGE_OF}
    return found


def carried(design: Any, shared: Shared, wanted: frozenset[str] = EVERYTHING) -> Work:
    """A design after all stages."""
    work = start_work(design)
    for stage in STAGES:
        run_stage(stage, [work], shared, wanted)
    return work


def compare(seeds: range) -> int:
    """Holds the quick results of drawn designs against their predictions; how many were no mistakes."""
    shared, good = Shared(*SPAN), 0
    for seed in seeds:
        try:
            design = drawn_design(seed)
        except DesignError:
            continue  # of the file itself: no stage is reached
        try:
            whole: Prediction | PcbstatorError = predict_design(design)
        except DesignError as refused:
            whole = refused
        work = carried(design, shared)
        if isinstance(whole, DesignError):
            assert isinstance(work.refusal, DesignError), (seed, whole)
            ours, theirs = work.refusal.complaints[0], whole.complaints[0]
            assert (ours.key, ours.rule, ours.value) == (theirs.key, theirs.rule, theirs.value)
            continue
        assert isinstance(whole, Prediction)
        if isinstance(work.refusal, LawRangeError):
            assert str(work.refusal) in whole.out_of_range + whole.thermal.out_of_range, seed
            continue
        assert work.refusal is None, (seed, work.refusal)
        expected = flat(whole)
        assert set(expected) == set(work.results), (seed, set(expected) ^ set(work.results))
        assert work.results == pytest.approx(expected, rel=CLOSE, abs=1e-12), seed
        good += 1
    return good


def test_some_designs() -> None:
    assert compare(range(40)) > 15


@pytest.mark.slow
def test_many_designs() -> None:
    assert compare(range(1000, 1800)) > 400
