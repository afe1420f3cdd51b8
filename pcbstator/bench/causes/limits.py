"""What readings cannot say: faults that they would not show, and readings that no single cause explains."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtrc

from pcbstator.bench.causes.evidence import STRONG, TOLD, Hypothesis, Model
from pcbstator.bench.causes.words import is_it, places

FloatArray = NDArray[np.float64]
Taken = NDArray[np.bool_]

UNLIKELY = 1e-3  # chance of readings as far as these from all that a cause allows
FAR = 3.0  # standard deviations of a reading from what the leading cause leaves it
MOST_NAMED = 3


def not_shown(model: Model, taken: Taken) -> dict[str, str]:
    """Faults of the motor that these readings would not show for sure, by name: in words."""
    places_of: dict[str, list[str]] = {}
    for name, where in model.silent:
        places_of.setdefault(name, []).append(where)
    for one in model.hypotheses[1:]:
        if one.of_motor and one.allowance < 0 and model.apart(one, taken) < TOLD:
            places_of.setdefault(one.name, []).append(one.where)
    return {name: is_it(name, places(where)) for name, where in places_of.items()}


@dataclass(frozen=True, eq=False)
class Fit:
    """How well readings fit a hypothesis: chi-square beside its degrees of freedom, and the chance of as much."""

    chi_square: float
    freedom: int

    @property
    def chance(self) -> float:
        """Of readings as far away as these, or farther."""
        return float(chdtrc(float(self.freedom), self.chi_square))

    @property
    def good(self) -> bool:
        """Whether the readings may well come from such a motor."""
        return self.chance > UNLIKELY

    @property
    def words(self) -> str:
        """With what it is held against."""
        return f"chi-square {self.chi_square:.3g} of {self.freedom} readings, where about {self.freedom} is usual"


def fit_of(model: Model, one: Hypothesis, measured: FloatArray, taken: Taken) -> Fit:
    """How well the readings fit one hypothesis."""
    return Fit(model.chi_square(one, measured, taken), int(taken.sum()))


@dataclass(frozen=True, eq=False)
class Pair:
    """Two causes at once; others: how many further pairs explain the readings as well."""

    first: Hypothesis
    second: Hypothesis
    fit: Fit
    others: int


def best_pair(model: Model, measured: FloatArray, taken: Taken) -> Pair | None:
    """The two causes that explain the readings best together; None where there are none to put together.

    A fault and a quantity out of its tolerance, a fault or a quantity and a misreading, or two quantities. Logarithms
    of what they do to the readings add up.
    """
    found = list(_pairs(model))
    if not found:
        return None
    healthy = model.hypotheses[0]
    apart = np.stack([measured - model.mean(healthy) - one.shift - other.shift for one, other in found])[:, taken]
    most = max(one.spread.shape[1] + other.spread.shape[1] for one, other in found)
    columns = np.zeros((len(found), int(taken.sum()), most))
    for line, (one, other) in zip(columns, found, strict=True):
        both = np.hstack([one.spread, other.spread])[taken]
        line[:, : both.shape[1]] = both
    spread = model.spread(healthy)[np.ix_(taken, taken)] + columns @ columns.transpose(0, 2, 1)
    root = np.linalg.cholesky(spread)
    chi_square = (np.linalg.solve(root, apart[..., None])[..., 0] ** 2).sum(axis=1)
    evidence = -0.5 * chi_square - np.log(np.diagonal(root, axis1=1, axis2=2)).sum(axis=1)
    evidence += np.log([one.weight * other.weight for one, other in found])
    at = int(np.argmax(evidence))
    names = {(one.name, other.name) for (one, other), near in zip(found, evidence > evidence[at] - STRONG, strict=True)
             if near}  # fmt: skip
    return Pair(*found[at], Fit(float(chi_square[at]), int(taken.sum())), len(names) - 1)


def _pairs(model: Model) -> Iterator[tuple[Hypothesis, Hypothesis]]:
    known = [one for one in model.hypotheses[1:] if np.isfinite(one.shift).all()]
    faults = [one for one in known if one.of_motor and one.allowance < 0]
    quantities = [one for one in known if one.allowance >= 0]
    slips = [one for one in known if not one.of_motor]
    yield from ((one, other) for one in faults for other in (*quantities, *slips))
    yield from ((one, other) for at, one in enumerate(quantities) for other in (*quantities[at + 1 :], *slips))


def farthest(model: Model, one: Hypothesis, measured: FloatArray, taken: Taken) -> tuple[str, ...]:
    """Names of the readings that are farthest from what a cause makes of them, given all the others."""
    weights = np.linalg.inv(model.spread(one)[np.ix_(taken, taken)])
    apart = np.abs(weights @ (measured - model.mean(one))[taken]) / np.sqrt(np.diag(weights))
    names = [reading.name for reading, keep in zip(model.readings, taken, strict=True) if keep]
    order = [k for k in np.argsort(-apart, kind="stable") if apart[k] > FAR]
    return tuple(names[k] for k in order[:MOST_NAMED])
