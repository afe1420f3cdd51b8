"""The tolerance stack of the air gap: what may close it, in the worst case and by chance."""

from __future__ import annotations

from math import sqrt
from typing import TYPE_CHECKING, Any

from pcbstator.analysis.magnetic.rotor_field import magnet_footprint
from pcbstator.design.sections.work import Tolerance

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign

NORMAL = 1.645  # standard deviations that hold 90 % to both sides, and above which 95 % lie (normal, any table)


def bow_at_magnets(design: SizedDesign) -> float:
    """Largest bow of the board [m] under the outer edge of the magnets, for a board that bows as a bowl; 0 without
    [build].
    """
    if design.build is None:
        return 0.0
    edge = float(magnet_footprint(design).breakpoints[-1])
    return design.build.board_bow * min(1.0, edge / (design.board.outer_diameter / 2)) ** 2


def gap_stack(design: SizedDesign, at_rest: float | None) -> dict[str, Any]:
    """Parts of the stack, least gap in the worst case and the one that 95 % of motors keep; nothing without [build].

    at_rest: the gap under pull and weight [m], None where it is not known: then the drawn one.
    """
    build, tolerance = design.build, design.tolerance or Tolerance()
    if build is None:
        return {}
    middle = design.rotor.air_gap if at_rest is None else at_rest
    bow = bow_at_magnets(design)
    half = build.rotor_run_out / 2  # by which the lowest place of a turn comes nearer: evenly up to this, so half of it
    parts = [  # name, largest [m], mean [m], standard deviation [m], how it is spread
        ("height of the parts", tolerance.air_gap, 0.0, tolerance.air_gap / NORMAL, "normal, 90 % within it"),
        ("bow of the board", bow, 0.0, bow / sqrt(3), "evenly, either way"),
        ("axial run-out", half, half / 2, half / sqrt(12), "evenly, up to it"),
    ]
    means, chance = (sum(mean for _, _, mean, _, _ in parts), sqrt(sum(sigma**2 for _, _, _, sigma, _ in parts)))
    return {
        "gap_stack": tuple({"part": name, "largest_mm": 1e3 * size, "spread": how} for name, size, _, _, how in parts),
        "gap_worst": middle - sum(size for _, size, _, _, _ in parts),
        "gap_usual": middle - means - NORMAL * chance,
    }
