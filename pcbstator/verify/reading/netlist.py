"""Reads the netlist of the bare board in IPC-D-356A or its forerunner.

Source: IPC-D-356A (1998), columns from memory.
"""

from __future__ import annotations

from dataclasses import dataclass

from pcbstator.verify.reading.gerber_state import INCH
from pcbstator.verify.reading.limits import MOST_HOLES, reached, refuse
from pcbstator.verify.records import NetPoint

_UNITS = {"CUST": 1e-4 * INCH, "CUST 0": 1e-4 * INCH, "CUST 1": 1e-3, "CUST 2": 1e-4 * INCH}
NOT_CONNECTED = "N/C"
_HELD = ("317", "327", "367")


@dataclass(frozen=True)
class _Columns:
    """A record, cut into its columns (from 0)."""

    net: str
    hole: str
    unplated: bool
    access: str
    x: str
    y: str


def read_netlist(text: str, file: str) -> tuple[NetPoint, ...]:
    """The points of a netlist; FilesError with what is wrong with it. Points of no net are left out."""
    unit: float | None = None
    names: dict[str, str] = {}
    points: list[NetPoint] = []
    ended = False
    for number, line in enumerate(text.splitlines(), 1):
        if number > MOST_HOLES:
            raise refuse(file, f"a netlist must have at most {MOST_HOLES} lines")
        if line.startswith("P"):
            key, _, value = line[1:].strip().partition(" ")
            if key == "UNITS":
                unit = _UNITS.get(value.strip())
            elif key.startswith("NNAME"):
                names[key] = value.strip()
        elif line[:3] in _HELD:
            if unit is None:
                raise refuse(file, "a netlist must state its unit (P  UNITS CUST 0, 1 or 2) before its records")
            try:
                point = _point(line, unit, names, file)
            except ValueError as error:
                raise refuse(file, f"line {number} is no record of IPC-D-356A", error) from None
            if point is not None:
                points.append(point)
        elif line.startswith("999"):
            ended = True
    if not ended:
        raise refuse(file, "a netlist ends with 999", remedy="it is cut short, or no netlist: export it again")
    return tuple(points)


def _point(line: str, unit: float, names: dict[str, str], file: str) -> NetPoint | None:
    """What a record says; None where it is of no net or of a hole without plating."""
    cells = _cells(line)
    if cells.unplated or cells.net in (NOT_CONNECTED, ""):
        return None
    x, y = (reached(file, int(text) * unit, "a place") for text in (cells.x, cells.y))
    access = int(cells.access or 0)
    hole = int(cells.hole) * unit if cells.hole.strip() else None
    layer = None if hole is not None or access == 0 else access
    return NetPoint(names.get(cells.net, cells.net), x, y, layer, hole)


def _cells(line: str) -> _Columns:
    text = f"{line:<80}"
    if text[41] != "X" or text[49] != "Y":
        raise ValueError("columns 42 and 50 hold X and Y")
    return _Columns(
        net=text[3:17].strip(),
        hole=text[33:37] if text[32] == "D" else "",
        unplated=text[37] == "U" or text[:3] == "367",
        access=text[39:41].strip() if text[38] == "A" else "",
        x=text[42:49],
        y=text[50:57],
    )
