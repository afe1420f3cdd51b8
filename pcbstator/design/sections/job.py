"""The job of the drive: what it carries, how it shall move, and what feeds and measures it.

``[load]`` and ``[motion]`` speak of the load; with a gear the motor turns ``drive.gear_ratio`` times as far.
"""

from __future__ import annotations

from math import degrees as degrees_of
from math import pi
from typing import Annotated, Literal

from annotated_types import Len

from pcbstator.design.quantities import (
    LEAST,
    Count,
    Quantity,
    QuantityList,
    Record,
    TableList,
    Text,
    amperes,
    celsius,
    key,
    millimetres,
    percent,
    revolutions_per_minute,
    watts_per_kelvin,
    watts_per_square_metre_kelvin,
)
from pcbstator.design.sections.bodies import Bar, Body, Disc, Point, Ring

DEGREES = degrees_of(1.0)  # in a radian
LARGEST_INERTIA = 1e4  # kg m2
LARGEST_TORQUE = 1e5  # N m
LEAST_TORQUE = 1e-9  # N m; the friction of a watch's balance is above it (from memory)
LEAST_TIME = 1e-6  # s; no drive knows a shorter one
LEAST_MOVE = 1e-3  # degrees
DROP = 0.05  # V of a switch that conducts, where neither it nor a resistance is stated (common practice, no source)
AXIS_FIELD, RING_FIELD = 50e-3, 20e-3  # T at the chip of a magnetic sensor (common practice, no source)
SENSOR_POLE = 2e-3  # m along a ring of poles (common practice, no source)
MOST_BODIES = 50


def newton_metres(low: float, high: float) -> Quantity:
    """A torque."""
    return Quantity("N·m", 1.0, low, high, LEAST_TORQUE)


def degrees(low: float, high: float, unit: str = "deg") -> Quantity:
    """An angle, or its rate, that the file gives in degrees; radians inside."""
    return Quantity(unit, DEGREES, low, high)


def seconds(low: float, high: float, unit: str = "s", per_si: float = 1.0) -> Quantity:
    """A time; of those in seconds, none shorter than a drive knows."""
    return Quantity(unit, per_si, low, high, LEAST_TIME if unit == "s" else LEAST)


def volts(low: float, high: float) -> Quantity:
    """A voltage."""
    return Quantity("V", 1.0, low, high)


def kilohertz(low: float, high: float) -> Quantity:
    """A frequency that the file gives in kHz."""
    return Quantity("kHz", 1e-3, low, high)


def hertz(low: float, high: float) -> Quantity:
    """A frequency."""
    return Quantity("Hz", 1.0, low, high)


def watts(low: float, high: float) -> Quantity:
    """A power."""
    return Quantity("W", 1.0, low, high)


Bodies = Annotated[tuple[Body, ...], Len(1, MOST_BODIES), TableList((Disc, Ring, Bar, Point), MOST_BODIES)]


class Load(Record):
    """What the drive turns, at the load's side of a gear."""

    inertia: Annotated[float, Quantity("kg·m²", 1.0, 0, LARGEST_INERTIA)] = key(
        "inertia_kg_m2", "of the load about the axis; the rotor's own comes from the design", 0.0, example=0.002
    )
    bodies: Bodies | None = key(
        "bodies", "discs, rings, bars and points whose inertia is added", None,
        example=[{"shape": "disc", "mass_g": 300.0, "diameter_mm": 180.0}], otherwise="none",
    )  # fmt: skip
    unbalance: Annotated[float, newton_metres(0, LARGEST_TORQUE)] = key(
        "unbalance_n_m", "peak torque of gravity on a load off its centre, axis level", 0.0
    )
    play: Annotated[float, degrees(0, 30)] = key("play_deg", "free play between motor and load, in all", 0.0)
    coupling: Annotated[float, Quantity("N·m/rad", 1.0, 0.01, 1e7)] | None = key(
        "coupling_n_m_per_rad", "stiffness between motor and load, at the load", None, example=500.0, otherwise="rigid"
    )


