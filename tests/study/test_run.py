"""A study ends the same whoever works on it and however often it is stopped."""

from __future__ import annotations

import os
import signal
import sqlite3
import subprocess
import sys
import time
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from contextlib import closing
from functools import partial
from pathlib import Path

import pytest

from pcbstator.errors import OutputError
from pcbstator.study.results import gather, impossible_constraints
from pcbstator.study.run import _Run, pareto_numbers, run_study
from pcbstator.study.store import open_store
from pcbstator.study.workforce import WorkerError, Workforce, executor_workforce, local_workforce
from tests.study.studies import COST, GAP, HEIGHT, KM, RESISTANCE, TURNS, TWO_GAPS, WIDTH, smaller, wheel_study

SEARCH = {"variables": [TURNS, {"key": "board.track_width_mm", "from": 0.15, "to": 0.4}], "objectives": [KM]}


def told(study, folder, force=None):
    """Everything in the store after a run, as rows."""
    with open_store(folder, study, "test") as store:
        if force is None:
            with local_workforce(1) as alone:
                run_study(study, store, alone)
        else:
            run_study(study, store, force)
        rows = store.base.execute("SELECT * FROM designs ORDER BY id").fetchall()
        return rows, pareto_numbers(study, store)


def test_sweep_of_all_combinations(tmp_path):
    study = wheel_study(variables=[TURNS, WIDTH], budget=100)
    rows, _ = told(study, tmp_path)
    assert len(rows) == 60  # 10 turns x 6 widths
    assert len({row[1] for row in rows}) == 60
    assert any(row[2] == "" for row in rows) and any("winding.turns" in row[2] for row in rows)


def test_sweep_that_fills_the_space(tmp_path):
    study = wheel_study(variables=[TURNS, GAP, {"key": "board.track_width_mm", "from": 0.15, "to": 0.3}], budget=40)
    rows, _ = told(study, tmp_path)
    assert [row[0] for row in rows] == list(range(1, 41))
    assert len({row[1] for row in rows}) == 40


@pytest.mark.parametrize(
    ("tables", "budget"),
    [
        ({"variables": [TURNS, WIDTH], "objectives": [KM, COST]}, 48),
        ({"variables": [TURNS, WIDTH, TWO_GAPS], "objectives": [RESISTANCE, HEIGHT]}, 100),
        ({"variables": [TURNS, WIDTH, TWO_GAPS], "objectives": [KM]}, 90),
    ],
)
def test_search_finds_the_front_of_the_grid(tmp_path, tables, budget):
    grid = wheel_study(**tables, budget=120)
    searched = smaller(grid, budget)
    assert grid.combinations > budget  # a search, not a sweep
    sets = []
    for study in (grid, searched):
        rows, front = told(study, tmp_path / str(study.budget))
        assert len(rows) <= study.budget
        sets.append({row[1] for row in rows if row[0] in front})
    assert sets[0] == sets[1]


@pytest.mark.slow
def test_any_number_of_workers_gives_the_same(tmp_path):
    study = wheel_study(**SEARCH, budget=96)
    alone = told(study, tmp_path / "1")
    with local_workforce(2) as two:
        assert told(study, tmp_path / "2", two) == alone
    with ThreadPoolExecutor(3) as threads, executor_workforce(threads, 3) as force:
        assert told(study, tmp_path / "3", force) == alone


@pytest.mark.parametrize(
    ("tables", "budgets"),
    [
        ({"variables": [TURNS, WIDTH]}, (20, 41)),  # fills the space, further
        ({"variables": [TURNS, WIDTH]}, (20, 41, 100)),  # then whatever is left of all 60 combinations
        ({**SEARCH}, (40, 96)),  # a search, further
        ({"variables": [TURNS, WIDTH], "objectives": [KM]}, (40, 100)),  # a search, then all that is left
    ],
)
def test_a_finished_study_is_carried_further(tmp_path, tables, budgets):
    """What was looked at stays, under its numbers; as much is new as the budget has grown; a stop changes nothing."""
    ends = {}
    for stop in (False, True):
        before: list = []
        for budget in budgets:
            study = wheel_study(**tables, budget=budget)
            folder = tmp_path / str(stop)
            if stop and budget == budgets[-1]:
                with open_store(folder, study, "test") as store, pytest.raises(KeyboardInterrupt):
                    run_study(study, store, next(executor_workforce(Interrupted(1), 1).gen))
                with open_store(folder, study, "test") as store:
                    assert store.about("finished") is None
            rows, _ = told(study, folder)
            assert rows[: len(before)] == before and len({row[1] for row in rows}) == len(rows)
            assert len(rows) == min(budget, study.combinations)
            before = rows
        ends[stop] = before
    assert ends[False] == ends[True]


