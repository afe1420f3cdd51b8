"""What a design says of its cooling: the section or its defaults, limits of temperature, assumptions in words."""

from __future__ import annotations

from math import pi
from typing import TYPE_CHECKING

from pcbstator import materials
from pcbstator.design.sections.work import Cooling

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign

DEFAULT_COOLING = Cooling()


def cooling_of(design: SizedDesign) -> Cooling:
    """The design's [cooling], or the defaults."""
    return design.cooling or DEFAULT_COOLING


def rotor_limits(design: SizedDesign) -> dict[str, float]:
    """Highest temperatures [C] of the magnets and, where a plate is stated, of their glue and of the plate."""
    stated, rotor = cooling_of(design).stated_magnet_max_c, design.rotor
    limits = {"magnet": materials.magnet_limit(rotor.magnet.grade) if stated is None else stated}
    if rotor.plate is not None:
        limits["glue"] = materials.glue_limit() if rotor.glue_max_c is None else rotor.glue_max_c
        limits["plate"] = rotor.plate.values.max_c
    return limits


def heat_limits(design: SizedDesign) -> tuple[float, float]:
    """Highest temperatures of board and rotor [C]; that of the rotor is the least of its parts'."""
    board = cooling_of(design).stated_board_max_c
    return (
        materials.board_limit(design.board.laminate_tg_c) if board is None else board,
        min(rotor_limits(design).values()),
    )


def weakest_of_rotor(design: SizedDesign) -> str:
    """What the rotor's limit is, in words: "magnets (80 C)"."""
    limits = rotor_limits(design)
    part = min(limits, key=lambda name: limits[name])
    words = {"magnet": "magnets", "glue": "glue of the magnets", "plate": "rotor plate"}
    return f"{words[part]} ({limits[part]:g} C)"


def magnet_strength(design: SizedDesign, temperature_c: float) -> float:
    """Remanence of the magnets at a temperature [C] over that which the design counts with [-], 1 at most.

    A stated remanence is that at work; a grade's is taken on from the temperature that the file gives.
    """
    magnet, coefficient = design.rotor.magnet, materials.neodymium().remanence_coefficient
    if magnet.stated_remanence is not None:
        return 1.0
    asked = 1 + coefficient * (magnet.temperature_c - materials.REFERENCE_TEMPERATURE_C)
    return min(1.0, max(1 + coefficient * (temperature_c - magnet.temperature_c) / asked, 0.0))


def eddy_speed(design: SizedDesign) -> float:
    """Speed [rad/s] for the eddies in continuous duty."""
    if cooling_of(design).speed is not None:
        return float(cooling_of(design).speed or 0.0)
    return max(design.operation.speeds) if design.operation else 0.0


def _through_plate(design: SizedDesign) -> str:
    plate = design.rotor.plate
    return "" if plate is None else f" through {1e3 * plate.thickness:g} mm of {plate.material}"


def assumptions(design: SizedDesign) -> tuple[str, ...]:
    """What the heat balance takes for granted, in words."""
    cooling, double = cooling_of(design), design.rotor.arrangement == "double"
    place = {"rotor-up": "board flat, rotor above", "rotor-down": "board flat, rotor below", "upright": "board upright"}
    words = [
        f"ambient {cooling.ambient_c:g} C",
        place[cooling.orientation] if not double or cooling.orientation == "upright" else "board flat between rotors",
        "still air" if cooling.airflow is None else f"{cooling.airflow:g} W/(m2 K) from moving air at open faces",
        f"mount {cooling.mount_conductance:g} W/K" if cooling.mount_conductance else "nothing clamped",
        "air gap as still air",
        "bore closed to the air",
        "magnets and steel without losses, free to the air behind" + _through_plate(design),
    ]
    if cooling.far_face == "covered" and not double:
        words.append("far face shut in")
    if cooling.beyond_rotor == "covered":
        words.append("no heat from the rotor-side face where no magnet or steel faces it")
    drive = design.drive
    if drive is not None and drive.driver_area is not None:
        contact = (
            f", {drive.driver_to_board:g} W/K to the board" if drive.driver_to_board else ", no contact to the board"
        )
        words.append(
            f"driver in the ring: {1e6 * drive.driver_area:g} mm2 at {drive.driver_coefficient:g} W/(m2 K) to air at "
            f"ambient temperature{contact}"
        )
    speed = eddy_speed(design)
    if speed > 0:
        air = "the rotor's own air counted" if cooling.speed else "air as at standstill"
        words.append(f"eddies at {speed * 30 / pi:.5g} rpm, {air}")
    return tuple(words)
