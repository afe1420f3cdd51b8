"""The numbers of the bench sheet: every test with the current, speed and distance it is done at and what it should show."""

from __future__ import annotations

from dataclasses import dataclass
from math import log, pi, sqrt

import numpy as np

from pcbstator.analysis.magnetic.rotor_field import magnet_footprint, rotor_iron
from pcbstator.analysis.prediction import Prediction
from pcbstator.bench.expected import Band, by_pair, line_inductances, line_linkages, relative_bands
from pcbstator.bench.held_current import HeldCurrent, held_current
from pcbstator.constants import STANDARD_GRAVITY
from pcbstator.copper import size_design
from pcbstator.design import SizedDesign
from pcbstator.design.work import Tolerance
from pcbstator.errors import LawRangeError
from pcbstator.physics.magnetics.magnet_ring import ring_harmonics

RPM = pi / 30  # rad/s
NOMINAL = Band(1.0, 1.0, 1.0)
HAND = (60.0, 150.0, 300.0)  # rpm: by hand, and a slow drill
FASTER = (600.0, 1000.0)  # rpm, for motors that are made to run as fast
SAFE_VOLTS = 42.0  # V peak between terminals; above it a sheet asks for no test by hand
METER_FREQUENCIES = (1e3, 1e4, 1e5)  # Hz, of common inductance meters
LEVERS = (0.05, 0.1, 0.2)  # m
LEAST_FORCE = 20e-3 * STANDARD_GRAVITY  # N; 20 g on a kitchen scale of 1 g
PROBE_DISTANCES = (3e-3, 6e-3)  # m from a magnet's face to the probe's sensitive spot
METER_DOUBT = 0.05  # of an inductance: a right prediction and a right meter differ by 3 % (one standard deviation)
PROBE_DOUBT = 0.2e-3  # m of a probe's distance; common practice, no source
THICKNESS_SPREAD = 0.10  # of a board's thickness, either way; common practice, no source
PUSHED = 60 * RPM  # rad/s at which a hand lets go for a coast-down


@dataclass(frozen=True)
class EmfRow:
    """What a scope shows between two terminals at a speed; SI."""

    speed: float
    frequency: float
    peak_to_peak: Band
    rms: Band


@dataclass(frozen=True)
class StaticTorque:
    """The force at a lever with a direct current in at one terminal and out at the next; SI."""

    current: float
    lever: float
    torque: Band
    force: Band
    turn_per_cycle: float  # rad


@dataclass(frozen=True)
class Friction:
    """What the friction that the design states would show; SI. It is stated, not predicted."""

    torque: float
    no_load_current: float | None  # peak phase current
    inertia: float
    coast_from: float
    coast_time: float


@dataclass(frozen=True)
class Sheet:
    """All numbers of the bench sheet, SI, by pairs of terminals where they have such; temperature as said."""

    design: SizedDesign
    prediction: Prediction
    stated_tolerance: bool
    resistances: dict[str, Band]  # at 20 C
    inductances: dict[str, Band]
    meter_frequency: float
    line_emf_constants: dict[str, Band]  # peak [V s/rad]
    emf: tuple[EmfRow, ...]
    field: tuple[tuple[float, Band], ...]  # distance from a magnet's face, field of one plate by itself
    field_radius: float
    gap: Band
    thickness: Band
    held: HeldCurrent | None
    torque: StaticTorque | None
    friction: Friction | None

    @property
    def pole_pairs(self) -> int:
        """Pole pairs of the rotor."""
        return self.design.rotor.poles // 2

    @property
    def first_pair(self) -> str:
        """The pair of terminals that most tests use."""
        return next(iter(self.resistances))


def bench_sheet(prediction: Prediction) -> Sheet:
    """The numbers of the sheet of a predicted design."""
    design, electrical = prediction.design, prediction.electrical
    assert design is not None  # every prediction of a whole design has it
    names = [chr(ord("A") + k) for k in range(design.winding.phases)]
    connection = design.winding.connection
    bands = relative_bands(prediction)
    matrix = np.array(electrical.inductance_matrix)
    inductances = by_pair(line_inductances(matrix, connection), names)
    constants = _line_emf_constants(prediction, names, bands)
    return Sheet(
        design=design,
        prediction=prediction,
        stated_tolerance=design.tolerance is not None,
        resistances=_each(electrical.line_resistances or {}, bands.get("phase_resistance_ohm", NOMINAL)),
        inductances=_each(inductances, bands.get("synchronous_inductance_h", NOMINAL).widened(METER_DOUBT)),
        meter_frequency=_meter_frequency(prediction, inductances),
        line_emf_constants=constants,
        emf=_emf_rows(design, prediction, next(iter(constants.values()), None)),
        field=_plate_field(design, bands),
        field_radius=_middle(design),
        gap=_gap(design),
        thickness=Band(1.0, 1 - THICKNESS_SPREAD, 1 + THICKNESS_SPREAD).times(design.board.thickness),
        held=(held := held_current(prediction)),
        torque=_static_torque(design, held, next(iter(constants.values()), None)),
        friction=_friction(design, prediction),
    )


def _each(values: dict[str, float] | object, spread: Band) -> dict[str, Band]:
    return {pair: spread.times(value) for pair, value in dict(values).items()}  # type: ignore[call-overload]


