"""The star of slots against published factors and against what balance means."""

import tomllib
from math import gcd, pi
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pcbstator.errors import DesignError
from pcbstator.winding import (
    feasible_windings,
    is_balanced,
    nearest_balanced,
    pitch_factor,
    wind,
    winding_factor,
)

PUBLISHED = tomllib.loads((Path(__file__).parents[1] / "published" / "windings.toml").read_text())
ROWS = [(pair, row["factor"]) for row in PUBLISHED["factors"] for pair in row["pairs"]]


def numbers(pair):
    return tuple(int(part) for part in pair.split("/"))


def phase_sum(winding, phase, order=1, coils=None):
    """Sum of the phasors of a phase, straight from the coil angles and senses."""
    chosen = [c for c in range(winding.coils) if winding.phase_of[c] == phase] if coils is None else coils
    angles = np.array([order * winding.poles / 2 * 2 * pi * c / winding.coils for c in chosen])
    return (np.array([winding.sense[c] for c in chosen]) * np.exp(1j * angles)).sum()


@pytest.mark.parametrize(("pair", "factor"), ROWS)
def test_published_winding_factors(pair, factor):
    assert round(winding_factor(3, *numbers(pair)), PUBLISHED["digits"]) == factor


@pytest.mark.parametrize("pair", PUBLISHED["infeasible"])
def test_published_infeasible_pairs_are_refused_with_feasible_ones(pair):
    coils, poles = numbers(pair)
    assert not is_balanced(3, coils, poles)
    with pytest.raises(DesignError) as refused:
        wind(3, coils, poles)
    near = nearest_balanced(3, coils, poles)
    assert near and all(is_balanced(3, *each) for each in near)
    assert f"{near[0][0]} coils / {near[0][1]} poles" in str(refused.value)


def test_balance_rule_is_the_published_one_for_three_phases():
    for coils in range(3, 61):
        for poles in range(2, 62, 2):
            assert is_balanced(3, coils, poles) == (coils // gcd(coils, poles // 2) % 3 == 0)


pairs = st.tuples(st.sampled_from([2, 3, 5, 7]), st.integers(2, 72), st.integers(1, 40).map(lambda p: 2 * p)).filter(
    lambda numbers: is_balanced(*numbers)
)


@given(pairs)
def test_phases_are_equal_and_follow_each_other(numbers):
    winding = wind(*numbers)
    sums = [phase_sum(winding, phase) for phase in range(winding.phases)]
    step = 2 * pi / winding.phases if winding.phases % 2 else pi / 2
    for phase, total in enumerate(sums):
        assert total == pytest.approx(sums[0] * np.exp(1j * step * phase), rel=1e-9, abs=1e-9)
    assert all(winding.phase_of.count(phase) == winding.coils // winding.phases for phase in range(winding.phases))


@given(pairs)
def test_factor_is_phasor_sum_times_pitch(numbers):
    winding = wind(*numbers)
    for order, factor in winding.factors:
        whole = abs(phase_sum(winding, 0, order)) / (winding.coils / winding.phases)
        assert factor == pytest.approx(whole * pitch_factor(winding.coils, winding.poles, order), abs=1e-9)
    assert [order for order, _ in winding.factors][:7] == [1, 3, 5, 7, 9, 11, 13]


@given(pairs)
def test_parallel_paths_have_equal_emf_in_every_harmonic(numbers):
    for count in wind(*numbers).path_counts:
        winding = wind(*numbers, parallel_paths=count)
        for phase, paths in enumerate(winding.paths):
            assert sorted(c for path in paths for c in path) == [
                c for c in range(winding.coils) if winding.phase_of[c] == phase
            ]
            for order in (1, 3, 5, 7):
                sums = [phase_sum(winding, phase, order, path) for path in paths]
                assert np.allclose(sums, sums[0], atol=1e-8)


def test_unequal_paths_are_refused_with_the_counts_that_work():
    with pytest.raises(DesignError, match=r"allow 1, 2$"):
        wind(3, 12, 10, parallel_paths=4)


def test_full_pitch_sides_spread_over_an_angle():
    """A coil of one pitch seen by harmonic n is sin(n·pi·P/2Q): the textbook's, 12/10 is sin 75 degrees."""
    assert pitch_factor(12, 10) == pytest.approx(np.sin(np.radians(75)), rel=1e-12)
    assert pitch_factor(9, 6, 3) == pytest.approx(0, abs=1e-12)  # one coil pitch is a full turn of the third harmonic


def test_windings_are_listed_best_first():
    found = feasible_windings(3, range(9, 13), range(2, 21))
    assert [(w.coils, w.poles) for w in found if w.coils == 12][:2] == [(12, 10), (12, 14)]
    assert {w.coils for w in found} == {9, 12}
