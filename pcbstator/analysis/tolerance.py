"""The built motor against the numbers of the design file: 5 % and 95 % values of R, psi, torque constant and L.

Every quantity is known as a function of what varies (remanence, air gap, etched width, finished copper), from a few
evaluations; thousands of motors are then drawn from these functions. Ranges hold 90 % of what is made, and what lies
within them is taken as normally distributed around the middle.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from statistics import NormalDist
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from pcbstator.analysis.electrical.conductors import conductors_of
from pcbstator.analysis.electrical.finished_copper import least_finished
from pcbstator.analysis.electrical.inductance import coil_inductance
from pcbstator.analysis.magnetic.records import MagneticResult
from pcbstator.analysis.magnetic.rotor_field import path_linkages, phase_linkages, rotor_field
from pcbstator.copper import Copper, Layer, size_design

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign

MOTORS = 20_000  # drawn; the 5 % value of a normal quantity is then known to 0.02 of its standard deviation
UNKNOWN_COPPER = 0.10  # more or less, for a weight that the standard's table lacks
GRID = 400  # cells along a side
NINETY = NormalDist().inv_cdf(0.95)

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Spread:
    """Nominal value, and the values that 5 % and 95 % of the motors stay below; SI."""

    nominal: float
    low: float
    high: float

    def to_dict(self) -> dict[str, float]:
        """Plain values."""
        return {"nominal": self.nominal, "low_5_percent": self.low, "high_95_percent": self.high}


def copper_range(stated: tuple[float, ...] | None, foil: float, inside: bool) -> tuple[float, float]:
    """Least and most finished thickness [m] of layers ordered as ``foil`` [m]."""
    if stated is not None:
        return stated[0], stated[1]
    known = least_finished(foil)
    if known is None:
        return foil * (1 - UNKNOWN_COPPER), foil * (1 + UNKNOWN_COPPER)
    finished = known[0] if inside else known[1]
    return min(foil, finished), max(foil, finished)


def tolerance_results(
    design: SizedDesign, copper: Copper, magnetic: MagneticResult, inductance: float
) -> dict[str, dict[str, float]]:
    """Spread of every quantity by its key; empty where the design has no [tolerance]."""
    asked = design.tolerance
    if asked is None:
        return {}
    psi, torque_constant = magnetic.flux_linkage_peak, magnetic.torque_constant
    draw = np.random.default_rng(20).standard_normal((5, MOTORS)) / NINETY
    gaps = np.maximum(design.rotor.air_gap + asked.air_gap * draw[0], 0.2 * design.rotor.air_gap)
    widths = np.maximum(design.board.track_width + asked.track_width * draw[1], 0.2 * design.board.track_width)
    strength = 1 + asked.remanence * draw[2]
    outer = _between(copper_range(asked.outer_copper, design.board.outer_copper, inside=False), draw[3])
    inner = _between(copper_range(asked.inner_copper, design.board.inner_copper, inside=True), draw[4])

    linkages = psi * strength * _over_gap(design, copper, gaps)
    inductances = inductance * _inductance_ratio(design, copper, gaps, widths)
    resistances = _resistances(design, copper, widths, outer, inner)
    spreads = {
        "phase_resistance_ohm": (resistances, float(_resistances(design, copper, *_nominal(design))[0])),
        "flux_linkage_peak_wb": (linkages, psi),
        "torque_constant_n_m_per_a": (linkages * torque_constant / psi, torque_constant),
        "synchronous_inductance_h": (inductances, inductance),
    }
    return {key: _spread(values, nominal).to_dict() for key, (values, nominal) in spreads.items()}


def _spread(values: FloatArray, nominal: float) -> Spread:
    low, high = np.quantile(values, [0.05, 0.95])
    return Spread(nominal, float(low), float(high))


def _between(span: tuple[float, float], draw: FloatArray) -> FloatArray:
    low, high = span
    return np.maximum((low + high) / 2 + (high - low) / 2 * draw, 0.2 * low)


def _nominal(design: SizedDesign) -> tuple[FloatArray, FloatArray, FloatArray]:
    board = design.board
    return np.array([board.track_width]), np.array([board.outer_copper]), np.array([board.inner_copper])


def _resistances(
    design: SizedDesign, copper: Copper, widths: FloatArray, outer: FloatArray, inner: FloatArray
) -> FloatArray:
    """Phase resistance [ohm] at 20 C of many motors: outer and inner layers and vias each scale by themselves."""
    board = design.board

    def resistance(outer_factor: float, inner_factor: float) -> float:
        def changed(layer: Layer) -> Layer:
            return replace(layer, thickness=layer.thickness * (outer_factor if layer.outer else inner_factor))

        stator = replace(copper, layers=tuple(changed(layer) for layer in copper.layers))
        return conductors_of(design, stator).phase_resistance

    whole = resistance(1.0, 1.0)
    outside, within = 2 * (whole - resistance(2.0, 1.0)), 2 * (whole - resistance(1.0, 2.0))
    etched = board.track_width / widths
    tracks = outside * board.outer_copper / outer + within * board.inner_copper / inner
    return np.asarray(tracks * etched + (whole - outside - within))


def _over_gap(design: SizedDesign, copper: Copper, wanted: FloatArray) -> FloatArray:
    """psi over its nominal value at the air gaps ``wanted`` [m]: a parabola through three gaps."""
    gap = design.rotor.air_gap
    step = min(max(design.tolerance.air_gap if design.tolerance else 0.0, 0.02 * gap), 0.8 * gap)
    gaps = np.array([gap - step, gap, gap + step])
    conductors, values = conductors_of(design, copper), []
    for each in gaps:
        changed = size_design(design.with_values({"rotor.air_gap_mm": 1e3 * float(each)}))
        linkages = phase_linkages(conductors, path_linkages(copper, rotor_field(changed)))
        values.append(float(np.abs(linkages[:, 0]).mean()))
    parabola = np.polyfit(gaps - gap, np.array(values) / values[1], 2)
    return np.asarray(np.polyval(parabola, wanted - gap))


def _inductance_ratio(design: SizedDesign, copper: Copper, gaps: FloatArray, widths: FloatArray) -> FloatArray:
    """Inductance over its nominal value: one coil with another gap to the iron and with another width of its tracks."""
    gap, width = design.rotor.air_gap, design.board.track_width
    extent = float(max(np.ptp(track.points, axis=0).max() for track in copper.coil.tracks))
    whole = float(np.abs(np.concatenate([track.points[[0, -1]] for track in copper.coil.tracks])).max())
    # One grid for all, so that only the copper differs; no finer than a large coil can pay for.
    cell = max(width / 2, (extent if copper.alike else 2 * whole) / GRID)
    nominal = coil_inductance(design, copper, cell)
    farther = size_design(design.with_values({"rotor.air_gap_mm": 1e3 * 1.1 * gap}))
    apart = coil_inductance(farther, copper, cell)
    tracks = tuple(
        replace(track, width=1.05 * track.width, widths=None if track.widths is None else 1.05 * track.widths)
        for track in copper.coil.tracks
    )
    wide = coil_inductance(design, replace(copper, coil=replace(copper.coil, tracks=tracks)), cell)
    by_gap, by_width = (apart / nominal - 1) / 0.1, (wide / nominal - 1) / 0.05
    return np.asarray(1 + by_gap * (gaps / gap - 1) + by_width * (widths / width - 1))