class Interrupted(Executor):
    """Does some tasks and stops after some like a user's Ctrl-C."""

    def __init__(self, last: int) -> None:
        self.count, self.last = 0, last

    def submit(self, task, /, *arguments, **named):
        self.count += 1
        if self.count > self.last:
            raise KeyboardInterrupt
        done: Future = Future()
        done.set_result(task(*arguments, **named))
        return done


def test_a_stopped_study_goes_on_to_the_same_end(tmp_path):
    study = wheel_study(**SEARCH, budget=96)
    whole = told(study, tmp_path / "whole")
    for last in (1, 2, 2):
        with open_store(tmp_path / "parts", study, "test") as store, pytest.raises(KeyboardInterrupt):
            run_study(study, store, next(executor_workforce(Interrupted(last), 1).gen))
    assert told(study, tmp_path / "parts") == whole


@pytest.mark.slow
def test_a_killed_study_goes_on_to_the_same_end(tmp_path):
    design = Path(__file__).parents[2] / "designs" / "filter-wheel.toml"
    (tmp_path / "study.toml").write_text(
        f'title = "killed"\ndesign = "{design}"\nbudget = 240\nworkers = 2\n'
        '[[variables]]\nkey = "winding.turns"\nfrom = 4\nto = 13\n'
        '[[variables]]\nkey = "board.track_width_mm"\nfrom = 0.15\nto = 0.4\n'
    )
    command = [sys.executable, "-m", "pcbstator", "explore", str(tmp_path / "study.toml"), "-o"]
    process = subprocess.Popen([*command, str(tmp_path / "parts")], stderr=subprocess.DEVNULL, start_new_session=True)
    try:
        kept = tmp_path / "parts" / "designs.sqlite"
        started = time.monotonic()
        while not rows_of(kept) and time.monotonic() - started < 60:
            time.sleep(0.02)
    finally:
        os.killpg(process.pid, signal.SIGKILL)
        process.wait()
    before = rows_of(kept)
    assert 0 < len(before) < 240
    for folder in ("parts", "whole"):
        subprocess.run([*command, str(tmp_path / folder)], check=True, capture_output=True)
    whole = rows_of(tmp_path / "whole" / "designs.sqlite")
    assert len(whole) == 240 and rows_of(kept) == whole
    assert set(before) <= set(whole)


def test_an_interrupted_study_keeps_what_it_has(tmp_path):
    design = Path(__file__).parents[2] / "designs" / "filter-wheel.toml"
    (tmp_path / "study.toml").write_text(
        f'title = "interrupted"\ndesign = "{design}"\nbudget = 5000\nworkers = 2\n'
        '[[variables]]\nkey = "board.track_width_mm"\nfrom = 0.15\nto = 0.4\n'
    )
    command = [sys.executable, "-m", "pcbstator", "explore", str(tmp_path / "study.toml"), "-o", str(tmp_path / "out")]
    # What is started in the background may be told to ignore interrupts; a user's terminal does not do that.
    heeding = partial(signal.signal, signal.SIGINT, signal.default_int_handler)
    process = subprocess.Popen(command, stdout=-1, stderr=-1, text=True, start_new_session=True, preexec_fn=heeding)
    started = time.monotonic()
    while not rows_of(tmp_path / "out" / "designs.sqlite") and time.monotonic() - started < 60:
        time.sleep(0.02)
    os.killpg(process.pid, signal.SIGINT)
    _, told_at_the_end = process.communicate(timeout=60)
    assert process.returncode == 130
    kept = rows_of(tmp_path / "out" / "designs.sqlite")
    assert f"stopped after {len(kept)} designs" in told_at_the_end and "Traceback" not in told_at_the_end
    assert [row[0] for row in kept] == list(range(1, len(kept) + 1))
    assert len((tmp_path / "out" / "designs.csv").read_text(encoding="utf-8").splitlines()) == len(kept) + 1


def test_a_folder_belongs_to_one_study_and_one_run(tmp_path):
    study = wheel_study(variables=[TURNS], budget=10)
    told(study, tmp_path)
    with (
        pytest.raises(OutputError, match="holds designs of another study"),
        open_store(tmp_path, wheel_study(variables=[TURNS], budget=10, seed=2), "test"),
    ):
        pass
    with pytest.raises(OutputError, match="write budget = 10 or more"), open_store(tmp_path, smaller(study, 5), "test"):
        pass
    with pytest.raises(OutputError, match="holds designs of another version"), open_store(tmp_path, study, "2"):
        pass
    with open_store(tmp_path, study, "test"):  # noqa: SIM117  one inside the other
        with pytest.raises(OutputError, match="another run is at work"), open_store(tmp_path, study, "test"):
            pass
    (tmp_path / "junk").mkdir()
    (tmp_path / "junk" / "designs.sqlite").write_text("no database")
    with pytest.raises(OutputError, match="cannot be used"), open_store(tmp_path / "junk", study, "test"):
        pass
    with pytest.raises(OutputError, match="holds no study"), open_store(tmp_path / "none"):
        pass


