"""A repeated cycle by its rms current against the closed form of one node, and never on the wrong side of it."""

from math import exp

import numpy as np
import pytest

from pcbstator.errors import LawRangeError
from pcbstator.physics.thermal.balance import current_at_temperature
from pcbstator.physics.thermal.network import HeatNetwork
from pcbstator.physics.thermal.repeated_cycle import SMALL_SWING, cycle_swing, repeated_cycle

COOLING, CAPACITY, RESISTANCE, AMBIENT, ALPHA = 0.5, 100.0, 2.0, 20.0, 0.00393
BLOCK = HeatNetwork(
    AMBIENT, np.array([[COOLING]]), np.array([RESISTANCE]), np.zeros(1), np.array([CAPACITY]), np.zeros(1),
    np.zeros((1, 1)), np.zeros((1, 2)), 400.0,
)  # fmt: skip
WARM = current_at_temperature(BLOCK, ([0],), [200.0])


def hottest(on, off, current):
    """Rise [K] at the end of each on-time in the periodic steady state: x e^{-a on} + s (1 - e^{-a on}) reached again
    after e^{-b off}; a = (G - alpha I² R) / C, b = G / C, s = I² R / (G - alpha I² R)."""
    heat = current**2 * RESISTANCE
    on_rate, off_rate = (COOLING - ALPHA * heat) / CAPACITY, COOLING / CAPACITY
    final, fade = heat / (COOLING - ALPHA * heat), exp(-on_rate * on)
    return final * (1 - fade) / (1 - fade * exp(-off_rate * off))


@pytest.mark.parametrize("current", [1.0, 2.5])
@pytest.mark.parametrize(("on", "off"), [(0.05, 0.05), (0.5, 0.2), (2.0, 1.0), (30.0, 60.0), (400.0, 100.0)])
def test_on_and_off_for_ever(on, off, current):
    """Short cycles are at most the small swing too high and never too low; those that are followed are exact, since the
    block's conductance stands still."""
    found = float(repeated_cycle(BLOCK, [[on, current], [off, 0.0]], WARM).highest_c[0]) - AMBIENT
    exact = hottest(on, off, current)
    mean = AMBIENT + (on * exact) / (on + off)
    followed = cycle_swing(BLOCK, [[on, current], [off, 0.0]], [mean])[0] > 1.5 * SMALL_SWING
    if followed:
        assert found == pytest.approx(exact, rel=1e-6)
    else:
        assert exact - 1e-6 <= found <= exact + SMALL_SWING


def test_steady_current_is_the_closed_form():
    """One step for ever: I² R / (G - alpha I² R)."""
    found = repeated_cycle(BLOCK, [[1e3, 2.0]], WARM)
    assert float(found.highest_c[0]) - AMBIENT == pytest.approx(8.0 / (COOLING - ALPHA * 8.0), rel=1e-9)


def test_more_than_the_warmer_state_carries_is_not_answered():
    """The rms current decides, not the peak."""
    most = float(WARM.current[0])
    assert repeated_cycle(BLOCK, [[1.0, 1.01 * most]], WARM) is None
    assert repeated_cycle(BLOCK, [[1.0, 1.3 * most], [1.0, 0.0]], WARM) is not None
    with pytest.raises(LawRangeError, match="above 0"):
        repeated_cycle(BLOCK, [[0.0, 1.0]], WARM)
