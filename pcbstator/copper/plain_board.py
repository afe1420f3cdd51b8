"""What every board has that can be ordered, and where its solder mask is open: fabrication files need nothing else."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Literal, Protocol

import shapely
from shapely.geometry.base import BaseGeometry

from pcbstator.copper.current_paths import PhaseCopper
from pcbstator.copper.geometry.board_shape import BoardShape, ring_board
from pcbstator.copper.geometry.tracks import Layer, Terminal, Track, Via
from pcbstator.copper.non_winding import CHIP, MASK_EXPANSION, NonWindingCopper


@dataclass(frozen=True)
class Opening:
    """An opening of the solder mask: what it bares, its net, and its shape (a disc's radius apart, 0 for a polygon)."""

    name: str
    net: str
    shape: BaseGeometry
    radius: float = 0.0


class BoardCopper(Protocol):
    """The metal and outline of a board, whether a stator or a plain one.

    bare: tracks that the solder mask leaves open. phases: in the order of rotation, empty where nothing turns.
    """

    @property
    def layers(self) -> tuple[Layer, ...]: ...
    @property
    def board_inner_radius(self) -> float: ...
    @property
    def board_outer_radius(self) -> float: ...
    @property
    def tracks(self) -> tuple[Track, ...]: ...
    @property
    def bare(self) -> tuple[Track, ...]: ...
    @property
    def teardrops(self) -> tuple[Track, ...]: ...
    @property
    def vias(self) -> tuple[Via, ...]: ...
    @property
    def terminals(self) -> tuple[Terminal, ...]: ...
    @property
    def phases(self) -> tuple[PhaseCopper, ...]: ...
    @property
    def shape(self) -> BoardShape: ...
    @property
    def non_winding(self) -> NonWindingCopper: ...


@dataclass(frozen=True, eq=False)
class PlainBoard:
    """A board by itself. SI units; ``bare`` tracks are among ``tracks``; without a stated shape it is a plain ring."""

    layers: tuple[Layer, ...]
    board_inner_radius: float
    board_outer_radius: float
    tracks: tuple[Track, ...]
    vias: tuple[Via, ...]
    terminals: tuple[Terminal, ...]
    bare: tuple[Track, ...] = ()
    phases: tuple[PhaseCopper, ...] = ()
    teardrops: tuple[Track, ...] = ()
    stated_shape: BoardShape | None = None
    stated_non_winding: NonWindingCopper | None = None

    @cached_property
    def shape(self) -> BoardShape:
        """The bare board."""
        return self.stated_shape or ring_board(self.board_inner_radius, self.board_outer_radius)

    @property
    def non_winding(self) -> NonWindingCopper:
        """Copper that is not winding."""
        return self.stated_non_winding or NonWindingCopper()


def mask_openings(
    copper: BoardCopper, side: Literal["top", "bottom"], expansion: float = MASK_EXPANSION
) -> list[Opening]:
    """Every opening of the mask on a side: terminals, holes and lands, ``expansion`` [m] wider; vias stay covered."""
    discs = [(f"terminal {t.name}", t.net, t.x, t.y, t.pad) for t in copper.terminals]
    discs += [(f"hole {h.name}", h.net, h.x, h.y, max(h.pad, h.diameter)) for h in copper.shape.drilled]
    found = [Opening(name, net, shapely.Point(x, y), size / 2 + expansion) for name, net, x, y, size in discs]
    layer = 1 if side == "top" else len(copper.layers)
    for land in copper.non_winding.lands:
        if land.layer == layer:
            name = f"{'land' if land.part == CHIP else 'wire pad'} {land.net}"
            if land.is_round:
                found.append(Opening(name, land.net, shapely.Point(land.x, land.y), land.length / 2 + expansion))
            else:
                found.append(Opening(name, land.net, land.area(expansion)))
    return found
