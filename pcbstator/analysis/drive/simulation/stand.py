"""The drive ready to run in a simulation, in the frame of the load: plant, control, sensor, and the limits of moves."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from math import ceil, inf, pi
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from pcbstator.analysis.drive.asked_values import moderate_limits, stated_limits
from pcbstator.analysis.drive.equivalent_machine import COPPER_HEAT, Machine, built_slopes
from pcbstator.analysis.drive.gains import Gains
from pcbstator.analysis.drive.load_cycle import LoadValues, Moves, load_values
from pcbstator.analysis.drive.positioning import bearing_angle
from pcbstator.analysis.drive.records import DriveResult
from pcbstator.analysis.prediction import Prediction
from pcbstator.design.sections.job import Drive
from pcbstator.errors import Complaint, DesignError
from pcbstator.physics.conductors.resistance import COPPER_TEMPERATURE_COEFFICIENT
from pcbstator.physics.drive.driver_errors import current_gain_vector, current_offset_vector, leg_voltage_loss
from pcbstator.physics.drive.friction import spot_friction
from pcbstator.physics.drive.motion import rest_to_rest, sampled_moves
from pcbstator.physics.drive.plant import PlantValues
from pcbstator.physics.drive.positioning import magnet_eccentricity_error, ring_eccentricity_error
from pcbstator.physics.drive.simulation import ControlValues, SensorValues, Trace, simulated
from pcbstator.physics.drive.supply import pulse_ripple

if TYPE_CHECKING:
    from pcbstator.analysis.magnetic.surroundings import SurroundingsResult
    from pcbstator.design import SizedDesign

FloatArray = NDArray[np.float64]

MOST_STEPS = 2_000_000  # of a run: less than a second of work
UNCOOLED = 5.0  # s for which copper that gives no heat away is near enough
KEPT = 4000  # points of a trace, about
CONTACT = 100.0  # Hz: play closes on stops at least this stiff
TURN = np.linspace(0, 2 * pi, 4096, endpoint=False)  # where errors and cogging are found, of the motor
PER_SWING = 0.25  # of a radian, the longest step of the coupling's swing


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
    surroundings: SurroundingsResult | None = None

    def run(
        self, reference: tuple[FloatArray, FloatArray, FloatArray], push: FloatArray | None = None, points: int = KEPT
    ) -> Trace:
        """A run from rest, of which about so many points are kept.

        The copper heats in short runs only: without cooling a long one would soon be far too hot.
        """
        keep = max(1, len(reference[0]) // points)
        plant = self.plant
        if len(reference[0]) * self.control.period > UNCOOLED:
            plant = replace(plant, heat_capacity=inf)
        return simulated(plant, self.control, self.sensor, reference, push, self.substeps, keep)

    @property
    def most(self) -> int:
        """Samples that a run may have."""
        return MOST_STEPS // self.substeps

    def moves(
        self, angles: list[float], rest: float, aside: float | None = None
    ) -> tuple[FloatArray, FloatArray, FloatArray]:
        """From angle to angle, a rest [s] after each; the first is where it begins. ``aside``: rest [s] where it only
        turns round, at every other angle.
        """
        listed: Moves = [(angles[0], (), 1.0, 0.02)]
        for number, (start, end) in enumerate(pairwise(angles)):
            pieces = rest_to_rest(abs(end - start), self.speed, self.acceleration, self.jerk)
            pause = aside if aside is not None and number % 2 else rest
            listed.append((start, pieces, 1.0 if end > start else -1.0, pause))
        return sampled_moves(listed, self.control.period, self.most)


def stand_of(design: SizedDesign, prediction: Prediction, rotor: int | None = None) -> tuple[Stand, list[str]]:
    """The drive ready to run, and remarks on what was simplified; rotor: number of a motor drawn by ``[build]``, None
    for the perfect one. DesignError where sections are missing.
    """
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
    load = load_values(design.load, design.bearing)
    voltage_part = sized.voltage_part or 0.1
    plant, substeps = _plant(design, drive, fit, voltage_part, prediction.copper.mass, load, remarks)
    around = prediction.surroundings
    if around is not None and around.cogging is not None:
        plant = replace(plant, cogging=tuple((ratio * around.cogging.at(TURN)).tolist()), motor_turns=ratio)
    if rotor is not None:
        plant = _built(design, prediction, plant, rotor)
        remarks.append(f"the magnets are those of motor {rotor} drawn by [build]")
    torque = machine.torque_constant * ratio * drive.current_limit
    inertia = load.inertia + machine.rotor_inertia * ratio**2
    speed, acceleration, jerk = moderate_limits(torque, inertia, sized.no_load_speed, *stated_limits(design.motion))
    return Stand(
        plant=plant,
        control=_control(machine, drive, gains, load, inertia),
        sensor=_sensor(drive, machine.phases, () if around is None else around.sensor_orders),
        substeps=substeps,
        speed=speed,
        acceleration=acceleration,
        jerk=jerk,
        rest=min(1.5, max(0.1, 1.2 / gains.position_bandwidth)),
        bearing=bearing_angle(drive, design.bearing),
        push=load.standstill + 0.3 * torque,
        surroundings=around,
    ), remarks


def _built(design: SizedDesign, prediction: Prediction, plant: PlantValues, rotor: int) -> PlantValues:
    """The plant with the magnets of a drawn motor, over a whole turn of the rotor."""
    if prediction.build is None or prediction.build.drawn is None:
        remedy = "add [build], its defaults will do"
        rule = "this section is required to run a drawn rotor"
        raise DesignError(design.source, [Complaint("build", rule, "nothing", remedy)])
    pole_pairs, ratio = design.rotor.poles // 2, design.drive.gear_ratio if design.drive else 1.0
    slopes = built_slopes(prediction.build.drawn(rotor), pole_pairs, design.winding.connection) * ratio
    common = tuple(np.tile(plant.loop_slopes, pole_pairs).tolist()) if plant.loop_slopes else ()
    return replace(plant, slopes=tuple(slopes.tolist()), loop_slopes=common, electrical_turns=pole_pairs)


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


def _sensor(drive: Drive, phases: int, stray: Sequence[tuple[int, float]]) -> SensorValues:
    """stray: orders per turn of the motor of the errors that the rotor's stray field makes, and their peaks [rad]."""
    seen = np.zeros(len(TURN))
    if drive.sensor_offset > 0 and drive.sensor_radius is not None:
        seen = ring_eccentricity_error(TURN, drive.sensor_offset, drive.sensor_radius)
    elif drive.sensor_offset > 0:
        seen = magnet_eccentricity_error(TURN, drive.sensor_offset, drive.sensor_distance)
    for order, peak in stray:
        seen = seen + peak * np.cos(order * TURN)
    errors = tuple(seen.tolist()) if seen.any() else ()
    ratio = drive.gear_ratio
    gain, image = current_gain_vector(drive.current_gain_error, phases)
    return SensorValues(
        count=2 * pi / drive.counts / ratio,
        errors=errors,
        turns=ratio,
        noise=drive.noise / ratio,
        delay=drive.delay,
        current_gain_error=gain,
        current_image=image,
        current_offset=current_offset_vector(drive.current_offset * drive.current_limit, phases),
    )


def _plant(
    design: SizedDesign,
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
    legs = 2 if machine.h_bridges or machine.phases == 2 else 1  # that a phase's current runs through
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
        fading_speed=load.fading_speed,
        viscous=load.viscous,
        spots=_spot_table(load),
        unbalance=load.unbalance,
        leg_loss=legs * leg_voltage_loss(drive.supply, drive.dead_time, drive.pwm, drive.voltage_drop),
        soft_current=peak / 2,
        heat_capacity=copper_mass * COPPER_HEAT / machine.winding_part,  # the rest of the loss heats something else
        temperature_coefficient=COPPER_TEMPERATURE_COEFFICIENT,
        ripple_rms=rms,
    )
    return _coupled(design, plant, rotor, load.inertia, fit.gains, remarks)


def _spot_table(load: LoadValues) -> tuple[float, ...]:
    angles = (np.arange(1440) + 0.5) * 2 * pi / 1440
    return tuple(spot_friction(angles, load.spots).tolist()) if load.spots else ()


def _coupled(
    design: SizedDesign, plant: PlantValues, rotor: float, loaded: float, gains: Gains, remarks: list[str]
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
