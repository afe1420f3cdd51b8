"""Several motors of one design: how far they scatter, and whether that is what the tolerances allow."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import sqrt
from typing import Any

import numpy as np
from scipy.special import chdtr, chdtrc

from pcbstator.bench.result import Row

FEWEST = 2
RARE = 0.025  # chance at either end beyond which scatter and tolerance do not agree
# What makes a quantity a motor's own: its board, its rotor, or both together.
OF_BOARD, OF_ROTOR = ("resistance", "inductance", "finished_copper"), ("field",)


@dataclass(frozen=True)
class Scatter:
    """One quantity over several motors, all over the predicted value.

    mean: of the motors less the prediction; found: standard deviation among them, ``found_sigma`` of that itself;
    assumed: what tolerances and meters allow together, ``meter`` of the meters alone; chi_square: of ``freedom`` =
    count - 1, about their own mean.
    """

    kind: str
    count: int
    mean: float
    found: float
    assumed: float
    meter: float
    chi_square: float

    @property
    def freedom(self) -> int:
        """Degrees of freedom."""
        return self.count - 1

    @property
    def found_sigma(self) -> float:
        """Standard deviation of ``found``, to first order of a normal sample (JCGM 100, E.4.3)."""
        return self.found / sqrt(2 * self.freedom)

    @property
    def words(self) -> str:
        """Whether both agree."""
        if chdtrc(self.freedom, self.chi_square) < RARE:
            return "scatters more than the tolerance allows"
        if chdtr(self.freedom, self.chi_square) < RARE:
            return "scatters less than the tolerance allows"
        return "agrees with the tolerance"

    def to_dict(self) -> dict[str, Any]:
        """Plain values, in percent of the prediction."""
        return {
            "kind": self.kind, "count": self.count, "mean_percent": 100 * self.mean,
            "found_percent": 100 * self.found, "found_sigma_percent": 100 * self.found_sigma,
            "assumed_percent": 100 * self.assumed, "meter_percent": 100 * self.meter, "chi_square": self.chi_square,
            "degrees_of_freedom": self.freedom, "chance_of_more": float(chdtrc(self.freedom, self.chi_square)),
            "words": self.words,
        }  # fmt: skip


def scatters(rows: Sequence[Row]) -> tuple[Scatter, ...]:
    """Of every kind of reading that two motors or more have; readings in doubt left out."""
    return tuple(_scatters([row for row in rows if not row.slip and not row.doubtful]))


def _scatters(rows: Sequence[Row]) -> Iterator[Scatter]:
    for kind in dict.fromkeys(row.kind for row in rows):
        own = [row for row in rows if row.kind == kind]
        owners: dict[tuple[str, ...], list[Row]] = {}
        for row in own:
            owner = (row.board,) if kind in OF_BOARD else (row.rotor,) if kind in OF_ROTOR else (row.board, row.rotor)
            owners.setdefault(owner, []).append(row)
        if len(owners) < FEWEST:
            continue
        values = np.array([np.mean([row.measured / row.predicted for row in each]) for each in owners.values()])
        meters = np.array([
            np.sqrt(np.sum([(row.reading_sigma / row.predicted) ** 2 for row in each])) / len(each)
            for each in owners.values()
        ])  # fmt: skip
        parts = float(np.mean([row.predicted_sigma / row.predicted for row in own]))
        weights = 1 / (parts**2 + meters**2)
        middle = float(weights @ values / weights.sum())
        yield Scatter(
            kind, len(values), float(values.mean()) - 1, float(values.std(ddof=1)),
            float(np.sqrt(parts**2 + (meters**2).mean())), float(np.sqrt((meters**2).mean())),
            float(weights @ (values - middle) ** 2),
        )  # fmt: skip
