"""The rotor that is asked for: its magnets, by shape, and its iron; SI, temperatures in degrees Celsius."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Discriminator

from pcbstator import materials
from pcbstator.design.quantities import (
    LARGEST,
    Count,
    Record,
    Text,
    celsius,
    key,
    megapascals,
    millimetres,
    ratio,
    tesla,
)
from pcbstator.design.sections.rotor_plate import RotorPlate

THINNEST_STEEL = 0.01  # mm; a foil


class MagnetMaterial(Record):
    """What every magnet has, whatever its shape."""

    thickness: Annotated[float, millimetres(0.2, 100)] = key("thickness_mm", "along the axis", example=3.0)
    stated_remanence: Annotated[float, tesla(0.05, 1.6)] | None = key(
        "remanence_t", "remanence at work, instead of a grade", None, example=1.3, otherwise="from the grade"
    )
    grade: Annotated[str, Text(8)] | None = key(
        "grade", 'grade such as "N42" or "N42SH", instead of remanence_t', None, example="N42", otherwise="none"
    )
    temperature_c: Annotated[float, celsius(-100, 250)] = key(
        "temperature_c", "of the magnets at work; sets the remanence of a grade", 20.0
    )
    recoil_permeability: Annotated[float, ratio(1, 2)] = key(
        "recoil_permeability", "slope of the magnet's own line", 1.05
    )

    @property
    def remanence(self) -> float:
        """Remanence at work [T], as stated or from the grade and temperature."""
        if self.stated_remanence is not None:
            return self.stated_remanence
        return materials.remanence(self.grade or "", self.temperature_c)


class SectorMagnet(MagnetMaterial):
    """A piece of a ring."""

    shape: Literal["sector"] = key("shape", "a piece of a ring", example="sector")
    inner_diameter: Annotated[float, millimetres(1, LARGEST)] = key(
        "inner_diameter_mm", "of the magnets' ring", example=44.0
    )
    outer_diameter: Annotated[float, millimetres(2, LARGEST)] = key(
        "outer_diameter_mm", "of the magnets' ring", example=72.0
    )
    arc_ratio: Annotated[float, ratio(0.05, 1)] = key("arc_ratio", "part of the pole pitch that is magnet", example=0.8)
    array: Literal["alternating", "halbach"] = key(
        "array", "alternating poles, or segments that turn their magnetisation, one side stronger", "alternating"
    )
    segments_per_pole: Annotated[int, Count(range(2, 13))] = key(
        "segments_per_pole", "segments of a halbach array that make up one pole", 2
    )


class DiscMagnet(MagnetMaterial):
    """A round disc."""

    shape: Literal["disc"] = key("shape", "a round disc", example="disc")
    diameter: Annotated[float, millimetres(0.5, 500)] = key("diameter_mm", "of one magnet", example=10.0)
    circle_diameter: Annotated[float, millimetres(2, LARGEST)] = key(
        "circle_diameter_mm", "through the magnets' centres", example=58.0
    )


class BlockMagnet(MagnetMaterial):
    """A block with its length along the radius."""

    shape: Literal["block"] = key("shape", "a block with its length along the radius", example="block")
    length: Annotated[float, millimetres(0.5, 500)] = key("length_mm", "of one magnet, along the radius", example=14.0)
    width: Annotated[float, millimetres(0.5, 500)] = key("width_mm", "of one magnet, across the radius", example=7.0)
    circle_diameter: Annotated[float, millimetres(2, LARGEST)] = key(
        "circle_diameter_mm", "through the magnets' centres", example=58.0
    )


Magnet = SectorMagnet | DiscMagnet | BlockMagnet


class Rotor(Record):
    """The turning plate or plates with their magnets."""

    poles: Annotated[int, Count(range(2, 401, 2))] = key(
        "poles", "magnets around the circle, poles alternate", example=16
    )
    arrangement: Literal["single", "double"] = key(
        "arrangement", "magnets above the board only, or on both sides of it", "single"
    )
    air_gap: Annotated[float, millimetres(0.05, 50)] = key(
        "air_gap_mm", "from the laminate to the magnets, on either side", example=0.8
    )
    back_iron: Annotated[float, millimetres(0, 100, THINNEST_STEEL)] = key(
        "back_iron_mm", "steel behind the magnets, 0 for none", 0.0
    )
    iron_inner_diameter: Annotated[float, millimetres(1, LARGEST)] | None = key(
        "iron_inner_diameter_mm", "bore of the steel behind magnets or beyond the board", None, example=40.0,
        otherwise="the magnets'",
    )  # fmt: skip
    iron_outer_diameter: Annotated[float, millimetres(2, LARGEST)] | None = key(
        "iron_outer_diameter_mm", "outline of that steel", None, example=76.0, otherwise="the magnets'"
    )
    stator_iron: Annotated[float, millimetres(0, 100, THINNEST_STEEL)] = key(
        "stator_iron_mm", "steel plate on the far side of the board, 0 for none; single rotor only", 0.0
    )
    stator_iron_gap: Annotated[float, millimetres(0.01, 50)] = key(
        "stator_iron_gap_mm", "from the board's far side to that plate", 0.2
    )
    glue_strength: Annotated[float, megapascals(0.01, 100)] | None = key(
        "glue_strength_mpa", "shear strength of the magnets' glue joint", None, example=5.0, otherwise="not checked"
    )
    glue_max_c: Annotated[float, celsius(0, 300)] | None = key(
        "glue_max_c", "hottest the magnets' glue may get for years", None, example=80.0,
        otherwise="80, where a plate is stated",
    )  # fmt: skip
    plate: RotorPlate | None = key("plate", "what carries the magnets", None)
    magnet: Annotated[Magnet, Discriminator("shape")] = key("magnet", "one magnet")
