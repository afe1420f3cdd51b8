"""What the scenarios ask of the drive: from the requirement, from the motion, or the defaults of docs/control.md."""

from __future__ import annotations

from dataclasses import dataclass
from math import pi
from typing import TYPE_CHECKING

import numpy as np

from pcbstator.analysis.drive import asked_values
from pcbstator.analysis.drive.load_cycle import load_values

if TYPE_CHECKING:
    from pcbstator.analysis.drive.simulation.stand import Stand
    from pcbstator.design import SizedDesign

PLACES = 16  # around the turn
SHIFT = float(np.radians(2.25))  # by which places are off even ones at most: none shall fall on a count by chance
GOLDEN = 0.6180339887
LONGEST_REST, SHORTEST_REST = 5.0, 0.1  # s


@dataclass(frozen=True)
class ScenarioValues:
    """Speed [rad/s], step [rad], band around the target [rad], where each is from, places around the turn [rad].

    ``step_places``: where small steps begin, near the steepest errors of an eccentric sensor; ``worst``: the worst
    friction spot, else where gravity pulls most; ``rest``: after each move [s]; ``returned``: from where it stood
    before a push, within which it has come back [rad].
    """

    slow_speed: float
    slow_speed_from: str
    small_step: float
    small_step_from: str
    band: float
    band_from: str
    places: tuple[float, ...]
    step_places: tuple[float, ...]
    worst: float
    rest: float
    returned: float


def scenario_values(design: SizedDesign, stand: Stand) -> ScenarioValues:
    """The values for a design."""
    load = load_values(design.load, design.bearing)
    asked = design.requirement
    speed, speed_from = asked_values.slow_speed(asked, design.motion)
    step, step_from = asked_values.small_step(asked, design.motion)
    band, band_from = asked_values.band(asked, stand.sensor.count)
    rest = stand.rest
    if asked is not None and asked.settling_time is not None:
        rest = 1.5 * asked.settling_time  # it must be seen to stay
    elif design.motion is not None and design.motion.dwell > 0:
        rest = design.motion.dwell
    spots = [middle for middle, _, extra in sorted(load.spots, key=lambda spot: -spot[2])]
    return ScenarioValues(
        slow_speed=speed,
        slow_speed_from=speed_from,
        small_step=step,
        small_step_from=step_from,
        band=band,
        band_from=band_from,
        places=(*places_around(PLACES, stand.sensor.turns), *spots[:1]),
        step_places=(*places_around(4), *spots[:1]),
        worst=spots[0] if spots else pi / 2 + SHIFT / 2,
        rest=min(LONGEST_REST, max(SHORTEST_REST, rest)),
        returned=min(band, asked_values.usual_band(stand.sensor.count)),
    )


def places_around(count: int, turns: float = 1.0) -> tuple[float, ...]:
    """Places around a turn of the load, nearly even; with a gear spread over a turn of the sensor as well [rad].

    count: of places, prime to seven; turns: of the sensor for one of the load.

    >>> [round(float(np.degrees(place)), 1) for place in places_around(4)]
    [1.4, 90.5, 181.9, 271.1]
    """
    found = []
    for k in range(count):
        shift = SHIFT * ((k + 1) * GOLDEN % 1)
        if turns < 2:
            found.append(2 * pi * k / count + shift)
        else:  # near the place, where the sensor is at a part of its turn that differs from place to place
            part = k * 7 % count / count
            found.append((2 * pi * (round(turns * k / count - part) + part) + shift) / turns)
    return tuple(found)
