"""The standard deviation of a sensor's harmonics against the normal equations."""

import numpy as np
import pytest

from pcbstator.physics.drive.identification.sensor_table import sensor_curve


def test_deviation_of_every_harmonic_is_that_of_least_squares():
    """Covariance of a linear fit: s² (XᵀX)⁻¹ (any textbook of regression), here of places that are not even."""
    rng = np.random.default_rng(4)
    seen = np.sort(2 * np.pi * (np.arange(90) + 0.3 * rng.random(90)) / 97)
    error = 0.02 * np.cos(seen - 0.4) + 0.01 * np.cos(2 * seen + 1.0) + 0.012 * np.cos(5 * seen)
    true = seen - error - rng.normal(0, 2e-4, len(seen))
    curve = sensor_curve(true, seen)
    assert [each.order for each in curve.harmonics] == [1, 2, 5]
    columns = [np.ones(len(true))] + [f(order * seen) for f in (np.cos, np.sin) for order in (1, 2, 5)]
    X = np.stack(columns, axis=1)
    off = seen - true
    rest = off - X @ np.linalg.lstsq(X, off, rcond=None)[0]
    variance = rest @ rest / (len(true) - 7) * np.diag(np.linalg.inv(X.T @ X))
    wanted = np.sqrt((variance[1:4] + variance[4:]) / 2)
    assert [each.sigma for each in curve.harmonics] == pytest.approx(wanted, rel=0.005)
