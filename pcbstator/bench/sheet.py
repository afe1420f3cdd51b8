"""The numbers of the bench sheet: every test with its current, speed or distance, and what it should show."""

from __future__ import annotations

from dataclasses import dataclass
from math import log, pi

import numpy as np

from pcbstator.analysis.magnetic.rotor_field import magnet_footprint, rotor_iron
from pcbstator.analysis.prediction import Prediction
from pcbstator.bench.expected import Band, pair_name, relative_bands
from pcbstator.bench.held_current import HeldCurrent, held_current
from pcbstator.bench.machine_state import MachineState, machine_state, strength_at
from pcbstator.bench.predicted import terminal_impedance, terminal_wave
from pcbstator.constants import STANDARD_GRAVITY
from pcbstator.copper import size_design
from pcbstator.design import SizedDesign
from pcbstator.design.sections.work import Tolerance
from pcbstator.errors import LawRangeError
from pcbstator.physics.magnetics.magnet_ring import ring_harmonics

RPM = pi / 30  # rad/s
ROOM_C = 20.0
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
    design = prediction.design
    if design is None:
        raise ValueError("a prediction without its design has no sheet")
    try:
        state = machine_state(design, prediction.laid)
    except LawRangeError:
        state = None
    bands, resistances = relative_bands(prediction), prediction.electrical.line_resistances or {}
    constants = _line_emf_constants(design, state, tuple(resistances), bands)
    frequency = _meter_frequency(prediction)
    held = held_current(prediction)
    return Sheet(
        design=design,
        prediction=prediction,
        stated_tolerance=design.tolerance is not None,
        resistances={
            pair: bands.get("phase_resistance_ohm", NOMINAL).times(value) for pair, value in resistances.items()
        },
        inductances=_inductances(state, tuple(resistances), frequency, bands),
        meter_frequency=frequency,
        line_emf_constants=constants,
        emf=_emf_rows(design, prediction, state, tuple(resistances), bands),
        field=_plate_field(design, bands),
        field_radius=_middle(design),
        gap=_gap(design),
        thickness=Band(1.0, 1 - THICKNESS_SPREAD, 1 + THICKNESS_SPREAD).times(design.board.thickness),
        held=held,
        torque=_static_torque(design, held, next(iter(constants.values()), None)),
        friction=_friction(design, prediction),
    )


def _inductances(
    state: MachineState | None, pairs: tuple[str, ...], frequency: float, bands: dict[str, Band]
) -> dict[str, Band]:
    """Between each pair, as a meter of this frequency [Hz] shows it."""
    if state is None:
        return {}
    spread, pulsation = bands.get("synchronous_inductance_h", NOMINAL).widened(METER_DOUBT), 2 * pi * frequency
    return {
        pair: spread.times(terminal_impedance(state, pair_name(pair), pulsation).imag / pulsation) for pair in pairs
    }


def _line_emf_constants(
    design: SizedDesign, state: MachineState | None, pairs: tuple[str, ...], bands: dict[str, Band]
) -> dict[str, Band]:
    """Half of the EMF from trough to crest between each pair at standstill's limit [V s/rad], which is also the torque
    per ampere [N m/A]; magnets at room temperature.
    """
    if state is None:
        return {}
    spread = bands.get("flux_linkage_peak_wb", NOMINAL).times(strength_at(design, ROOM_C))
    return {pair: spread.times(float(np.ptp(terminal_wave(state, pair_name(pair), 0.0))) / 2) for pair in pairs}


def _emf_rows(
    design: SizedDesign,
    prediction: Prediction,
    state: MachineState | None,
    pairs: tuple[str, ...],
    bands: dict[str, Band],
) -> tuple[EmfRow, ...]:
    """The first pair at speeds of a hand and of a drill, as far as the voltage stays safe."""
    if state is None:
        return ()
    spread = bands.get("flux_linkage_peak_wb", NOMINAL).times(strength_at(design, ROOM_C))
    rows = []
    for rpm in (*HAND, *(rpm for rpm in FASTER if rpm * RPM <= _top_speed(design, prediction))):
        speed = rpm * RPM
        wave = speed * terminal_wave(state, pair_name(pairs[0]), speed)
        size, rms = float(np.ptp(wave)), float(np.sqrt((wave**2).mean()))
        rows.append(EmfRow(speed, state.pole_pairs * speed / (2 * pi), spread.times(size), spread.times(rms)))
    return tuple(row for row in rows if row.peak_to_peak.high / 2 <= SAFE_VOLTS) or tuple(rows[:1])


def _top_speed(design: SizedDesign, prediction: Prediction) -> float:
    """The highest speed that the design is made for [rad/s of the rotor]; 0 where it does not say."""
    gear = design.drive.gear_ratio if design.drive else 1.0
    moving = prediction.motion.top_speed if prediction.motion else None
    return max([*(design.operation.speeds if design.operation else ()), gear * (moving or 0.0)])


def _meter_frequency(prediction: Prediction) -> float:
    """The lowest usual frequency of a meter [Hz] at which the reactance is a quarter of the resistance or more: the
    resistance hides it below.
    """
    electrical = prediction.electrical
    wanted = electrical.phase_resistance / (4 * 2 * pi * electrical.synchronous_inductance)
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
    spread = Band(1.0, 1 - strength, 1 + strength).widened(falls * PROBE_DOUBT).times(strength_at(design, ROOM_C))
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
    bearing, mechanical = design.bearing, prediction.mechanical
    if bearing is None or bearing.friction <= 0 or mechanical is None:
        return None
    if design.drive is not None and design.drive.gear_ratio != 1.0:
        return None
    total = prediction.motion.total_inertia if prediction.motion is not None else None
    inertia = mechanical.rotor_inertia if total is None else total
    viscous, constant = bearing.viscous, bearing.friction
    time = inertia / viscous * log(1 + viscous * PUSHED / constant) if viscous > 0 else inertia * PUSHED / constant
    magnetic = prediction.magnetic
    current = None if magnetic is None else constant / magnetic.torque_constant
    return Friction(constant, current, inertia, PUSHED, time)
