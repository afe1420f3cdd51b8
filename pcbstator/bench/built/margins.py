"""What readings leave open of the requirement: how far each predicted value of it may be off, to first order.

Every quantity that was estimated is moved by its own standard deviation, to the side that takes torque (where another
limit may become the one that counts), and the design is judged again by the quick stages. What moves is put together
with the covariance of the quantities, so that what is only known together counts together; values of logs count each by
itself (JCGM 100, 5.1 and 5.2).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pcbstator.analysis.shared import Shared
from pcbstator.analysis.stages import Work
from pcbstator.bench.built.estimate import NUISANCE, Parts
from pcbstator.bench.built.keys import moved_keys
from pcbstator.check.ways_out.retrial import answers, tried
from pcbstator.errors import PcbstatorError
from pcbstator.physics.drive.coverage import NORMAL_95

FloatArray = NDArray[np.float64]
Settings = Mapping[str, object]

UP = ("air_gap", "layer_distance", "friction")  # that take torque where they grow; all others where they shrink
LEAST = 1e-9  # of a quantity: less is known exactly


@dataclass(frozen=True, eq=False)
class LeftOpen:
    """What was estimated of a motor. parts: by readings, None where there are none; logged: for each value of a log its
    keys with it a step higher, and its standard deviation in steps.
    """

    parts: Parts | None = None
    logged: Sequence[tuple[Settings, float]] = ()

    def without(self, key: str) -> LeftOpen:
        """The same but for what a log says of a key."""
        return LeftOpen(self.parts, [each for each in self.logged if key not in each[0]])


def half_widths(work: Work, left: LeftOpen) -> dict[str, float]:
    """95 % half-width of every line of the requirement by name, in the unit of its key; work: as built.

    A line without a value, here or with a quantity moved, is left out; nothing is said where a moved design has none.
    """
    if work.design.requirement is None:
        return {}
    shared = Shared(alone=True)
    try:
        here = _values(work, {}, shared)
        steps = _steps(work, left)
        of_parts = [_change(work, here, keys, back, shared) for _, keys, back in steps]
        of_logs = [sigma * _change(work, here, keys, {}, shared) for keys, sigma in left.logged]
    except PcbstatorError:
        return {}
    variance = np.zeros(len(here))
    if left.parts is not None and of_parts:
        at = [number for number, _, _ in steps]
        spread = left.parts.spread[at]
        alike = left.parts.covariance[np.ix_(at, at)] / np.outer(spread, spread)
        worse = np.array([1.0 if left.parts.names[number] in UP else -1.0 for number in at])
        moved = worse[:, None] * np.stack(of_parts)
        variance += np.einsum("il,ij,jl->l", moved, alike, moved)
    if of_logs:
        variance += (np.stack(of_logs) ** 2).sum(axis=0)
    widths = NORMAL_95 * np.sqrt(np.maximum(variance, 0.0))
    return {name: float(wide) for name, wide in zip(here, widths, strict=True) if np.isfinite(wide)}


def _steps(work: Work, left: LeftOpen) -> list[tuple[int, Settings, Settings]]:
    """Of each quantity that has keys which no log sets: its number, and the keys one standard deviation to the worse
    and to the better."""
    if left.parts is None:
        return []
    logged = {key for keys, _ in left.logged for key in keys}
    found = list[tuple[int, Settings, Settings]]()
    for at, (name, sigma) in enumerate(zip(left.parts.names, left.parts.spread, strict=True)):
        if name in NUISANCE or sigma < LEAST:
            continue
        worse = float(sigma if name in UP else -sigma)
        keys, back = (moved_keys(work.design, name, step) for step in (worse, -worse))
        if keys and not logged & set(keys):
            found.append((at, keys, back))
    return found


def _change(work: Work, here: Mapping[str, float], keys: Settings, back: Settings, shared: Shared) -> FloatArray:
    """Change of every line with these keys (lines,), not a number where it has no value; from ``back`` where a design
    with ``keys`` cannot be made.
    """
    values = np.array(list(here.values()))
    try:
        moved = _values(work, keys, shared)
    except PcbstatorError:
        if not back:
            raise
        moved = _values(work, back, shared)
        return np.array([values[k] - moved.get(name, np.nan) for k, name in enumerate(here)])
    return np.array([moved.get(name, np.nan) - values[k] for k, name in enumerate(here)])


def _values(work: Work, keys: Settings, shared: Shared) -> dict[str, float]:
    """Value of every line by name, with these keys; PcbstatorError where such a design cannot be made."""
    again = tried(work, keys, shared)
    if again.refusal is not None:
        raise again.refusal
    return {each.name: each.value for each in answers(again) if each.value is not None}
