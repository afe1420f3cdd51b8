"""Carries a study through: asks for designs, keeps what becomes of them, goes on after a stop, confirms the best.

Designs are numbered in the order in which they are asked for. That order depends on the seed and on earlier answers,
never on who answered or when, so a study that was stopped ends as one that was not, with any number of workers.
"""

from __future__ import annotations

import itertools
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, wait
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass, field
from functools import partial
from typing import Any

import numpy as np

from pcbstator.analysis.pipeline import package_version
from pcbstator.errors import PcbstatorError
from pcbstator.study.confirm import Confirmation, confirm
from pcbstator.study.evaluate import evaluate
from pcbstator.study.pareto import non_dominated
from pcbstator.study.records import Outcome, Point, Study
from pcbstator.study.sample import every_point, filling_points
from pcbstator.study.search import CHUNK, Search, generation_size
from pcbstator.study.store import Store
from pcbstator.study.workforce import MOST_FAILURES, WorkerError, Workforce

FIRST_PART = 8  # part of the budget, at least a generation, that fills the space before the search begins
MOST_REPEATS = 2000  # points in a row that were all there before: the space is used up
MOST_STALE = 30  # generations in a row without a new design


@dataclass
class Progress:
    """Where a study stands; rate: of designs computed in this run [1/s]; best: by objective, of those that meet all."""

    budget: int
    known: int = 0
    computed: int = 0
    feasible: int = 0
    stage: str = "looking at designs"
    best: dict[str, tuple[int, float]] = field(default_factory=dict)
    started: float = field(default_factory=time.monotonic)

    @property
    def done(self) -> int:
        """Designs that are finished."""
        return self.known + self.computed

    @property
    def rate(self) -> float:
        """Designs per second."""
        return self.computed / max(time.monotonic() - self.started, 1e-9)

    @property
    def seconds_left(self) -> float | None:
        """Time for the rest of the budget; None before anything is known."""
        return (self.budget - self.done) / self.rate if self.computed else None


Watcher = Callable[[Progress], None]


def needs_search(study: Study) -> bool:
    """Whether a study wants the best of more designs than its budget can look at."""
    return bool(study.objectives) and study.combinations > study.budget


def run_study(study: Study, store: Store, force: Workforce, watch: Watcher = lambda progress: None) -> Progress:
    """Carries the study to its end; ``watch`` is called as it goes on.

    KeyboardInterrupt leaves the store whole, with all that was finished. Raises WorkerError where work cannot be done.
    """
    run = _Run(study, store, force, watch)
    try:
        run.look()
        if study.objectives:
            run.confirm()
    except KeyboardInterrupt:
        run.settle()
        raise
    store.tell("finished", package_version())
    return run.progress


@dataclass(frozen=True, eq=False)
class _Task:
    """A piece of work under way: designs from number ``first`` on, in words for an error; finish: takes its result."""

    first: int
    work: Callable[..., Any]
    arguments: tuple[Any, ...]
    finish: Callable[[Any], None]
    words: str


