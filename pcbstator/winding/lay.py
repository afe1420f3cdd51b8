"""The winding that a design asks for."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pcbstator.winding.star import Winding, wind
from pcbstator.winding.wave import wind_wave

if TYPE_CHECKING:
    from pcbstator.design import Design


def lay_winding(design: Design) -> Winding:
    """The winding that a design asks for; DesignError where it cannot be balanced.

    A wave winding must have its turns as a number: a design that fills is settled first (``copper.size_design``).
    """
    asked, poles = design.winding, design.rotor.poles
    if asked.kind == "wave":
        return wind_wave(asked.phases, int(asked.turns), poles, asked.parallel_paths, design.source)
    return wind(asked.phases, asked.coils or 0, poles, asked.parallel_paths, design.source)
