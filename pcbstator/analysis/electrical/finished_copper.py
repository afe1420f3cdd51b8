"""Resistance with the copper that a board manufacturer may deliver for the weight that was ordered.

IPC-6012, minimum finished thickness by base foil: inner layers lose copper to cleaning, outer layers gain it from the
plating of the holes.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import isclose
from typing import TYPE_CHECKING

from pcbstator.analysis.electrical.conductors import conductors_of
from pcbstator.copper import Copper, Layer

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign

# Base foil, least finished inner layer, least finished outer layer after plating (class 2) [m]; half, one, two ounces.
LEAST_FINISHED = ((17.5e-6, 11.4e-6, 33.4e-6), (35.0e-6, 24.9e-6, 47.9e-6), (70.0e-6, 55.7e-6, 78.7e-6))
SAME_FOIL = 0.03  # 34.3 um and 35 um are both called one ounce


@dataclass(frozen=True)
class ResistanceRange:
    """Phase resistance at 20 C [ohm]; lowest with plated outer layers, highest with the thinnest inner layers."""

    lowest: float
    highest: float
    outer_plated: float
    inner_least: float | None


def least_finished(foil: float) -> tuple[float, float] | None:
    """Least finished thickness of an inner and of a plated outer layer [m]; None for a foil the table lacks.

    foil: base thickness [m].

    >>> least_finished(35e-6)
    (2.49e-05, 4.79e-05)
    """
    for base, inner, outer in LEAST_FINISHED:
        if isclose(foil, base, rel_tol=SAME_FOIL):
            return inner, outer
    return None


def resistance_range(design: SizedDesign, copper: Copper) -> ResistanceRange | None:
    """Range of the mean phase resistance [ohm] at 20 C for the ordered copper.

    None where the table lacks the foil, or layers have weights of their own.
    """
    if design.board.layer_copper is not None:
        return None  # weights by layer are ordered as the board manufacturer has them
    outer, inner = least_finished(design.board.outer_copper), least_finished(design.board.inner_copper)
    inside = not all(layer.outer for layer in copper.layers)
    if outer is None or (inside and inner is None):
        return None
    plated, thin = outer[1], inner[0] if inner and inside else None

    def resistance(outside: float | None, within: float | None) -> float:
        def finished(layer: Layer) -> Layer:
            return replace(layer, thickness=(outside if layer.outer else within) or layer.thickness)

        changed = replace(copper, layers=tuple(finished(layer) for layer in copper.layers))
        return conductors_of(design, changed).phase_resistance

    return ResistanceRange(resistance(plated, None), resistance(None, thin), plated, thin)
