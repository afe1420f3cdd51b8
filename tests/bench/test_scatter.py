"""Scatter of several motors against the tolerance, by chi-square."""

import numpy as np
import pytest
from scipy import stats

from pcbstator.bench.built.scatter import scatters
from pcbstator.bench.result import Row


def rows(values, own=0.02, meter=0.01, kind="emf"):
    return [
        Row(f"{kind} {k}", kind, str(k), str(k), "V", 2.0, 2.0 * value, meter * 2.0 * value, own * 2.0)
        for k, value in enumerate(values)
    ]


def test_mean_spread_and_chi_square_are_the_textbook_ones():
    values = np.array([0.97, 1.01, 1.03, 0.96, 1.02])
    (found,) = scatters(rows(values, meter=0.0))
    assert found.mean == pytest.approx(values.mean() - 1)
    assert found.found == pytest.approx(stats.tstd(values))
    assert found.chi_square == pytest.approx(4 * stats.tvar(values) / 0.02**2)
    assert found.to_dict()["chance_of_more"] == pytest.approx(stats.chi2.sf(found.chi_square, 4))


def test_the_uncertainty_of_a_spread_is_that_of_samples():
    """JCGM 100, E.4.3, table E.1: with ten of them, 24 % (printed), to the first order that stands here, 23.6 %."""
    (found,) = scatters(rows(np.linspace(0.9, 1.1, 10)))
    assert found.found_sigma / found.found == pytest.approx(0.24, abs=0.005)


@pytest.mark.parametrize(("wider", "least", "most"), [(1.0, 0.03, 0.07), (4.0, 0.8, 1.0)])
def test_lots_within_their_tolerance_agree_in_95_of_100(wider, least, most):
    draw = np.random.default_rng(3)
    sigma = np.hypot(0.02, 0.01)
    told = [scatters(rows(1 + wider * sigma * draw.standard_normal(4)))[0].words for _ in range(1000)]
    assert least < np.mean([words != "agrees with the tolerance" for words in told]) < most


def test_a_board_counts_once_whatever_rotors_it_met():
    pair = [Row("r", "resistance", "1", rotor, "ohm", 3.0, 3.1, 0.03, 0.1) for rotor in ("1", "2")]
    assert scatters(pair) == ()
    (found,) = scatters([*pair, Row("r", "resistance", "2", "1", "ohm", 3.0, 2.9, 0.03, 0.1)])
    assert found.count == 2


def test_slips_do_not_count():
    lot = rows([1.0, 1.01, 2.0])
    assert scatters([*lot[:2], Row("x", "emf", "9", "9", "V", 2.0, 4.0, 0.04, 0.04, slip="rms")])[0].count == 2