class _Run:
    """One study under way."""

    def __init__(self, study: Study, store: Store, force: Workforce, watch: Watcher) -> None:
        self.study, self.store, self.force, self.watch = study, store, force, watch
        self.progress = Progress(int(min(study.budget, study.combinations)))
        self.next = 1  # number of the next design
        self.pending: dict[Future[Any], _Task] = {}
        self.unstored: set[Point] = set()
        self.failures: dict[int, int] = {}

    def look(self) -> None:
        """All combinations where the budget covers them; else a search, or points that fill the space evenly.

        A budget that has grown changes nothing about the designs before: what was begun with the first is carried on,
        and combinations that are left follow once a budget covers them all.
        """
        study, budgets = self.study, self.store.budgets()
        short = [budget for budget in budgets if budget < study.combinations]
        if short and study.objectives:
            self.search(short[0], short[-1])
        elif short:
            self.sweep(filling_points(study), short[-1])
        if study.budget >= study.combinations:
            self.sweep(every_point(study), study.budget, most_repeats=study.budget)

    def sweep(self, points: Iterator[Point], budget: int, most_repeats: int = MOST_REPEATS) -> None:
        """Points one after the other, up to a budget."""
        if self.next <= budget:
            for _ in self.outcomes(self.fresh(points, budget - self.next + 1, most_repeats), keep=False):
                pass

    def search(self, planned: int, budget: int) -> None:
        """Points that fill the space, then generation by generation towards the best, up to a budget.

        planned: the budget that the study began with, which decides how it is gone about.
        """
        study, size = self.study, self.study.generation or generation_size(planned)
        search = Search(study.variables, len(study.objectives), size, study.seed)
        first = min(max(size, planned // FIRST_PART // CHUNK * CHUNK), planned)
        self.store.tell("filling", str(first))  # numbers up to here fill the space evenly
        start = list(self.outcomes(self.fresh(filling_points(study), first)))
        if self.next > budget:
            return
        search.start([point for point, _ in start], *self._judged([outcome for _, outcome in start]))
        stale = 0
        while self.next <= budget and stale < MOST_STALE:
            asked, before = search.ask(), self.next
            if not asked:
                return
            found = dict(self.outcomes(self.fresh(iter(asked), budget - self.next + 1)))
            if self.next > budget:
                return
            search.tell(*self._judged([found.get(point) or self.earlier(point) for point in asked]))
            stale = stale + 1 if self.next == before else 0

    def _judged(self, outcomes: Sequence[Outcome]) -> tuple[Any, Any]:
        """Costs and shortages for the search; an objective that does not apply counts as a shortage."""
        costs = np.zeros((len(outcomes), len(self.study.objectives)))
        shortages = np.array([outcome.shortage for outcome in outcomes])
        for row, outcome in enumerate(outcomes):
            for column, objective in enumerate(self.study.objectives):
                value = outcome.results.get(objective.key)
                costs[row, column] = 0.0 if value is None else objective.cost(value)
                if value is None and outcome.feasible:
                    shortages[row] = 1.0
        return costs, shortages

    def earlier(self, point: Point) -> Outcome:
        """What became of a design that was asked for before."""
        number = self.store.number_of(point, self.next)
        return self.store.known(number or 0)[1]

    def fresh(self, points: Iterator[Point], count: int, most_repeats: int = MOST_REPEATS) -> Iterator[Point]:
        """The first ``count`` of these points that were not asked for before; ends where the space seems used up."""
        repeats = 0
        for point in points:
            if point in self.unstored or self.store.number_of(point, self.next) is not None:
                repeats += 1
                if repeats > most_repeats:
                    return
                continue
            repeats = 0
            self.unstored.add(point)
            self.next += 1
            yield point
            count -= 1
            if count == 0:
                return

    def outcomes(self, points: Iterable[Point], keep: bool = True) -> Iterator[tuple[Point, Outcome]]:
        """What becomes of new points, in their order; without ``keep`` nothing is handed back, for flat memory."""
        found: dict[int, list[tuple[Point, Outcome]]] = {}

        def finished(first: int, chunk: Sequence[Point], outcomes: list[Outcome], stored: bool = False) -> None:
            if stored:
                self.progress.known += len(chunk)
            else:
                self.store.add(first, chunk, outcomes)
                self.progress.computed += len(chunk)
            self.unstored.difference_update(chunk)
            self.count(first, outcomes)
            if keep:
                found[first] = list(zip(chunk, outcomes, strict=True))

        source = iter(points)
        while True:
            first = self.next
            chunk = tuple(itertools.islice(source, CHUNK))
            if not chunk:
                break
            stored = self.store.stored(first, chunk)
            if stored is not None:
                finished(first, chunk, stored, stored=True)
                continue
            words = "; ".join(f"{key} = {value}" for key, value in self.study.settings(chunk[0]).items())
            words = f"designs {first} to {first + len(chunk) - 1}, of which the first has {words}"
            self.submit(_Task(first, evaluate, (self.study, chunk), partial(finished, first, chunk), words))
        self.drain()
        yield from (pair for first in sorted(found) for pair in found[first])

    def submit(self, task: _Task) -> None:
        """Hands work out; waits where enough is under way."""
        self.pending[self.force.submit(task.work, *task.arguments)] = task
        while len(self.pending) >= 2 * self.force.workers:
            self.collect()

    def drain(self) -> None:
        """Waits for everything under way."""
        while self.pending:
            self.collect()

    def collect(self) -> None:
        """Takes in what is done, at least one task; where its worker died it is given out again."""
        done, _ = wait(self.pending, return_when=FIRST_COMPLETED)
        for future in sorted(done, key=lambda future: self.pending[future].first):
            if future not in self.pending:  # given out again with others of a broken pool
                continue
            task = self.pending.pop(future)
            try:
                result = future.result()
            except PcbstatorError:
                raise
            except Exception as error:  # noqa: BLE001  a worker may die of anything
                self.again(task, error)
                continue
            task.finish(result)

    def again(self, task: _Task, error: Exception) -> None:
        """Gives work out once more; after too many failures says which it was."""
        self.failures[task.first] = self.failures.get(task.first, 0) + 1
        if self.failures[task.first] >= MOST_FAILURES:
            raise WorkerError(f"{MOST_FAILURES} workers died of {task.words} ({type(error).__name__}: {error})")
        lost = [task]
        if isinstance(error, BrokenProcessPool):
            lost += self.pending.values()
            self.pending = {}
            self.force.renew()
        for each in lost:
            self.pending[self.force.submit(each.work, *each.arguments)] = each

    def count(self, first: int, outcomes: Sequence[Outcome]) -> None:
        """Brings the progress up to date and shows it."""
        for number, outcome in enumerate(outcomes, start=first):
            if not outcome.feasible:
                continue
            self.progress.feasible += 1
            for objective in self.study.objectives:
                value, best = outcome.results.get(objective.key), self.progress.best.get(objective.key)
                if value is not None and (best is None or objective.cost(value) < objective.cost(best[1])):
                    self.progress.best[objective.key] = number, value
        self.watch(self.progress)

    def settle(self) -> None:
        """After Ctrl-C: what has begun is finished and kept, the rest dropped."""
        self.pending = {future: task for future, task in self.pending.items() if not future.cancel()}
        self.drain()

    def confirm(self) -> None:
        """Predicts every design of the Pareto front in full; one that cannot be made gives its place to others."""
        self.progress.stage = "confirming the best"

        def confirmed(number: int, found: Confirmation) -> None:
            self.store.confirm(number, found)
            self.watch(self.progress)

        while True:
            pareto = pareto_numbers(self.study, self.store)
            numbers = [number for number in pareto if self.store.confirmation(number) is None]
            if not numbers:
                return
            for number in numbers:
                point, outcome = self.store.known(number)
                if outcome.results.get("findings.errors") == 0:  # it was predicted in full already
                    self.store.confirm(number, Confirmation("", int(outcome.results["findings.warnings"]), 0.0, ""))
                    continue
                work = self.study, point, outcome
                self.submit(_Task(number, confirm, work, partial(confirmed, number), f"design {number}"))
            self.drain()


def pareto_numbers(study: Study, store: Store) -> list[int]:
    """Numbers of the designs that meet everything, are not known to be unfit to be made, and are beaten by none.

    None where nothing is asked for.
    """
    if not study.objectives:
        return []
    numbers, values = store.columns([objective.key for objective in study.objectives])
    sound = ~np.isnan(values).any(axis=1)
    sound &= ~np.isin(numbers, store.unfit())
    signs = np.array([objective.cost(1.0) for objective in study.objectives])
    best = non_dominated(values[sound] * signs)
    return [int(number) for number in numbers[sound][best]]
