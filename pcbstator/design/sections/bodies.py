"""Plain bodies that the drive turns; SI."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Discriminator

from pcbstator.design.quantities import Quantity, Record, key, millimetres

Mass = Annotated[float, Quantity("g", 1000.0, 0, 1e7, 1e-6)]
Size = Annotated[float, millimetres(0, 10_000, 1e-3)]


class Disc(Record):
    """A disc with its axis along that of the drive."""

    shape: Literal["disc"] = key("shape", "a round plate", example="disc")
    mass: Mass = key("mass_g", "of the body", example=300.0)
    diameter: Size = key("diameter_mm", "across it", example=180.0)
    offset: Size = key("offset_mm", "of its middle from the axis", 0.0)


class Ring(Record):
    """A ring with its axis along that of the drive."""

    shape: Literal["ring"] = key("shape", "a disc with a bore", example="ring")
    mass: Mass = key("mass_g", "of the body", example=300.0)
    inner_diameter: Size = key("inner_diameter_mm", "of the bore", example=100.0)
    outer_diameter: Size = key("outer_diameter_mm", "across it", example=180.0)
    offset: Size = key("offset_mm", "of its middle from the axis", 0.0)


class Bar(Record):
    """A bar across the axis."""

    shape: Literal["bar"] = key("shape", "a bar across the axis", example="bar")
    mass: Mass = key("mass_g", "of the body", example=300.0)
    length: Size = key("length_mm", "of the bar", example=200.0)
    width: Size = key("width_mm", "across its length, in the plane in which it turns", 0.0)
    offset: Size = key("offset_mm", "of its middle from the axis", 0.0)


class Point(Record):
    """A body that is small against its distance from the axis."""

    shape: Literal["point"] = key("shape", "a small body", example="point")
    mass: Mass = key("mass_g", "of the body", example=50.0)
    radius: Size = key("radius_mm", "from the axis", example=80.0)


Body = Annotated[Disc | Ring | Bar | Point, Discriminator("shape")]
