"""A file of readings beside its design, from the first row to the motor as built."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from pcbstator.bench.built.motor import built_motors
from pcbstator.bench.built.scatter import scatters
from pcbstator.bench.causes.search import judgements, with_judgements
from pcbstator.bench.comparison import compared
from pcbstator.bench.load import load_bench
from pcbstator.bench.machine_state import machine_state

if TYPE_CHECKING:
    from pcbstator.bench.result import Comparison
    from pcbstator.design import Design


def judged_comparison(design: Design, bench: Path) -> Comparison:
    """Readings beside what the design predicts, what lies behind the differences, and the motors as built.

    Raises DesignError with every complaint about the readings at once.
    """
    readings, state = load_bench(bench), machine_state(design)
    found = compared(design, readings, bench.name, state)
    judged = judgements(found, readings, state)
    found = with_judgements(found, judged)
    built = built_motors(design, found, judged, readings, state)
    return replace(found, built=built, scatter=scatters(found.rows))
