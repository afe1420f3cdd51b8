"""Prices to compare designs by."""

from __future__ import annotations

from typing import Annotated

from pcbstator.design.quantities import Count, Quantity, Record, Text, key, ratio

PRICE, PIECES = ratio(0.0, 1e9), Count(range(1, 1_000_001))


class Prices(Record):
    """Prices to compare designs by, in the units of their keys.

    Those that the program brings are invented. They only have to be right against each other.
    """

    currency: Annotated[str, Text(12)] = key("currency", "what the prices are in", "units")
    boards_ordered: Annotated[int, PIECES] = key("boards_ordered", "boards of an order, which share its set-up", 5)
    board_setup: Annotated[float, PRICE] = key("board_setup", "set-up of an order of boards", 30.0)
    board_per_dm2: Annotated[float, PRICE] = key(
        "board_per_dm2", "board of two layers of 35 um, by the area of the rectangle that the board is cut from", 1.2
    )
    layer_pair_per_dm2: Annotated[float, PRICE] = key(
        "layer_pair_per_dm2", "what every further pair of layers adds", 4.0
    )
    heavy_copper_per_dm2: Annotated[float, PRICE] = key(
        "heavy_copper_per_dm2", "what every further 35 um on a layer add", 2.0
    )
    fine_track_factor: Annotated[float, PRICE] = key(
        "fine_track_factor", "factor on the board where tracks or gaps are below `fine_track_mm`", 1.5
    )
    fine_track_mm: Annotated[float, Quantity("mm", 1.0, 0.0, 100.0)] = key(
        "fine_track_mm", "width or gap below which a track is fine", 0.127
    )
    via_each: Annotated[float, PRICE] = key("via_each", "one via", 0.002)
    machines: Annotated[int, PIECES] = key("machines", "machines that all of this is bought for", 1)
    magnet_each: Annotated[float, PRICE] = key("magnet_each", "handling of one magnet", 0.25)
    magnet_per_cm3: Annotated[float, PRICE] = key("magnet_per_cm3", "sintered neodymium, grade N35", 0.9)
    magnet_grade_per_10_mj_oe: Annotated[float, PRICE] = key(
        "magnet_grade_per_10_mj_oe", "part of the price that 10 steps of the grade's number add", 0.25
    )
    magnet_shaped_factor: Annotated[float, PRICE] = key(
        "magnet_shaped_factor", "factor on sectors, which are cut to order; discs and blocks come off the shelf", 3.0
    )
    steel_per_cm3: Annotated[float, PRICE] = key("steel_per_cm3", "laser-cut steel plate", 0.15)