class Motion(Record):
    """How the load shall move: one move, a list of stops, a recorded table, or a constant speed."""

    move: Annotated[float, degrees(LEAST_MOVE, 1e6)] | None = key(
        "move_deg", "length of the move", None, example=90.0, otherwise="constant speed, stops_deg or table_csv"
    )
    stops: Annotated[tuple[float, ...], QuantityList(degrees(-1e6, 1e6), 200)] | None = key(
        "stops_deg", "angles to stop at in turn, then back to the first; instead of move_deg", None,
        example=[0.0, 72.0, 144.0], otherwise="none",
    )  # fmt: skip
    table: Annotated[str, Text(200)] | None = key(
        "table_csv", "recorded motion beside the design: columns time_s and angle_deg or torque_n_m", None,
        example="recorded.csv", otherwise="none",
    )  # fmt: skip
    speed: Annotated[float, revolutions_per_minute(1e-6, 100_000)] | None = key(
        "speed_rpm", "highest speed of a move, or the constant speed", None, example=20.0, otherwise="as the table says"
    )
    acceleration: Annotated[float, degrees(1e-3, 1e8, "deg/s²")] | None = key(
        "acceleration_deg_s2", "of a move, starting and braking", None, example=360.0, otherwise="constant speed only"
    )
    jerk: Annotated[float, degrees(1e-3, 1e12, "deg/s³")] | None = key(
        "jerk_deg_s3", "limit of the growth of the acceleration", None, example=7200.0,
        otherwise="the acceleration steps",
    )  # fmt: skip
    dwell: Annotated[float, seconds(0, 1e6)] = key("dwell_s", "rest after each move", 0.0, example=1.0)
    hold: Annotated[float, newton_metres(0, LARGEST_TORQUE)] = key(
        "hold_n_m", "torque to hold against during that rest", 0.0
    )


