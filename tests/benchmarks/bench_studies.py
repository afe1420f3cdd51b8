"""A whole study with store and workers:
python -m pytest tests/benchmarks/bench_studies.py --benchmark-only -o addopts= -s

DESIGNS=100000 in the environment makes the sweep as long as that. Rate and memory are printed as it goes: both are to
stay as they are, however many designs there were.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

from pcbstator.design import load_design
from pcbstator.study.load import study_from_tables
from pcbstator.study.run import Progress, run_study
from pcbstator.study.store import open_store
from pcbstator.study.suggestion.suggest import suggestions
from pcbstator.study.workforce import local_workforce
from tests.study.test_suggest import ROOM, WISH

STAGE = Path(__file__).parents[2] / "designs" / "photogrammetry-stage.toml"
DESIGNS = int(os.environ.get("DESIGNS", "4000"))
TABLES: dict[str, Any] = {
    "title": "bench",
    "budget": DESIGNS,
    "variables": [
        {"key": "winding.turns", "from": 3, "to": 12},
        {"key": "board.track_width_mm", "from": 0.15, "to": 0.35},
        {"key": "board.layers", "values": [2, 4, 6]},
        {"key": "board.copper_outer_diameter_mm", "from": 98.0, "to": 106.0},
        {"key": "rotor.magnet.thickness_mm", "values": [2.0, 3.0, 4.0]},
    ],
}


def resident(process: int) -> float:
    """Memory of a process [MB]; 0 where the system does not tell."""
    status = Path(f"/proc/{process}/status")
    lines = status.read_text(encoding="utf-8").splitlines() if status.exists() else []
    return sum(int(line.split()[1]) / 1024 for line in lines if line.startswith("VmRSS"))


def test_rate_and_memory_of_a_long_sweep(benchmark: Any, tmp_path: Path) -> None:
    study = study_from_tables(TABLES, load_design(STAGE), STAGE.read_text(encoding="utf-8"))
    marks = [DESIGNS * part // 8 for part in range(1, 9)]
    seen: list[float] = []

    def watch(progress: Progress) -> None:
        if marks and progress.done >= marks[0]:
            marks.pop(0)
            pids = [os.getpid(), *(force.executor._processes if force.executor else ())]  # type: ignore[attr-defined]
            seen.append(sum(map(resident, pids)))
            print(f"\n{progress.done} designs, {progress.rate:.0f}/s from the start, {seen[-1]:.0f} MB", end="")

    with local_workforce(2) as force, open_store(tmp_path, study, "bench") as store:
        benchmark.pedantic(run_study, (study, store, force, watch), rounds=1)
        assert store.last() == DESIGNS
    assert seen[-1] < 1.2 * seen[1]


def test_suggestions_for_an_envelope(benchmark: Any, tmp_path: Path) -> None:
    """With the usual parts; to be within 15 s on two cores."""
    place = tmp_path / "envelope.toml"
    place.write_text(ROOM + WISH, encoding="utf-8")
    benchmark.pedantic(suggestions, (place,), {"workers": 2}, rounds=1)
