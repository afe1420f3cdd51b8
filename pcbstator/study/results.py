"""What a study found, gathered from its store for tables, figures and words."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pcbstator.study.confirm import Confirmation
from pcbstator.study.records import Objective, Study, Variable
from pcbstator.study.run import pareto_numbers
from pcbstator.study.sensitivity import Influence, influences
from pcbstator.study.store import Store

FloatArray = NDArray[np.float64]

MOST_DRAWN = 4000  # designs in figures, evenly taken from all that meet everything
AT_END = 0.01  # part of a range that still counts as its end


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


def evenly(count: int, most: int) -> list[int]:
    """At most ``most`` places out of ``count``, evenly taken, both ends among them.

    >>> evenly(3, 5), evenly(9, 3), evenly(5, 1), evenly(0, 4)
    ([0, 1, 2], [0, 4, 8], [0], [])
    """
    return [int(place) for place in np.unique(np.linspace(0, count - 1, min(count, most)).round())]


def swept(found: Found, most: int) -> tuple[Best, ...]:
    """Some designs that meet everything, evenly taken."""
    rows = []
    for row in evenly(len(found.numbers), most):
        point = tuple(v.at(float(part)) for v, part in zip(found.study.variables, found.parts[row], strict=True))
        results = {key: float(column[row]) for key, column in found.columns.items()}
        rows.append(Best(int(found.numbers[row]), found.study.shown(point), results, None))
    return tuple(rows)


def best_so_far(objective: Objective, values: FloatArray) -> FloatArray:
    """The best value of an objective up to each design, in the order of the search.

    >>> best_so_far(Objective("magnetic.gap_field_peak_t", "most"), np.array([1.0, 3.0, 2.0]))
    array([1., 3., 3.])
    """
    return np.minimum.accumulate(values * objective.cost(1.0)) * objective.cost(1.0)


def pins(found: Found) -> list[tuple[Variable, str]]:
    """Variables at whose lower or upper end every design of the Pareto front lies: a wider range may hold better."""
    rows = np.isin(found.numbers, [best.number for best in found.pareto_front])
    listed = []
    for column, variable in enumerate(found.study.variables):
        if not rows.any() or not variable.ordered or len(variable.options) == 1:
            continue
        parts = found.parts[rows, column]
        near = 0.0 if variable.options else AT_END
        for end, at_end in (("lower", parts <= near), ("upper", parts >= 1 - near)):
            if at_end.all():
                listed.append((variable, end))
    return listed


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
