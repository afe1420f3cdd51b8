"""The row of vias against ladders solved the other way, from Kirchhoff's laws for loops, and against limits."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pcbstator.errors import LawRangeError
from pcbstator.physics.conductors.via_row import via_row


def by_loops(places, upper, lower, barrel):
    """Shares by least loss: currents that flow with the least heat are the real ones (Thomson's principle).

    Unknown are the vias' currents, sum 1; the strips' currents follow from them.
    """
    row = np.array(places)
    count = len(row)
    heat = barrel * np.eye(count)
    line = np.zeros(count)
    for i in range(count - 1):
        step = row[i + 1] - row[i]
        left = (np.arange(count) <= i).astype(float)
        heat += upper * step * np.outer(left, left)  # current 1/2 - left·x
        line += -0.5 * upper * step * left
    knots = np.union1d(row, [0.0])
    for a, b in pairwise(knots):
        passed = (row <= a).astype(float) if b <= 0 else (row >= b).astype(float)  # flows to the tap at 0
        heat += lower * (b - a) * np.outer(passed, passed)
    system = np.block([[heat, np.ones((count, 1))], [np.ones((1, count)), np.zeros((1, 1))]])
    shares = np.linalg.solve(system, np.append(-line, 1.0))[:count]
    constant = 0.25 * upper * (row[-1] - row[0])
    return float(shares @ heat @ shares + 2 * line @ shares + constant), shares


@given(
    st.lists(st.floats(0.2e-3, 3e-3), min_size=1, max_size=12),
    st.floats(0, 1),
    st.floats(0.01, 2),
    st.floats(0.01, 2),
    st.floats(1e-4, 1e-2),
)
def test_against_least_heat(steps, part, upper, lower, barrel):
    row = np.concatenate([[0.0], np.cumsum(steps)])
    row = row - part * row[-1]
    resistance, shares = via_row(row, upper, lower, barrel)
    wanted, other = by_loops(row, upper, lower, barrel)
    assert resistance == pytest.approx(wanted, rel=1e-9)
    assert shares == pytest.approx(other, rel=1e-8, abs=1e-10)
    assert shares.sum() == pytest.approx(1, rel=1e-9)


def test_limits():
    """Strips without resistance: equal shares, the barrels in parallel. One via: its own resistance."""
    resistance, shares = via_row(np.arange(-2, 3) * 1e-3, 1e-9, 1e-9, 2e-3)
    assert resistance == pytest.approx(2e-3 / 5, rel=1e-6)
    assert shares == pytest.approx([0.2] * 5, rel=1e-6)
    resistance, shares = via_row([0.0], 1.0, 1.0, 2e-3)
    assert (resistance, list(shares)) == (pytest.approx(2e-3, rel=1e-12), [1.0])


def test_three_by_hand():
    """Symmetric: y in each outer via, 1 - 2y in the middle one. From the outer via's top to the tap:
    y (b + l) = (1/2 - y) u + (1 - 2y) b, so y = (u/2 + b) / (3b + l + u)."""
    u, low, b = 0.3e-3, 0.5e-3, 1.6e-3
    _, shares = via_row([-1e-3, 0.0, 1e-3], u / 1e-3, low / 1e-3, b)
    y = (u / 2 + b) / (3 * b + low + u)
    assert shares == pytest.approx([y, 1 - 2 * y, y], rel=1e-12)


@pytest.mark.parametrize("places", [[1e-3, 2e-3], [-2e-3, -1e-3], [1e-3, -1e-3], [0.0, 0.0], [float("nan")]])
def test_outside_the_range(places):
    with pytest.raises(LawRangeError):
        via_row(places, 1.0, 1.0, 1.0)


@pytest.mark.parametrize("strip", [(0.0, 1.0, 1.0), (1.0, -1.0, 1.0), (1.0, 1.0, float("inf"))])
def test_resistances_are_positive(strip):
    with pytest.raises(LawRangeError):
        via_row([0.0], *strip)