class Drive(Record):
    """Supply, driver and sensor."""

    supply: Annotated[float, volts(0.5, 1000)] = key("supply_v", "direct voltage of the driver", example=24.0)
    sag: Annotated[float, volts(0, 500)] = key("supply_sag_v", "by which it drops at the current limit", 0.0)
    current_limit: Annotated[float, amperes(1e-3, 2000)] = key(
        "current_limit_peak_a", "peak current of a terminal that the driver allows", example=1.0
    )
    pwm: Annotated[float, kilohertz(1, 1000)] = key("pwm_khz", "switching frequency", example=50.0)
    choke: Annotated[float, Quantity("uH", 1e6, 0, 1e6)] = key(
        "choke_uh",
        "choke in each terminal's wire against current ripple, its resistance small beside the winding's",
        0.0,
    )
    stated_control: Annotated[float, kilohertz(0.5, 100)] | None = key(
        "control_khz", "rate of the control loops", None, example=10.0,
        otherwise="the switching frequency, or its largest whole part up to 20 kHz",
    )  # fmt: skip
    dead_time: Annotated[float, seconds(0, 5000, "ns", 1e9)] = key(
        "dead_time_ns", "of the half bridges, at each change", 100.0
    )
    stated_voltage_drop: Annotated[float, volts(0, 10)] | None = key(
        "voltage_drop_v", "of a switch of the bridge that conducts, beside its resistance", None, example=0.05,
        otherwise="0.05, or 0 with switch_resistance_mohm",
    )  # fmt: skip
    switch_resistance: Annotated[float, Quantity("mohm", 1e3, 0, 10_000)] = key(
        "switch_resistance_mohm", "on-resistance of a switch of the bridge at 25 C, as data sheets have it", 0.0
    )
    switching_time: Annotated[float, seconds(0, 5000, "ns", 1e9)] = key(
        "switching_time_ns", "in which the voltage of a half bridge rises or falls, for its loss", 0.0
    )
    switching_loss: Annotated[float, watts(0, 1000)] = key(
        "switching_loss_w", "of all half bridges at current_limit_peak_a, instead of switching_time_ns", 0.0
    )
    quiescent: Annotated[float, watts(0, 1000)] = key(
        "quiescent_w", "what driver and controller take without current, their gates included", 0.0
    )
    cable_length: Annotated[float, millimetres(0, 100_000)] = key(
        "cable_length_mm", "of each wire from driver to stator", 0.0
    )
    cable_section: Annotated[float, Quantity("mm2", 1e6, 0.01, 200)] | None = key(
        "cable_section_mm2", "copper of each of these wires", None, example=0.5, otherwise="required with a length"
    )
    driver_area: Annotated[float, Quantity("mm2", 1e6, 1, 1e7)] | None = key(
        "driver_area_mm2", "faces of a driver inside the ring that give its heat to the air", None, example=2000.0,
        otherwise="the driver is elsewhere and heats nothing here",
    )  # fmt: skip
    driver_coefficient: Annotated[float, watts_per_square_metre_kelvin(0.1, 1000)] = key(
        "driver_coefficient_w_per_m2k", "what still air and radiation take from these faces", 10.0
    )
    driver_to_board: Annotated[float, watts_per_kelvin(0, 1000)] = key(
        "driver_to_board_w_per_k", "from that driver to the inner edge of the stator, through screws or a pad", 0.0
    )
    driver_limit_c: Annotated[float, celsius(30, 250)] = key("driver_limit_c", "hottest that driver may get", 85.0)
    current_offset: Annotated[float, percent(0, 20)] = key(
        "current_offset_percent", "offset of each phase's current sensor, part of current_limit_peak_a", 0.5
    )
    current_gain_error: Annotated[float, percent(0, 50)] = key(
        "current_gain_error_percent", "difference of the gains of the phases' current sensors", 1.0
    )
    counts: Annotated[int, Count(range(16, 1 << 28))] = key(
        "sensor_counts", "positions per turn of the motor that the sensor tells apart", example=16384
    )
    noise: Annotated[float, degrees(0, 10)] = key("sensor_noise_deg", "of the sensor, rms", 0.0)
    sensor_offset: Annotated[float, millimetres(0, 20)] = key(
        "sensor_offset_mm", "by which the sensor's chip is off the axis of its magnet, or its ring off centre", 0.0
    )
    sensor_distance: Annotated[float, millimetres(0.2, 100)] = key(
        "sensor_distance_mm", "from a chip on the axis to the middle of its magnet", 3.0
    )
    sensor_radius: Annotated[float, millimetres(1, 1000)] | None = key(
        "sensor_radius_mm", "radius of a ring of marks or poles that one head reads", None, example=25.0,
        otherwise="a magnet on the axis",
    )  # fmt: skip
    sensor_principle: Literal["unstated", "magnetic", "optical", "inductive"] = key(
        "sensor_principle", 'of the sensor: the stray field of the rotor disturbs a "magnetic" one', "unstated"
    )
    sensor_height: Annotated[float, millimetres(-200, 200)] = key(
        "sensor_height_mm", "of a magnetic sensor's chip above the board's face to the rotor, negative below it", 0.0
    )
    stated_sensor_field: Annotated[float, Quantity("mT", 1e3, 0.1, 1000)] | None = key(
        "sensor_field_mt", "that a magnetic sensor's own magnet, or ring of poles, makes at its chip", None,
        example=50.0,
        otherwise="50 on the axis, 20 at a ring of poles (common practice, no source)",
    )  # fmt: skip
    stated_sensor_pole_pairs: Annotated[int, Count(range(1, 2001))] | None = key(
        "sensor_pole_pairs", "of a magnetic sensor's own magnet or ring of poles", None, example=48,
        otherwise="1 on the axis, poles of 2 mm at a ring (common practice, no source)",
    )  # fmt: skip
    delay: Annotated[float, seconds(0, 10_000, "us", 1e6)] = key("sensor_delay_us", "age of the sensor's angle", 0.0)
    mark_radius: Annotated[float, millimetres(0.5, 10_000)] | None = key(
        "mark_radius_mm", "radius at which the position counts", None, example=60.0, otherwise="angles only"
    )
    gear_ratio: Annotated[float, Quantity("", 1.0, 0.01, 10_000)] = key(
        "gear_ratio", "turns of the motor for one of the load", 1.0
    )
    stated_current_bandwidth: Annotated[float, hertz(1, 20_000)] | None = key(
        "current_bandwidth_hz", "of the current loop", None, example=500.0, otherwise="a twentieth of the control rate"
    )
    stated_speed_bandwidth: Annotated[float, hertz(0.01, 2000)] | None = key(
        "speed_bandwidth_hz", "of the speed loop", None, example=20.0,
        otherwise="what current loop, sensor and coupling allow",
    )  # fmt: skip
    stated_position_bandwidth: Annotated[float, hertz(0.001, 1000)] | None = key(
        "position_bandwidth_hz", "of the position loop", None, example=5.0, otherwise="a fifth of the speed loop"
    )

    @property
    def voltage_drop(self) -> float:
        """Of a switch that conducts, beside its resistance [V]."""
        if self.stated_voltage_drop is not None:
            return self.stated_voltage_drop
        return 0.0 if self.switch_resistance > 0 else DROP

    @property
    def losses_stated(self) -> bool:
        """Whether the file says anything of what driver and wires lose; without a word they lose nothing."""
        stated = self.switch_resistance, self.switching_time, self.switching_loss, self.quiescent, self.cable_length
        return any(stated) or self.driver_area is not None

    @property
    def control(self) -> float:
        """Rate of the control loops [Hz]."""
        if self.stated_control is not None:
            return self.stated_control
        return self.pwm / max(1, -(-self.pwm // 20_000.0))

    @property
    def sensor_field(self) -> float:
        """Flux density of a magnetic sensor's own magnet at its chip [T]."""
        if self.stated_sensor_field is not None:
            return self.stated_sensor_field
        return AXIS_FIELD if self.sensor_radius is None else RING_FIELD

    @property
    def sensor_pole_pairs(self) -> int:
        """Pole pairs of a magnetic sensor's own magnet or ring."""
        if self.stated_sensor_pole_pairs is not None:
            return self.stated_sensor_pole_pairs
        return 1 if self.sensor_radius is None else max(1, round(pi * self.sensor_radius / SENSOR_POLE))
