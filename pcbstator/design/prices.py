"""Prices to compare designs by. The numbers that stand here are invented: they only have to be right against each
other; those of a board manufacturer and a magnet dealer go under ``[prices]`` in a design or a study, key by key.
"""

from __future__ import annotations

from typing import Annotated

from pcbstator.design.quantities import Count, Quantity, Record, Text, key, ratio

PRICE = Quantity("", 1.0, 0, 1e9)  # in the currency of the table


class Prices(Record):
    """What boards, magnets and steel cost."""

    currency: Annotated[str, Text(12)] = key("currency", "name of the currency", "units")
    boards_ordered: Annotated[int, Count(range(1, 1_000_001))] = key(
        "boards_ordered", "boards of one order, over which the set-up is spread", 5
    )
    board_setup: Annotated[float, PRICE] = key("board_setup", "of an order", 30.0)
    board_per_dm2: Annotated[float, PRICE] = key(
        "board_per_dm2", "two layers of 35 um, of the rectangle that the board is cut from", 1.2
    )
    layer_pair_per_dm2: Annotated[float, PRICE] = key("layer_pair_per_dm2", "for every further pair of layers", 4.0)
    heavy_copper_per_dm2: Annotated[float, PRICE] = key(
        "heavy_copper_per_dm2", "for every layer and 35 um beyond the first 35 um", 2.0
    )
    fine_track_factor: Annotated[float, PRICE] = key(
        "fine_track_factor", "on the board where tracks or gaps are below fine_track_mm", 1.5
    )
    fine_track_mm: Annotated[float, PRICE] = key("fine_track_mm", "narrowest track or gap without extra price", 0.127)
    via_each: Annotated[float, PRICE] = key("via_each", "of a via", 0.002)
    machines: Annotated[int, Count(range(1, 1_000_001))] = key("machines", "machines that all of this is bought for", 1)
    magnet_each: Annotated[float, PRICE] = key("magnet_each", "handling of a magnet", 0.25)
    magnet_per_cm3: Annotated[float, PRICE] = key("magnet_per_cm3", "of sintered neodymium, grade N35", 0.9)
    magnet_grade_per_10_mj_oe: Annotated[float, ratio(0, 100)] = key(
        "magnet_grade_per_10_mj_oe", "part by which 10 steps of the grade's number cost more", 0.25
    )
    magnet_shaped_factor: Annotated[float, PRICE] = key(
        "magnet_shaped_factor", "on sectors, which are cut to order; discs and blocks come off the shelf", 3.0
    )
    steel_per_cm3: Annotated[float, PRICE] = key("steel_per_cm3", "laser-cut plate", 0.15)

    @property
    def table(self) -> dict[str, float | str]:
        """Every price by its key."""
        return {str(field.alias): getattr(self, name) for name, field in type(self).model_fields.items()}
