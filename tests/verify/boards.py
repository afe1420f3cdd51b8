"""Small written boards for the tests of verification, made by hand."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from pcbstator.verify.records import NetPoint, WrittenBoard, WrittenHole, WrittenLayer

Points = list[tuple[float, float]]


def track(points: Points, width: float = 0.3) -> BaseGeometry:
    return shapely.LineString(points).buffer(width / 2)


def disc(x: float, y: float, diameter: float = 0.6) -> BaseGeometry:
    return shapely.Point(x, y).buffer(diameter / 2)


def hole(x: float, y: float, diameter: float = 0.3, plated: bool | None = True, last: int = 2) -> WrittenHole:
    return WrittenHole(np.array([[x, y]]), diameter, plated, 1, last, "holes.drl")


def layer(number: int, nets: dict[str, list[BaseGeometry]], pads: Sequence[tuple[float, float]] = ()) -> WrittenLayer:
    areas = {name: shapely.union_all(shapes) for name, shapes in nets.items()}
    named = {name: area for name, area in areas.items() if name}
    flashed = np.array([(x, y, 0.6) for x, y in pads]).reshape(-1, 3)
    unnamed = areas.get("", shapely.Polygon())
    return WrittenLayer(
        number, f"copper-{number}.gbr", shapely.union_all(list(areas.values())), named, unnamed, flashed
    )


ENDS: Points = [(0.0, 0.0), (10.0, 0.0), (20.0, 0.0), (0.0, 5.0), (10.0, 5.0), (20.0, 5.0)]
PADS = [disc(x, y) for x, y in ENDS]
TOP = {"A": [track([(0, 0), (10, 0)]), *PADS[:3]], "B": [track([(0, 5), (10, 5)]), *PADS[3:]]}
BOTTOM = {"A": [track([(10, 0), (20, 0)]), *PADS[:3]], "B": [track([(10, 5), (20, 5)]), *PADS[3:]]}


def pair(
    top: dict[str, list[BaseGeometry]] | None = None,
    bottom: dict[str, list[BaseGeometry]] | None = None,
    holes: list[WrittenHole] | None = None,
    netlist: tuple[NetPoint, ...] = (),
    terminals: dict[str, tuple[float, float]] | None = None,
    rules: dict[str, float] | None = None,
) -> WrittenBoard:
    """Two nets, A and B, each a track on the top that goes on at the bottom through a via; parts by choice."""
    return WrittenBoard(
        name="",
        layers=(layer(1, top or TOP, ENDS), layer(2, bottom or BOTTOM, ENDS)),
        holes=tuple([hole(x, y) for x, y in ENDS] if holes is None else holes),
        edge=shapely.box(-5, -5, 25, 10),
        netlist=netlist,
        terminals=terminals or {},
        rules=rules or {},
    )
