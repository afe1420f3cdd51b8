"""What boards and magnets of one machine cost by a table of prices: to tell designs apart, not to send an invoice."""

from __future__ import annotations

import re
from collections.abc import Mapping
from math import pi
from typing import TYPE_CHECKING, Any

from pcbstator.analysis.magnetic.rotor_field import magnet_footprint, steel_ring
from pcbstator.analysis.mechanical.rotor import magnet_faces
from pcbstator.design import SectorMagnet
from pcbstator.design.sections.prices import Prices

if TYPE_CHECKING:
    from pcbstator.design import Design

BASE_COPPER = 35e-6  # m
BASE_GRADE = 35  # MJ·Oe
FRAME = 2e-3  # m that a board manufacturer leaves around a board


def invented_prices() -> dict[str, Any]:
    """The prices that the program comes with; they are invented."""
    return Prices().model_dump()


def board_cost(design: Design, prices: Mapping[str, Any], vias: float = 0.0) -> float:
    """Boards of one machine: material by area, layers, copper and tracks, holes, and a part of the set-up."""
    board = design.board
    area = (1e1 * (board.outer_diameter + FRAME)) ** 2  # dm2 of the square that a ring is cut from
    heavy = sum(max(thickness / BASE_COPPER - 1, 0.0) for thickness in board.layer_thicknesses)
    material = prices["board_per_dm2"] + prices["layer_pair_per_dm2"] * max(board.layers / 2 - 1, 0)
    material = (material + prices["heavy_copper_per_dm2"] * heavy) * area
    if 1e3 * min(board.track_width, board.track_gap) < prices["fine_track_mm"]:
        material *= prices["fine_track_factor"]
    each = material + prices["via_each"] * vias
    ordered = max(prices["boards_ordered"], design.boards * prices["machines"])
    return float(design.boards * (each + prices["board_setup"] / ordered))


def magnet_cost(design: Design, prices: Mapping[str, Any]) -> float:
    """Magnets of one machine by piece, volume, grade and shape, and the steel behind them."""
    rotor, magnet = design.rotor, design.rotor.magnet
    rotors = 2 if rotor.arrangement == "double" else 1
    pieces, factor = rotor.poles, 1.0
    if isinstance(magnet, SectorMagnet):
        pieces *= magnet.segments_per_pole if magnet.array == "halbach" else 1
        factor = prices["magnet_shaped_factor"]
    volume = 1e6 * rotor.poles * magnet_faces(design)[0] * magnet.thickness  # cm3
    named = re.search(r"\d+", magnet.grade or "")
    grade = max(int(named[0]) - BASE_GRADE, 0) / 10 if named else 0.0
    material = prices["magnet_per_cm3"] * volume * (1 + prices["magnet_grade_per_10_mj_oe"] * grade) * factor
    inner, outer = steel_ring(design, magnet_footprint(design))
    steel = 1e6 * pi * (outer**2 - inner**2) * rotor.back_iron  # cm3
    return float(rotors * (pieces * prices["magnet_each"] + material + prices["steel_per_cm3"] * steel))
