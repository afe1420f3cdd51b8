"""Where the reading of a Gerber file stands."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field

import shapely

from pcbstator.errors import FilesError
from pcbstator.verify.reading.apertures import Aperture
from pcbstator.verify.reading.drawing import DrawnObject
from pcbstator.verify.reading.limits import MOST_OBJECTS, MOST_VERTICES, refuse
from pcbstator.verify.records import FloatArray

Place = tuple[float, float]
MILLIMETRE, INCH = 1.0, 25.4


@dataclass
class GerberState:
    """Where the reading of a file stands."""

    file: str
    unit: float | None = None
    digits: tuple[int, int] | None = None
    trailing: bool = False
    absolute: bool = True
    apertures: dict[int, Aperture | list[DrawnObject]] = field(default_factory=dict)
    macros: dict[str, list[str]] = field(default_factory=dict)
    attributes: dict[str, tuple[str, ...]] = field(default_factory=dict)
    point: Place = (0.0, 0.0)
    aperture: int | None = None
    motion: int = 1
    operation: str = ""
    quarter: bool = False
    region: list[list[Place]] | None = None
    dark: bool = True
    negative: bool = False
    mirrored: str = ""
    turn: float = 0.0
    scale: float = 1.0
    net: str | None = None
    pin: tuple[str, str, str] | None = None
    stroke: list[Place] = field(default_factory=list)
    lines: list[FloatArray] = field(default_factory=list)
    captured: list[list[DrawnObject]] = field(default_factory=lambda: [[]])
    blocks: list[int] = field(default_factory=list)
    repeat: tuple[int, int, float, float] | None = None
    vertices: int = 0
    objects: int = 0
    ended: bool = False

    def refuse(self, rule: str, value: object = "", remedy: str = "") -> FilesError:
        """The error about this file."""
        return refuse(self.file, rule, value, remedy)

    def add(self, *things: DrawnObject) -> None:
        """Takes objects over."""
        self.count(things)
        self.captured[-1].extend(things)

    def count(self, things: Sequence[DrawnObject], times: int = 1) -> None:
        """Counts objects that come ``times`` times, before they are made."""
        self.vertices += times * sum(int(shapely.get_num_coordinates(thing.shape)) for thing in things)
        self.objects += times * len(things)
        if self.vertices > MOST_VERTICES:
            raise self.refuse(f"what a file draws must have at most {MOST_VERTICES} corners")
        if self.objects > MOST_OBJECTS:
            raise self.refuse(f"a file must draw at most {MOST_OBJECTS} objects")


def unescaped(text: str) -> str:
    r"""A field of an attribute with its \uXXXX as characters.

    >>> unescaped("5 \\u0025")
    '5 %'
    """
    return re.sub(r"\\u([0-9A-Fa-f]{4})", lambda found: chr(int(found[1], 16)), text) if "\\" in text else text
