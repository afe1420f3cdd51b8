"""What the motor turns on: play and stiffness, what it may carry, and its friction."""

from __future__ import annotations

from typing import Annotated

from annotated_types import Len

from pcbstator.design.quantities import Quantity, Record, TableList, key, millimetres, revolutions_per_minute
from pcbstator.design.sections.job import DEGREES, LARGEST_TORQUE, degrees, newton_metres

MOST_SPOTS = 50


class FrictionSpot(Record):
    """A place of the turn with more friction."""

    angle: Annotated[float, degrees(0, 360)] = key("angle_deg", "its middle", example=40.0)
    width: Annotated[float, degrees(0.01, 360)] = key("width_deg", "from end to end", example=10.0)
    extra: Annotated[float, newton_metres(0, LARGEST_TORQUE)] = key("extra_n_m", "what comes on top", example=0.002)


class Bearing(Record):
    """The bearing of the rotor and what it carries; friction is that at the load's side of a gear."""

    friction: Annotated[float, newton_metres(0, LARGEST_TORQUE)] = key(
        "friction_n_m", "while it moves, of bearings, seals and gear", 0.0, example=0.004
    )
    stated_standstill_friction: Annotated[float, newton_metres(0, LARGEST_TORQUE)] | None = key(
        "standstill_friction_n_m", "torque that starts it, at least friction_n_m", None, example=0.006,
        otherwise="friction_n_m",
    )  # fmt: skip
    fading_speed: Annotated[float, revolutions_per_minute(1e-4, 1000)] = key(
        "standstill_fades_rpm", "speed by which most of the standstill friction has faded", 0.5
    )
    viscous: Annotated[float, Quantity("N·m·s/rad", 1.0, 0, 1e4)] = key(
        "viscous_n_m_s_per_rad", "friction that grows with speed", 0.0
    )
    spots: Annotated[tuple[FrictionSpot, ...], Len(1, MOST_SPOTS), TableList((FrictionSpot,), MOST_SPOTS)] | None = key(
        "friction_spots", "places of more friction: middle, width, and what comes on top", None,
        example=[{"angle_deg": 40.0, "width_deg": 10.0, "extra_n_m": 0.002}], otherwise="none",
    )  # fmt: skip
    radial_play: Annotated[float, millimetres(0, 10)] = key(
        "radial_play_mm", "by which it can shift sideways, in all", 0.0
    )
    axial_play: Annotated[float, millimetres(0, 10)] = key(
        "axial_play_mm", "by which it can shift along the axis, in all; air_gap_mm holds in its middle", 0.0
    )
    axial_stiffness: Annotated[float, Quantity("N/mm", 1e-3, 1e-3, 1e9)] | None = key(
        "axial_stiffness_n_per_mm", "force along the axis per shift, play taken up", None, example=2000.0,
        otherwise="rigid",
    )  # fmt: skip
    tilt_stiffness: Annotated[float, Quantity("N·m/deg", 1 / DEGREES, 1e-6, 1e9)] | None = key(
        "tilt_stiffness_n_m_per_deg", "moment across the axis per tilt, play taken up", None, example=20.0,
        otherwise="rigid",
    )  # fmt: skip
    allowed_axial_load: Annotated[float, Quantity("N", 1.0, 1e-6, 1e7)] | None = key(
        "allowed_axial_load_n", "along the axis, as its maker allows", None, example=100.0, otherwise="not checked"
    )
    allowed_tilting_moment: Annotated[float, newton_metres(1e-6, LARGEST_TORQUE)] | None = key(
        "allowed_tilting_moment_n_m", "across the axis, as its maker allows", None, example=2.0,
        otherwise="not checked",
    )  # fmt: skip
    circle_diameter: Annotated[float, millimetres(1, 2000)] | None = key(
        "circle_diameter_mm", "through the middles of its balls, for the stray field there", None, example=50.0,
        otherwise="no stray field is given",
    )  # fmt: skip
    height: Annotated[float, millimetres(-200, 200)] = key(
        "height_mm", "of those middles above the board's face to the rotor, negative below it", 0.0
    )

    @property
    def standstill_friction(self) -> float:
        """Torque that starts the load [N m]."""
        return self.friction if self.stated_standstill_friction is None else self.stated_standstill_friction
