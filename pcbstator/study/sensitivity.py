"""How much of the spread of a result each variable explains, by itself."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pcbstator.study.records import Study
from pcbstator.study.store import Store

BINS = 8  # of a range
FEWEST = 40  # designs, below which nothing is said
MOST = 20_000  # designs that are read


@dataclass(frozen=True)
class Influence:
    """Of a variable on a result: the part of its variance that the variable explains by itself, 0 to 1, and the
    direction in which it goes, the rank correlation, -1 to 1 (0 for choices without an order)."""

    variable: str
    key: str
    share: float
    direction: float


def correlation_ratio(groups: NDArray[np.int64], values: NDArray[np.float64]) -> float:
    """Part of the variance of values (n,) that lies between groups (n,), less what chance alone would put there.

    Source: the correlation ratio of Pearson, as corrected by Kelley (from memory): epsilon squared.

    >>> correlation_ratio(np.array([0, 0, 1, 1]), np.array([1.0, 1.0, 3.0, 3.0]))
    1.0
    """
    count, total = len(values), float(((values - values.mean()) ** 2).sum())
    sizes = np.bincount(groups)
    kinds = int((sizes > 0).sum())
    if total <= 0 or kinds < 2 or count <= kinds:
        return 0.0
    means = np.bincount(groups, values) / np.maximum(sizes, 1)
    between = float((sizes * (means - values.mean()) ** 2)[sizes > 0].sum())
    within = (total - between) / (count - kinds)
    return min(max((between - (kinds - 1) * within) / total, 0.0), 1.0)


def influences(study: Study, store: Store, keys: Sequence[str]) -> tuple[Influence, ...]:
    """Every variable on every result, from the designs that fill the space evenly and meet everything."""
    from scipy.stats import spearmanr

    last = int(store.about("filling") or MOST)
    places: list[list[float]] = []
    rows: list[list[float]] = []
    for number, point, outcome in store.rows(feasible_only=True):
        if number > last or len(rows) >= MOST:
            break
        places.append(study.parts(point))
        rows.append([outcome.results.get(key, np.nan) for key in keys])
    if len(rows) < FEWEST:
        return ()
    parts, values = np.array(places), np.array(rows)
    found = []
    for column, variable in enumerate(study.variables):
        kinds = len(variable.options)
        groups = np.rint(parts[:, column] * (kinds - 1)) if kinds else np.minimum(parts[:, column] * BINS, BINS - 1)
        for row, key in enumerate(keys):
            known = ~np.isnan(values[:, row])
            value = values[known, row]
            if known.sum() < FEWEST or np.ptp(value) <= 1e-12 * np.abs(value).max():
                continue
            share = correlation_ratio(groups[known].astype(np.int64), value)
            steady = not variable.ordered or np.ptp(parts[known, column]) == 0
            trend = 0.0 if steady else float(spearmanr(parts[known, column], value).statistic)
            found.append(Influence(variable.name, key, share, trend))
    return tuple(found)
