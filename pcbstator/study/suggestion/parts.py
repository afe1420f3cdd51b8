"""The parts that suggestions are made of: what can be bought and made without asking first, or a user's own list."""

from __future__ import annotations

import difflib
import tomllib
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from pcbstator import materials
from pcbstator.design.load import plain, read_tables
from pcbstator.design.quantities import is_number, shown
from pcbstator.errors import Complaint, DesignError, PcbstatorError

MOST = 200  # entries of a list
LARGEST = 500.0  # mm or um, whatever it is
SIZES = {"discs": ("diameter_mm",), "blocks": ("length_mm", "width_mm")}
NUMBERS = {"steel_mm": 0.1, "track_mm": 0.05, "copper_um": 5.0, "layers": 2}  # and the least


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


@dataclass(frozen=True)
class Parts:
    """All that there is; lengths in mm, copper in um."""

    grade: str
    magnets: tuple[StockMagnet, ...]
    steel: tuple[float, ...]
    tracks: tuple[float, ...]
    copper: tuple[float, ...]
    layers: tuple[int, ...]


@cache
def usual_tables() -> dict[str, Any]:
    """The list that the program comes with."""
    return tomllib.loads(Path(__file__).with_name("parts.toml").read_text(encoding="utf-8"))


def load_parts(place: Path | None = None) -> Parts:
    """The usual parts, or those in a file; what it leaves out stays as usual.

    Raises DesignError with every complaint about it.
    """
    own = {} if place is None else plain(read_tables(place)[0])
    complaints = _complaints(own)
    if complaints and place is not None:
        raise DesignError(place.name, complaints)
    tables = usual_tables() | own
    magnets = [
        StockMagnet(each[SIZES[name][0]], thickness, each.get("width_mm"))
        for name in SIZES
        for each in tables[name]
        for thickness in each["thickness_mm"]
    ]
    rising = {name: tuple(sorted(set(tables[name]))) for name in NUMBERS}
    return Parts(
        tables["grade"], tuple(magnets), rising["steel_mm"], rising["track_mm"], rising["copper_um"], rising["layers"]
    )


def _complaints(own: dict[str, Any]) -> list[Complaint]:
    found = []
    for name, value in own.items():
        if name == "grade":
            found += _of_grade(value)
        elif name in SIZES:
            found += _of_magnets(name, value)
        elif name in NUMBERS:
            whole = name == "layers"
            right = _numbers(value, NUMBERS[name]) and not (whole and any(n % 2 or n != int(n) for n in value))
            rule = "must be a list of " + ("even whole numbers" if whole else f"numbers from {NUMBERS[name]:g} on")
            found += [] if right else [Complaint(name, rule, shown(value), f"write {name} = [2]")]
        else:
            close = difflib.get_close_matches(name, [*SIZES, *NUMBERS, "grade"], n=1)
            remedy = f"did you mean {close[0]}?" if close else "known: " + ", ".join(["grade", *SIZES, *NUMBERS])
            found.append(Complaint(name, "is not a known key", shown(value), remedy))
    return found


def _of_grade(value: object) -> list[Complaint]:
    try:
        materials.remanence(str(value), 20.0)
    except PcbstatorError as error:
        return [Complaint("grade", "must be a grade of magnets", shown(value), str(error))]
    return []


def _of_magnets(name: str, value: object) -> list[Complaint]:
    wanted = (*SIZES[name], "thickness_mm")
    example = "{ " + ", ".join(f"{size} = 10.0" for size in SIZES[name]) + ", thickness_mm = [2.0, 3.0] }"
    if not isinstance(value, list) or len(value) > MOST:
        return [Complaint(name, f"must be a list of at most {MOST} tables", shown(value), f"write [{example}]")]
    found = []
    for number, each in enumerate(value, start=1):
        sizes = isinstance(each, dict) and set(each) == set(wanted) and _numbers([each[s] for s in SIZES[name]], 0.5)
        if not sizes or not _numbers(each["thickness_mm"], 0.2):
            rule = "must have " + ", ".join(SIZES[name]) + " and thickness_mm, a list, and nothing else"
            found.append(Complaint(f"{name}[{number}]", rule, shown(each), f"write {example}"))
    return found


def _numbers(value: object, least: float) -> bool:
    return (
        isinstance(value, list)
        and 0 < len(value) <= MOST
        and all(is_number(each) and least <= each <= LARGEST for each in value)
    )
