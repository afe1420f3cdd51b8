"""What is kept between designs that are changed key by key: copper, windings, fields, inductances.

Every result is the same as without it: each stage is kept under all that it depends on.
"""

from __future__ import annotations

from collections.abc import Hashable
from typing import TYPE_CHECKING

from pcbstator.analysis.electrical.records import CopperResult
from pcbstator.analysis.shared import Recent, Shared, board_key
from pcbstator.copper import Copper, lay_copper, size_design

if TYPE_CHECKING:
    from pcbstator.design import Design

BOARDS = 8  # whose copper is kept
ROOM = 16 << 20  # bytes of field tables of each kind


class Kept:
    """Copper and tables of the last designs, within bounds; for one thread at a time."""

    def __init__(self) -> None:
        self.shared = Shared(alone=True, room=ROOM)
        self.drawn: Recent[Copper, CopperResult] = Recent(BOARDS)
        self._copper: Recent[Hashable, Copper] = Recent(BOARDS)

    def copper(self, design: Design) -> Copper:
        """The copper of a design, laid anew only where its board, winding or poles differ from those before.

        Raises DesignError where it cannot be laid.
        """
        sized = size_design(design)
        return self._copper.get(board_key(sized), lambda: lay_copper(sized, self.shared.winding(sized)))
