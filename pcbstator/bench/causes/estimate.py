"""Estimate of quantities from readings and what was known of them before."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Estimate:
    """Values, their covariance, and the weighted sum of squares (readings and prior rows)."""

    values: Array
    covariance: Array
    chi_square: float
    settled: bool


def estimate(
    predicted: Callable[[Array], Array],
    sensitivity: Callable[[Array], Array],
    measured: Array,
    reading_covariance: Array,
    prior: Array,
    prior_information: Array,
    *,
    most_steps: int = 30,
) -> Estimate:
    """Weighted least squares with prior rows: C = (JᵀWJ + P⁻¹)⁻¹, by Gauss-Newton steps.

    A step below 1e-6 of the remaining standard deviations ends it; `settled` says whether that came.
    An entry of zero in `prior_information` (P⁻¹) means that nothing was known before.
    """
    weights = np.linalg.inv(reading_covariance)
    values, settled = prior.astype(float), False
    for _ in range(most_steps):
        columns, residual = sensitivity(values), measured - predicted(values)
        covariance = np.linalg.inv(columns.T @ weights @ columns + prior_information)
        step = covariance @ (columns.T @ weights @ residual + prior_information @ (prior - values))
        values = values + step
        if np.all(np.abs(step) < 1e-6 * np.sqrt(np.diag(covariance))):
            settled = True
            break
    columns, residual = sensitivity(values), measured - predicted(values)
    covariance = np.linalg.inv(columns.T @ weights @ columns + prior_information)
    shift = values - prior
    chi_square = float(residual @ weights @ residual + shift @ prior_information @ shift)
    return Estimate(values, covariance.astype(np.float64), chi_square, settled)
