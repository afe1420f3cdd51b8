"""How far a built motor may lie from its prediction: a value with its band.

Bands hold 90 % of what is made within the ranges of ``[tolerance]``, or within those of its defaults.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot

from pcbstator.analysis.prediction import Prediction
from pcbstator.analysis.tolerance import tolerance_results
from pcbstator.copper import size_design
from pcbstator.design.sections.work import Tolerance

TOLERANCE = "tolerance.remanence_percent"  # states the section; the other keys take their defaults


@dataclass(frozen=True)
class Band:
    """A value that is expected, and those that 5 % and 95 % of the motors stay below; SI."""

    value: float
    low: float
    high: float

    def times(self, factor: float) -> Band:
        """All three times a factor above 0."""
        return Band(self.value * factor, self.low * factor, self.high * factor)

    def widened(self, part: float) -> Band:
        """With a doubt by so large a part of the value on top, 90 % of it within that and independent of the rest.

        >>> Band(1.0, 0.97, 1.04).widened(0.04).low
        0.95
        """
        less, more = self.value - self.low, self.high - self.value
        doubt = part * abs(self.value)
        return Band(self.value, self.value - hypot(less, doubt), self.value + hypot(more, doubt))


def relative_bands(prediction: Prediction) -> dict[str, Band]:
    """By the keys of ``prediction.tolerance``: how far each quantity of a built motor may lie from the prediction, as a
    part of it; by the defaults of ``[tolerance]`` where the design states none.
    """
    found = prediction.tolerance or _default_tolerance(prediction)
    return {
        key: Band(1.0, spread["low_5_percent"] / spread["nominal"], spread["high_95_percent"] / spread["nominal"])
        for key, spread in found.items()
    }


def _default_tolerance(prediction: Prediction) -> dict[str, dict[str, float]]:
    design, copper, magnetic = prediction.design, prediction.laid, prediction.magnetic
    if design is None or copper is None or magnetic is None:
        return {}
    asked = size_design(design.with_values({TOLERANCE: Tolerance().remanence * 100}))
    return tolerance_results(asked, copper, magnetic, prediction.electrical.synchronous_inductance)


def pair_name(pair: str) -> tuple[str, str]:
    """The two terminals of a pair, as ``line_resistances_ohm`` names it.

    >>> pair_name("AB"), pair_name("AA2")
    (('A', 'B'), ('A', 'A2'))
    """
    return pair[:1], pair[1:]
