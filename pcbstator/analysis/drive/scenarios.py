"""The drive in time: the design's machine, load, sensor and gains in the scenarios that a user asks about."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import pairwise
from math import ceil, inf, pi
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from pcbstator.analysis.drive import run_measures as runs
from pcbstator.analysis.drive.equivalent_machine import COPPER_HEAT, Machine
from pcbstator.analysis.drive.gains import Gains
from pcbstator.analysis.drive.load_cycle import LoadValues, Moves, cycle_of, load_values, without_load
from pcbstator.analysis.drive.positioning import bearing_angle
from pcbstator.analysis.drive.records import DriveResult
from pcbstator.analysis.prediction import Prediction
from pcbstator.design.job import Drive
from pcbstator.errors import Complaint, DesignError
from pcbstator.physics.conductors.resistance import COPPER_TEMPERATURE_COEFFICIENT
from pcbstator.physics.drive.friction import spot_friction
from pcbstator.physics.drive.motion import Piece, rest_to_rest, sampled_moves
from pcbstator.physics.drive.plant import PlantValues
from pcbstator.physics.drive.positioning import magnet_eccentricity_error, ring_eccentricity_error
from pcbstator.physics.drive.simulation import ControlValues, SensorValues, Trace, simulated
from pcbstator.physics.drive.supply import pulse_ripple

if TYPE_CHECKING:
    from pcbstator.design import Design

FloatArray = NDArray[np.float64]

MOST_STEPS = 500_000  # of a scenario: a few seconds of work
STEPS = 12  # small ones, one after the other
KEPT = 4000  # points of a trace, about
SLOW = 1.5 * pi / 30  # rad/s: a slow turn that must look continuous (common practice, no source)
MODERATE = 20 * pi / 30  # rad/s: no faster between the stops of a scenario
SMALL_STEP = np.radians(0.5)  # the small step that must stay visible and even (common practice, no source)
CONTACT = 100.0  # Hz: play closes on stops at least this stiff
PER_SWING = 0.25  # of a radian, the longest step of the coupling's swing


@dataclass(frozen=True, eq=False)
class ScenarioRun:
    """One scenario: its name, what it shows, the trace, and its numbers by key."""

    name: str
    title: str
    trace: Trace
    numbers: dict[str, Any]


@dataclass(frozen=True, eq=False)
class Simulation:
    """All runs of a design, with the prediction that they rest on."""

    prediction: Prediction
    runs: tuple[ScenarioRun, ...]
    remarks: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """Plain data, numbers in the unit of their key."""
        head = {"title": self.prediction.title, "design_file": self.prediction.design_file}
        return {
            **head,
            "version": self.prediction.version,
            "scenarios": {run.name: run.numbers for run in self.runs},
            "error_budget": list(self.prediction.motion.error_budget) if self.prediction.motion else [],
            "remarks": list(self.remarks),
            "findings": [finding.to_dict() for finding in self.prediction.findings],
        }


@dataclass(frozen=True, eq=False)
class Stand:
    """A drive ready to run, in the frame of the load, and the limits of the moves it is given."""

    plant: PlantValues
    control: ControlValues
    sensor: SensorValues
    substeps: int
    speed: float
    acceleration: float
    jerk: float
    rest: float
    bearing: float
    push: float

    def run(self, reference: tuple[FloatArray, FloatArray, FloatArray], push: FloatArray | None = None) -> Trace:
        """A run from rest."""
        keep = max(1, len(reference[0]) // KEPT)
        return simulated(self.plant, self.control, self.sensor, reference, push, self.substeps, keep)

    @property
    def most(self) -> int:
        """Samples that a run may have."""
        return MOST_STEPS // self.substeps

    def moves(self, angles: list[float], aside: float | None = None) -> tuple[FloatArray, FloatArray, FloatArray]:
        """From angle to angle, a rest after each; the first is where it begins. ``aside``: rest [s] where it only turns
        round, at every other angle.
        """
        listed: Moves = [(angles[0], (), 1.0, 0.02)]
        for number, (start, end) in enumerate(pairwise(angles)):
            pieces = rest_to_rest(abs(end - start), self.speed, self.acceleration, self.jerk)
            rest = aside if aside is not None and number % 2 else self.rest
            listed.append((start, pieces, 1.0 if end > start else -1.0, rest))
        return sampled_moves(listed, self.control.period, self.most)


def stand_of(design: Design, prediction: Prediction) -> tuple[Stand, list[str]]:
    """The drive ready to run, and remarks on what was simplified. DesignError where sections are missing."""
    drive, fit, sized = design.drive, prediction.drive, prediction.motion
    if drive is None:
        remedy = "add [drive] with supply_v, current_limit_peak_a, pwm_khz and sensor_counts"
        rule = "this section is required to simulate"
        raise DesignError(design.source, [Complaint("drive", rule, "nothing", remedy)])
    if fit is None or sized is None or sized.no_load_speed is None:
        reason = prediction.out_of_range or "the coils link no flux"
        raise DesignError(design.source, [Complaint("rotor", "must give a field to simulate", "", reason)])
    remarks: list[str] = []
    ratio, machine, gains = drive.gear_ratio, fit.machine, fit.gains
    load = load_values(design.load) if design.load else without_load()
    voltage_part = sized.voltage_part or 0.1
    plant, substeps = _plant(design, drive, fit, voltage_part, prediction.copper.mass, load, remarks)
    torque = machine.torque_constant * ratio * drive.current_limit
    inertia = load.inertia + machine.rotor_inertia * ratio**2
    motion = design.motion
    goes = motion is not None and (motion.move is not None or motion.stops is not None)
    top = motion.speed if goes and motion is not None and motion.speed else inf
    acceleration = (motion.acceleration if motion else None) or 0.3 * torque / inertia
    return Stand(
        plant=plant,
        control=_control(machine, drive, gains, load, inertia),
        sensor=_sensor(drive),
        substeps=substeps,
        speed=min(top, MODERATE, sized.no_load_speed / 2),
        acceleration=acceleration,
        jerk=(motion.jerk if motion else None) or acceleration / 0.02,
        rest=min(1.5, max(0.1, 1.2 / gains.position_bandwidth)),
        bearing=bearing_angle(drive),
        push=load.standstill + 0.3 * torque,
    ), remarks


def _control(machine: Machine, drive: Drive, gains: Gains, load: LoadValues, inertia: float) -> ControlValues:
    """The gains at the load's side."""
    square = drive.gear_ratio**2
    return ControlValues(
        period=gains.period,
        current_gains=gains.current,
        speed_gain=gains.speed[0] * square,
        speed_integral=gains.speed[1] * square,
        position_gain=gains.position,
        observer=gains.observer,
        current_limit=drive.current_limit,
        voltage_limit=machine.voltage_limit(drive.supply),
        sag=machine.voltage_limit(drive.sag) if drive.sag else 0.0,
        torque_constant=machine.torque_constant * drive.gear_ratio,
        inertia=inertia,
        friction=load.running,
        viscous=load.viscous,
        dead_band=2 * pi / drive.counts / drive.gear_ratio,
    )


