"""What a study found, gathered from its store for tables, figures and words."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pcbstator.study.confirm import Confirmation
from pcbstator.study.records import Study
from pcbstator.study.run import pareto_numbers
from pcbstator.study.sensitivity import Influence, influences
from pcbstator.study.store import Store

MOST_DRAWN = 4000  # designs in figures, evenly taken from all that meet everything


@dataclass(frozen=True)
class Best:
    """A design of the Pareto front: number, values by name of the variable, results, what the full prediction says."""

    number: int
    values: dict[str, float | str]
    results: dict[str, float]
    confirmation: Confirmation | None


@dataclass(frozen=True, eq=False)
class Found:
    """What a study found.

    designs: looked at; feasible: of them meet everything; reasons: what ruled out how many, most first, with the words
    of the design that came nearest; pareto_front: by the first objective, empty without objectives;
    points, columns: of some designs that meet everything, for figures: numbers (n,), values as parts 0 to 1 of their
    ranges (n, variables), and results by key (n,); influences: of variables on results, from the designs that fill the
    space evenly.
    """

    study: Study
    designs: int
    feasible: int
    reasons: tuple[tuple[str, int, str], ...]
    pareto_front: tuple[Best, ...]
    keys: tuple[str, ...]
    numbers: NDArray[np.int64]
    parts: NDArray[np.float64]
    columns: dict[str, NDArray[np.float64]]
    influences: tuple[Influence, ...]
    unfit: int
    finished: bool


def gather(study: Study, store: Store) -> Found:
    """Reads the store once through."""
    reasons = store.reasons()
    feasible = reasons.pop("", 0)
    pareto = sorted(
        (best_of(study, store, number) for number in pareto_numbers(study, store)),
        key=lambda best: (study.objectives[0].cost(best.results[study.objectives[0].key]), best.number),
    )
    chosen = {best.number for best in pareto}
    step = max(feasible // MOST_DRAWN, 1)
    numbers, points, results = [], [], []
    for index, (number, point, outcome) in enumerate(store.rows(feasible_only=True)):
        if index % step == 0 or number in chosen:
            numbers.append(number)
            points.append(point)
            results.append(outcome.results)
    keys = tuple(dict.fromkeys(key for found in results for key in found))
    keys = tuple(sorted(keys, key=lambda key: (key not in study.wanted, keys.index(key))))
    return Found(
        study=study,
        designs=feasible + sum(reasons.values()),
        feasible=feasible,
        reasons=tuple((reason, count, store.detail_of(reason)) for reason, count in reasons.items()),
        pareto_front=tuple(pareto),
        keys=keys,
        numbers=np.array(numbers, dtype=np.int64),
        parts=np.array([study.parts(point) for point in points]).reshape(len(points), len(study.variables)),
        columns={key: np.array([found.get(key, np.nan) for found in results]) for key in keys},
        influences=influences(study, store, keys),
        unfit=len(store.unfit()),
        finished=store.about("finished") is not None,
    )


def best_of(study: Study, store: Store, number: int) -> Best:
    """A design by its number, with what is known of it."""
    point, outcome = store.known(number)
    return Best(number, study.shown(point), outcome.results, store.confirmation(number))


def impossible_constraints(study: Study, store: Store) -> list[str]:
    """Of a study that found nothing: in words, each constraint that no design met of all that got as far as it.

    Where every constraint was met by some design, those that ruled out the ones that came furthest.
    """
    tried = {constraint.label: 0 for constraint in study.constraints}
    met = dict.fromkeys(tried, 0)
    nearest: dict[str, tuple[float, int, float]] = {}
    for number, _, outcome in store.rows():
        for constraint in study.constraints:
            if not all(key in outcome.results for key in constraint.keys):
                continue
            label, lack = constraint.label, constraint.shortage(outcome.results)
            tried[label] += 1
            met[label] += lack == 0
            if label not in nearest or lack < nearest[label][0]:
                nearest[label] = lack, number, outcome.results[constraint.key]
    never = [label for label in tried if tried[label] and not met[label]]
    if never:
        return [
            f"{label}: none of the {tried[label]} designs that got as far met it; "
            f"the nearest, design {nearest[label][1]}, has {nearest[label][2]:.5g}"
            for label in never
        ]
    furthest = store.furthest()
    if furthest is None:
        return []
    number, outcome = furthest
    return [f"{outcome.ruled_out}: ruled out the designs that came furthest; design {number}: {outcome.detail}"]
