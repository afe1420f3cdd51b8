"""What is bought beside the boards, where a rule of the trade decides how much."""

from __future__ import annotations

from math import ceil
from typing import TYPE_CHECKING

from pcbstator.analysis.mechanical.rotor_plan import plates, segments_per_pole

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign

SPARE_PART, LEAST_SPARES = 0.1, 2  # of each kind (common practice, no source)
WIRE_PLAY = 0.1e-3  # m by which a wire is thinner than its hole (common practice, no source)


def magnet_count(design: SizedDesign) -> int:
    """Magnets of all rotor plates."""
    return design.rotor.poles * segments_per_pole(design) * len(plates(design))


def spare_magnets(design: SizedDesign) -> int:
    """Spares of each kind of magnet."""
    kinds = segments_per_pole(design)
    return max(LEAST_SPARES, ceil(SPARE_PART * magnet_count(design) / kinds - 1e-9))


def jumper_wire(design: SizedDesign) -> float:
    """Diameter of the wire for tile jumpers [m]."""
    return design.board.jumper_drill - WIRE_PLAY
