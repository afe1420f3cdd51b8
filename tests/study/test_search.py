"""The search on standard problems whose best fronts are published, with the settings that studies have.

Problems and fronts: E. Zitzler, K. Deb, L. Thiele, "Comparison of multiobjective evolutionary algorithms: empirical
results", Evolutionary Computation 8 (2000): f2 = 1 - sqrt(f1) and f2 = 1 - f1^2; K. Deb, L. Thiele, M. Laumanns,
E. Zitzler, "Scalable multi-objective optimization test problems" (2002): the sphere sum f^2 = 1. The functions are
those of a general library (pymoo); 25 000 evaluations are usual for
them (from memory).
"""

from __future__ import annotations

from math import pi

import numpy as np
import pytest

from pcbstator.study.pareto import non_dominated
from pcbstator.study.records import Option, Variable
from pcbstator.study.search import Search, generation_size

EVALUATIONS = 25_000
FAR = 1.1  # every objective of the point from which the volume is measured
# Volume between that point and the front: the square less the area below the curve.
EXACT = {
    "zdt1": 0.1 * FAR + FAR - 1 / 3,  # below 1 - sqrt(f): 1/3
    "zdt2": 0.1 * FAR + FAR - 2 / 3,
    "zdt4": 0.1 * FAR + FAR - 1 / 3,
    "dtlz2": FAR**3 - pi / 6,  # an eighth of the unit ball
}


def searched(name: str, evaluations: int, seed: int, **sizes) -> np.ndarray:
    """Everything that a search saw, as objectives."""
    from pymoo.problems import get_problem
    from scipy.stats import qmc

    problem = get_problem(name, **sizes)
    ends = zip(problem.xl, problem.xu, strict=True)
    variables = [Variable(f"x{n}", low=float(low), high=float(high)) for n, (low, high) in enumerate(ends)]
    size = generation_size(evaluations)
    search = Search(variables, problem.n_obj, size, seed)
    parts = qmc.Sobol(len(variables), rng=seed).random(1 << (size - 1).bit_length())[:size]
    points = [tuple(v.at(float(p)) for v, p in zip(variables, row, strict=True)) for row in parts]
    seen = [problem.evaluate(np.array(points), return_values_of=["F"])]
    search.start(points, seen[0], np.zeros(size))
    while sum(map(len, seen)) < evaluations:
        points = search.ask()
        seen.append(problem.evaluate(np.array(points), return_values_of=["F"]))
        search.tell(seen[-1], np.zeros(len(points)))
    return np.concatenate(seen)


def volume(costs: np.ndarray) -> float:
    """Hypervolume by the library's own indicator."""
    from pymoo.indicators.hv import HV

    within = costs[(costs < FAR).all(axis=1)]
    return float(HV(ref_point=np.full(costs.shape[1], FAR))(within[non_dominated(within)]))


@pytest.mark.slow
@pytest.mark.parametrize("seed", [1, 2])
@pytest.mark.parametrize(
    ("name", "sizes"),
    [("zdt1", {}), ("zdt2", {}), ("zdt4", {}), ("dtlz2", {"n_var": 12, "n_obj": 3})],
)
def test_published_volume_within_two_percent(name, sizes, seed):
    reached = volume(searched(name, EVALUATIONS, seed, **sizes))
    assert 0.98 * EXACT[name] <= reached <= EXACT[name] * (1 + 1e-9)


@pytest.mark.slow
@pytest.mark.parametrize("name", ["zdt3", "zdt6"])
def test_broken_and_uneven_fronts(name):
    from pymoo.problems import get_problem

    front = get_problem(name).pareto_front()
    first = np.linspace(front[:, 0].min(), front[:, 0].max(), 4000)
    if name == "zdt3":  # the parts of 1 - sqrt(f) - f·sin(10·pi·f) that nothing beats
        front = np.stack([first, 1 - np.sqrt(first) - first * np.sin(10 * pi * first)], axis=1)
    else:
        front = np.stack([first, 1 - first**2], axis=1)
    best = volume(front)
    assert volume(searched(name, EVALUATIONS, 1)) >= 0.98 * best


def test_the_volume_grows_with_the_work():
    few, more = (volume(searched("zdt1", count, 1, n_var=5)) for count in (400, 4000))
    assert few < more <= EXACT["zdt1"]
    assert more > 0.98 * EXACT["zdt1"]  # five variables take less than thirty


def test_same_seed_same_questions_and_whole_numbers():
    variables = [Variable("n", options=tuple(Option(str(k), (("n", k),)) for k in range(9))), Variable("x", 0.0, 1.0)]
    variables.append(Variable("way", options=tuple(Option(w, ((w, 1),)) for w in "abc"), ordered=False))

    def asked(seed):
        search = Search(variables, 2, 32, seed)
        points = [(k % 9, k / 32, k % 3) for k in range(32)]
        costs = np.array([[p[0] + p[2], p[1]] for p in points])
        search.start(points, costs, np.zeros(32))
        first = search.ask()
        search.tell(np.array([[p[0] + p[2], p[1]] for p in first]), np.zeros(len(first)))
        return first + search.ask()

    one, again, other = asked(5), asked(5), asked(6)
    assert one == again != other
    assert all(isinstance(p[0], int) and 0 <= p[0] < 9 and isinstance(p[2], int) and 0 <= p[2] < 3 for p in one)
    assert all(0 <= p[1] <= 1 for p in one)


def test_rule_breakers_compete_by_what_they_lack():
    variables = [Variable("x", 0.0, 1.0), Variable("y", 0.0, 1.0)]
    search = Search(variables, 1, 32, 1)
    rng = np.random.default_rng(1)
    points = [tuple(row) for row in rng.random((32, 2)).round(5).tolist()]

    def judged(points):
        lack = np.array([max(0.9 - p[0], 0.0) for p in points])  # only x above 0.9 is allowed
        return np.array([[p[1]] for p in points]), lack

    search.start(points, *judged(points))
    for _ in range(20):
        points = search.ask()
        search.tell(*judged(points))
    assert np.mean([p[0] >= 0.9 for p in points]) > 0.8
    assert min(p[1] for p in points) < 0.05