def rows_of(path: Path) -> list:
    """All designs in a store's file, or none while it is being made."""
    if not path.exists():
        return []
    with closing(sqlite3.connect(path)) as base:
        try:
            return base.execute("SELECT * FROM designs ORDER BY id").fetchall()
        except sqlite3.OperationalError:
            return []


class Dying(Executor):
    """Fails every task some times before it does it."""

    def __init__(self, times: int) -> None:
        self.times, self.seen = times, {}

    def submit(self, task, /, *arguments, **named):
        done: Future = Future()
        key = arguments[1]
        self.seen[key] = self.seen.get(key, 0) + 1
        if self.seen[key] <= self.times:
            done.set_exception(MemoryError("gone"))
        else:
            done.set_result(task(*arguments, **named))
        return done


def test_a_worker_that_dies_is_made_good_for(tmp_path):
    study = wheel_study(variables=[TURNS, WIDTH], budget=60)
    whole = told(study, tmp_path / "whole")
    with executor_workforce(Dying(2), 2) as force:
        assert told(study, tmp_path / "dying", force) == whole
    named = r"4 workers died of designs 1 to 16, .* winding\.turns = 4"
    with executor_workforce(Dying(99), 2) as force, pytest.raises(WorkerError, match=named):
        told(study, tmp_path / "dead", force)


@pytest.mark.slow
def test_a_process_that_is_killed_is_replaced(tmp_path):
    study = wheel_study(**SEARCH, budget=96)
    whole = told(study, tmp_path / "whole")
    killed = []

    def kill_one(progress):
        if not killed and progress.computed >= 32:
            killed.append(next(iter(force.executor._processes)))
            os.kill(killed[0], signal.SIGKILL)

    with local_workforce(2) as force, open_store(tmp_path / "killed", study, "test") as store:
        run_study(study, store, force, kill_one)
        rows = store.base.execute("SELECT * FROM designs ORDER BY id").fetchall()
        assert killed and (rows, pareto_numbers(study, store)) == whole


def test_an_impossible_constraint_is_named(tmp_path):
    impossible = {"key": "magnetic.torque_constant_n_m_per_a", "least": 5.0}
    others = [{"key": "copper.mass_g", "most": 500.0}, {"key": "thermal.continuous_phase_current_rms_a", "least": 0.01}]
    study = wheel_study(variables=[TURNS, WIDTH], budget=60, constraints=[*others, impossible])
    told(study, tmp_path)
    with open_store(tmp_path, study, "test") as store:
        found = gather(study, store)
        lines = impossible_constraints(study, store)
        reached = [outcome.results.get(impossible["key"], 0.0) for _, _, outcome in store.rows()]
    assert found.feasible == 0 and not found.pareto_front
    assert len(lines) == 1 and lines[0].startswith("magnetic.torque_constant_n_m_per_a at least 5")
    assert f"has {max(reached):.5g}" in lines[0]


def test_constraints_that_exclude_each_other(tmp_path):
    study = wheel_study(
        variables=[TURNS, WIDTH], budget=60,
        constraints=[{"key": "copper.mass_g", "most": 0.5}, {"key": "copper.mass_g", "least": 0.6}],
    )  # fmt: skip
    told(study, tmp_path)
    with open_store(tmp_path, study, "test") as store:
        (line,) = impossible_constraints(study, store)
    assert line.startswith("copper.mass_g at") and "came furthest" in line


def test_limits_that_follow_another_result(tmp_path):
    limits = [
        {"key": "thermal.magnet_phase_current_rms_a", "least": "thermal.continuous_phase_current_rms_a", "times": 1.075}
    ]
    study = wheel_study(variables=[TURNS, WIDTH], budget=60, constraints=limits)
    told(study, tmp_path)
    with open_store(tmp_path, study, "test") as store:
        kept = [outcome.results for _, _, outcome in store.rows(feasible_only=True)]
        others = [outcome.results for _, _, outcome in store.rows() if "1.075 x" in outcome.ruled_out]

    def reserve(results):
        return results["thermal.magnet_phase_current_rms_a"] / results["thermal.continuous_phase_current_rms_a"]

    assert kept and min(map(reserve, kept)) >= 1.075 * (1 - 1e-9)
    assert others and max(map(reserve, others)) < 1.075


def test_memory_stays_flat_in_a_sweep(tmp_path):
    """What is asked for is dropped once it is kept: the run holds no more than what is under way."""
    study = wheel_study(variables=[TURNS, WIDTH, GAP], budget=240)
    held = []

    with open_store(tmp_path, study, "test") as store:
        run = _Run(study, store, Workforce(1, None), lambda progress: held.append(len(run.unstored)))
        run.look()
    assert max(held) <= 3 * 16
