"""The designs that no other one beats in everything."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray


def non_dominated(costs: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Which rows of costs (n, objectives), all to become small, no other row beats: equal rows stand together.

    >>> non_dominated(np.array([[1.0, 2.0], [2.0, 1.0], [2.0, 2.0], [1.0, 2.0]])).tolist()
    [True, True, False, True]
    """
    order = np.lexsort(costs.T[::-1])  # a row can only be beaten by one before it
    left, best = order, np.zeros(len(costs), dtype=bool)
    while len(left):
        first, rest = costs[left[0]], costs[left]
        best[left[(rest == first).all(axis=1)]] = True
        left = left[(rest < first).any(axis=1)]
    return best
