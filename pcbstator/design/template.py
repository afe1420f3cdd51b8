"""The starter file and the table of keys, both written from the records so that they cannot fall behind."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from enum import Enum
from typing import Any

from pcbstator.design.keys import MAGNET, Key, Section, keys_of, sections

HEAD = """\
# A motor whose stator is a printed circuit board. Edit the values, then:
#   pcbstator predict FILE       all results, the answer to [requirement] first
#   pcbstator suggest FILE       searches for designs that meet [requirement] within [envelope]
# Lengths are in mm (_mm) or um (_um), temperatures in degrees Celsius (_c), flux densities in tesla (_t).
"""
ABOUT_OPTIONAL = """\
# Lines that start with "# key = value" are optional. The value shown is the default; where the note says what holds
# when the key is left out, it is an example.
"""
ABOUT_SECTIONS = "# More sections, each added in full by its command; several at once with commas between, or all:\n"
EVERY = "all"  # in place of names of sections
ACCEPTED = "accepted"

INTRODUCTIONS = {
    "requirement": "What is asked of the built motor; every report answers it line by line.",
    "envelope": "The room that the machine leaves for the drive.",
    "winding": "How many coils, how they are shaped and how they are connected.",
    "board": "The printed circuit board. The copper diameters bound the ring for coils, end windings and connections.",
    "board.rules": "Limits of your board manufacturer, instead of the named set that board.rules = ... names.",
    "stack": "Several equal boards on top of each other: more copper, so more torque or less heat. Else there is one.",
    "board.holes": "Holes for screws, as many such tables as wanted.",
    "board.slots": "Routed slots, as many such tables as wanted.",
    "board.tabs": "Mounting tabs on the outer edge, free of copper, to screw the board down by.",
    "board.keepouts": "Areas that the copper must stay out of; they move nothing, the design is refused instead.",
    "board.thermistor": "Lands for a chip thermistor, so that the driver knows how warm the coils are.",
    "rotor": "The turning plate with its magnets. Neighbouring magnets face the board with opposite poles.",
    "rotor.plate": "The plate that carries the magnets: its heat, mass, sag, outline and holes.",
    "rotor.plate.holes": "Fixing holes of the plate, as many such tables as wanted.",
    "operation": "Losses at speeds and currents of your choice; without this section they are left out.",
    "cooling": "Where the heat goes. Without this section: still air, nothing clamped, ambient 25 C.",
    "tolerance": "How far the built motor may lie from these numbers: 5 % and 95 % values of the results.",
    "build": "How exactly it is put together: torque ripple, unequal phases and forces of the motor as built.",
    "slip_ring": "A second board with concentric rings, for brushes or balls that feed what turns.",
    "slip_ring.holes": "Fixing holes of the slip-ring board, as many such tables as wanted.",
    "load": "What the drive turns, at the load's side of a gear; the rotor's own inertia comes from the design.",
    "bearing": "What it all turns on: friction, play and stiffness, and what it may carry.",
    "motion": "How the load shall move: one move and a rest, or stops_deg, or a table_csv, or speed_rpm alone.",
    "drive": "Supply, driver and sensor; without this section voltage limits, gains and simulation are left out.",
    "prices": "What boards and magnets cost, for requirement.price and for searches. These numbers are invented.",
    ACCEPTED: "Warnings that are no concern, each with your reason; they are then listed as accepted.",
    MAGNET: "One magnet. State its remanence_t or its grade, not both.",
}
# The small file: a plate for photographs of small objects all around, turned in steps, by the fewest keys.
SMALL: dict[str, dict[str, Any]] = {
    "": {"title": "Photo turntable"},
    "requirement": {
        "position_error_deg": 0.2, "settling_time_s": 0.3, "slow_speed_rpm": 1.5, "smallest_step_deg": 0.5,
        "move_time_s": 1.5, "torque_reserve_percent": 50.0,
    },
    "envelope": {"bore_diameter_mm": 36.0, "outer_diameter_mm": 100.0, "height_mm": 12.0},
    "winding": {"coils": 12, "turns": "fill", "connection": "star"},
    "board": {
        "layers": 2, "track_width_mm": 0.2, "track_gap_mm": 0.2, "copper_inner_diameter_mm": 40.0,
        "copper_outer_diameter_mm": 80.0, "outer_diameter_mm": 90.0,
    },
    "rotor": {"poles": 16, "air_gap_mm": 1.0, "back_iron_mm": 3.0},
    MAGNET: {"shape": "disc", "diameter_mm": 10.0, "circle_diameter_mm": 58.0, "thickness_mm": 3.0, "grade": "N42"},
    "load": {"bodies": [{"shape": "disc", "mass_g": 500.0, "diameter_mm": 200.0}]},
    "bearing": {"friction_n_m": 0.004, "standstill_friction_n_m": 0.006},
    "motion": {"move_deg": 30.0, "speed_rpm": 6.0, "acceleration_deg_s2": 60.0, "dwell_s": 1.0},
    "drive": {
        "supply_v": 12.0, "current_limit_peak_a": 0.8, "pwm_khz": 50.0, "choke_uh": 680.0, "sensor_counts": 16384,
        "sensor_noise_deg": 0.01, "sensor_offset_mm": 0.02, "sensor_radius_mm": 16.0, "speed_bandwidth_hz": 12.0,
    },
}  # fmt: skip
# Further keys that are set where their section is written in full, and values that fit the small file's motor.
WRITTEN_OUT: dict[str, dict[str, Any]] = {
    "winding": {"kind": "spiral", "outline": "sector", "phases": 3},
    "board": {
        "thickness_mm": 1.6, "outer_copper_um": 35.0, "inner_copper_um": 35.0, "via_drill_mm": 0.3, "via_pad_mm": 0.6,
    },
    "board.keepouts": {"inner_diameter_mm": 84.0, "outer_diameter_mm": 96.0, "from_deg": -15.0, "to_deg": 15.0},
    "board.holes": {"count": 4, "first_angle_deg": 60.0},
    "board.tabs": {"count": 3, "first_angle_deg": 60.0, "hole_mm": 2.7},
    "stack": {"connection": "parallel"},
    "rotor.plate": {"inner_diameter_mm": 20.0},
    "rotor.plate.holes": {"count": 4},
    "slip_ring": {"outer_diameter_mm": 70.0},
    "slip_ring.holes": {"count": 3, "first_angle_deg": 45.0},
    "rotor": {"arrangement": "single"},
}  # fmt: skip
FITTING = {  # examples for the small file's motor, where those of the records do not fit it
    "envelope.bearing_inner_diameter_mm": 92.0, "envelope.bearing_outer_diameter_mm": 98.0,
    "board.coil_layers": [1, 2], "board.layer_copper_um": [35.0, 70.0], "board.layer_depths_mm": [0.0, 1.6],
    "board.holes.diameter_mm": 2.7, "board.holes.circle_diameter_mm": 85.5, "board.slots.circle_diameter_mm": 85.5,
    "board.slots.length_mm": 3.0, "board.tabs.width_mm": 5.0, "board.tabs.reach_mm": 5.0,
    "board.thermistor.circle_diameter_mm": 84.0, "board.thermistor.wire_circle_diameter_mm": 87.0,
    "operation.phase_currents_peak_a": [0.0, 0.3], "rotor.plate.thickness_mm": 3.0,
    "rotor.plate.holes.diameter_mm": 3.2, "rotor.plate.holes.circle_diameter_mm": 36.0,
    "slip_ring.holes.diameter_mm": 2.7, "slip_ring.holes.circle_diameter_mm": 64.0,
}  # fmt: skip
OWNERS = {"rotor.plate.holes": "rotor.plate", "slip_ring.holes": "slip_ring"}
ADDED_PARTS = ("stack", "board.rules", "board.thermistor", "rotor.plate", "slip_ring")  # they change the machine


def section_names() -> tuple[str, ...]:
    """The sections that can be written in full, by name."""
    return (*(path for path in sections() if path), ACCEPTED)


def with_owners(names: Iterable[str]) -> set[str]:
    """These sections, and those that they cannot be without."""
    asked = set(names)
    return asked | {owner for name, owner in OWNERS.items() if name in asked}


def starter_text(names: Iterable[str] = ()) -> str:
    """A small design file to edit, the named sections in full, all of them with ``EVERY``; it loads as it stands."""
    asked = set(names)
    full = set(section_names()) if EVERY in asked else with_owners(asked)
    parts = [HEAD + (ABOUT_OPTIONAL if full else ""), _lines_of(sections()[""], SMALL[""])]
    for path in section_names():
        if path in full:
            parts.append(
                "\n" + section_text(path, Written.AS_COMMENT if EVERY in asked and left_out(path) else Written.FULL)
            )
        elif path in SMALL:
            parts.append(f"\n# {INTRODUCTIONS[path]}\n[{path}]\n{_lines_of(sections()[path], SMALL[path])}")
    rest = [path for path in section_names() if path not in full and path not in SMALL]
    width = max(map(len, rest), default=0)
    commands = [f"#   pcbstator start FILE --with {path.ljust(width)}  {INTRODUCTIONS[path]}\n" for path in rest]
    return "".join([*parts, *(["\n" + ABOUT_SECTIONS] if rest else []), *commands])


class Written(Enum):
    """How much of a section stands as a comment: nothing that is needed or helps; all that is not required; all."""

    FULL = 1
    REQUIRED = 2
    AS_COMMENT = 3


def section_text(path: str, written: Written = Written.FULL) -> str:
    """A section with every key and its meaning."""
    introduction = f"# {INTRODUCTIONS[path]}\n"
    mark = "# " if written is Written.AS_COMMENT else ""
    if path == ACCEPTED:
        return f'{introduction}{mark}[{ACCEPTED}]\n# "board.bow" = {{ reason = "six tabs hold it", value = 0.6 }}\n'
    section = sections()[path]
    lines, shape = [f"{mark}[[{path}]]" if section.many else f"{mark}[{path}]"], ""
    for key in section.keys:
        if key.shape != shape and key.shape not in ("", SMALL[MAGNET]["shape"]):
            lines.append(f'# For shape = "{key.shape}":')
        elif key.shape != shape and shape:
            lines.append("# For every shape:")
        shape = key.shape
        lines.append(_full_line(key, written))
    return introduction + "\n".join(lines) + "\n"


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
    """Whether a section stands as a comment in a file with every section, since it adds something to the machine."""
    return path in ADDED_PARTS or (path in sections() and sections()[path].many)


def _lines_of(section: Section, values: Mapping[str, Any]) -> str:
    """These keys of a section with their values and meanings."""
    chosen = [key for key in keys_of(section, SMALL[MAGNET]["shape"]) if key.name in values]
    return "".join(f"{f'{key.name} = {_toml(values[key.name])}'.ljust(40)}  # {key.meaning}\n" for key in chosen)


def _full_line(key: Key, written: Written) -> str:
    """The line of one key: its value, commented out where optional, then meaning, unit and what it may be."""
    chosen = {**SMALL.get(key.section, {}), **WRITTEN_OUT.get(key.section, {})}
    ours = key.shape in ("", SMALL[MAGNET]["shape"])
    value = chosen[key.name] if ours and key.name in chosen else FITTING.get(key.path, key.example)
    live = ours and (key.required or (key.name in chosen and written is Written.FULL))
    if written is Written.AS_COMMENT:
        live = False
    if not live and key.default is not None:
        value = key.default
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
