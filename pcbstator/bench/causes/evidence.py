"""How well each cause explains the readings, against a motor within its tolerances.

Under every cause the readings are normally distributed about what it predicts, with what tolerances, meters and the
cause's own unknowns allow together. So the evidence of a cause (what it gives for these readings, whatever its unknowns
are) is a closed form, and a cause with more freedom pays for it: Kass and Raftery, J. Am. Stat. Assoc. 90 (1995) 773,
from memory.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from math import log

import numpy as np
from numpy.typing import NDArray

from pcbstator.bench.causes.allowances import Allowances, allowances, readings_of, scaled, spread_in_all, wider
from pcbstator.bench.causes.estimate import Estimate, estimate
from pcbstator.bench.causes.faults import Fault
from pcbstator.bench.causes.misreadings import misreadings
from pcbstator.bench.machine_state import MachineState
from pcbstator.bench.readings import Emf, Pull, Reading, StaticTorque

FloatArray = NDArray[np.float64]

STRONG = log(20.0)  # of a quotient of two evidences: "strong" in Kass and Raftery's table
# Of all causes together against a motor within its tolerances; motors within them pass it in 3 of 100.
POSITIVE = log(1.5)
SEEN = 1e-3  # part of a reading: a fault that moves none by more is not looked for
# Standard deviations by which readings must move, all together, for a cause to be named in 95 of 100 benches: it must
# stand out of about 100 places where a fault may be, for which d^2/2 - 1.645 d = log(100) + POSITIVE gives 5.2, and a
# margin on it.
TOLD = 5.5
LEFT_OVER = 0.003  # part of a field that cancels which the parts' inaccuracy leaves; common practice, no source
HEALTHY = "healthy"
OFTEN = 3.0  # how much more often than the rest these are met with: common practice, no source
MET_OFTEN = ("remanence", "air_gap", "outer_copper", "inner_copper", "wrong_reading", "copper_temperature")


@dataclass(frozen=True, eq=False)
class Hypothesis:
    """A cause at one place. weight: part of all causes that it is taken for before any reading. shift: of every reading
    from the prediction, as ``scaled`` has them; spread: (readings, columns) of what it leaves open. allowance: number
    of the quantity that is out of tolerance, -1 where it is none. of_motor: not of the readings.
    """

    name: str
    where: str
    weight: float
    shift: FloatArray
    spread: FloatArray
    allowance: int = -1
    of_motor: bool = True


@dataclass(frozen=True, eq=False)
class Model:
    """All causes for a set of readings of one motor; values: predicted ones. The first hypothesis is the motor within
    its tolerances.
    """

    readings: tuple[Reading, ...]
    values: FloatArray
    allowed: Allowances
    hypotheses: tuple[Hypothesis, ...]
    silent: tuple[tuple[str, str], ...] = ()  # name and place of faults that move no reading

    @cached_property
    def _spread(self) -> FloatArray:
        return spread_in_all(self.allowed)

    def mean(self, hypothesis: Hypothesis) -> FloatArray:
        """What each reading is expected to be, as ``scaled`` has it."""
        return np.asarray(self.allowed.columns @ self.allowed.mean + hypothesis.shift)

    def spread(self, hypothesis: Hypothesis) -> FloatArray:
        """Covariance of the readings."""
        return np.asarray(self._spread + hypothesis.spread @ hypothesis.spread.T)

    def evidences(self, measured: FloatArray, taken: NDArray[np.bool_]) -> FloatArray:
        """Logarithm of the evidence of every hypothesis against the first (draws, hypotheses).

        measured: (draws, readings) as ``scaled`` has them; taken: which of them count.
        """
        found = []
        for one in self.hypotheses:
            apart = measured[:, taken] - self.mean(one)[taken]
            if not np.isfinite(apart).all():
                found.append(np.full(len(measured), -np.inf))
                continue
            root = np.linalg.cholesky(self.spread(one)[np.ix_(taken, taken)])
            scores = np.linalg.solve(root, apart.T)
            found.append(-0.5 * (scores**2).sum(axis=0) - np.log(np.diag(root)).sum())
        lines = np.stack(found, axis=1)
        return np.asarray(lines - lines[:, :1])

    def apart(self, hypothesis: Hypothesis, taken: NDArray[np.bool_]) -> float:
        """By how many standard deviations a cause moves the readings that were taken, all together."""
        root = np.linalg.cholesky(self._spread[np.ix_(taken, taken)])
        return float(np.linalg.norm(np.linalg.solve(root, hypothesis.shift[taken])))

    def chi_square(self, hypothesis: Hypothesis, measured: FloatArray, taken: NDArray[np.bool_]) -> float:
        """How far the readings are from what the cause allows; measured: (readings,)."""
        apart = (measured - self.mean(hypothesis))[taken]
        return float(apart @ np.linalg.solve(self.spread(hypothesis)[np.ix_(taken, taken)], apart))

    def estimated(self, hypothesis: Hypothesis, measured: FloatArray, taken: NDArray[np.bool_]) -> Estimate:
        """The quantities that vary, then what the cause leaves open, in a motor with this cause."""
        own, wide = self.allowed.each, hypothesis.allowance
        spread = hypothesis.spread[:, :0] if wide >= 0 else hypothesis.spread
        columns = np.hstack([self.allowed.columns, spread])[taken]
        before = np.array([one.wide if k == wide else one.spread for k, one in enumerate(own)])
        before = np.append(before, np.ones(spread.shape[1]))
        shift, meters = hypothesis.shift[taken], np.diag(self.allowed.meters) + self.allowed.common
        return estimate(
            lambda x: columns @ x + shift,
            lambda x: columns,
            measured[taken],
            meters[np.ix_(taken, taken)],
            np.append(self.allowed.mean, np.zeros(spread.shape[1])),
            np.diag(np.maximum(before, 1e-12) ** -2.0),
        )

    def expected(
        self, hypothesis: Hypothesis, measured: FloatArray, taken: NDArray[np.bool_]
    ) -> tuple[FloatArray, FloatArray]:
        """Mean and variance of every reading under a cause, given those that were taken."""
        mean, spread = self.mean(hypothesis), self.spread(hypothesis)
        gain = np.linalg.solve(spread[np.ix_(taken, taken)], spread[taken]).T
        told = mean + gain @ (measured - mean)[taken]
        return told, np.diag(spread) - (gain * spread[:, taken]).sum(axis=1)


def model_of(
    state: MachineState, readings: Sequence[Reading], values: FloatArray, known_faults: Sequence[Fault], taken: int
) -> Model:
    """All causes for these readings. values: predicted ones, all above 0; taken: how many of them, from the first on,
    were taken and may be slips.
    """
    allowed = allowances(state, readings, values)
    none = np.zeros((len(readings), 0))
    found = [Hypothesis(HEALTHY, "", 0.0, np.zeros(len(readings)), none)]
    for number, one in enumerate(allowed.each):
        wide = wider(one) * one.column[:, None]
        found.append(Hypothesis(one.name, "", 1.0, np.zeros(len(readings)), wide, number))
    silent = []
    for fault in known_faults:
        shift = scaled(readings, readings_of(fault.state, readings, state, values), values)
        shift, spread = _cancelled(readings, shift) if fault.cancels else (shift, none)
        if np.isfinite(shift).all() and np.abs(shift).max() < SEEN:
            silent.append((fault.name, fault.where))
            continue
        found.append(Hypothesis(fault.name, fault.where, 1.0, shift, spread))
    rest = len(readings) - taken
    for slip in misreadings(readings[:taken], values[:taken], state):
        shift, spread = np.pad(slip.shift, (0, rest)), np.pad(slip.spread, ((0, rest), (0, 0)))
        found.append(Hypothesis(slip.name, slip.where, 1.0, shift, spread, of_motor=False))
    return Model(tuple(readings), values, allowed, _weighted(found), tuple(silent))


def _weighted(found: list[Hypothesis]) -> tuple[Hypothesis, ...]:
    """Before any reading: a few causes are met with often, the others alike, and so all places of a cause."""
    places = Counter(one.name for one in found[1:])
    met = {name: OFTEN if name in MET_OFTEN else 1.0 for name in places}
    parts = {name: met[name] / sum(met.values()) / count for name, count in places.items()}
    return (
        found[0],
        *(replace(one, weight=parts[one.name]) for one in found[1:]),
    )


def _cancelled(readings: Sequence[Reading], shift: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Of a field that cancels: readings of what is left, each by itself as parts are; a pull is not known then."""
    fluxes = np.array([isinstance(reading, Emf | StaticTorque) for reading in readings])
    pulls = np.array([isinstance(reading, Pull) for reading in readings])
    left = np.where(fluxes, np.maximum(shift, log(LEFT_OVER)), np.where(pulls, 0.0, shift))
    return left, np.hstack([np.diag(np.where(fluxes, 1.0, 0.0) + 3.0 * pulls), fluxes[:, None] * 1.5])
