"""Driver, supply and sensor in the parts list, by the ranges that the order results give; prices where stated."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pcbstator.analysis.cost import board_cost, magnet_cost
from pcbstator.analysis.prediction import Prediction
from pcbstator.output.parts_list.parts import Part
from pcbstator.output.report.rows.order_rows import order_rows
from pcbstator.output.words import figures

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign

# Part, and what it must do: words here, and the row of the order table that says how much.
_ROWS = {
    "driver": {
        "continuous current": "Driver, continuous current", "peak current": "Driver, peak current",
        "current sensors for": "Current sensors, range", "of so many bits:": "Current sensors, bits",
        "switching at": "Switching frequency", "loops at": "Rate of the loops",
    },
    "supply": {"voltage": "Supply, voltage", "current": "Supply, current"},
    "angle sensor": {"counts a turn:": "Sensor, counts a turn", "off its place by": "Sensor, off its place"},
}  # fmt: skip


def drive_parts(prediction: Prediction) -> list[Part]:
    """One of each; nothing where the design says nothing of the job."""
    rows = {row.name: row for row in order_rows(prediction)}
    found = []
    for part, names in _ROWS.items():
        said = [f"{words} {rows[name].value}" for words, name in names.items() if name in rows]
        if said:
            place = rows["Sensor, place"].meaning if part == "angle sensor" and "Sensor, place" in rows else ""
            found.append(Part(part, 1, "; ".join(said), place=place))
    return found


def price_parts(design: SizedDesign, prediction: Prediction) -> list[Part]:
    """What boards and magnets of one machine cost by the stated prices."""
    if design.prices is None:
        return []
    prices, currency = design.prices.model_dump(), design.prices.currency
    boards, magnets = board_cost(design, prices, prediction.copper.via_count), magnet_cost(design, prices)
    note = "to compare designs by"
    return [
        Part(f"price of {name}", 1, f"{figures(price, 3)} {currency}", note=note)
        for name, price in (("boards", boards), ("magnets and steel", magnets))
    ]
