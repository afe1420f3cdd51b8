"""The keys of a design as knobs, read off the records: what each may be, its unit, meaning and default, and its place
in the story of a design.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from typing import Any

from pcbstator.design.keys import Key, Section, keys, sections
from pcbstator.design.quantities import Count, Quantity, WordOr, YesNo
from pcbstator.design.template import INTRODUCTIONS, SMALL


@dataclass(frozen=True)
class Group:
    """A step of the story with the sections that belong to it."""

    name: str
    title: str
    sections: tuple[str, ...]


GROUPS = (
    Group("need", "Need", ("requirement", "load", "bearing", "motion", "")),
    Group("envelope", "Envelope", ("envelope",)),
    Group("winding", "Winding", ("winding",)),
    Group("copper", "Copper", ("board", "board.rules", "board.thermistor", "stack", "slip_ring")),
    Group("magnets", "Magnets", ("rotor.magnet", "rotor", "rotor.plate", "build", "tolerance")),
    Group("drive", "Drive", ("drive", "cooling", "operation", "prices")),
)
# Beside the keys of the small file that ``start`` writes: what is turned first on any motor.
FIRST = frozenset([
    "winding.kind", "winding.outline", "winding.parallel_paths", "board.outer_copper_um", "board.inner_copper_um",
    "board.thickness_mm", "rotor.arrangement", "rotor.magnet.arc_ratio", "rotor.magnet.inner_diameter_mm",
    "rotor.magnet.outer_diameter_mm", "rotor.magnet.length_mm", "rotor.magnet.width_mm", "rotor.magnet.remanence_t",
    "requirement.position_error_deg", "requirement.supply_current_a", "cooling.ambient_c",
])  # fmt: skip
# The knob beside which a finding stands, where its code does not begin a key; docs/findings.md says what to do.
CURES = {
    "copper.gap": "board.track_gap_mm", "board.annular_ring": "board.via_pad_mm", "board.drill": "board.via_drill_mm",
    "board.aspect_ratio": "board.via_drill_mm", "board.drill_to_copper": "board.via_pad_mm",
    "board.edge": "board.outer_diameter_mm", "board.bow": "rotor.air_gap_mm", "board.mask_web": "board.via_pad_mm",
    "board.hole_to_copper": "board.copper_outer_diameter_mm", "board.pad_gap": "board.copper_outer_diameter_mm",
    "board.keepout": "board.copper_outer_diameter_mm", "board.outline": "board.outer_diameter_mm",
    "envelope.bore": "envelope.bore_diameter_mm", "envelope.outer": "envelope.outer_diameter_mm",
    "envelope.height": "envelope.height_mm", "envelope.bearing": "envelope.bearing_outer_diameter_mm",
    "magnets.overlap": "rotor.poles", "magnets.crowded": "rotor.magnet.arc_ratio",
    "magnets.annulus": "board.copper_outer_diameter_mm", "magnets.knee": "rotor.magnet.thickness_mm",
    "winding.factor": "rotor.poles", "magnetic.torque_ripple": "winding.skew_deg",
    "electrical.unequal_phases": "board.interconnect_width_mm", "electrical.delta_loop": "winding.connection",
    "mechanical.back_iron": "rotor.back_iron_mm", "mechanical.stator_iron": "rotor.stator_iron_mm",
    "mechanical.rubbing": "rotor.air_gap_mm", "mechanical.gap_unstable": "rotor.air_gap_mm",
    "mechanical.bearing_load": "rotor.air_gap_mm", "mechanical.tilt_unstable": "rotor.air_gap_mm",
    "surroundings.sensor": "drive.sensor_radius_mm",
}  # fmt: skip
UNIT_ENDING = re.compile(
    r"(_(mm2?|um|deg|deg_s2|deg_s3|rpm|percent|ratio|c|t|a|v|s|ns|hz|khz|uh|n_m|n|g|w|kg_m2|mohm|mt|k)){1,2}$"
)
WINDOW = 2.0  # a slider goes from the value over this to the value times it, within what the key may be
WHOLE = 20.0  # but over the whole range where that spans less than this factor


def knob_groups() -> list[dict[str, Any]]:
    """The groups with their sections and knobs, as plain data."""
    known = sections()
    return [
        {
            "name": group.name,
            "title": group.title,
            "sections": [_section(known[path]) for path in group.sections if path in known],
            "lists": [path for path, section in known.items() if section.many and _group_of(path) is group],
        }
        for group in GROUPS
    ]


def _group_of(path: str) -> Group:
    return next((group for group in GROUPS if path.split(".")[0] in group.sections), GROUPS[0])


def _section(section: Section) -> dict[str, Any]:
    return {
        "path": section.path,
        "required": section.required,
        "meaning": INTRODUCTIONS.get(section.path, section.meaning),
        "knobs": list(_knobs(section)),
    }


def _knobs(section: Section) -> Iterator[dict[str, Any]]:
    shapes: dict[str, list[str]] = {}
    for key in section.keys:
        shapes.setdefault(key.path, []).append(key.shape)
    for key in section.keys:
        if key.shape != shapes[key.path][0]:
            continue  # one knob for all shapes of a magnet that have it
        knob = {
            "path": key.path,
            "label": label_of(key.name),
            "unit": {"C": "°C", "um": "µm", "deg": "°"}.get(key.unit, key.unit),
            "meaning": key.meaning,
            "rule": key.rule.removeprefix("must be "),
            "default": _plain(key.default),
            "otherwise": key.otherwise,
            "required": key.required,
            "shapes": [shape for shape in shapes[key.path] if shape],
            "first": key.path in FIRST or key.name in SMALL.get(section.path, {}),
        }
        if section.path and not key.required:
            knob["example"] = _plain(key.example)
        yield knob | _value_of(key)


def label_of(name: str) -> str:
    """What a knob is called: its key without the unit.

    >>> label_of("track_width_mm"), label_of("current_limit_peak_a"), label_of("poles")
    ('Track width', 'Current limit peak', 'Poles')
    """
    words = UNIT_ENDING.sub("", name).replace("_", " ")
    return words[:1].upper() + words[1:]


def _plain(value: Any) -> Any:
    return value if isinstance(value, bool | int | float | str | None) else None


def _value_of(key: Key) -> dict[str, Any]:
    """How it is set: a number within bounds, a whole number of a list, a word, yes or no, or in the text alone."""
    kind = key.kind.quantity if isinstance(key.kind, WordOr) else key.kind
    word = key.kind.word if isinstance(key.kind, WordOr) else ""
    if isinstance(kind, Quantity):
        return {"kind": "number", "low": kind.low, "high": kind.high, "word": word, "whole": kind.low > 0 and
                kind.high / kind.low < WHOLE}  # fmt: skip
    if isinstance(kind, Count):
        found = {"kind": "count", "low": kind.allowed[0], "high": kind.allowed[-1], "step": kind.step}
        if not isinstance(kind.allowed, range):
            found["allowed"] = list(kind.allowed)
        return found | {"word": kind.word, "whole": kind.allowed[-1] - kind.allowed[0] <= WHOLE}
    if isinstance(kind, YesNo):
        return {"kind": "yes"}
    if key.words:
        return {"kind": "choice", "words": list(key.words)}
    return {"kind": "text" if key.name in ("title", "grade", "finish", "rules") else "list"}


def cure_of(code: str, where: str | None) -> str:
    """The key beside which a finding stands; empty where there is none.

    >>> cure_of("board.track_width", None), cure_of("magnets.overlap", None), cure_of("law.range", None)
    ('board.track_width_mm', 'rotor.poles', '')
    """
    if where in keys():
        return str(where)
    return CURES.get(code) or _by_beginning().get(code, "")


@cache
def _by_beginning() -> dict[str, str]:
    """Keys by what they begin with, without their unit."""
    return {UNIT_ENDING.sub("", path): path for path in reversed(keys())}
