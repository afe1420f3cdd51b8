"""What motion logs say, as frozen records. Values are in the unit that a row names, angles in degrees."""

from __future__ import annotations

from dataclasses import dataclass, field
from math import hypot
from typing import Any

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

FAR = 3.0  # standard deviations beyond which a difference asks for a reason
SHOWN = 1500  # points of a curve in a picture


@dataclass(frozen=True)
class LogRow:
    """A value that a log gives beside what was assumed. sigma: one standard deviation of the value; ``assumed_sigma``:
    of what was assumed; at_most: what was assumed is a bound, so that less is no surprise; ``key`` names the kind.
    """

    key: str
    log: str
    about: str
    value: float
    sigma: float
    unit: str
    assumed: float | None = None
    assumed_sigma: float = 0.0
    at_most: bool = False
    words: str = ""
    board: str = "1"
    rotor: str = "1"

    @property
    def deviation(self) -> float | None:
        """Difference from what was assumed in standard deviations; None where nothing was."""
        sigma = hypot(self.sigma, self.assumed_sigma)
        if self.assumed is None or sigma <= 0:
            return None
        apart = (self.value - self.assumed) / sigma
        return max(apart, 0.0) if self.at_most else apart

    @property
    def far(self) -> bool:
        """Whether the difference asks for a reason."""
        return self.deviation is not None and abs(self.deviation) > FAR

    def to_dict(self) -> dict[str, Any]:
        """Plain values."""
        assumed: dict[str, Any] = {}
        if self.assumed is not None:
            assumed = {"assumed": self.assumed, "assumed_sigma": self.assumed_sigma, "assumed_at_most": self.at_most}
            assumed |= {"deviation_sigma": self.deviation} if self.deviation is not None else {}
        return {
            "name": self.key, "log": self.log, "board": self.board, "rotor": self.rotor, "about": self.about,
            "value": self.value, "sigma": self.sigma, "unit": self.unit, **assumed, "far": self.far,
            "words": self.words,
        }  # fmt: skip


@dataclass(frozen=True)
class Advice:
    """What to do: ``effect`` is the error of the angle that it takes out [deg], None where it is no single angle."""

    about: str
    words: str
    effect: float | None = None

    def to_dict(self) -> dict[str, Any]:
        """Plain values."""
        said: dict[str, Any] = {"effect_deg": self.effect} if self.effect is not None else {}
        return {"about": self.about, "words": self.words} | said


@dataclass(frozen=True, eq=False)
class CorrectionTable:
    """What to subtract from a sensor's reading at even readings from 0 on [deg], straight lines between."""

    log: str
    values: FloatArray
    sigma: float
    rms_before: float
    rms_after: float
    largest_before: float
    largest_after: float
    harmonics: tuple[tuple[int, float, float, float], ...]  # order, amplitude, its deviation [deg], phase [deg]

    def to_dict(self) -> dict[str, Any]:
        """Plain values."""
        return {
            "log": self.log,
            "count": len(self.values),
            "step_deg": 360 / len(self.values),
            "form": "subtract_deg[k] from the reading at k times step_deg, straight lines between, round the turn",
            "sigma_deg": self.sigma,
            "rms_before_deg": self.rms_before,
            "rms_after_deg": self.rms_after,
            "largest_before_deg": self.largest_before,
            "largest_after_deg": self.largest_after,
            "harmonics": [
                {"order": order, "amplitude_deg": size, "sigma_deg": sigma, "phase_deg": phase}
                for order, size, sigma, phase in self.harmonics
            ],
            "subtract_deg": [round(float(value), 7) for value in self.values],
        }


@dataclass(frozen=True, eq=False)
class Line:
    """A curve of a picture; dots: drawn as points; label: in the legend."""

    label: str
    x: FloatArray
    y: FloatArray
    dots: bool = False


@dataclass(frozen=True, eq=False)
class Picture:
    """Curves on one pair of axes. marks: places on the x axis with a word; logarithmic: the y axis."""

    name: str
    title: str
    x_label: str
    y_label: str
    lines: tuple[Line, ...]
    marks: tuple[tuple[float, str], ...] = ()
    logarithmic: bool = False


@dataclass(frozen=True)
class Found:
    """What one log gives."""

    rows: tuple[LogRow, ...] = ()
    pictures: tuple[Picture, ...] = ()
    tables: tuple[CorrectionTable, ...] = ()
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True)
class MotionLogs:
    """What all logs of a bench give, and what to do."""

    rows: tuple[LogRow, ...]
    advice: tuple[Advice, ...] = ()
    pictures: tuple[Picture, ...] = ()
    tables: tuple[CorrectionTable, ...] = ()
    remarks: tuple[str, ...] = field(default_factory=tuple)

    @property
    def far(self) -> tuple[LogRow, ...]:
        """Rows that ask for a reason, the farthest first."""
        return tuple(sorted((row for row in self.rows if row.far), key=lambda row: -abs(row.deviation or 0.0)))

    def to_dict(self) -> dict[str, Any]:
        """The key "logs" of ``compare --json``."""
        return {
            "rows": [row.to_dict() for row in self.rows],
            "advice": [each.to_dict() for each in self.advice],
            "correction_tables": [table.to_dict() for table in self.tables],
            "remarks": list(self.remarks),
        }


def thinned(values: FloatArray, count: int = SHOWN) -> FloatArray:
    """At most so many of the values, evenly spread, first and last among them."""
    if len(values) <= count:
        return values
    return np.asarray(values[np.linspace(0, len(values) - 1, count).astype(int)])
