"""Readings against each other: what must agree whatever the motor is like. Nothing here depends on its tolerances."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from math import log, pi, sqrt

import numpy as np

from pcbstator.bench.readings import FREQUENCY, SPEED, Emf, Inductance, Reading, Resistance, StaticTorque
from pcbstator.bench.result import FAR, Agreement
from pcbstator.bench.slips import speed_slip

PHASES = "phases and their mean"  # what a fault of a phase may explain after all
BETWEEN = (Resistance, Inductance, Emf, StaticTorque)


def agreements(readings: Sequence[Reading], quotients: Mapping[str, float], pole_pairs: int) -> tuple[Agreement, ...]:
    """How well readings agree. quotients: measured over predicted by name, of those that are no likely slip; so each is
    at its own temperature and speed, and what is left is common to all that the motor does alike.
    """
    known = [reading for reading in readings if reading.name in quotients]
    return (
        *_speeds(readings, pole_pairs),
        *_repeated(known, quotients),
        *_torque_constants(known, quotients),
        *_odd_pairs(known, quotients),
    )


def _speeds(readings: Sequence[Reading], pole_pairs: int) -> Iterator[Agreement]:
    """Speed of the drill against the frequency of the wave."""
    for reading in readings:
        if not isinstance(reading, Emf) or reading.speed is None or reading.measured_frequency is None:
            continue
        expected = pole_pairs * reading.speed / (2 * pi)
        quotient = reading.measured_frequency / expected
        slip = speed_slip(quotient, pole_pairs)
        words = (
            f"{reading.name}: {reading.measured_frequency:.5g} Hz, but {30 * reading.speed / pi:.5g} rpm with "
            f"{pole_pairs} pole pairs give {expected:.5g} Hz" + (f"; likely {slip}" if slip else "")
        )
        sigma = log(quotient) / sqrt(FREQUENCY**2 + SPEED**2)
        yield Agreement("speed and frequency", (reading.name,), 100 * (quotient - 1), sigma, words)


def _repeated(readings: Sequence[Reading], quotients: Mapping[str, float]) -> Iterator[Agreement]:
    """The same quantity of the same motor, read twice."""
    for one, other in combinations(readings, 2):
        if type(one) is not type(other) or not isinstance(one, BETWEEN) or (one.board, one.rotor) != (
            other.board, other.rotor
        ) or sorted(one.pair) != sorted(other.pair):  # fmt: skip
            continue
        yield _pair_agreement(
            "the same read twice", [one], [other], quotients, f"{other.name} and {one.name} are the same quantity"
        )


def _torque_constants(readings: Sequence[Reading], quotients: Mapping[str, float]) -> Iterator[Agreement]:
    """Volts per speed against torque per ampere: in SI one number, whatever magnets and gap are."""
    motors: dict[tuple[str, str], tuple[list[Reading], list[Reading]]] = defaultdict(lambda: ([], []))
    for reading in readings:
        if isinstance(reading, Emf | StaticTorque):
            motors[reading.board, reading.rotor][isinstance(reading, StaticTorque)].append(reading)
    for waves, torques in motors.values():
        if waves and torques:
            words = "speed constant and torque constant are one number in SI"
            yield _pair_agreement("speed constant and torque constant", waves, torques, quotients, words)


def _pair_agreement(
    about: str, first: list[Reading], second: list[Reading], quotients: Mapping[str, float], words: str
) -> Agreement:
    """How far the second readings are above the first."""
    (level, spread), (other, wide) = (_mean(each, quotients) for each in (first, second))
    apart = other - level
    names = tuple(reading.name for reading in (*first, *second))
    percent, sigma = 100 * (float(np.exp(apart)) - 1), apart / sqrt(spread**2 + wide**2)
    told = f"{words}, but {', '.join(r.name for r in second)} {_is(second)} {abs(percent):.2g} % "
    told += f"{'above' if percent > 0 else 'below'} {', '.join(r.name for r in first)}"
    return Agreement(about, names, percent, sigma, told)


def _is(readings: list[Reading]) -> str:
    return "is" if len(readings) == 1 else "are"


def _mean(readings: list[Reading], quotients: Mapping[str, float]) -> tuple[float, float]:
    """Weighted mean of the logarithms of the quotients, and its standard deviation."""
    weights = np.array([reading.uncertainty**-2.0 for reading in readings])
    values = np.array([log(quotients[reading.name]) for reading in readings])
    return float(weights @ values / weights.sum()), float(weights.sum() ** -0.5)


@dataclass(frozen=True)
class _Odd:
    """The pair of three that is farthest from the other two: its reading, how far it is above their mean, and that in
    standard deviations; alone: the other two agree. All as logarithms."""

    reading: Reading
    apart: float
    sigma: float
    alone: bool

    @property
    def words(self) -> str:
        side = "above" if self.apart > 0 else "below"
        return f"{self.reading.name} is {abs(100 * self.apart):.2g} % {side} the mean of the other two pairs"


def _odd_pairs(readings: Sequence[Reading], quotients: Mapping[str, float]) -> Iterator[Agreement]:
    """All three pairs of a motor, of which one alone is off in a way that hardly any fault of a phase explains.

    A phase that differs shows alike in the two pairs it is in, so that the third stands out. Faults give a phase more
    resistance (a joint), or less EMF and less inductance (a coil reversed or shorted). So one pair alone with more
    resistance, or with less EMF or inductance, asks for the reading to be taken again; but not where EMF or inductance
    show the same phase with less of everything: that is a short.
    """
    groups: dict[tuple[str, str], dict[type, list[Reading]]] = defaultdict(lambda: defaultdict(list))
    for reading in readings:
        if isinstance(reading, Resistance | Inductance | Emf) and set(reading.pair) <= set("ABC"):
            groups[reading.board, reading.rotor][type(reading)].append(reading)
    for kinds in groups.values():
        odd = {kind: _odd(group, quotients) for kind, group in kinds.items() if _whole(group)}
        short = {
            "".join(sorted(each.reading.pair))
            for kind, each in odd.items()
            if kind is not Resistance and each.alone and each.sigma > FAR
        }
        for kind, each in odd.items():
            sense = 1 if kind is Resistance else -1
            shorted = kind is Resistance and "".join(sorted(each.reading.pair)) in short
            doubted = each.alone and sense * each.sigma > FAR and not shorted
            third = next(iter(set("ABC") - set(each.reading.pair)))
            less = f"phase {third} has less resistance than the others" if sense > 0 else f"phase {third} has more"
            told = f"{each.words}, which agree: take it again; only if it stays, {less}" if doubted else each.words
            sigma = each.sigma if doubted else min(max(each.sigma, -FAR), FAR)
            yield Agreement(PHASES, (each.reading.name,), 100 * each.apart, sigma, told)


def _whole(group: list[Reading]) -> bool:
    """Whether each of the three pairs is there once."""
    return len(group) == 3 and len({"".join(sorted(reading.pair)) for reading in group}) == 3


def _odd(group: list[Reading], quotients: Mapping[str, float]) -> _Odd:
    """The pair that is farthest from the other two."""
    values = [log(quotients[reading.name]) for reading in group]
    at = int(np.argmax([abs(value - np.median(values)) for value in values]))
    (first, second), (one, two) = zip(
        *((values[place], group[place].uncertainty) for place in range(3) if place != at), strict=True
    )
    apart, own, rest = values[at] - (first + second) / 2, group[at].uncertainty, one**2 + two**2
    alone = abs(first - second) < min(FAR * sqrt(rest), abs(apart) / 2)
    return _Odd(group[at], apart, apart / sqrt(own**2 + rest / 4), alone)
