"""The winding that a design asks for."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

from pcbstator.winding.star import Winding, wind
from pcbstator.winding.wave import wind_wave

if TYPE_CHECKING:
    from pcbstator.design import Design


def lay_winding(design: Design) -> Winding:
    """The winding that a design asks for; DesignError where it cannot be balanced.

    A wave winding must have its turns as a number: a design that fills is settled first (``copper.size_design``).
    """
    asked = design.winding
    count = int(asked.turns) if asked.kind == "wave" else asked.coils or 0
    return _wound(asked.kind, asked.phases, count, design.rotor.poles, asked.parallel_paths, design.source)


@lru_cache(maxsize=256)
def _wound(kind: str, phases: int, count: int, poles: int, paths: int, source: str) -> Winding:
    """Kept, since a search for turns or tracks asks for the same winding time and again; count: of coils or turns."""
    return (wind_wave if kind == "wave" else wind)(phases, count, poles, paths, source)
