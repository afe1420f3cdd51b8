"""Readings against each other: what must agree whatever the motor is like. Nothing here depends on its tolerances."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from itertools import combinations
from math import log, pi, sqrt

import numpy as np

from pcbstator.bench.readings import FREQUENCY, SPEED, Emf, Inductance, Reading, Resistance, StaticTorque
from pcbstator.bench.result import FAR, Agreement
from pcbstator.bench.slips import speed_slip

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


def _odd_pairs(readings: Sequence[Reading], quotients: Mapping[str, float]) -> Iterator[Agreement]:
    """All pairs of a three-phase motor, of which one alone is off.

    A phase that differs shows in two of the three pairs alike. One pair alone would need two phases that differ one way
    and the third the other way: a bad contact or a wrong note is more likely.
    """
    groups: dict[tuple[type, str, str], list[Reading]] = defaultdict(list)
    for reading in readings:
        if isinstance(reading, Resistance | Inductance | Emf) and set(reading.pair) <= set("ABC"):
            groups[type(reading), reading.board, reading.rotor].append(reading)
    for group in groups.values():
        if len(group) != 3 or len({"".join(sorted(reading.pair)) for reading in group}) != 3:
            continue
        values = [log(quotients[reading.name]) for reading in group]
        at = int(np.argmax([abs(value - np.median(values)) for value in values]))
        others = [place for place in range(3) if place != at]
        apart = values[at] - (values[others[0]] + values[others[1]]) / 2
        own, (one, two) = group[at].uncertainty, (group[place].uncertainty for place in others)
        sigma = apart / sqrt(own**2 + (one**2 + two**2) / 4)
        alike = abs(values[others[0]] - values[others[1]]) < FAR * sqrt(one**2 + two**2)
        side = "above" if apart > 0 else "below"
        told = f"{group[at].name} is {abs(100 * apart):.2g} % {side} the mean of the other two"
        if alike and abs(sigma) > FAR and abs(apart) > 2 * abs(values[others[0]] - values[others[1]]):
            told += ", which agree: a phase that differs would show in two pairs"
            yield Agreement("phases and their mean", (group[at].name,), 100 * apart, sigma, told)
        else:
            most = min(abs(sigma), FAR) * (1 if sigma > 0 else -1)
            yield Agreement("phases and their mean", (group[at].name,), 100 * apart, most, told)
