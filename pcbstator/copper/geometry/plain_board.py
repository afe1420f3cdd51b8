"""What every board has that can be ordered: the writers of fabrication files take nothing else."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Protocol

from pcbstator.copper.geometry.board_shape import BoardShape, ring_board
from pcbstator.copper.non_winding import NonWindingCopper
from pcbstator.copper.records import Layer, PhaseCopper, Terminal, Track, Via


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
