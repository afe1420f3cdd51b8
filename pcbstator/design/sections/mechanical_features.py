"""What shares the board with the winding: holes, slots, tabs, keep-outs and a thermistor; SI and radians.

Each of the first four is a list of tables, ``[[board.holes]]`` and so on. Angles count counter-clockwise from +x, seen
from the rotor side. Rules between the keys of one table are in ``entries.py``.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pcbstator.design.quantities import Count, CountList, Record, Text, YesNo, direction, key, millimetres
from pcbstator.design.sections.fasteners import Screw

LARGEST_CIRCLE = 2100.0  # mm
MOST_COPIES = 72  # of one table around the circle
MOST_TABLES = 24  # in one list

Circle = Annotated[float, millimetres(0, LARGEST_CIRCLE)]
Copies = Annotated[int, Count(range(1, MOST_COPIES + 1))]
Angle = Annotated[float, direction(-360, 360)]


class HoleCircle(Record):
    """Equal holes on a circle."""

    diameter: Annotated[float, millimetres(0.2, 100)] = key("diameter_mm", "of the finished hole", example=3.2)
    circle_diameter: Circle = key("circle_diameter_mm", "through the holes' middles, 0 for the centre", example=90.0)
    count: Copies = key("count", "holes, evenly around the circle", 1)
    first_angle: Angle = key("first_angle_deg", "of the first hole, counter-clockwise from +x", 0.0)


class Hole(Screw, HoleCircle):
    """Holes of the board, for screws or wires."""

    plated: Annotated[bool, YesNo()] = key("plated", "copper on the wall and a pad on both faces", False)
    pad: Annotated[float, millimetres(0.4, 120)] | None = key(
        "pad_mm", "diameter of the copper around a plated hole", None, example=6.0, otherwise="required where plated"
    )


class Slot(Record):
    """Equal straight slots with round ends, routed, without copper on the wall."""

    width: Annotated[float, millimetres(0.5, 100)] = key("width_mm", "of the slot", example=2.0)
    length: Annotated[float, millimetres(0.6, 1000)] = key("length_mm", "from end to end", example=6.0)
    direction: Literal["radial", "tangential"] = key("direction", "of the slot's length", "radial")
    circle_diameter: Circle = key("circle_diameter_mm", "through the slots' middles", example=90.0)
    count: Copies = key("count", "slots, evenly around the circle", 1)
    first_angle: Angle = key("first_angle_deg", "of the first slot, counter-clockwise from +x", 0.0)


class Tab(Screw):
    """Equal mounting tabs on the outer edge, free of the winding's copper, each with a hole if wanted."""

    width: Annotated[float, millimetres(2, 200)] = key("width_mm", "of the mounting tab", example=8.0)
    reach: Annotated[float, millimetres(1, 200)] = key(
        "reach_mm", "from the board's edge to the tab's tip", example=8.0
    )
    count: Copies = key("count", "mounting tabs, evenly around the edge", 1)
    first_angle: Angle = key("first_angle_deg", "of the first mounting tab, counter-clockwise from +x", 0.0)
    rounded: Annotated[bool, YesNo()] = key("rounded", "a round end, else a square one", True)
    hole: Annotated[float, millimetres(0, 100)] = key(
        "hole_mm", "hole half a width from the tip, unplated, 0 for none", 3.2
    )


class Keepout(Record):
    """An area without copper, for a driver, a sensor or a screw head."""

    name: Annotated[str, Text(40)] = key("name", "what it is for, in messages", "keep-out")
    shape: Literal["sector", "rectangle", "disc"] = key("shape", "a piece of a ring, a rectangle or a disc", "sector")
    inner_diameter: Circle | None = key("inner_diameter_mm", "sector: of the ring", None, example=80.0,
                                        otherwise="required for a sector")  # fmt: skip
    outer_diameter: Circle | None = key("outer_diameter_mm", "sector: of the ring", None, example=96.0,
                                        otherwise="required for a sector")  # fmt: skip
    from_angle: Angle | None = key("from_deg", "sector: where it begins", None, example=-15.0,
                                   otherwise="required for a sector")  # fmt: skip
    to_angle: Angle | None = key("to_deg", "sector: where it ends, counter-clockwise", None, example=15.0,
                                 otherwise="required for a sector")  # fmt: skip
    circle_diameter: Circle | None = key("circle_diameter_mm", "rectangle, disc: twice the middle's radius", None,
                                         example=88.0, otherwise="required for those")  # fmt: skip
    angle: Angle | None = key("angle_deg", "rectangle, disc: where the middle is", None, example=0.0,
                              otherwise="0")  # fmt: skip
    length: Annotated[float, millimetres(0.1, 1000)] | None = key(
        "length_mm", "rectangle: along the radius", None, example=6.0, otherwise="required for a rectangle"
    )
    width: Annotated[float, millimetres(0.1, 1000)] | None = key(
        "width_mm", "rectangle: across the radius", None, example=10.0, otherwise="required for a rectangle"
    )
    diameter: Annotated[float, millimetres(0.1, 1000)] | None = key(
        "diameter_mm", "disc: across it", None, example=7.0, otherwise="required for a disc"
    )
    layers: Annotated[tuple[int, ...], CountList(Count(range(1, 17)))] | None = key(
        "layers", "copper layers that it holds for", None, example=[1, 2], otherwise="all"
    )


class Thermistor(Record):
    """Two lands for a chip thermistor on the side away from the rotor, with pads for its wires; nets T1 and T2."""

    size: Literal["0402", "0603", "0805", "1206"] = key("size", "of the chip, sets lands as IPC-7351 has them", "0603")
    circle_diameter: Circle = key("circle_diameter_mm", "twice the radius of the chip's middle", example=88.0)
    angle: Angle = key("angle_deg", "of the chip's middle, counter-clockwise from +x", example=30.0)
    direction: Literal["tangential", "radial"] = key("direction", "of the line through both lands", "tangential")
    land_length: Annotated[float, millimetres(0.2, 5)] | None = key(
        "land_length_mm", "of a land along that line", None, example=0.95, otherwise="of the size"
    )
    land_width: Annotated[float, millimetres(0.2, 5)] | None = key(
        "land_width_mm", "of a land across that line", None, example=1.0, otherwise="of the size"
    )
    land_pitch: Annotated[float, millimetres(0.3, 10)] | None = key(
        "land_pitch_mm", "between the lands' middles", None, example=1.6, otherwise="of the size"
    )
    wires: Literal["pads", "holes"] = key(
        "wires", "flat pads beside the lands, or plated holes; both as large as the terminals", "pads"
    )
    wire_circle_diameter: Circle | None = key(
        "wire_circle_diameter_mm", "twice the radius of those pads", None, example=94.0,
        otherwise="beside the lands, towards the nearer edge",
    )  # fmt: skip
