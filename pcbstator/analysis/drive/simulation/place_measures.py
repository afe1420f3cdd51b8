"""Stops and small steps at places around the whole turn: the worst of them, and where."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import degrees
from typing import Any

import numpy as np

from pcbstator.analysis.drive.simulation.run_measures import Rest, settling_numbers
from pcbstator.analysis.drive.simulation.scenario_values import ScenarioValues
from pcbstator.analysis.drive.simulation.stand import Stand


@dataclass(frozen=True)
class Stops:
    """The stops at one place [rad] from below and from above."""

    place: float
    below: tuple[Rest, ...]
    above: tuple[Rest, ...]

    @property
    def all(self) -> tuple[Rest, ...]:
        """From either side."""
        return self.below + self.above

    def spread(self, believed: bool) -> float:
        """Largest difference [rad] of stops from the same side."""
        return max(float(np.ptp(_errors(side, believed))) for side in (self.below, self.above))

    def offset(self, believed: bool) -> float:
        """Difference [rad] of the mean stops from the two sides."""
        return abs(float(np.mean(_errors(self.above, believed)) - np.mean(_errors(self.below, believed))))


def _errors(side: Sequence[Rest], believed: bool) -> list[float]:
    return [rest.believed if believed else rest.error for rest in side]


def worst_stop(found: Sequence[Stops]) -> tuple[Stops, Rest]:
    """The stop farthest from its target, and its place."""
    return max(((stops, rest) for stops in found for rest in stops.all), key=lambda pair: abs(pair[1].worst))


def approach_numbers(found: Sequence[Stops], stand: Stand, values: ScenarioValues) -> dict[str, Any]:
    """Where it stops around the turn, against the target; the worst place named."""
    _, worst = worst_stop(found)
    repeats = max(found, key=lambda stops: stops.spread(False))
    differs = max(found, key=lambda stops: stops.offset(False))
    every = [rest for stops in found for rest in stops.all]
    return {
        "places": len(found),
        "approaches_from_each_side": min(len(found[0].below), len(found[0].above)),
        "worst_error_deg": degrees(abs(worst.worst)),
        "worst_at_deg": degrees(worst.target),
        "worst_from": "below" if worst.sense > 0 else "above",
        "believed_error_there_deg": degrees(abs(worst.believed)),
        "believed_worst_error_deg": degrees(max(abs(rest.believed) for rest in every)),
        "repeatability_deg": degrees(repeats.spread(False)),
        "repeatability_at_deg": degrees(repeats.place),
        "believed_repeatability_deg": degrees(max(stops.spread(True) for stops in found)),
        "offset_between_directions_deg": degrees(differs.offset(False)),
        "offset_at_deg": degrees(differs.place),
        "believed_offset_between_directions_deg": degrees(max(stops.offset(True) for stops in found)),
        "of_that_bearing_deg": degrees(stand.bearing),
        **settling_numbers(every, values),
        "at_deg": [degrees(stops.place) for stops in found],
        "from_below_deg": [degrees(float(np.mean(_errors(stops.below, False)))) for stops in found],
        "from_above_deg": [degrees(float(np.mean(_errors(stops.above, False)))) for stops in found],
        "believed_from_below_deg": [degrees(float(np.mean(_errors(stops.below, True)))) for stops in found],
        "believed_from_above_deg": [degrees(float(np.mean(_errors(stops.above, True)))) for stops in found],
    }


@dataclass(frozen=True)
class Steps:
    """Stops [rad] along equal steps from a place on, the last one back."""

    place: float
    stops: tuple[Rest, ...]

    def sizes(self, believed: bool = False) -> list[float]:
        """Each step [rad] in one direction, the first left out: it still takes up what the approach left."""
        return np.diff(self._ends(believed)[:-1]).tolist()

    def back(self, believed: bool = False) -> float:
        """The first step [rad] in the other direction."""
        ends = self._ends(believed)
        return ends[-2] - ends[-1]

    def _ends(self, believed: bool) -> list[float]:
        return [rest.target + (rest.believed if believed else rest.error) for rest in self.stops]


def worst_steps(found: Sequence[Steps], step: float) -> Steps:
    """The place with the step that is farthest from what is asked."""
    return max(found, key=lambda steps: max(abs(size - step) for size in steps.sizes()))


def step_numbers(found: Sequence[Steps], values: ScenarioValues) -> dict[str, Any]:
    """How even steps are that should be equal, at places around the turn."""
    step, worst = values.small_step, worst_steps(found, values.small_step)
    sizes = np.array([size for steps in found for size in steps.sizes()])
    believed = np.array([size for steps in found for size in steps.sizes(True)])
    backs = [steps.back() for steps in found]
    every = [rest for steps in found for rest in steps.stops]
    return {
        "step_deg": degrees(step),
        "step_from": values.small_step_from,
        "places": len(found),
        "steps": len(sizes),
        "mean_step_deg": degrees(float(sizes.mean())),
        "step_deviation_deg": degrees(float(sizes.std())),
        "smallest_step_deg": degrees(float(sizes.min())),
        "largest_step_deg": degrees(float(sizes.max())),
        "step_error_ratio": float(np.abs(sizes - step).max()) / step,
        "believed_step_error_ratio": float(np.abs(believed - step).max()) / step,
        "worst_at_deg": degrees(worst.place),
        "smallest_step_after_reversal_deg": degrees(min(backs)),
        "largest_error_deg": degrees(max(abs(rest.worst) for rest in every)),
        "believed_largest_error_deg": degrees(max(abs(rest.believed) for rest in every)),
        **settling_numbers(every, values),
        "each_step_deg": np.degrees(worst.sizes()).tolist(),
    }
