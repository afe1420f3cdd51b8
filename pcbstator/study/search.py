"""The search for the best few: NSGA-II of a general library, asked for designs and told what became of them.

A design that breaks a rule competes by how far it is from meeting all of them, never by its objectives.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pcbstator.errors import MissingLibraryError, install_words
from pcbstator.study.records import DIGITS, Point, Variable

GENERATIONS = 100  # that a budget shall last for
SMALLEST, LARGEST = 32, 64  # designs of a generation
CHUNK = 16  # designs that are computed together; a generation is a multiple of it


def generation_size(budget: int) -> int:
    """Designs of a generation for a budget."""
    return CHUNK * int(np.clip(budget // (GENERATIONS * CHUNK), SMALLEST // CHUNK, LARGEST // CHUNK))


def require_library() -> None:
    """Raises MissingLibraryError where the library of the search is not there."""
    try:
        import pymoo.algorithms.moo.nsga2  # noqa: F401
    except ImportError:
        raise MissingLibraryError(
            f"a study with objectives needs the library pymoo: {install_words('explore')}; "
            "without objectives the study is a sweep, which does not"
        ) from None


class Search:
    """A search over variables for several objectives, all to become small.

    start: the first designs, already known; the same seed and answers give the same questions.
    """

    def __init__(self, variables: Sequence[Variable], objectives: int, size: int, seed: int) -> None:
        require_library()
        from pymoo.algorithms.moo.nsga2 import NSGA2, binary_tournament
        from pymoo.core.mixed import MixedVariableDuplicateElimination, MixedVariableMating
        from pymoo.core.problem import Problem
        from pymoo.core.variable import Choice, Integer, Real
        from pymoo.operators.selection.tournament import TournamentSelection

        self.variables = variables

        def kind(variable: Variable) -> Any:
            last = len(variable.options) - 1
            if last < 0:
                return Real(bounds=(variable.low, variable.high))
            return Integer(bounds=(0, last)) if variable.ordered else Choice(options=list(range(last + 1)))

        names = {str(number): kind(variable) for number, variable in enumerate(variables)}
        self.problem = Problem(vars=names, n_obj=objectives, n_ieq_constr=1)
        apart = MixedVariableDuplicateElimination()
        self.algorithm = NSGA2(
            pop_size=size,
            sampling=np.empty((0, 0)),
            mating=MixedVariableMating(
                selection=TournamentSelection(func_comp=binary_tournament), eliminate_duplicates=apart
            ),
            eliminate_duplicates=apart,
            seed=seed,
        )
        self.algorithm.setup(self.problem, termination=("n_gen", 10**9))
        self.started = False

    def start(self, points: Sequence[Point], costs: NDArray[np.float64], shortages: NDArray[np.float64]) -> None:
        """Takes the first designs; costs: (n, objectives), of no meaning where shortages (n,) are above 0."""
        self.algorithm.initialization.sampling = self._population(points, costs, shortages)
        known = self.algorithm.ask()
        self.algorithm.tell(infills=known)

    def ask(self) -> list[Point]:
        """The next generation; empty where nothing new can be made."""
        self.asked = self.algorithm.ask()
        return [] if self.asked is None else [self._point(individual.X) for individual in self.asked]

    def tell(self, costs: NDArray[np.float64], shortages: NDArray[np.float64]) -> None:
        """What became of the generation that was asked for."""
        self._judge(self.asked, costs, shortages)
        self.algorithm.tell(infills=self.asked)

    def _population(self, points: Sequence[Point], costs: NDArray[np.float64], shortages: NDArray[np.float64]) -> Any:
        from pymoo.core.population import Population

        named = [{str(number): place for number, place in enumerate(point)} for point in points]
        population = Population.new(X=np.array(named, dtype=object))
        self._judge(population, costs, shortages)
        return population

    @staticmethod
    def _judge(population: Any, costs: NDArray[np.float64], shortages: NDArray[np.float64]) -> None:
        short = shortages[:, None]
        population.set("F", np.where(short > 0, 0.0, costs), "G", short, "H", np.zeros((len(short), 0)))
        for individual in population:
            individual.evaluated.update(("F", "G", "H"))

    def _point(self, named: dict[str, Any]) -> Point:
        return tuple(
            int(named[str(n)]) if variable.options else float(f"{named[str(n)]:.{DIGITS}g}")
            for n, variable in enumerate(self.variables)
        )
