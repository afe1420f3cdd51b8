"""The value that each reading should have, at its temperature and under its conditions, from the state of a motor."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache, singledispatch
from math import pi

import numpy as np
from numpy.typing import NDArray

from pcbstator.analysis.drive.load_cycle import load_values
from pcbstator.analysis.magnetic.rotor_field import (
    magnet_footprint,
    magnet_layers,
    rotor_iron,
    rotor_source,
    steel_ring,
)
from pcbstator.bench.machine_state import ClosedLoops, MachineState, strength_at
from pcbstator.bench.readings import (
    Emf,
    Field,
    FinishedCopper,
    Gap,
    Inductance,
    NoLoad,
    Pull,
    Reading,
    Resistance,
    StaticTorque,
    Thickness,
)
from pcbstator.copper import size_design
from pcbstator.materials import mild_steel
from pcbstator.physics.conductors.resistance import COPPER_TEMPERATURE_COEFFICIENT
from pcbstator.physics.drive.supply import equivalent_star_factor
from pcbstator.physics.magnetics.magnet_ring import ring_harmonics
from pcbstator.physics.magnetics.steel import saturated_iron
from pcbstator.physics.mechanics.magnet_force import axial_force

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]

SAMPLES_PER_PERIOD = 360  # of the fundamental; 25 orders need 50
FIELD_ORDERS = np.arange(1, 80, 2)
LEAST_FIELD = 1e-4  # T; below it the earth and the sensor's offset are in the way


def quantities(state: MachineState, readings: Sequence[Reading]) -> FloatArray:
    """Predicted value of every reading, in the unit of its ``value``; NaN where there is none."""
    return np.array([predicted_value(reading, state) for reading in readings])


@singledispatch
def predicted_value(reading: Reading, state: MachineState) -> float:
    """The value that a reading of a motor in this state has; NaN where the state does not say."""
    return float("nan")


@predicted_value.register
def _(reading: Resistance, state: MachineState) -> float:
    warm = 1 + COPPER_TEMPERATURE_COEFFICIENT * (reading.temperature_c - 20.0)
    return warm * float(terminal_impedance(state, reading.between, 0.0).real)


@predicted_value.register
def _(reading: Inductance, state: MachineState) -> float:
    pulsation = 2 * pi * reading.frequency
    return float(terminal_impedance(state, reading.between, pulsation).imag) / pulsation


@predicted_value.register
def _(reading: Emf, state: MachineState) -> float:
    frequency, speed = reading.measured_frequency, reading.speed
    speed = 2 * pi * frequency / state.pole_pairs if frequency is not None else speed or 0.0
    wave = speed * strength_at(state.design, reading.magnet_c) * terminal_wave(state, reading.between, speed)
    if reading.peak_to_peak is not None:
        return float(np.ptp(wave))
    return float(np.sqrt((wave**2).mean())) if reading.rms is not None else float(np.ptp(wave)) / 2


@predicted_value.register
def _(reading: StaticTorque, state: MachineState) -> float:
    return reading.current * float(np.ptp(terminal_wave(state, reading.between, 0.0))) / 2


@predicted_value.register
def _(reading: NoLoad, state: MachineState) -> float:
    """Bearing friction is that of [bearing], on the motor's own shaft; without it nothing is known."""
    design = state.design
    turned = load_values(design.load, design.bearing)
    own = design.drive is None or design.drive.gear_ratio == 1.0
    friction = turned.mean_friction + turned.viscous * reading.speed if own else 0.0
    if friction == 0:
        return float("nan")
    factor = equivalent_star_factor(len(state.names)) if state.connection == "delta" else 1.0
    constant = len(state.names) / 2 * float(np.abs(_fundamental(state)).mean())
    return factor * (friction + state.hysteresis + state.drag * reading.speed) / constant


@predicted_value.register
def _(reading: Gap, state: MachineState) -> float:
    return state.air_gap


@predicted_value.register
def _(reading: Thickness, state: MachineState) -> float:
    return state.thickness[reading.of]


@predicted_value.register
def _(reading: FinishedCopper, state: MachineState) -> float:
    return state.copper[reading.layer - 1] if reading.layer <= len(state.copper) else float("nan")


@predicted_value.register
def _(reading: Field, state: MachineState) -> float:
    """The rotor off the motor: nothing faces its magnets."""
    design = size_design(state.design.with_values({"rotor.arrangement": "single", "rotor.stator_iron_mm": 0.0}))
    footprint, layers, pole_pairs = magnet_footprint(design), magnet_layers(design), design.rotor.poles // 2
    source = rotor_source(design)
    iron = saturated_iron(footprint, pole_pairs, layers, mild_steel(), source, steel_ring(design, footprint))
    place = np.array([reading.radius]), np.array([reading.distance])
    found = float(np.abs(ring_harmonics(footprint, pole_pairs, iron.layers, *place, FIELD_ORDERS).sum()))
    return found if found > LEAST_FIELD else float("nan")


