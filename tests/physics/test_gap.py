"""A magnet and a spring: the closed form for a force that falls exponentially, and the limit at which it snaps shut."""

from math import e, exp, log, pi

import numpy as np
import pytest
from scipy.special import lambertw

from pcbstator.physics.mechanics.gap import PullCurve, gap_at_rest, magnetic_tilt_stiffness, safe_free_gap

FORCE, LENGTH = 300.0, 1.2e-3  # N at no gap, m in which it falls by e
GAPS = (0.0, 0.3e-3, 0.6e-3, 1.2e-3, 2.4e-3, 4.8e-3)
CURVE = PullCurve(GAPS, tuple(FORCE * exp(-gap / LENGTH) for gap in GAPS))


@pytest.mark.parametrize("free", [0.8e-3, 1.0e-3, 2.0e-3])
@pytest.mark.parametrize("stiffness", [4e5, 1e6])
def test_gap_at_rest_in_closed_form(free, stiffness):
    """k·(G − g) = F·exp(−g/l): g = G + l·W(−F·exp(−G/l)/(k·l)), Lambert's function on its main branch."""
    expected = free + LENGTH * lambertw(-FORCE * exp(-free / LENGTH) / (stiffness * LENGTH)).real
    assert gap_at_rest(free, CURVE.force, stiffness) == pytest.approx(expected, rel=1e-7)


@pytest.mark.parametrize("free", [0.4e-3, 1.0e-3])
def test_a_narrow_gap_shuts_where_the_spring_cannot_hold_it_open(free):
    """By hand: with G < l the force grows slower than the spring all the way; it shuts where k·G = F(0)."""
    limit = FORCE / free
    assert gap_at_rest(free, CURVE.force, 0.999 * limit) is None
    assert gap_at_rest(free, CURVE.force, 1.001 * limit) is not None


def test_buckling_limit():
    """By hand: force and its growth both met, so g = G − l and k·l = F·exp(−(G − l)/l) = e·F·exp(−G/l)."""
    free = 2e-3
    limit = e * FORCE * exp(-free / LENGTH) / LENGTH
    assert gap_at_rest(free, CURVE.force, 0.9999 * limit) is None
    assert gap_at_rest(free, CURVE.force, 1.0001 * limit) == pytest.approx(free - LENGTH, rel=0.03)


@pytest.mark.parametrize("reserve", [1.0, 2.0])
def test_safe_gap_in_closed_form(reserve):
    """reserve·F/l·exp(−g/l) = k gives g; the free gap is that plus l/reserve."""
    stiffness = 1e5
    rest = LENGTH * log(reserve * FORCE / (LENGTH * stiffness))
    found = safe_free_gap(CURVE, stiffness, 0.0, reserve)
    assert found == pytest.approx(rest + LENGTH / reserve, rel=1e-9)
    assert safe_free_gap(CURVE, stiffness, 4e-3, reserve) == pytest.approx(4e-3 + CURVE.force(4e-3) / stiffness)
    assert gap_at_rest(1.001 * found, CURVE.force, stiffness) > rest


def test_no_gap_of_the_table_is_safe():
    assert safe_free_gap(CURVE, 10.0, 0.0, 1.0) is None and safe_free_gap(CURVE, 1e9, 5e-3, 1.0) is None


def test_tilt_by_adding_up_the_ring():
    """Springs of k/n around a circle, tilted by a small angle."""
    radius, stiffness, tilt = 0.043, 2e5, 1e-3
    around = 2 * pi * np.arange(360) / 360
    moment = (stiffness / 360 * radius * np.cos(around) * tilt * radius * np.cos(around)).sum()
    assert magnetic_tilt_stiffness(stiffness, radius) == pytest.approx(moment / tilt, rel=1e-9)
