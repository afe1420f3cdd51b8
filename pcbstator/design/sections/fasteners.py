"""The screws in a board's holes: what they are of, and how large they are."""

from __future__ import annotations

from typing import Annotated, Literal, NamedTuple

from pcbstator.design.quantities import Record, YesNo, key, millimetres

# Thread, fine clearance hole (ISO 273), diameter and height of a cylinder head (ISO 4762) [m]; all from memory.
SIZES = tuple(
    tuple(1e-3 * size for size in row)
    for row in (
        (1.6, 1.7, 3.0, 1.6), (2.0, 2.2, 3.8, 2.0), (2.5, 2.7, 4.5, 2.5), (3.0, 3.2, 5.5, 3.0), (4.0, 4.3, 7.0, 4.0),
        (5.0, 5.3, 8.5, 5.0), (6.0, 6.4, 10.0, 6.0), (8.0, 8.4, 13.0, 8.0), (10.0, 10.5, 16.0, 10.0),
    )
)  # fmt: skip
ROUNDING = 1e-6  # m
OF_HOLE = 0.95  # thread over the hole where no size fits (common practice, no source)
NUT = 0.8, 1.9  # height and mean diameter of a nut over its thread (ISO 4032, from memory)
BEYOND = 2.0  # threads that a screw reaches beyond the boards (common practice, no source)


class ScrewSize(NamedTuple):
    """Diameter of the thread, diameter and height of the head [m]."""

    thread: float
    head: float
    height: float


def usual_screw(hole: float) -> ScrewSize:
    """The largest usual screw with a cylinder head for a hole of this diameter [m]."""
    fitting = [row for row in SIZES if row[1] <= hole + ROUNDING]
    if not fitting or hole > 1.2 * SIZES[-1][1]:
        thread = OF_HOLE * hole
        return ScrewSize(thread, 1.5 * thread + 1e-3, thread)
    thread, _, head, height = fitting[-1]
    return ScrewSize(thread, head, height)


class Screw(Record):
    """What a screw in each of the holes is of, and its size where it is not the usual one."""

    material: Literal["none", "steel", "stainless", "brass", "nylon"] = key(
        "material",
        'of the screw in each hole: "steel" is drawn by the magnets; "none": nothing is said of screws',
        "none",
    )
    head_side: Literal["rotor", "away"] = key("head_side", "face of the board that the screw's head is on", "rotor")
    stated_head: Annotated[float, millimetres(0.5, 100)] | None = key(
        "head_diameter_mm", "of the screw's head", None, example=5.5,
        otherwise="of a cylinder head (ISO 4762, from memory) of the size that fits the hole",
    )  # fmt: skip
    stated_height: Annotated[float, millimetres(0, 100)] | None = key(
        "head_height_mm", "of the screw's head, 0 for one that is sunk", None, example=3.0, otherwise="of that head"
    )
    stated_length: Annotated[float, millimetres(0.5, 300)] | None = key(
        "screw_length_mm", "of the screw under its head", None, example=10.0,
        otherwise="through the boards and twice its thread beyond (common practice, no source)",
    )  # fmt: skip
    nut: Annotated[bool, YesNo()] = key("nut", "a nut of that material on the face away from the head", False)

    def screw(self, hole: float) -> ScrewSize:
        """The screw in a hole of this diameter [m]."""
        usual = usual_screw(hole)
        return ScrewSize(
            usual.thread,
            usual.head if self.stated_head is None else max(self.stated_head, usual.thread),
            usual.height if self.stated_height is None else self.stated_height,
        )
