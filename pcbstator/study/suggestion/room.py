"""Where a machine may lie: the rings that an envelope leaves for coils and magnets."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import ceil, floor
from typing import Any

from pcbstator.design.quantities import is_number
from pcbstator.design.rules import rule_set_names, rules_as_table
from pcbstator.errors import Complaint

EDGE = 0.5  # mm of copper to the board's edge at least, as design.records has it
LEAST_RING = 6.0  # mm along the radius, below which no coil is worth its holes
WIDEST_RING = 36.0  # mm; a wider space is looked at in two bands, at its rim and near its middle
BAND = 30.0  # mm along the radius of such a band
LEAST_INNER = 0.25  # of the outer diameter: copper further in makes hardly any torque


@dataclass(frozen=True)
class Ring:
    """A ring of copper [mm], where it lies in words, "" where there is but one; kept: as the file's [board] has it."""

    place: str
    inner: float
    outer: float
    kept: bool = False


def value_of(tables: Mapping[str, Any], path: str) -> float | None:
    """A number of a design file; None where there is none."""
    here: Any = tables
    for name in path.split("."):
        here = here.get(name) if isinstance(here, Mapping) else None
    return float(here) if is_number(here) else None


def rings_of(tables: Mapping[str, Any]) -> list[Ring] | Complaint:
    """The rings that the file leaves: that of its [board], else those of its [envelope], widest first."""
    own = [value_of(tables, f"board.copper_{end}_diameter_mm") for end in ("inner", "outer")]
    if own[0] is not None and own[1] is not None:
        return [Ring("", own[0], own[1], kept=True)]
    outer, bore = value_of(tables, "envelope.outer_diameter_mm"), value_of(tables, "envelope.bore_diameter_mm") or 0.0
    if outer is None:
        rule = "is needed, so that it is known where the drive may lie"
        return Complaint("envelope.outer_diameter_mm", rule, "nothing", "add [envelope] with outer_diameter_mm")
    bearing = [value_of(tables, f"envelope.bearing_{end}_diameter_mm") for end in ("inner", "outer")]
    spaces = [("", bore, outer)]
    if bearing[0] is not None and bearing[1] is not None:
        spaces = [("around the bearing", bearing[1], outer), ("inside the bearing", bore, bearing[0])]
    edge = 2 * max(EDGE, _edge(tables))
    found = [ring for place, low, high in spaces for ring in _bands(place, low, high, edge)]
    if not found:
        rule = f"must leave a ring of {LEAST_RING:g} mm or more between bore and outline"
        return Complaint("envelope.outer_diameter_mm", rule, f"{outer:g}", "give it more room")
    return found


def _bands(place: str, low: float, high: float, edge: float) -> list[Ring]:
    """The copper rings of one space between two diameters [mm], on a grid of half a millimetre."""
    outer = floor(2 * (high - edge)) / 2
    inner = ceil(2 * max(low + edge, LEAST_INNER * outer)) / 2
    width = (outer - inner) / 2
    if width < LEAST_RING:
        return []
    if width <= WIDEST_RING:
        return [Ring(place, inner, outer)]
    with_place = f"{place}, " if place else ""
    return [
        Ring(f"{with_place}at the rim", outer - 2 * BAND, outer),
        Ring(f"{with_place}near the middle", inner, inner + 2 * BAND),
    ]


def _edge(tables: Mapping[str, Any]) -> float:
    """Distance of copper to the board's edge [mm] that the board manufacturer wants."""
    board = tables.get("board")
    stated = board.get("rules") if isinstance(board, Mapping) else None
    if isinstance(stated, str) and stated in rule_set_names():
        stated = rules_as_table(stated)
    return value_of({"rules": stated}, "rules.edge_mm") or EDGE
