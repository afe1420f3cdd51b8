"""What differs from one built motor to the next: how far each quantity may lie from the design, and what a change of it
does to every reading.

Readings count by their logarithm, a gap by its part of the predicted one: so all are straight lines in the quantities
here, over wide ranges too. Each of these is its change over the design's value, as a logarithm; an air gap and a
temperature are in their own units.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from math import log, sqrt

import numpy as np
from numpy.typing import NDArray

from pcbstator.analysis.tolerance import NINETY, copper_range
from pcbstator.bench.causes.changed_copper import laid, thicker, widened, with_copper
from pcbstator.bench.causes.changed_rotor import with_keys
from pcbstator.bench.comparison import USUAL
from pcbstator.bench.machine_state import MachineState
from pcbstator.bench.predicted import predicted_value
from pcbstator.bench.readings import FREQUENCY, SPEED, Emf, Field, Gap, Pull, Reading, Resistance, Thickness
from pcbstator.copper import size_design
from pcbstator.design.sections.work import Tolerance
from pcbstator.errors import PcbstatorError
from pcbstator.physics.conductors.resistance import COPPER_TEMPERATURE_COEFFICIENT

FloatArray = NDArray[np.float64]

STEP = 0.01  # of a value, for the change of the readings with it
USUAL_COPPER = (
    0.05  # one standard deviation of finished copper where [tolerance] is not stated; with etching, that of R
)
MAGNET_THICKNESS = 0.05e-3  # m either way, 90 % of all: common practice, no source
BOARD_THICKNESS = 0.10  # of it either way: usual of board manufacturers; common practice, no source
COPPER_KELVIN = 2.0  # K, one standard deviation of a temperature that was felt or read beside the copper
LAWS = {  # one standard deviation of what the computation itself may miss, common to all readings of a kind
    ("resistance",): 0.01,
    ("inductance",): 0.024,
    ("emf", "static_torque"): 0.013,
    ("field",): 0.02,
    ("pull",): 0.06,
}  # see docs/accuracy.md; inductance: Rigas et al., 2026, as in docs/bench.md; pull: usual of steel, no source
REPEATED = ("resistance", "inductance", "static_torque", "no_load", "field", "finished_copper")
# Of an instrument's uncertainty: off alike in all its readings of an evening, so that they repeat to half of it (JCGM
# 100, 5.2 and F.1.2.3, on correlated input quantities); the share is common practice, no source.
SHARED = 0.87
ROTOR_ALONE = (Field, Pull)  # readings that nothing but the rotor decides, and that are dear


@dataclass(frozen=True, eq=False)
class Allowance:
    """One quantity that varies. mean, spread: expected value and standard deviation; wide: the same of a motor in which
    it is out of its tolerance. column: (readings,) change of each reading per unit.
    """

    name: str
    mean: float
    spread: float
    wide: float
    column: FloatArray


@dataclass(frozen=True, eq=False)
class Allowances:
    """Everything that varies, and the spread of each reading by itself. columns: (readings, quantities); prior:
    covariance (readings, readings) of what all motors within their tolerances would read, without the meters.
    """

    each: tuple[Allowance, ...]
    meters: FloatArray
    common: FloatArray
    columns: FloatArray

    @property
    def mean(self) -> FloatArray:
        """Expected value of each quantity."""
        return np.array([one.mean for one in self.each])

    @property
    def variance(self) -> FloatArray:
        """Of each quantity."""
        return np.array([one.spread for one in self.each]) ** 2


def scaled(readings: Sequence[Reading], values: FloatArray, predicted: FloatArray) -> FloatArray:
    """Values of readings over those predicted, as the estimate takes them: logarithms, of a gap the part."""
    part = np.array([isinstance(reading, Gap) for reading in readings])
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(np.where(part, values / predicted - 1, np.log(np.maximum(values, 0) / predicted)))


def readings_of(
    state: MachineState, readings: Sequence[Reading], known: MachineState, values: FloatArray
) -> FloatArray:
    """Value of every reading; those of the rotor alone are the ``values`` of the known motor, if the rotor is its."""
    same = state.design is known.design
    return np.array([
        value if same and isinstance(reading, ROTOR_ALONE) else predicted_value(reading, state)
        for reading, value in zip(readings, values, strict=True)
    ])  # fmt: skip


def allowances(state: MachineState, readings: Sequence[Reading], values: FloatArray) -> Allowances:
    """What varies in motors of this design. values: (readings,) predicted ones."""
    each = tuple(one for one in _each(state, readings, values) if np.abs(one.column).max() > 1e-9)
    columns = np.stack([one.column for one in each], axis=1) if each else np.zeros((len(readings), 0))
    return Allowances(each, _meters(readings, values), common_spread(readings), columns)


def common_spread(readings: Sequence[Reading], left_out: Collection[tuple[str, ...]] = ()) -> FloatArray:
    """Covariance (readings, readings) of what the computation may miss, and of what readings of one instrument are off
    alike; left_out: kinds for which the computation's does not count.
    """
    common = _instruments(readings)
    for kinds, part in LAWS.items():
        if kinds not in left_out:
            line = np.array([part if reading.kind in kinds else 0.0 for reading in readings])
            common += np.outer(line, line)
    return common


def _instruments(readings: Sequence[Reading]) -> FloatArray:
    """Covariance (readings, readings) of what an instrument is off in all of its readings."""
    found = np.zeros((len(readings), len(readings)))
    names = [_instrument(reading) for reading in readings]
    for name in {each for each in names if each}:
        line = np.array([
            SHARED * reading.uncertainty if own == name else 0.0 for reading, own in zip(readings, names, strict=True)
        ])  # fmt: skip
        found += np.outer(line, line)
    return found


def _instrument(reading: Reading) -> str:
    """What it is read by, of a kind that is taken several times in a row; empty for the rest."""
    if isinstance(reading, Emf):
        return "meter" if reading.rms is not None else "oscilloscope"
    return reading.kind if reading.kind in REPEATED else ""


def _meters(readings: Sequence[Reading], values: FloatArray) -> FloatArray:
    """Variance of every reading by itself."""
    found = []
    for reading, value in zip(readings, values, strict=True):
        own = reading.uncertainty * (sqrt(1 - SHARED**2) if _instrument(reading) else 1.0)
        if isinstance(reading, Gap | Thickness):
            own *= reading.value / value
        more = 0.0
        if isinstance(reading, Emf):
            more = SPEED if reading.measured_frequency is None else FREQUENCY
        elif isinstance(reading, Thickness) and reading.of == "back_iron":
            more = USUAL["thickness"]
        found.append(own**2 + more**2)
    return np.array(found)


def _each(state: MachineState, readings: Sequence[Reading], values: FloatArray) -> Iterator[Allowance]:
    asked, copper = state.design.tolerance or Tolerance(), laid(state)

    def column(changed: MachineState | None, step: float) -> FloatArray:
        if changed is None:
            return np.zeros(len(readings))
        found = scaled(readings, readings_of(changed, readings, state, values), values) / step
        return np.nan_to_num(found, nan=0.0, posinf=0.0, neginf=0.0)

    rotor = {Field: 1.0, Pull: 2.0}
    stronger = column(replace(state, linkages=state.linkages * (1 + STEP)), log(1 + STEP))
    stronger += [rotor.get(type(reading), 0.0) for reading in readings]
    yield Allowance("remanence", 0.0, asked.remanence / NINETY, 0.10, stronger)
    gap = state.air_gap
    apart = with_keys(state, rotor__air_gap_mm=1e3 * gap * (1 + STEP))
    apart = None if apart is None else replace(apart, design=state.design)  # a lone rotor knows no gap
    yield Allowance("air_gap", 0.0, asked.air_gap / NINETY, 0.3 * gap, column(apart, STEP * gap))
    for outer in (True, False):
        if any(layer.outer == outer for layer in copper.layers):
            more = with_copper(state, thicker(copper, 1 + STEP if outer else 1.0, 1.0 if outer else 1 + STEP))
            mean, spread = _copper(state, outer)
            name = "outer_copper" if outer else "inner_copper"
            yield Allowance(name, mean, spread, 0.20, column(more, log(1 + STEP)))
    width = state.design.board.track_width
    etched = column(with_copper(state, widened(copper, STEP * width)), log(1 + STEP))
    yield Allowance("etch", 0.0, asked.track_width / width / NINETY, 0.15, etched)
    board = with_keys(state, board__thickness_mm=1e3 * state.thickness["board"] * (1 + STEP))
    board = None if board is None else replace(board, design=state.design)
    yield Allowance("layer_distance", 0.0, BOARD_THICKNESS / NINETY, 0.12, column(board, log(1 + STEP)))
    thick = state.thickness["magnet"]
    magnet = column(with_keys(state, rotor__magnet__thickness_mm=1e3 * thick * (1 + STEP)), log(1 + STEP))
    yield Allowance("magnet_thickness", 0.0, MAGNET_THICKNESS / thick / NINETY, 0.10, magnet)
    warmer = [_per_kelvin(reading) if isinstance(reading, Resistance) else 0.0 for reading in readings]
    yield Allowance("copper_temperature", 0.0, COPPER_KELVIN, 25.0, np.array(warmer))
    yield Allowance("friction", 0.0, USUAL["no_load"], 1.0, column(_rubbing(state), log(1 + STEP)))


def _per_kelvin(reading: Resistance) -> float:
    return COPPER_TEMPERATURE_COEFFICIENT / (1 + COPPER_TEMPERATURE_COEFFICIENT * (reading.temperature_c - 20.0))


def _rubbing(state: MachineState) -> MachineState | None:
    """The motor with a little more friction in its bearing."""
    bearing = state.design.bearing
    if bearing is None or not bearing.friction:
        return None
    try:
        more = state.design.with_values({"bearing.friction_n_m": bearing.friction * (1 + STEP)})
        return replace(state, design=size_design(more))
    except PcbstatorError:
        return None


def _copper(state: MachineState, outer: bool) -> tuple[float, float]:
    """Expected value and spread of the finished copper over the ordered one, as logarithms."""
    asked, board = state.design.tolerance, state.design.board
    if asked is None:
        return 0.0, USUAL_COPPER
    foil, stated = (board.outer_copper, asked.outer_copper) if outer else (board.inner_copper, asked.inner_copper)
    low, high = copper_range(stated, foil, inside=not outer)
    return log((low + high) / 2 / foil), max((high - low) / (low + high) / NINETY, 1e-4)


def spread_in_all(found: Allowances) -> FloatArray:
    """Covariance (readings, readings) of motors within their tolerances, with the meters."""
    own = (found.columns * found.variance) @ found.columns.T
    return np.asarray(np.diag(found.meters) + found.common + own)


def wider(one: Allowance) -> float:
    """What makes its spread that of a motor out of tolerance [of it]."""
    return sqrt(max(one.wide**2 - one.spread**2, one.spread**2))
