"""What board manufacturers can make: named rule sets as data, and limits given in a design file."""

from __future__ import annotations

import difflib
import tomllib
from functools import cache
from pathlib import Path
from typing import Annotated, Any

from pcbstator.design.quantities import Record, Text, key, millimetres, ratio, refusal

STANDARD = "1oz-standard"  # fills what a table of limits leaves out
WHAT = "must be the name of a rule set or a table of limits"


class RuleSet(Record):
    """What the board manufacturer can make; SI."""

    name: Annotated[str, Text(60)] = key("name", "name of the limits in messages", "limits of the design file")
    track_width: Annotated[float, millimetres(0.01, 5)] = key("track_width_mm", "least track width", example=0.15)
    track_gap: Annotated[float, millimetres(0.01, 5)] = key("track_gap_mm", "least gap between tracks", example=0.15)
    drill: Annotated[float, millimetres(0.05, 5)] = key("drill_mm", "least drill", example=0.3)
    annular_ring: Annotated[float, millimetres(0, 5)] = key(
        "annular_ring_mm", "least copper around a hole, on each side", example=0.15
    )
    edge: Annotated[float, millimetres(0, 5)] = key(
        "edge_mm", "least distance of copper to the board's edge", example=0.3
    )
    drill_to_copper: Annotated[float, millimetres(0, 5)] = key(
        "drill_to_copper_mm", "least distance of a hole to copper of another net", example=0.2
    )
    aspect_ratio: Annotated[float, ratio(1, 50)] = key(
        "aspect_ratio", "most board thickness per drill diameter", example=8.0
    )
    mask_web: Annotated[float, millimetres(0, 5)] = key(
        "mask_web_mm", "least solder mask between two openings", example=0.1
    )
    hole_web: Annotated[float, millimetres(0, 10)] = key(
        "hole_web_mm", "least laminate between holes or slots, and to the board's edge", example=0.5
    )
    slot: Annotated[float, millimetres(0.1, 10)] = key("slot_mm", "least width of a routed slot", example=0.8)


@cache
def _tables() -> dict[str, dict[str, Any]]:
    return tomllib.loads(Path(__file__).with_name("rule_sets.toml").read_text(encoding="utf-8"))


def rule_set_names() -> tuple[str, ...]:
    """Names of the known rule sets."""
    return tuple(_tables())


def rule_set(name: str) -> RuleSet:
    """The rule set called ``name``.

    >>> rule_set("2oz-standard").track_gap
    0.0002
    """
    return RuleSet.model_validate(rules_as_table(name))


def rules_as_table(value: object) -> object:
    """The whole table of limits for a name or for a table that states some of them; anything else is refused."""
    if isinstance(value, str):
        if value in _tables():
            return {"name": value, **_tables()[value]}
        close = difflib.get_close_matches(value, rule_set_names(), n=1)
        known = "known are " + ", ".join(rule_set_names())
        raise refusal(WHAT, f'did you mean "{close[0]}"? {known}' if close else known)
    if isinstance(value, dict):
        return {**_tables()[STANDARD], **value}
    raise refusal(WHAT, "known are " + ", ".join(rule_set_names()))