def _line_emf_constants(prediction: Prediction, names: list[str], bands: dict[str, Band]) -> dict[str, Band]:
    """Peak of the EMF between each pair of terminals [V s/rad of the rotor]."""
    if prediction.magnetic is None:
        return {}
    pole_pairs = prediction.winding.poles // 2
    linkages = line_linkages(prediction.magnetic.linkages[:, 0], prediction.design.winding.connection)
    spread = bands.get("flux_linkage_peak_wb", NOMINAL)
    return {pair: spread.times(pole_pairs * value) for pair, value in by_pair(linkages, names).items()}


def _emf_rows(design: SizedDesign, prediction: Prediction, constant: Band | None) -> tuple[EmfRow, ...]:
    if constant is None:
        return ()
    meant = max(
        [*(design.operation.speeds if design.operation else ()), 0.0]
        + ([prediction.motion.top_speed] if prediction.motion and prediction.motion.top_speed else [])
    )
    speeds = [each * RPM for each in HAND] + [each * RPM for each in FASTER if each * RPM <= meant]
    rows = [
        EmfRow(
            speed,
            design.rotor.poles / 2 * speed / (2 * pi),
            constant.times(2 * speed),
            constant.times(speed / sqrt(2)),
        )
        for speed in speeds
    ]
    return tuple(row for row in rows if row.peak_to_peak.high / 2 <= SAFE_VOLTS) or tuple(rows[:1])


def _meter_frequency(prediction: Prediction, inductances: dict[str, float]) -> float:
    """The lowest usual frequency of a meter at which the reactance is no less than a quarter of the resistance; the
    resistance hides it below."""
    resistance, inductance = prediction.electrical.line_resistance, next(iter(inductances.values()))
    resistance = prediction.electrical.phase_resistance if resistance is None else resistance
    wanted = resistance / (4 * 2 * pi * inductance)
    return next((each for each in METER_FREQUENCIES if each >= wanted), METER_FREQUENCIES[-1])


def _middle(design: SizedDesign) -> float:
    """Radius midway along the magnets [m]."""
    return float(magnet_footprint(design).breakpoints[[0, -1]].mean())


def _plate_field(design: SizedDesign, bands: dict[str, Band]) -> tuple[tuple[float, Band], ...]:
    """Largest axial field over a magnet's middle, one plate by itself, at two distances."""
    alone = size_design(design.with_values({
        "rotor.arrangement": "single", "rotor.stator_iron_mm": 0.0, "build": None, "requirement": None,
    }))  # fmt: skip
    footprint, pole_pairs = magnet_footprint(alone), alone.rotor.poles // 2
    radius = np.array([_middle(design)])
    orders = np.arange(1, 40, 2)
    try:
        layers = rotor_iron(alone).layers
        values = ring_harmonics(footprint, pole_pairs, layers, radius, np.array(PROBE_DISTANCES), orders)
    except LawRangeError:
        return ()
    strength = (design.tolerance or Tolerance()).remanence if bands else 0.0
    peaks = np.abs(values.sum(axis=0).ravel())
    falls = log(peaks[0] / peaks[1]) / (PROBE_DISTANCES[1] - PROBE_DISTANCES[0])  # part of the field per metre
    spread = Band(1.0, 1 - strength, 1 + strength).widened(falls * PROBE_DOUBT)
    return tuple((place, spread.times(float(peak))) for place, peak in zip(PROBE_DISTANCES, peaks, strict=True))


def _gap(design: SizedDesign) -> Band:
    gap, spread = design.rotor.air_gap, (design.tolerance or Tolerance()).air_gap
    return Band(gap, max(gap - spread, 0.0), gap + spread)


def _static_torque(design: SizedDesign, held: HeldCurrent | None, constant: Band | None) -> StaticTorque | None:
    """Torque per direct ampere is the line EMF constant: both are the slope of the same linkage over the angle."""
    if held is None or constant is None:
        return None
    torque = constant.times(held.current)
    fits = [
        lever for lever in LEVERS if torque.value / lever >= LEAST_FORCE and lever > design.board.outer_diameter / 2
    ]
    longer = [lever for lever in LEVERS if lever > design.board.outer_diameter / 2]
    lever = (fits or longer[:1] or [LEVERS[-1]])[-1]
    return StaticTorque(held.current, lever, torque, torque.times(1 / lever), 2 * pi / (design.rotor.poles / 2))


def _friction(design: SizedDesign, prediction: Prediction) -> Friction | None:
    """What the stated friction would show; nothing with a gear, since a hand cannot turn the motor through it."""
    load, mechanical = design.load, prediction.mechanical
    if load is None or load.friction <= 0 or mechanical is None:
        return None
    if design.drive is not None and design.drive.gear_ratio != 1.0:
        return None
    total = prediction.motion.total_inertia if prediction.motion is not None else None
    inertia = mechanical.rotor_inertia + load.inertia if total is None else total
    viscous, constant = load.viscous, load.friction
    time = inertia / viscous * log(1 + viscous * PUSHED / constant) if viscous > 0 else inertia * PUSHED / constant
    magnetic = prediction.magnetic
    current = None if magnetic is None else constant / magnetic.torque_constant
    return Friction(constant, current, inertia, PUSHED, time)
