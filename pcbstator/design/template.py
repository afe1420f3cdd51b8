"""The starter file and the table of keys, both written from the records so that they cannot fall behind."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterable
from os import PathLike
from pathlib import Path
from typing import Any

from pcbstator.design.keys import MAGNET, Key, Section, sections
from pcbstator.errors import OutputError

HEAD = """\
# A motor whose stator is a printed circuit board. Edit the values, then try:
#   pcbstator predict FILE
# Lines that start with "# key = value" are optional. The value shown is the default; where the note says what holds
# when the key is left out, it is an example.
# Lengths are in mm (_mm) or um (_um), temperatures in degrees Celsius (_c), flux densities in tesla (_t).
"""

INTRODUCTIONS = {
    "requirement": "What is asked of the built motor; each line is optional, and is answered in every report.",
    "envelope": "The envelope that the machine leaves for the drive. Every limit is optional.",
    "winding": "How many coils, how they are shaped and how they are connected.",
    "board": "The printed circuit board. The copper diameters bound the ring for coils, end windings and connections.",
    "board.rules": 'Limits of a board manufacturer, instead of rules = "..." above; the others are as in 1oz-standard.',
    "stack": "Several equal boards on top of each other; without this section there is one.",
    "board.holes": "Holes for screws, as many such tables as wanted.",
    "board.slots": "Routed slots, as many such tables as wanted.",
    "board.tabs": "Mounting tabs on the outer edge, free of copper, to screw the board down by.",
    "board.keepouts": "Areas that the copper must stay out of; they move nothing, the design is refused instead.",
    "board.thermistor": "Lands for a chip thermistor on the side away from the rotor, with pads for two wires.",
    "rotor": "The turning plate with its magnets. Neighbouring magnets face the board with opposite poles.",
    "operation": "Working points at which losses are wanted; without this section they are left out.",
    "cooling": "Where the heat goes. Without this section: still air, nothing clamped, ambient 25 C.",
    "tolerance": "How far the built motor may lie from these numbers; gives 5 % and 95 % values of the results.",
    "slip_ring": "A second board with concentric rings for brushes; take the first # of every line away to have it.",
    "load": "What the drive turns, at the load's side of a gear; the rotor's own inertia comes from the design.",
    "motion": "How the load shall move: one move and a rest, or stops_deg, or a table_csv, or speed_rpm alone.",
    "drive": "Supply, driver and sensor; without this section voltage limits, gains and simulation are left out.",
    "prices": "What boards and magnets cost, for requirement.price and for searches. These numbers are invented.",
    MAGNET: "One magnet. State its remanence_t or its grade, not both.",
}
STARTER_SHAPE = "sector"
WRITTEN_OUT = (  # optional keys that a beginner wants to see set
    "requirement.position_error_deg", "requirement.slow_speed_rpm", "requirement.smallest_step_deg",
    "envelope.bore_diameter_mm", "envelope.outer_diameter_mm", "envelope.height_mm",
    "winding.kind", "winding.outline", "winding.phases", "winding.coils", "winding.connection",
    "board.thickness_mm", "board.outer_copper_um", "board.inner_copper_um", "board.via_drill_mm", "board.via_pad_mm",
    "board.rules", "rotor.arrangement", "rotor.back_iron_mm", "rotor.magnet.grade",
    "load.inertia_kg_m2", "load.friction_n_m", "load.standstill_friction_n_m",
    "motion.move_deg", "motion.speed_rpm", "motion.acceleration_deg_s2", "motion.dwell_s",
)  # fmt: skip
STARTER_VALUES = {"rotor.back_iron_mm": 2.0}


def starter_text() -> str:
    """A design file to edit, with every key and its meaning; it loads as it stands."""
    parts = [HEAD]
    for section in sections().values():
        lines = [] if not section.path else ["", f"# {INTRODUCTIONS[section.path]}", _header(section)]
        shape = ""
        for key in section.keys:
            if key.shape != shape and key.shape not in ("", STARTER_SHAPE):
                lines.append(f'# For shape = "{key.shape}":')
            elif key.shape != shape and shape:
                lines.append("# For every shape:")
            shape = key.shape
            lines.append(_line(key))
        parts.append("\n".join(lines) + "\n")
    return "".join(parts)


def write_starter(path: str | PathLike[str]) -> None:
    """Writes the starter file to ``path``, whole or not at all; never over something that is there."""
    place = Path(path)
    try:
        if place.is_symlink() or place.exists():
            raise FileExistsError
        descriptor, name = tempfile.mkstemp(prefix=f".{place.name}.", dir=place.parent)
        beside = Path(name)
        try:
            with os.fdopen(descriptor, "w", encoding="utf-8", newline="\n") as file:
                file.write(starter_text())
            beside.chmod(0o644)
            _give_name(beside, place)
        finally:
            beside.unlink(missing_ok=True)
    except FileExistsError:
        raise OutputError(f"{place}: is there already and is never overwritten; choose another name") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise OutputError(f"{place}: cannot be written ({reason}); choose a folder that exists and is yours") from None


def _give_name(beside: Path, place: Path) -> None:
    """Gives a finished file its name; a link fails where a file came up meanwhile, a rename would replace it."""
    try:
        os.link(beside, place)
    except FileExistsError:
        raise
    except OSError:  # a file system without links
        beside.rename(place)


def key_table(listed: Iterable[Key] | None = None) -> str:
    """These keys, or all of a design, as a Markdown table: key, unit, default, what it may be, meaning."""
    lines = ["| key | unit | default | value | meaning |", "|---|---|---|---|---|"]
    for key in [key for section in sections().values() for key in section.keys] if listed is None else listed:
        shape = f"; shape {key.shape} only" if key.shape else ""
        rule = key.rule.removeprefix("must be ")
        lines.append(f"| `{key.path}` | {key.unit} | {_default(key)} | {rule} | {key.meaning}{shape} |")
    return "\n".join(lines) + "\n"


def _default(key: Key) -> str:
    """What holds where the key is left out, in a word."""
    if key.section == "board.rules" and key.required:
        return "as 1oz-standard"
    if key.required:
        return "required"
    return key.otherwise if key.default is None else f"`{_toml(key.default)}`"


def left_out(path: str) -> bool:
    """Whether a section stands in the starter file as a comment, since it adds something to the board."""
    return path in ("board.rules", "board.thermistor", "slip_ring") or (path in sections() and sections()[path].many)


def _header(section: Section) -> str:
    header = f"[[{section.path}]]" if section.many else f"[{section.path}]"
    return f"# {header}" if left_out(section.path) else header


def _line(key: Key) -> str:
    """The line of one key: its value, commented out where optional, then meaning, unit and what it may be."""
    live = key.required or key.path in WRITTEN_OUT
    if left_out(key.section) or key.shape not in ("", STARTER_SHAPE):
        live = False
    value = STARTER_VALUES.get(key.path, key.example)
    rule = "" if isinstance(value, str) and len(key.words) < 2 else key.rule
    notes = [key.meaning, rule.removeprefix("must be ").removeprefix("a number from ")]
    if key.otherwise and not live:
        notes.append(f"left out: {key.otherwise}")
    text = f"{'' if live else '# '}{key.name} = {_toml(value)}"
    return f"{text.ljust(40)}  # {'; '.join(note for note in notes if note)}"


def _toml(value: Any) -> str:
    """A value as TOML writes it."""
    if isinstance(value, str):
        return '"' + value.replace("\\", "\\\\").replace('"', '\\"') + '"'
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{name} = {_toml(item)}" for name, item in value.items()) + " }"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(_toml(item) for item in value) + "]"
    return repr(value)