def _sensor(drive: Drive) -> SensorValues:
    angles = np.linspace(0, 2 * pi, 1024, endpoint=False)
    errors: tuple[float, ...] = ()
    if drive.sensor_offset > 0:
        if drive.sensor_radius is not None:
            seen = ring_eccentricity_error(angles, drive.sensor_offset, drive.sensor_radius)
        else:
            seen = magnet_eccentricity_error(angles, drive.sensor_offset, drive.sensor_distance)
        errors = tuple(seen.tolist())
    ratio = drive.gear_ratio
    return SensorValues(2 * pi / drive.counts / ratio, errors, ratio, drive.noise / ratio, drive.delay)


def _plant(
    design: Design,
    drive: Drive,
    fit: DriveResult,
    voltage_part: float,
    copper_mass: float,
    load: LoadValues,
    remarks: list[str],
) -> tuple[PlantValues, int]:
    """The plant at the load's side, and how often it must step in a period of control.

    voltage_part: largest phase voltage of the cycle over the limit. copper_mass: of the winding [kg].
    """
    ratio, machine = drive.gear_ratio, fit.machine
    modulation = min(1.0, voltage_part)
    peak, rms = pulse_ripple(
        drive.supply, machine.inductance, drive.pwm, modulation, machine.phases, machine.h_bridges, machine.resistance
    )
    rotor = machine.rotor_inertia * ratio**2
    plant = PlantValues(
        phases=machine.phases,
        pole_pairs=machine.pole_pairs * ratio,
        resistance=machine.resistance,
        inductance=machine.inductance,
        slopes=tuple(slope * ratio for slope in machine.slopes),
        loop_slopes=tuple(slope * ratio / machine.current_factor for slope in machine.loop_slopes),
        loop_inductance=machine.loop.inductance / machine.current_factor**2 if machine.loop else 0.0,
        inertia=rotor + load.inertia,
        running=load.running,
        standstill=load.standstill,
        fading_speed=design.load.fading_speed if design.load else 1.0,
        viscous=load.viscous,
        spots=_spot_table(load),
        unbalance=load.unbalance,
        dead_voltage=4 / pi * drive.supply * drive.dead_time * drive.pwm,
        soft_current=peak / 2,
        heat_capacity=copper_mass * COPPER_HEAT,
        temperature_coefficient=COPPER_TEMPERATURE_COEFFICIENT,
        ripple_rms=rms,
    )
    return _coupled(design, plant, rotor, load.inertia, fit.gains, remarks)


