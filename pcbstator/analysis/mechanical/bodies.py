"""Bodies of the motor as records: outlines between heights, balls, and where each body stands. SI, machine axes."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import shapely
from shapely.geometry.base import BaseGeometry

from pcbstator.copper.geometry.contour import SAGITTA, Contour, circle

GRID = 1e-9  # m; corners nearer to each other are one, as where pockets touch

Kind = Literal["board", "magnet", "steel", "plate", "ball", "space"]


@dataclass(frozen=True)
class Prism:
    """What an outline, less its bore, encloses between two heights [m]; z as in docs/conventions.md."""

    outline: Contour
    low: float
    high: float
    bore: Contour | None = None

    def area(self, sagitta: float = SAGITTA) -> BaseGeometry:
        """Its section across the axis; chords lie at most ``sagitta`` [m] off an arc."""
        whole = self.outline.chords(sagitta)
        return whole if self.bore is None else whole.difference(self.bore.chords(sagitta))


@dataclass(frozen=True)
class Ball:
    """A ball with its middle on the plane y = 0, x > 0: distance from the axis, height and diameter [m]."""

    radius: float
    height: float
    diameter: float


@dataclass(frozen=True)
class Body:
    """A part, or a space (kind "space"), as it stands where it is neither turned nor lifted.

    cuts: what is taken away from a prism. material: a word, empty for a space, with its density [kg/m3], None where it
    is not known. pole: of a magnet, the one towards the board, N or S; empty where its field lies in the plate.
    """

    name: str
    kind: Kind
    shape: Prism | Ball
    cuts: tuple[Prism, ...] = ()
    material: str = ""
    density: float | None = None
    pole: str = ""

    def slabs(self, sagitta: float = SAGITTA) -> Iterator[tuple[BaseGeometry, float, float]]:
        """A prism from below upwards, in pieces that are alike all the way up: area, lower and upper height [m]."""
        if isinstance(self.shape, Ball):
            return
        low, high = self.shape.low, self.shape.high
        levels = {low, high} | {z for cut in self.cuts for z in (cut.low, cut.high) if low < z < high}
        for below, above in pairwise(sorted(levels)):
            gone = [cut.area(sagitta) for cut in self.cuts if cut.low <= below and cut.high >= above]
            left = shapely.difference(self.shape.area(sagitta), shapely.union_all(gone, grid_size=GRID), grid_size=GRID)
            yield left, below, above


@dataclass(frozen=True)
class Placed:
    """A body at its place: turned about the machine's axis [rad] and lifted [m]."""

    name: str
    body: Body
    turn: float = 0.0
    lift: float = 0.0

    @property
    def radii(self) -> tuple[float, float]:
        """Least and most distance from the axis [m], holes other than the bore left out of account."""
        shape = self.body.shape
        if isinstance(shape, Ball):
            return shape.radius - shape.diameter / 2, shape.radius + shape.diameter / 2
        inner, outer = shape.outline.radii
        if shape.bore is not None:
            return shape.bore.radii[0], outer
        return (0.0 if shapely.contains_xy(shape.outline.polygon, 0.0, 0.0) else inner), outer

    @property
    def heights(self) -> tuple[float, float]:
        """Lowest and highest place [m]."""
        shape = self.body.shape
        if isinstance(shape, Ball):
            return shape.height - shape.diameter / 2 + self.lift, shape.height + shape.diameter / 2 + self.lift
        return shape.low + self.lift, shape.high + self.lift


@dataclass(frozen=True)
class Group:
    """Bodies and groups of them; turns: with the rotor, which stands at angle 0."""

    name: str
    members: tuple[Placed | Group, ...]
    turns: bool = False

    @property
    def bodies(self) -> Iterator[Placed]:
        """Every body of it."""
        for member in self.members:
            if isinstance(member, Placed):
                yield member
            else:
                yield from member.bodies


def ring(inner: float, outer: float, low: float, high: float) -> Prism:
    """A ring between two radii and two heights [m], a disc where the inner one is 0."""
    return Prism(circle(outer), low, high, circle(inner) if inner > 0 else None)
