"""How often lines cross each other: what is beyond all copper is refused before its area is worked out."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from pcbstator.verify.records import FloatArray

MOST_OF_A_LINE = 40_000
MOST_OF_A_FILE = 150_000
SAMPLED = 300
SELDOM = 20_000  # crossings of lines thrown at random that need no closer look


def crossings(lines: Sequence[FloatArray]) -> float:
    """About how often the steps of ``lines`` (n, 2) [mm] cross each other, from a sample of them; 0 where they are few.

    >>> round(crossings([np.array([[0.0, 0.0], [1.0, 1.0]]), np.array([[0.0, 1.0], [1.0, 0.0]])]))
    0
    """
    kept = [line for line in lines if len(line) > 1]
    if not kept:
        return 0.0
    starts, ends = np.vstack([line[:-1] for line in kept]), np.vstack([line[1:] for line in kept])
    if len(starts) < SAMPLED:
        return 0.0
    length = float(np.hypot(*(ends - starts).T).sum())
    extent = np.ptp(np.vstack([starts, ends]), axis=0)
    # Lines of a length thrown at random on an area cross each other length² / (pi area) times.
    if length**2 <= SELDOM * np.pi * max(float(extent.prod()), 1e-9):
        return 0.0
    steps = np.asarray(shapely.linestrings(np.stack([starts, ends], axis=1)))
    sample = np.random.default_rng(1).choice(len(steps), SAMPLED, replace=False)
    tree = shapely.STRtree(steps)
    met = sum(len(tree.query(steps[index], predicate="intersects")) - 3 for index in sample)
    return max(0.0, met / SAMPLED * len(steps) / 2)