def _spot_table(load: LoadValues) -> tuple[float, ...]:
    angles = (np.arange(1440) + 0.5) * 2 * pi / 1440
    return tuple(spot_friction(angles, load.spots).tolist()) if load.spots else ()


def _coupled(
    design: Design, plant: PlantValues, rotor: float, loaded: float, gains: Gains, remarks: list[str]
) -> tuple[PlantValues, int]:
    """Motor and load apart, where a coupling or play is stated and the loops can feel it."""
    play = design.load.play if design.load else 0.0
    stiffness = design.load.coupling if design.load else None
    if loaded <= 0 or (stiffness is None and play == 0):
        return plant, 1
    reduced = rotor * loaded / (rotor + loaded)
    fastest = 2 / gains.period
    rate = inf if stiffness is None else (stiffness / reduced) ** 0.5
    if rate > fastest and play == 0:
        remarks.append("the coupling swings faster than the loops sample and is taken as rigid")
        return plant, 1
    if stiffness is None:
        rate = 2 * pi * max(CONTACT, 20 * gains.speed_bandwidth)
    rate = min(rate, fastest)
    return (
        replace(plant, inertia=rotor, load_inertia=loaded, stiffness=reduced * rate**2, play=play),
        max(1, ceil(rate * gains.period / PER_SWING)),
    )


def simulation(design: Design, prediction: Prediction, names: tuple[str, ...] = ()) -> Simulation:
    """The named scenarios of a design, all where none is named. DesignError where it lacks what they need."""
    stand, remarks = stand_of(design, prediction)
    done = []
    for name in names or tuple(SCENARIOS):
        title, play = SCENARIOS[name]
        found = play(design, stand, remarks)
        if found is not None:
            trace, numbers = found
            done.append(ScenarioRun(name, title, trace, numbers | runs.common_numbers(trace, stand)))
    return Simulation(prediction, tuple(done), tuple(dict.fromkeys(remarks)))


