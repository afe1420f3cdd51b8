"""A board as its outlines are written: copper by layer and net, pads, holes, edge, each under the name of its layer."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from pcbstator.copper.geometry.contour import Contour, circle
from pcbstator.copper.net_areas import NetArea
from pcbstator.copper.non_winding import Land
from pcbstator.copper.plain_board import BoardCopper
from pcbstator.output.fabrication.drill import PlatedHole, plated_holes

# Names of layers: those of the files of ``make`` without their endings.
PROFILE, PLATED, UNPLATED, PADS, MARKS = "profile", "drill-plated", "drill-unplated", "pads", "registration"


@dataclass(frozen=True, eq=False)
class DrawnBoard:
    """A board, its title, its copper as areas, and the tolerance [m] within which they are."""

    title: str
    board: BoardCopper
    areas: Sequence[NetArea]
    tolerance: float

    @cached_property
    def copper(self) -> dict[str, list[NetArea]]:
        """Copper by the name of its layer."""
        found: dict[str, list[NetArea]] = {copper_layer(layer.number): [] for layer in self.board.layers}
        for area in self.areas:
            found[copper_layer(area.layer)].append(area)
        return found

    @cached_property
    def plated(self) -> list[PlatedHole]:
        """Terminals, other plated holes, then vias."""
        return plated_holes(self.board)

    @property
    def edges(self) -> tuple[Contour, ...]:
        """All that is cut along the profile."""
        return self.board.shape.profile

    @property
    def unplated(self) -> list[Contour]:
        """Unplated holes as circles."""
        return [circle(hole.diameter / 2, (hole.x, hole.y)) for hole in self.board.shape.drilled if not hole.plated]

    @property
    def lands(self) -> tuple[Land, ...]:
        """Flat copper for parts and wires."""
        return self.board.non_winding.lands


def copper_layer(number: int) -> str:
    """Name of a copper layer.

    >>> copper_layer(1)
    'copper-1'
    """
    return f"copper-{number}"


def pad_kind(hole: PlatedHole) -> str:
    """What a plated hole is for."""
    return "via" if hole.pin is None else "terminal" if hole.part.startswith("J") else "hole"
