"""The quantities of a motor as they act on what it does.

What the computation itself may miss of resistance, EMF and torque cannot be told from the parts by readings of the same
kind. A design as built must do what the motor does, so that share goes to the parts here, while the search for causes
counts it apart.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pcbstator.bench.causes.allowances import common_spread
from pcbstator.bench.causes.estimate import Estimate, estimate
from pcbstator.bench.causes.search import Basis

FloatArray = NDArray[np.float64]

OF_THE_PARTS = (("resistance",), ("emf", "static_torque"))  # kinds whose law's part goes to the parts
NUISANCE = ("copper_temperature",)  # of the readings, not of the design
KNOWN_BETTER = 0.8  # of its spread before: a quantity that readings leave wider is not changed
INFLUENCE = 0.3  # of the most influential reading: those that are named
NAMED = 3
CARRIERS = {  # what takes the part of a result that no quantity was told for, the first one if none of them was
    "phase_resistance_ohm": ("outer_copper", "etch", "inner_copper"),
    "torque_constant_n_m_per_a": ("remanence",),
}
OFF = 0.25  # of its uncertainty, by which a result may be off for the sake of fewer changed keys
RESULTS = {  # kinds of reading that show a result
    "phase_resistance_ohm": ("resistance",),
    "torque_constant_n_m_per_a": ("emf", "static_torque"),
    "synchronous_inductance_h": ("inductance",),
}


@dataclass(frozen=True, eq=False)
class Parts:
    """The quantities by number in the model. values: change from the design, as ``Allowance`` has it; covariance: of
    all of them, told or not; told: which ones the readings say something of.
    """

    names: tuple[str, ...]
    values: FloatArray
    covariance: FloatArray
    before: FloatArray
    told: NDArray[np.bool_]
    readings: tuple[str, ...]  # those behind each quantity, in words

    @property
    def spread(self) -> FloatArray:
        """One standard deviation of each."""
        return np.asarray(np.sqrt(np.diag(self.covariance)))


def parts_of(basis: Basis) -> Parts:
    """What the readings of a motor say of its parts, if the leading cause is the right one."""
    each = basis.model.allowed.each
    count = len(each)
    whole, gain = _estimated(basis, np.ones(count, bool), np.zeros(len(basis.measured)))
    before = _before(basis)
    covariance = whole.covariance[:count, :count]
    told = np.sqrt(np.diag(covariance)) < KNOWN_BETTER * before
    told |= np.arange(count) == basis.lead.allowance
    told &= np.array([one.name not in NUISANCE for one in each], dtype=bool)
    values = _fitted(basis, told, np.zeros(len(basis.measured)))
    names = tuple(one.name for one in each)
    for key, column in result_columns(basis).items():
        apart = column @ (whole.values[:count] - values)
        carrier = _carrier(key, names, told)
        if carrier >= 0 and abs(apart) > OFF * np.sqrt(column @ covariance @ column):
            told[carrier] = True
    found = Parts(names, values, covariance, before, told, _behind(basis, gain))
    return replace(found, values=refitted(basis, found, np.zeros(len(basis.measured))))


def _carrier(key: str, names: tuple[str, ...], told: NDArray[np.bool_]) -> int:
    """The quantity to which goes what moves a result and was not told by itself; -1: there is none."""
    order = sorted(
        (name for name in CARRIERS.get(key, ()) if name in names), key=lambda name: not told[names.index(name)]
    )
    return names.index(order[0]) if order else -1


def refitted(basis: Basis, parts: Parts, shift: FloatArray) -> FloatArray:
    """Values of all quantities where only those that are told may leave the design, and the results are those of all
    quantities together; shift: (readings,) by which the whole prediction is off the straight line.
    """
    whole, _ = _estimated(basis, np.ones(len(parts.names), bool), shift)
    values = _fitted(basis, parts.told, shift)
    for key, column in result_columns(basis).items():
        carrier = _carrier(key, parts.names, parts.told)
        if carrier >= 0 and parts.told[carrier] and abs(column[carrier]) > 0.1:
            values[carrier] += column @ (whole.values[: len(values)] - values) / column[carrier]
    return values


def _fitted(basis: Basis, told: NDArray[np.bool_], shift: FloatArray) -> FloatArray:
    """Values of all quantities where the rest stay at the design."""
    free = told | np.array([one.name in NUISANCE for one in basis.model.allowed.each], dtype=bool)
    found, _ = _estimated(basis, free, shift)
    values = np.zeros(len(free))
    values[free] = found.values[: int(free.sum())]
    return values


def result_columns(basis: Basis) -> dict[str, FloatArray]:
    """Change of every result at 20 C per unit of each quantity (quantities,), as a logarithm."""
    allowed, found = basis.model.allowed, {}
    own = np.array([one.name not in NUISANCE for one in allowed.each], dtype=float)
    for key, kinds in RESULTS.items():
        rows = [k for k, reading in enumerate(basis.model.readings) if reading.kind in kinds]
        if rows:
            found[key] = allowed.columns[rows].mean(axis=0) * own
    return found


def _before(basis: Basis) -> FloatArray:
    each, wide = basis.model.allowed.each, basis.lead.allowance
    return np.array([max(one.wide if k == wide else one.spread, 1e-12) for k, one in enumerate(each)])


def _estimated(basis: Basis, free: NDArray[np.bool_], shift: FloatArray) -> tuple[Estimate, FloatArray]:
    """Free quantities, then what the cause leaves open; and the change of each per reading's standard deviation."""
    model, lead, taken = basis.model, basis.lead, basis.taken
    open_ = lead.spread[:, :0] if lead.allowance >= 0 else lead.spread
    columns = np.hstack([model.allowed.columns[:, free], open_])[taken]
    before = np.append(_before(basis)[free], np.ones(open_.shape[1]))
    mean = np.append(model.allowed.mean[free], np.zeros(open_.shape[1]))
    noise = np.diag(model.allowed.meters) + common_spread(model.readings, left_out=OF_THE_PARTS)
    noise, moved = noise[np.ix_(taken, taken)], (lead.shift + shift)[taken]
    found = estimate(
        lambda x: columns @ x + moved, lambda x: columns, basis.measured[taken], noise, mean, np.diag(before**-2.0)
    )
    gain = found.covariance @ columns.T @ np.linalg.inv(noise) * np.sqrt(np.diag(noise))
    return found, np.asarray(gain)


def _behind(basis: Basis, gain: FloatArray) -> tuple[str, ...]:
    """The readings that say most of each quantity."""
    names = [reading.name for reading, taken in zip(basis.model.readings, basis.taken, strict=True) if taken]
    found = []
    for line in np.abs(gain[: len(basis.model.allowed.each)]):
        order = [k for k in np.argsort(-line, kind="stable") if line[k] > INFLUENCE * line.max()]
        rest = len(order) - NAMED
        told = ", ".join(names[k] for k in order[:NAMED])
        found.append(told + (f" and {rest} more" if rest > 0 else ""))
    return tuple(found)
