"""The estimator against the printed example H.2 of JCGM 100 and a closed form."""

import numpy as np
import pytest

from pcbstator.bench.causes.estimate import estimate


def test_resistance_and_reactance_of_the_guide() -> None:
    """JCGM 100:2008, H.2, tables H.2 and H.3 (digits from memory)."""
    volt = [5.007, 4.994, 5.005, 4.990, 4.999]
    ampere = [19.663e-3, 19.639e-3, 19.640e-3, 19.685e-3, 19.678e-3]
    angle = [1.0456, 1.0438, 1.0468, 1.0428, 1.0433]
    readings = np.array([volt, ampere, angle])

    def predicted(x):
        return np.array([x[2] * np.hypot(x[0], x[1]), x[2], np.arctan2(x[1], x[0])])

    def sensitivity(x):
        z = np.hypot(x[0], x[1])
        return np.array([[x[2] * x[0] / z, x[2] * x[1] / z, z], [0, 0, 1], [-x[1] / z**2, x[0] / z**2, 0]])

    found = estimate(
        predicted,
        sensitivity,
        readings.mean(axis=1),
        np.cov(readings) / 5,
        np.array([100.0, 200.0, 0.02]),
        np.zeros((3, 3)),
    )
    spread = np.sqrt(np.diag(found.covariance))
    assert found.settled
    assert found.values[:2] == pytest.approx([127.732, 219.847], abs=6e-4)
    assert spread[:2] == pytest.approx([0.071, 0.295], abs=6e-4)
    assert found.covariance[0, 1] / (spread[0] * spread[1]) == pytest.approx(-0.588, abs=1e-3)


def test_prior_and_reading_of_equal_weight_meet_in_the_middle() -> None:
    """Two equal weights: mean of both, half the variance, chi-square d²/2."""
    one = np.eye(1)
    found = estimate(lambda x: x, lambda x: one, np.array([2.0]), one, np.zeros(1), one)
    assert found.values[0] == pytest.approx(1.0)
    assert found.covariance[0, 0] == pytest.approx(0.5)
    assert found.chi_square == pytest.approx(2.0)
