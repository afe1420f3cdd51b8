"""Designs per second in a search: python -m pytest tests/benchmarks/bench_explore.py --benchmark-only -o addopts=

Every design is drawn anew: turns, track width, layers, annulus and copper thickness, and, where each has its own rotor,
magnets and gap. A round takes CHUNK designs through the stages, refused ones included; how many of those drawn were
refused stands in the extra information, beside the process time in ms for each stage and each design that is laid.
"""

from __future__ import annotations

import itertools
import random
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

import pcbstator
from pcbstator.analysis.shared import Shared
from pcbstator.analysis.stages import STAGES, Work, run_stage
from pcbstator.design import Design
from pcbstator.errors import DesignError

STAGE = Path(__file__).parents[2] / "designs" / "photogrammetry-stage.toml"
BARE: dict[str, Any] = {"envelope": None, "load": None, "motion": None, "drive": None}
WAVE = {"winding.kind": "wave", "winding.coils": None, "winding.outline": None, "rotor.poles": 16}
CHUNK, ROUNDS = 16, 12
SPAN = 0.025, 0.071  # m, of all copper that is drawn
WANTED = frozenset(["thermal.continuous_torque_n_m", "magnetic.motor_constant_n_m_per_sqrt_w"])
CASES: dict[str, tuple[bool, tuple[str, ...]]] = {
    "one-of-a-few-rotors": (False, STAGES[:3]),
    "own-rotor": (True, STAGES[:3]),
    "with-inductance": (False, STAGES),
}


def spiral_values(dice: random.Random) -> dict[str, Any]:
    inner = dice.uniform(50.0, 66.0)
    return {
        "winding.turns": dice.randint(3, 12),
        "winding.coils": dice.choice((9, 18, 18, 27, 36)),
        "board.track_width_mm": dice.uniform(0.15, 0.35),
        "board.layers": dice.choice((2, 4, 6)),
        "board.copper_inner_diameter_mm": inner,
        "board.copper_outer_diameter_mm": inner + dice.uniform(38.0, 60.0),
        "board.outer_copper_um": dice.choice((35.0, 70.0)),
    }


def wave_values(dice: random.Random) -> dict[str, Any]:
    inner = dice.uniform(50.0, 66.0)
    return {
        "winding.turns": dice.randint(1, 3),
        "board.track_width_mm": dice.uniform(0.2, 0.5),
        "board.layers": dice.choice((2, 4)),
        "board.copper_inner_diameter_mm": inner,
        "board.copper_outer_diameter_mm": inner + dice.uniform(55.0, 76.0),
        "board.outer_copper_um": dice.choice((35.0, 70.0)),
    }


def rotor_values(dice: random.Random) -> dict[str, Any]:
    return {"rotor.air_gap_mm": dice.uniform(0.6, 1.5), "rotor.magnet.thickness_mm": dice.uniform(2.0, 5.0)}


def few_rotors(dice: random.Random) -> dict[str, Any]:
    return {"rotor.air_gap_mm": 0.8, "rotor.magnet.thickness_mm": dice.choice((2.0, 3.0, 5.0))}


def chunk(
    base: Design, draw: Iterator[dict[str, Any]], stages: tuple[str, ...], shared: Shared, spent: dict[str, float]
) -> tuple[int, int]:
    """Takes CHUNK drawn designs through the stages; how many were refused, and how many came through."""
    begin, works, refused = time.process_time(), [], 0
    for values in itertools.islice(draw, CHUNK):
        try:
            works.append(Work(base.with_values(values)))
        except DesignError:
            refused += 1
    for stage in ("file", *stages):
        if stage != "file":
            run_stage(stage, works, shared, WANTED)
        now = time.process_time()
        spent[stage] = spent.get(stage, 0.0) + now - begin
        begin = now
    refused += sum(work.refusal is not None for work in works)
    return refused, CHUNK - refused


@pytest.mark.parametrize("case", CASES)
@pytest.mark.parametrize("kind", ["spiral", "wave"])
def test_designs_per_second(benchmark: Any, kind: str, case: str) -> None:
    own, stages = CASES[case]
    winding: Callable[[random.Random], dict[str, Any]] = spiral_values if kind == "spiral" else wave_values
    base = pcbstator.load_design(STAGE).with_values(BARE | (WAVE if kind == "wave" else {}) | wave_start(kind))
    dice = random.Random(1)
    draw = (winding(dice) | (rotor_values if own else few_rotors)(dice) for _ in itertools.count())
    shared = Shared(*SPAN)
    chunk(base, draw, stages, shared, {})  # tables of the few rotors, and whatever is made once
    spent: dict[str, float] = {}
    counts: list[tuple[int, int]] = []

    benchmark.pedantic(lambda: counts.append(chunk(base, draw, stages, shared, spent)), rounds=ROUNDS)
    refused, laid = (sum(column) for column in zip(*counts, strict=True))
    benchmark.extra_info |= {
        "drawn": refused + laid,
        "refused": refused,
        "ms_per_design_laid": {stage: round(1e3 * seconds / laid, 3) for stage, seconds in spent.items()},
        "designs_laid_per_second": round(laid / sum(spent.values()), 1),
    }
    print(f"\n{kind}, {case}: {benchmark.extra_info}")
    assert laid > refused / 3


def wave_start(kind: str) -> dict[str, Any]:
    """A wave needs room before its annulus is drawn."""
    return {"winding.turns": 2, "board.copper_outer_diameter_mm": 120.0} if kind == "wave" else {}
