"""The parts that suggestions are made of: what can be bought and made without asking first, or a user's own list."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Annotated, Any

from annotated_types import Len
from pydantic import AfterValidator, PlainValidator

from pcbstator import materials
from pcbstator.design.load import read_tables, record_from_tables
from pcbstator.design.quantities import Count, Quantity, QuantityList, Record, key, refusal
from pcbstator.errors import LawRangeError

MOST = 200  # entries of a list
LARGEST = 500.0  # mm or um, whatever it is


@dataclass(frozen=True)
class StockMagnet:
    """A magnet off the shelf [mm]; width None: a disc of this diameter."""

    length: float
    thickness: float
    width: float | None = None

    @property
    def shape(self) -> str:
        """As in a design file."""
        return "disc" if self.width is None else "block"

    @property
    def label(self) -> str:
        """As a dealer would have it."""
        across = f"{self.length:g}" if self.width is None else f"{self.length:g} × {self.width:g}"
        return f"{self.shape}s of {across} × {self.thickness:g} mm"


def _grade(value: Any) -> str:
    """A grade of magnets that is known."""
    try:
        materials.remanence(str(value), 20.0)
    except LawRangeError as error:
        raise refusal("must be a grade of magnets", str(error)) from None
    return str(value)


def _list(unit: str, least: float) -> QuantityList:
    """A list of sizes in the unit of the file."""
    return QuantityList(Quantity(unit, 1.0, least, LARGEST), MOST)


RISING = AfterValidator(lambda values: tuple(sorted(set(values))))
Size = Annotated[float, Quantity("mm", 1.0, 0.5, LARGEST)]
Thicknesses = Annotated[tuple[float, ...], _list("mm", 0.2)]
THICKNESSES: list[float] = [2.0, 3.0]


class StockDisc(Record):
    """Discs of one diameter."""

    diameter: Size = key("diameter_mm", "across", example=10.0)
    thicknesses: Thicknesses = key("thickness_mm", "all that there are, along the axis", example=THICKNESSES)

    @property
    def magnets(self) -> list[StockMagnet]:
        """One of each thickness."""
        return [StockMagnet(self.diameter, thickness) for thickness in self.thicknesses]


class StockBlock(Record):
    """Blocks of one length and width."""

    length: Size = key("length_mm", "along the radius", example=20.0)
    width: Size = key("width_mm", "across it", example=10.0)
    thicknesses: Thicknesses = key("thickness_mm", "all that there are, along the axis", example=THICKNESSES)

    @property
    def magnets(self) -> list[StockMagnet]:
        """One of each thickness."""
        return [StockMagnet(self.length, thickness, self.width) for thickness in self.thicknesses]


class Parts(Record):
    """All that there is; lengths in mm, copper in um, in rising order."""

    grade: Annotated[str, PlainValidator(_grade)] = key("grade", "of all magnets", example="N42")
    discs: Annotated[tuple[StockDisc, ...], Len(0, MOST)] = key("discs", "round magnets", example=[])
    blocks: Annotated[tuple[StockBlock, ...], Len(0, MOST)] = key("blocks", "rectangular magnets", example=[])
    steel: Annotated[tuple[float, ...], _list("mm", 0.1), RISING] = key("steel_mm", "plate", example=[2.0])
    tracks: Annotated[tuple[float, ...], _list("mm", 0.05), RISING] = key("track_mm", "widths", example=[0.2])
    copper: Annotated[tuple[float, ...], _list("um", 5.0), RISING] = key("copper_um", "of a layer", example=[35.0])
    layers: Annotated[tuple[Annotated[int, Count(range(2, 501, 2))], ...], Len(1, MOST), RISING] = key(
        "layers", "numbers of copper layers", example=[2]
    )

    @property
    def magnets(self) -> tuple[StockMagnet, ...]:
        """All discs, then all blocks."""
        stock: tuple[StockDisc | StockBlock, ...] = (*self.discs, *self.blocks)
        return tuple(magnet for each in stock for magnet in each.magnets)


@cache
def usual_tables() -> dict[str, Any]:
    """The list that the program comes with."""
    return tomllib.loads(Path(__file__).with_name("parts.toml").read_text(encoding="utf-8"))


def load_parts(place: Path | None = None) -> Parts:
    """The usual parts, or those in a file; what it leaves out stays as usual.

    Raises DesignError with every complaint about it.
    """
    if place is None:
        return Parts.model_validate(usual_tables())
    return record_from_tables(Parts, usual_tables() | read_tables(place)[0], place.name)
