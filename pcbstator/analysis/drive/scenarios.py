"""The drive in time: the design's machine, load, sensor and gains in the scenarios that a user asks about."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import pi
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from pcbstator.analysis.drive import run_measures as runs
from pcbstator.analysis.drive.load_cycle import Moves, cycle_of, load_values, without_load
from pcbstator.analysis.drive.stand import Stand, stand_of
from pcbstator.analysis.prediction import Prediction
from pcbstator.physics.drive.motion import Piece, sampled_moves
from pcbstator.physics.drive.simulation import Trace

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign

FloatArray = NDArray[np.float64]

STEPS = 12  # small ones, one after the other
SLOW = 1.5 * pi / 30  # rad/s: a slow turn that must look continuous (common practice, no source)
SMALL_STEP = np.radians(0.5)  # the small step that must stay visible and even (common practice, no source)


@dataclass(frozen=True, eq=False)
class ScenarioRun:
    """One scenario: its name, what it shows, the trace, and its numbers by key."""

    name: str
    title: str
    trace: Trace
    numbers: dict[str, Any]


@dataclass(frozen=True, eq=False)
class Simulation:
    """All runs of a design, with the prediction that they rest on."""

    prediction: Prediction
    runs: tuple[ScenarioRun, ...]
    remarks: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """Plain data, numbers in the unit of their key."""
        head = {"title": self.prediction.title, "design_file": self.prediction.design_file}
        return {
            **head,
            "version": self.prediction.version,
            "scenarios": {run.name: run.numbers for run in self.runs},
            "error_budget": list(self.prediction.motion.error_budget) if self.prediction.motion else [],
            "remarks": list(self.remarks),
            "findings": [finding.to_dict() for finding in self.prediction.findings],
        }


def simulation(design: SizedDesign, prediction: Prediction, names: tuple[str, ...] = ()) -> Simulation:
    """The named scenarios of a design, all where none is named. DesignError where it lacks what they need."""
    stand, remarks = stand_of(design, prediction)
    done = []
    for name in names or tuple(SCENARIOS):
        title, play = SCENARIOS[name]
        found = play(design, stand, remarks)
        if found is not None:
            trace, numbers = found
            done.append(ScenarioRun(name, title, trace, numbers | runs.common_numbers(trace, stand)))
    return Simulation(prediction, tuple(done), tuple(dict.fromkeys(remarks)))


def _moves(design: SizedDesign, stand: Stand, remarks: list[str]) -> tuple[Trace, dict[str, Any]] | None:
    """What [motion] asks for, once, and a rest at the end to settle."""
    cycle = cycle_of(design)
    if cycle is None or (design.recording is not None and not design.recording.angles):
        remarks.append("the scenario moves needs [motion] with angles and was left out")
        return None
    if cycle.turns_for_ever:
        reference = run_up(cycle.top_speed, 0.0, 6.0, stand)
    else:
        moves = [(start, pieces, sense, max(rest, stand.rest)) for start, pieces, sense, rest in cycle.moves]
        begin: Moves = [(moves[0][0], (), 1.0, 0.02)]
        reference = sampled_moves(begin + moves, stand.control.period, stand.most)
        if len(reference[0]) == stand.most:
            remarks.append(f"moves: only the first {stand.most * stand.control.period:.3g} s were run")
    trace = stand.run(reference)
    return trace, runs.following_numbers(trace, reference, stand)


def run_up(speed: float, start: float, duration: float, stand: Stand) -> tuple[FloatArray, FloatArray, FloatArray]:
    """A constant speed after half a second of run-up."""
    rise = Piece(0.5, 0.0, speed / 0.5, 0.0, 0.0)
    steady = Piece(duration, 0.0, 0.0, speed, speed * 0.25)
    return sampled_moves([(start, (rise, steady), 1.0, 0.0)], stand.control.period, stand.most)


def _slow(design: SizedDesign, stand: Stand, remarks: list[str]) -> tuple[Trace, dict[str, Any]]:
    """A slow constant turn, over the worst friction spot where there is one."""
    motion = design.motion
    steady = motion is not None and motion.move is None and motion.stops is None and motion.table is None
    speed = min(motion.speed, SLOW) if steady and motion is not None and motion.speed else SLOW
    load = load_values(design.load) if design.load else without_load()
    start = 0.0
    if load.spots:
        middle, width, _ = max(load.spots, key=lambda spot: spot[2])
        start = middle - width / 2 - 3.0 * speed
    trace = stand.run(run_up(speed, start, 11.5, stand))
    return trace, runs.smoothness_numbers(trace, speed)


def _approach(design: SizedDesign, stand: Stand, remarks: list[str]) -> tuple[Trace, dict[str, Any]]:
    """A target approached three times from either side."""
    away, target = float(np.radians(5.0)), 0.0
    angles = [target - away]
    for _ in range(3):
        angles += [target, target + away, target, target - away]
    reference = stand.moves(angles, aside=0.2)
    trace = stand.run(reference)
    return trace, runs.approach_numbers(trace, reference, target, stand)


def _steps(design: SizedDesign, stand: Stand, remarks: list[str]) -> tuple[Trace, dict[str, Any]]:
    """Equal small steps in one direction."""
    angles = [float(SMALL_STEP) * number for number in range(STEPS + 1)]
    reference = stand.moves(angles)
    trace = stand.run(reference)
    return trace, runs.step_numbers(trace, reference, float(SMALL_STEP), stand)


def _hold(design: SizedDesign, stand: Stand, remarks: list[str]) -> tuple[Trace, dict[str, Any]]:
    """A push by hand while it holds: rises in 0.2 s, lasts a second, falls in 0.2 s."""
    period = stand.control.period
    times = np.arange(min(stand.most, round(3.4 / period))) * period
    push = stand.push * np.interp(times, [0.2, 0.4, 1.4, 1.6], [0.0, 1.0, 1.0, 0.0])
    still = np.zeros_like(times)
    trace = stand.run((still, still, still), push)
    return trace, runs.holding_numbers(trace, stand.push)


Play = Callable[["SizedDesign", Stand, list[str]], tuple[Trace, dict[str, Any]] | None]
SCENARIOS: dict[str, tuple[str, Play]] = {
    "moves": ("the design's own motion", _moves),
    "slow": ("a slow constant turn", _slow),
    "approach": ("a target from both sides", _approach),
    "steps": ("equal small steps of 0.5 degree", _steps),
    "hold": ("a push by hand while it holds", _hold),
}
