"""What the motor works at: working points, cooling, and how far the built one may lie from its numbers."""

from __future__ import annotations

from typing import Annotated, Literal

from pcbstator.design.quantities import (
    QuantityList,
    Record,
    amperes,
    celsius,
    kelvins,
    key,
    micrometres,
    millimetres,
    percent,
    revolutions_per_minute,
    seconds,
    watts_per_kelvin,
    watts_per_square_metre_kelvin,
)


class Operation(Record):
    """Working points at which losses are wanted."""

    speeds: Annotated[tuple[float, ...], QuantityList(revolutions_per_minute(0, 100_000), 20)] = key(
        "speeds_rpm", "speeds of the rotor", example=[60.0, 600.0]
    )
    currents: Annotated[tuple[float, ...], QuantityList(amperes(0, 1000), 20)] = key(
        "phase_currents_peak_a", "peak phase currents, sine", example=[0.0, 0.5]
    )
    copper_c: Annotated[float, celsius(-50, 200)] = key(
        "copper_c", "temperature of the copper at these working points", 80.0
    )


class Cooling(Record):
    """Where the heat goes and what must not get too hot. Without this section the defaults hold, on the safe side."""

    ambient_c: Annotated[float, celsius(-40, 85)] = key("ambient_c", "of the air, the surroundings and the mount", 25.0)
    stated_board_max_c: Annotated[float, celsius(-30, 250)] | None = key(
        "board_max_c", "hottest place of the board that is allowed for years", None, example=105.0,
        otherwise="105, or 130 from a laminate_tg_c of 170; at most 20 below laminate_tg_c",
    )  # fmt: skip
    stated_magnet_max_c: Annotated[float, celsius(-30, 250)] | None = key(
        "magnet_max_c", "hottest the magnets may get", None, example=80.0,
        otherwise="the limit of the grade; without a grade 80",
    )  # fmt: skip
    orientation: Literal["rotor-up", "rotor-down", "upright"] = key(
        "orientation", "board flat with the rotor above or below it, or upright", "rotor-up"
    )
    far_face: Literal["open", "covered", "clamped"] = key(
        "far_face", "board's face away from a single rotor: in air, shut in, or on a plate that takes heat", "open"
    )
    beyond_rotor: Literal["covered", "open"] = key(
        "beyond_rotor", "rotor-side face where no magnet or steel faces it", "covered"
    )
    mount_conductance: Annotated[float, watts_per_kelvin(0, 1000)] = key(
        "mount_conductance_w_per_k", "from the board's clamped edge, or its clamped face, to a mount at ambient_c", 0.0
    )
    mount_rim: Literal["outer", "inner"] = key(
        "mount_rim", "edge of the board that is clamped, unless its face is", "outer"
    )
    airflow: Annotated[float, watts_per_square_metre_kelvin(0.1, 1000)] | None = key(
        "airflow_w_per_m2k", "what moving air takes from open faces", None, example=20.0, otherwise="still air"
    )
    speed: Annotated[float, revolutions_per_minute(0, 100_000)] | None = key(
        "speed_rpm", "rotor's speed at continuous duty: eddies in the tracks, air along the rotor", None,
        example=600.0, otherwise="eddies as at the highest speed of [operation], air as at standstill",
    )  # fmt: skip
    trace_rise: Annotated[float, kelvins(10, 100)] = key(
        "trace_rise_c", "rise of an isolated trace for the standards' currents", 20.0
    )
    duty: Literal["continuous", "on-off", "motion"] = key(
        "duty",
        "continuous current, or on and off periodically; the cycle of [motion] is looked at in any case",
        "continuous",
    )
    on: Annotated[float, seconds(1e-3, 1e6)] | None = key(
        "on_s", 'current on, for duty = "on-off"', None, example=10.0, otherwise="none"
    )
    off: Annotated[float, seconds(1e-3, 1e6)] | None = key(
        "off_s", 'current off, for duty = "on-off"', None, example=50.0, otherwise="none"
    )


class Tolerance(Record):
    """How far the built motor may lie from the numbers above: ranges that hold 90 % of what is made."""

    remanence: Annotated[float, percent(0, 20)] = key("remanence_percent", "of the magnets, either way", 2.0)
    air_gap: Annotated[float, millimetres(0, 10)] = key("air_gap_mm", "of the air gap, either way", 0.1)
    track_width: Annotated[float, micrometres(0, 500)] = key("track_width_um", "of the etched width, either way", 20.0)
    outer_copper: Annotated[tuple[float, ...], QuantityList(micrometres(5, 500), 2)] | None = key(
        "outer_copper_um", "least and most finished copper of the faces", None, example=[33.0, 50.0],
        otherwise="by IPC-6012 from the ordered weight",
    )  # fmt: skip
    inner_copper: Annotated[tuple[float, ...], QuantityList(micrometres(5, 500), 2)] | None = key(
        "inner_copper_um", "least and most finished copper of the layers inside", None, example=[25.0, 35.0],
        otherwise="by IPC-6012 from the ordered weight",
    )  # fmt: skip
