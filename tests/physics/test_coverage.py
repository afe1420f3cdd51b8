"""Half widths of 95 % against draws, and the sum of parts that are fixed and parts of chance."""

from __future__ import annotations

from math import pi

import numpy as np
import pytest

from pcbstator.physics.drive.coverage import (
    SINE_DEVIATION,
    largest_swing,
    normal_half_width,
    of_all,
    sine_half_width,
    together,
    triangular_half_width,
    uniform_half_width,
)

DRAWS = 400_000


@pytest.fixture(scope="module")
def chance():
    return np.random.default_rng(7)


def test_half_widths_hold_95_percent(chance):
    either = chance.uniform(-1, 1, DRAWS)
    cases = {
        uniform_half_width(1.0): either,
        sine_half_width(1.0): np.sin(chance.uniform(0, 2 * pi, DRAWS)),
        normal_half_width(1.0): chance.normal(size=DRAWS),
        triangular_half_width(1.0): (either + chance.uniform(-1, 1, DRAWS)) / 2,
    }
    for half, drawn in cases.items():
        assert float(np.mean(np.abs(drawn) <= half)) == pytest.approx(0.95, abs=2e-3)


def test_95_percent_at_the_worst_place_keep_the_sum(chance):
    """Eccentricity and side at their worst, noise and counts by chance: at least 95 % within, and not nearly all."""
    fixed = (0.19, 0.05)
    drawn = sum(fixed) + chance.normal(0, 0.02, DRAWS) + chance.uniform(-0.03, 0.03, DRAWS)
    limit = together(fixed, [normal_half_width(0.02), uniform_half_width(0.03)])
    assert 0.95 <= float(np.mean(np.abs(drawn) <= limit)) < 0.99


@pytest.mark.parametrize("side", [0.0, 0.01, 0.05, 0.19, 0.6])
def test_95_percent_of_all_stops_keep_the_root_of_squares(chance, side):
    """Any place of the turn, any side: of standard deviations, not of peaks, which four in five stops would keep."""
    places = 0.19 * np.sin(chance.uniform(0, 2 * pi, DRAWS))
    drawn = places + side * chance.choice([-1, 1], DRAWS) + chance.normal(0, 0.02, DRAWS)
    limit = of_all([0.19 * SINE_DEVIATION, side, 0.02], 0.19 + side + normal_half_width(0.02))
    assert float(np.mean(np.abs(drawn) <= limit)) >= 0.95


def test_peak_factor_of_smooth_noise(chance):
    """Noise of a band, drawn: mean of the largest of runs with a known number of swings."""
    runs, samples, highest = 200, 4096, 100
    spectrum = np.zeros((runs, samples // 2 + 1), dtype=complex)
    shape = (runs, highest)
    spectrum[:, 1 : highest + 1] = chance.normal(size=shape) + 1j * chance.normal(size=shape)
    noise = np.fft.irfft(spectrum, samples)
    swings = highest / np.sqrt(3)  # Rice, for an even band from zero
    peak = float((noise.max(axis=1) / noise.std(axis=1)).mean())
    assert peak == pytest.approx(largest_swing(1.0, swings), rel=0.03)
