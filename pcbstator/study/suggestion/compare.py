"""How designs stand against each other: what each is best in, and what it gives up."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from pcbstator.study.suggestion.look import HEAT, HEIGHT, PRICE, RIPPLE

ALIKE = 1.02  # factor from the best within which a design is as good
WORTH = 1.25  # factor from the best from which a difference is told
MOST = 4  # differences that are told


@dataclass(frozen=True)
class Measure:
    """A result of which less is better, unless ``more``; name: as it is told; unit; scale: to that unit."""

    key: str
    name: str
    unit: str = ""
    scale: float = 1.0
    more: bool = False


MEASURES = (
    Measure(PRICE, "price", "currency"),
    Measure(HEAT, "heat in the copper over the motion", "W"),
    Measure(HEIGHT, "height", "mm"),
    Measure("requirement.torque_reserve_percent", "torque in reserve", "%", more=True),
    Measure("motion.rest_error_deg", "error at rest", "°"),
    Measure("motion.slow_speed_ripple_percent", "ripple of the slow speed", "%"),
    Measure(RIPPLE, "torque ripple", "%", 100.0),
    Measure("mechanical.rotor_mass_g", "mass of magnets and steel", "g"),
)


@dataclass(frozen=True)
class Less:
    """What a design gives up: a measure, its value, the best value and the number of the design that has it."""

    measure: Measure
    value: float
    best: float
    whose: int


@dataclass(frozen=True)
class Standing:
    """What a design is best in, and what it gives up against the best, the largest differences first."""

    best: tuple[Measure, ...]
    less: tuple[Less, ...]


def standings(results: Sequence[Mapping[str, float]]) -> list[Standing]:
    """How each of several designs stands; their results by key."""
    best: list[list[Measure]] = [[] for _ in results]
    less: list[list[tuple[float, Less]]] = [[] for _ in results]
    for measure in MEASURES:
        values = [each.get(measure.key) for each in results]
        known = [value * measure.scale for value in values if value is not None]
        if len(known) < len(results) or len(known) < 2 or min(known) <= 0:
            continue
        top = max(known) if measure.more else min(known)
        whose = known.index(top) + 1
        for place, value in enumerate(known):
            factor = top / value if measure.more else value / top
            if factor <= ALIKE and max(known) > WORTH * min(known):
                best[place].append(measure)
            elif factor >= WORTH:
                less[place].append((factor, Less(measure, value, top, whose)))
    return [
        Standing(tuple(good), tuple(each for _, each in sorted(worse, key=lambda pair: -pair[0])[:MOST]))
        for good, worse in zip(best, less, strict=True)
    ]
