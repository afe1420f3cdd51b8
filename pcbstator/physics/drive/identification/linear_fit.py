"""Least squares on columns, with the standard deviations of what is found."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pcbstator.errors import LawRangeError

FloatArray = NDArray[np.float64]

LEAST_SHARE = 1e-12  # of a column that the others do not explain


@dataclass(frozen=True, eq=False)
class LinearFit:
    """Factors of the columns, their covariance, what is left of every value, and its standard deviation."""

    factors: FloatArray
    covariance: FloatArray
    residuals: FloatArray
    scatter: float

    @property
    def deviations(self) -> FloatArray:
        """Standard deviation of each factor."""
        return np.asarray(np.sqrt(np.diag(self.covariance)))

    @property
    def significance(self) -> FloatArray:
        """Each factor over its standard deviation."""
        return np.asarray(self.factors / np.maximum(self.deviations, 1e-300))


def linear_fit(columns: ArrayLike, values: ArrayLike, neighbours: bool = False) -> LinearFit:
    """Factors of columns whose sum comes nearest to the values.

    columns: (rows, factors) [any]; values: (rows,) [any]; neighbours: whether rows follow each other, so that what is
    left of one may be like that of the next; the covariance then grows by (1 + r)/(1 − r), r their correlation. Returns
    factors [values per column]. LawRangeError where there are no more rows than factors, or
    where a column is made of the others. Source: textbook, by orthogonal triangles of scaled columns; the growth is
    that of a first-order autoregressive series, from memory.

    >>> fit = linear_fit([[1, 0.0], [1, 1.0], [1, 2.0], [1, 3.0]], [1.0, 2.9, 5.1, 7.0])
    >>> fit.factors.round(4).tolist(), fit.deviations.round(4).tolist()
    ([0.97, 2.02], [0.0794, 0.0424])
    """
    table, wanted = np.asarray(columns, dtype=float), np.asarray(values, dtype=float)
    rows, count = table.shape
    if rows <= count:
        raise LawRangeError(f"{count} factors need more than {count} rows; got {rows}")
    sizes = np.sqrt((table**2).sum(axis=0))
    if not (sizes > 0).all():
        raise LawRangeError("a column is zero all over")
    directions, triangle = np.linalg.qr(table / sizes)
    if np.abs(np.diag(triangle)).min() < LEAST_SHARE:
        raise LawRangeError("the columns cannot be told apart")
    inverse = np.linalg.inv(triangle)
    factors = inverse @ (directions.T @ wanted)
    residuals = wanted - table / sizes @ factors
    square = float(residuals @ residuals) / (rows - count)
    if neighbours and square > 0:
        alike = float(residuals[1:] @ residuals[:-1]) / float(residuals @ residuals)
        square *= (1 + alike) / (1 - alike) if 0 < alike < 1 else 1.0
    return LinearFit(
        factors / sizes, square * (inverse @ inverse.T) / np.outer(sizes, sizes), residuals, float(residuals.std())
    )
