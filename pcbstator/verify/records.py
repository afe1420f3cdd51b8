"""What a folder of fabrication files says about one board, in millimetres as the files have it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from pcbstator.findings import Finding

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class WrittenLayer:
    """The copper of one layer.

    number: from 1 at the top, seen from above. file: where it was read. copper: all that the file draws, later clear
    polarity taken out, as one (multi)polygon. nets: what each net draws, by the names in the attributes %TO.N; empty
    where the file has none. unnamed: what no net draws, in a file that has nets. pads: x, y and least width of every
    flash, (n, 3).
    """

    number: int
    file: str
    copper: BaseGeometry
    nets: Mapping[str, BaseGeometry] = field(default_factory=dict)
    unnamed: BaseGeometry = field(default_factory=Polygon)
    pads: FloatArray = field(default_factory=lambda: np.zeros((0, 3)))


@dataclass(frozen=True)
class WrittenHole:
    """A drilled hole or a routed slot.

    path: middle of the tool, (1, 2) for a hole, (n, 2) for a slot [mm]. diameter: of the tool [mm]. plated: None where
    the files do not say. first, last: numbers of the layers that it joins.
    """

    path: FloatArray
    diameter: float
    plated: bool | None
    first: int
    last: int
    file: str = ""


@dataclass(frozen=True)
class NetPoint:
    """A record of the netlist (IPC-D-356A): a net has copper at a place on a layer, or on all layers at a hole."""

    net: str
    x: float
    y: float
    layer: int | None = None
    hole: float | None = None


@dataclass(frozen=True)
class Pin:
    """A pad that a copper file says to be a pin (%TO.P): part, number, function and place [mm]."""

    part: str
    number: str
    function: str
    x: float
    y: float


@dataclass(frozen=True)
class WrittenBoard:
    """One board as its files have it.

    edge: the board within its outline, cut-outs taken away; None where no file has it. masks: openings in the solder
    mask of the first and the last layer, by layer number. terminals: places by name [mm]. rules: least numbers [mm]
    that the job file states, by its own names. findings: what reading had to say.
    """

    name: str
    layers: tuple[WrittenLayer, ...]
    holes: tuple[WrittenHole, ...]
    edge: BaseGeometry | None = None
    netlist: tuple[NetPoint, ...] = ()
    terminals: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    masks: Mapping[int, BaseGeometry] = field(default_factory=dict)
    pins: tuple[Pin, ...] = ()
    rules: Mapping[str, float] = field(default_factory=dict)
    findings: tuple[Finding, ...] = ()