def _moves(design: Design, stand: Stand, remarks: list[str]) -> tuple[Trace, dict[str, Any]] | None:
    """What [motion] asks for, once, and a rest at the end to settle."""
    cycle = cycle_of(design)
    if cycle is None or (design.recording is not None and not design.recording.angles):
        remarks.append("the scenario moves needs [motion] with angles and was left out")
        return None
    if cycle.turns_for_ever:
        reference = run_up(cycle.top_speed, 0.0, 6.0, stand)
    else:
        moves = [(start, pieces, sense, max(rest, stand.rest)) for start, pieces, sense, rest in cycle.moves]
        begin: Moves = [(moves[0][0], (), 1.0, 0.02)]
        reference = sampled_moves(begin + moves, stand.control.period, stand.most)
        if len(reference[0]) == stand.most:
            remarks.append(f"moves: only the first {stand.most * stand.control.period:.3g} s were run")
    trace = stand.run(reference)
    return trace, runs.following_numbers(trace, reference, stand)


def run_up(speed: float, start: float, duration: float, stand: Stand) -> tuple[FloatArray, FloatArray, FloatArray]:
    """A constant speed after half a second of run-up."""
    rise = Piece(0.5, 0.0, speed / 0.5, 0.0, 0.0)
    steady = Piece(duration, 0.0, 0.0, speed, speed * 0.25)
    return sampled_moves([(start, (rise, steady), 1.0, 0.0)], stand.control.period, stand.most)


def _slow(design: Design, stand: Stand, remarks: list[str]) -> tuple[Trace, dict[str, Any]]:
    """A slow constant turn, over the worst friction spot where there is one."""
    motion = design.motion
    steady = motion is not None and motion.move is None and motion.stops is None and motion.table is None
    speed = min(motion.speed, SLOW) if steady and motion is not None and motion.speed else SLOW
    load = load_values(design.load) if design.load else without_load()
    start = 0.0
    if load.spots:
        middle, width, _ = max(load.spots, key=lambda spot: spot[2])
        start = middle - width / 2 - 3.0 * speed
    trace = stand.run(run_up(speed, start, 11.5, stand))
    return trace, runs.smoothness_numbers(trace, speed)


def _approach(design: Design, stand: Stand, remarks: list[str]) -> tuple[Trace, dict[str, Any]]:
    """A target approached three times from either side."""
    away, target = float(np.radians(5.0)), 0.0
    angles = [target - away]
    for _ in range(3):
        angles += [target, target + away, target, target - away]
    reference = stand.moves(angles, aside=0.2)
    trace = stand.run(reference)
    return trace, runs.approach_numbers(trace, reference, target, stand)


def _steps(design: Design, stand: Stand, remarks: list[str]) -> tuple[Trace, dict[str, Any]]:
    """Equal small steps in one direction."""
    angles = [float(SMALL_STEP) * number for number in range(STEPS + 1)]
    reference = stand.moves(angles)
    trace = stand.run(reference)
    return trace, runs.step_numbers(trace, reference, float(SMALL_STEP), stand)


def _hold(design: Design, stand: Stand, remarks: list[str]) -> tuple[Trace, dict[str, Any]]:
    """A push by hand while it holds: rises in 0.2 s, lasts a second, falls in 0.2 s."""
    period = stand.control.period
    times = np.arange(min(stand.most, round(3.4 / period))) * period
    push = stand.push * np.interp(times, [0.2, 0.4, 1.4, 1.6], [0.0, 1.0, 1.0, 0.0])
    still = np.zeros_like(times)
    trace = stand.run((still, still, still), push)
    return trace, runs.holding_numbers(trace, stand.push)


Play = Callable[["Design", Stand, list[str]], tuple[Trace, dict[str, Any]] | None]
SCENARIOS: dict[str, tuple[str, Play]] = {
    "moves": ("the design's own motion", _moves),
    "slow": ("a slow constant turn", _slow),
    "approach": ("a target from both sides", _approach),
    "steps": ("equal small steps of 0.5 degree", _steps),
    "hold": ("a push by hand while it holds", _hold),
}
