"""What is left open of a motor after its readings: of its results, and of the keys of [tolerance] that lead to them.

Quantities that were read together lie along a line: each by itself is known badly, what they do together well. Keys of
[tolerance] vary each by itself, so they get the part of each spread that leaves the results as sure as they are.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from pcbstator.analysis.tolerance import NINETY
from pcbstator.bench.built.estimate import Parts, result_columns
from pcbstator.bench.built.keys import written
from pcbstator.bench.built.result import Setting
from pcbstator.bench.causes.search import Basis
from pcbstator.design import SizedDesign

FloatArray = NDArray[np.float64]

KEYED = ("remanence", "air_gap", "etch", "outer_copper", "inner_copper")
HELD = ("phase_resistance_ohm", "torque_constant_n_m_per_a")  # that [tolerance] must lead to
STEPS = 200  # of the iteration below; each leaves proportions between quantities as they are, as far as it can
CHANGED = 0.05  # part by which a tolerance must differ to be written anew
LEAST = 0.001  # of a quantity's spread before, so that a range is one


def result_spreads(basis: Basis, parts: Parts) -> dict[str, float]:
    """One standard deviation of every result, over its value."""
    return {key: float(np.sqrt(column @ parts.covariance @ column)) for key, column in result_columns(basis).items()}


def independent_spreads(basis: Basis, parts: Parts) -> dict[str, float]:
    """One standard deviation of the quantities that have a tolerance, as if each varied by itself.

    Their parts are all above 0 by the iteration of Richardson and Lucy (Astronomical Journal 79 (1974) 745, from
    memory), begun at what each has by itself.
    """
    at = [parts.names.index(name) for name in KEYED if name in parts.names]
    columns = result_columns(basis)
    if not at or not columns:
        return {}
    own = np.maximum(np.diag(parts.covariance)[at], (LEAST * parts.before[at]) ** 2)
    known = np.array([columns[key] @ parts.covariance @ columns[key] for key in HELD if key in columns])
    shares = np.array([columns[key][at] ** 2 * own for key in HELD if key in columns])
    kept = (known > 0) & (shares.sum(axis=1) > 0)
    shares = shares[kept] / known[kept][:, None]
    part = np.ones(len(at))
    for _ in range(STEPS if kept.any() else 0):  # each is one at the end
        part *= (shares / (shares @ part)[:, None]).sum(axis=0) / np.maximum(shares.sum(axis=0), 1e-12)
    part[shares.sum(axis=0) < 1e-9] = 1.0  # moves nothing that is held
    return {parts.names[k]: float(np.sqrt(each * var)) for k, each, var in zip(at, part, own, strict=True)}


def tolerance_settings(design: SizedDesign, basis: Basis, parts: Parts, values: dict[str, float]) -> Iterator[Setting]:
    """Keys of [tolerance] that are known better now. values: of the keys of the design, as written."""
    spreads = independent_spreads(basis, parts)
    asked = design.tolerance
    keys = {
        "remanence": ("remanence_percent", 100.0, None if asked is None else 100 * asked.remanence),
        "air_gap": ("air_gap_mm", 1e3, None if asked is None else 1e3 * asked.air_gap),
        "etch": ("track_width_um", 1e6 * design.board.track_width, None if asked is None else 1e6 * asked.track_width),
    }
    for name, sigma in spreads.items():
        before, at = parts.before[parts.names.index(name)], parts.names.index(name)
        if abs(sigma / before - 1) < CHANGED and not parts.told[at] and asked is not None:
            continue
        reason = _left_open(parts, at)
        if name in keys:
            key, scale, old = keys[name]
            yield Setting(f"tolerance.{key}", written(NINETY * sigma * scale), old, reason)
        else:
            yield _copper(design, name, sigma, values, reason)


def _left_open(parts: Parts, at: int) -> str:
    told = f"left open by {parts.readings[at]}" if parts.told[at] else "its share of what is left open"
    return f"{told} (90 % lie within)"


def _copper(design: SizedDesign, name: str, sigma: float, values: dict[str, float], reason: str) -> Setting:
    key = f"board.{name}_um"
    middle = values.get(key, 1e6 * getattr(design.board, name))
    stated = getattr(design.tolerance, name) if design.tolerance is not None else None
    before = None if stated is None else [written(1e6 * each) for each in stated]
    span = [written(middle * (1 - NINETY * sigma)), written(middle * (1 + NINETY * sigma))]
    return Setting(f"tolerance.{name}_um", span, before, reason)
