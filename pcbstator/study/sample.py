"""Designs that fill the space of a study evenly, and all of them where they can be counted."""

from __future__ import annotations

import itertools
from collections.abc import Iterator

from pcbstator.study.records import Point, Study

DRAW = 64  # points at a time; a power of two keeps the sequence balanced


def every_point(study: Study) -> Iterator[Point]:
    """Every combination of options, the last variable changing fastest."""
    yield from itertools.product(*(range(len(variable.options)) for variable in study.variables))


def filling_points(study: Study) -> Iterator[Point]:
    """Points without end that fill the space evenly: a scrambled Sobol sequence from the study's seed."""
    from scipy.stats import qmc

    sequence = qmc.Sobol(len(study.variables), scramble=True, rng=study.seed)
    while True:
        for row in sequence.random(DRAW):
            yield tuple(variable.at(float(part)) for variable, part in zip(study.variables, row, strict=True))