@predicted_value.register
def _(reading: Pull, state: MachineState) -> float:
    design = size_design(state.design.with_values({"rotor.air_gap_mm": 1e3 * reading.gap}))
    if magnet_layers(design).facing_distance == float("inf"):
        return float("nan")
    source = rotor_source(design)
    iron = rotor_iron(design, source)
    return float(axial_force(magnet_footprint(design), design.rotor.poles // 2, iron.layers, source=iron.source))


def pair_phases(state: MachineState, between: tuple[str, str]) -> FloatArray | None:
    """Current of every phase (phases,) per ampere from the first terminal to the second, of a star or of phases apart;
    None where there is no such pair of terminals.
    """
    first, second = between
    along = np.zeros(len(state.names))
    if state.connection == "open":
        if first[:1] != second[:1] or first[0] not in state.names:
            return None
        along[state.names.index(first[0])] = 1.0 if len(first) < len(second) else -1.0
        return along
    known = (*state.names, "N") if state.connection == "star" else state.names
    if not {first, second} <= set(known):
        return None
    for name, sense in ((first, 1.0), (second, -1.0)):
        if name != "N":
            along[state.names.index(name)] = sense
    return along


def corners(state: MachineState) -> FloatArray:
    """Of a delta, (phases, terminals): each phase runs from its own corner to the next."""
    return np.eye(len(state.names)) - np.roll(np.eye(len(state.names)), 1, axis=1)


def terminal_impedance(state: MachineState, between: tuple[str, str], pulsation: float) -> complex:
    """Impedance [ohm] between two terminals at 20 C and 2 pi times a frequency [rad/s]; NaN where there is no such
    pair.
    """
    along = pair_phases(state, between)
    if along is None:
        return complex("nan+nanj")
    impedance = state.resistance + 1j * pulsation * state.inductance
    if state.loops is not None:
        drop = 1j * pulsation * state.loops.mutual
        impedance = impedance - drop @ np.linalg.inv(_loop_impedance(state.loops, pulsation)) @ drop.T
    if state.connection == "delta":
        ways = corners(state)
        admittance = ways.T @ np.linalg.inv(impedance) @ ways
        return complex(along @ np.linalg.pinv(admittance) @ along)
    lead = state.star_lead if "N" in between else 0.0
    return complex(along @ impedance @ along) + lead


def terminal_wave(state: MachineState, between: tuple[str, str], speed: float) -> FloatArray:
    """EMF between two terminals over a turn of the rotor (samples,), per rad/s of its speed [V s/rad]; also the torque
    per ampere from the first to the second [N m/A]. Speed [rad/s] counts for a delta, where a current flows around.
    """
    along = pair_phases(state, between)
    if along is None:
        return np.full(2, np.nan)
    phasors = -1j * state.orders * state.linkages
    if state.loops is not None:
        phasors = phasors - _answer_of_loops(state, state.loops, speed)
    if state.connection == "delta":
        first, second = (state.names.index(name) for name in between)
        through = slice(first, second) if first < second else slice(second, first)
        phasors = _without_loop(state, phasors, speed)
        line = (1 if first < second else -1) * phasors[through].sum(axis=0)
    else:
        line = along @ phasors
    return np.asarray((line @ _turn(tuple(state.orders.tolist()), state.pole_pairs)).real)


def _loop_impedance(loops: ClosedLoops, pulsation: float) -> ComplexArray:
    return np.asarray(loops.resistance + 1j * pulsation * loops.inductance)


def _answer_of_loops(state: MachineState, loops: ClosedLoops, speed: float) -> ComplexArray:
    """What currents in closed loops take from the phases (phases, orders), per rad/s [V s/rad]. An order m goes with
    exp(-i m angle), so that inductance counts as -i m speed L."""
    found = np.zeros(state.linkages.shape, complex)
    for at, order in enumerate(state.orders):
        driven = np.linalg.solve(_loop_impedance(loops, -order * speed), -1j * order * loops.linkages[:, at])
        found[:, at] = -1j * order * speed * loops.mutual @ driven
    return found


def _without_loop(state: MachineState, phasors: ComplexArray, speed: float) -> ComplexArray:
    """Voltages of a delta's phases (phases, orders) when what they have in common has driven its current around."""
    found = np.array(phasors, dtype=complex)
    for at, order in enumerate(state.orders):
        drop = (state.resistance - 1j * order * speed * state.inductance) @ np.ones(len(state.names))
        found[:, at] -= drop * phasors[:, at].sum() / drop.sum()
    return found


@lru_cache(maxsize=4)
def _turn(orders: tuple[int, ...], pole_pairs: int) -> ComplexArray:
    """Turning of every order over one turn of the rotor, (orders, samples); over one period where all are alike."""
    numbers = np.array(orders)
    periods = 1 if (numbers % pole_pairs == 0).all() else pole_pairs
    span = 2 * pi * periods / pole_pairs
    angles = np.arange(SAMPLES_PER_PERIOD * periods) * span / (SAMPLES_PER_PERIOD * periods)
    return np.exp(-1j * np.outer(numbers, angles))


def _fundamental(state: MachineState) -> ComplexArray:
    """EMF phasor of every phase (phases,) per rad/s at the fundamental [V s/rad]."""
    return np.asarray((state.pole_pairs * state.linkages[:, state.orders == state.pole_pairs]).sum(axis=1))
