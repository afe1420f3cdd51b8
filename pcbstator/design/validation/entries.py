"""Rules between the keys of one table of a list, such as one of ``[[board.holes]]``, and of the thermistor.

As in ``consistency.py`` the values are those of the file, so that messages speak of its keys and units. Tables of a
list count from 1.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from pcbstator.design.keys import Section, sections
from pcbstator.design.quantities import shown
from pcbstator.design.sections.mechanical_features import MOST_TABLES
from pcbstator.errors import Complaint

LARGEST_PAD = 9.9  # mm; what a record of the netlist has room for
ROOT_FILLET = (
    1.0  # mm; radius that a router of 2 mm leaves where a mounting tab meets the edge (common practice, no source)
)
Values = Mapping[str, Any]
Found = tuple[str, str, object, str]  # key, rule, value and the way out


def entry_complaints(tables: Mapping[str, Any], faulty: set[str]) -> list[Complaint]:
    """Complaints about the tables of every list; values that are complained about already are left alone."""
    found = []
    board = _Whole(_number(tables, "board.outer_diameter_mm"), _number(tables, "board.layers"))
    for section in sections().values():
        judge = JUDGES.get(section.path)
        if judge is None:
            continue
        for place, table in _tables(tables, section):
            values = {name: table[name] for name in section.names if name in table}
            values |= {key.name: table.get(key.name, key.default) for key in section.keys}
            sound = {name: value for name, value in values.items() if f"{place}.{name}" not in faulty}
            found += [
                Complaint(f"{place}.{name}", rule, "nothing" if value is None else shown(value), remedy)
                for name, rule, value, remedy in judge(_Sound(sound), board)
            ]
    return found


def too_many(tables: Mapping[str, Any], section: Section) -> Complaint | None:
    """A complaint where a list is no list or is too long."""
    value = value_at(tables, section.path)
    if not section.many or value is None:
        return None
    if not isinstance(value, list):
        return Complaint(section.path, "must be a list of tables", shown(value), f"write [[{section.path}]] above each")
    if len(value) <= MOST_TABLES:
        return None
    return Complaint(section.path, f"must be at most {MOST_TABLES} tables", str(len(value)), "use count in a table")


class _Sound(dict[str, Any]):
    """Values of a table; what is not sound reads as missing without being complained about twice."""

    def has(self, *names: str) -> bool:
        """Whether all of these are sound and given."""
        return all(self.get(name) is not None for name in names)


def value_at(tables: Mapping[str, Any], path: str) -> Any:
    """What stands at a dotted path, or None; the tables themselves at the empty path."""
    here: Any = tables
    for step in path.split(".") if path else ():
        here = here.get(step) if isinstance(here, dict) else None
    return here


def _tables(tables: Mapping[str, Any], section: Section) -> Iterator[tuple[str, dict[str, Any]]]:
    """The tables of a section, each with its place in words."""
    value = value_at(tables, section.path)
    if isinstance(value, dict) and not section.many:
        yield section.path, value
    for number, table in enumerate(value if isinstance(value, list) and section.many else [], start=1):
        if isinstance(table, dict):
            yield f"{section.path}[{number}]", table


@dataclass(frozen=True)
class _Whole:
    """What the tables must agree with: outer diameter [mm] and layers of the board, where stated and sound."""

    outer_diameter: float | None
    layers: float | None


def _number(tables: Mapping[str, Any], path: str) -> float | None:
    """The number at a dotted path, if it is one."""
    value = value_at(tables, path)
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None


def _hole(hole: _Sound, board: _Whole) -> Iterator[Found]:
    pad, drill = hole.get("pad_mm"), hole.get("diameter_mm")
    if hole.get("plated") is True and "pad_mm" in hole:
        if pad is None:
            yield "pad_mm", "is required where plated = true", None, "add it, about twice the hole's diameter"
        elif drill is not None and pad <= drill:
            yield "pad_mm", f"must be larger than diameter_mm = {drill:g}", pad, "make the pad larger"
        elif pad > LARGEST_PAD:
            yield "pad_mm", f"must be at most {LARGEST_PAD} mm, the most a netlist can hold", pad, "a smaller pad"
    if hole.get("plated") is False and pad is not None:
        yield "pad_mm", "goes with plated = true only", pad, "take it away or add plated = true"
    yield from _middle(hole)


def _middle(table: _Sound, whole: str = "board") -> Iterator[Found]:
    if table.get("circle_diameter_mm") == 0 and table.get("count", 1) > 1:
        yield "count", f"must be 1 in the {whole}'s middle", table["count"], "use a larger circle_diameter_mm"


def _slot(slot: _Sound, board: _Whole) -> Iterator[Found]:
    if slot.has("width_mm", "length_mm") and slot["length_mm"] <= slot["width_mm"]:
        rule = f"must be larger than width_mm = {slot['width_mm']:g}"
        yield "length_mm", rule, slot["length_mm"], "make the slot longer, or use a hole"
    yield from _middle(slot)


def _tab(tab: _Sound, board: _Whole) -> Iterator[Found]:
    if not tab.has("width_mm"):
        return
    width, reach, hole = tab["width_mm"], tab.get("reach_mm"), tab.get("hole_mm")
    least = (width / 2 if tab.get("rounded") is True else 0.0) + ROOT_FILLET
    if reach is not None and reach < least:
        rule = f"must be at least {least:g} mm: {'half the width and ' if least > ROOT_FILLET else ''}the fillet"
        yield "reach_mm", f"{rule} at its root", reach, "reach further or make it narrower"
    if hole is not None and hole >= width:
        yield "hole_mm", f"must be smaller than width_mm = {width:g}", hole, "widen the mounting tab"
    if board.outer_diameter is not None and width + 2 * ROOT_FILLET > board.outer_diameter / 2:
        yield (
            "width_mm",
            f"must be below half of board.outer_diameter_mm = {board.outer_diameter:g}",
            width,
            "make it narrower",
        )


_SHAPE_KEYS = {
    "sector": ("inner_diameter_mm", "outer_diameter_mm", "from_deg", "to_deg"),
    "rectangle": ("circle_diameter_mm", "length_mm", "width_mm"),
    "disc": ("circle_diameter_mm", "diameter_mm"),
}


def _keepout(area: _Sound, board: _Whole) -> Iterator[Found]:
    shape = area.get("shape")
    if not isinstance(shape, str) or shape not in _SHAPE_KEYS:
        return
    needed = _SHAPE_KEYS[shape]
    if area.has("layers") and board.layers is not None and max(area["layers"]) > board.layers:
        yield "layers", f"must be layers of the board, 1 to {board.layers:g}", area["layers"], "take the others away"
    for name in needed:
        if name in area and area[name] is None:
            yield name, f'is required where shape = "{shape}"', None, "add it"
    foreign = {name for names in _SHAPE_KEYS.values() for name in names} | {"angle_deg"}
    for name in sorted(foreign - set(needed) - ({"angle_deg"} if shape != "sector" else set())):
        if area.get(name) is not None:
            yield name, f'does not belong to shape = "{shape}"', area[name], "take it away or change the shape"
    if shape != "sector":
        return
    if area.has("inner_diameter_mm", "outer_diameter_mm") and area["outer_diameter_mm"] <= area["inner_diameter_mm"]:
        rule = f"must be larger than inner_diameter_mm = {area['inner_diameter_mm']:g}"
        yield "outer_diameter_mm", rule, area["outer_diameter_mm"], "make this larger or the other smaller"
    if area.has("from_deg", "to_deg") and not 0 < area["to_deg"] - area["from_deg"] <= 360:
        rule = f"must be up to 360 degrees beyond from_deg = {area['from_deg']:g}"
        yield "to_deg", rule, area["to_deg"], "count counter-clockwise; add 360 where it passes +x"


def _thermistor(chip: _Sound, board: _Whole) -> Iterator[Found]:
    length, pitch = chip.get("land_length_mm"), chip.get("land_pitch_mm")
    given = [name for name in ("land_length_mm", "land_width_mm", "land_pitch_mm") if chip.get(name) is not None]
    if given and len(given) < 3 and all(name in chip for name in ("land_length_mm", "land_width_mm", "land_pitch_mm")):
        rule = "go together: land_length_mm, land_width_mm and land_pitch_mm"
        yield given[0], rule, chip[given[0]], "give all three, or none for those of the size"
    if length is not None and pitch is not None and pitch <= length:
        yield "land_pitch_mm", f"must be larger than land_length_mm = {length:g}", pitch, "move the lands apart"


def _slip_ring_holes(hole: _Sound, board: _Whole) -> Iterator[Found]:
    yield from _middle(hole, "slip-ring board")


def _plate_holes(hole: _Sound, board: _Whole) -> Iterator[Found]:
    yield from _middle(hole, "plate")


def _plate(plate: _Sound, board: _Whole) -> Iterator[Found]:
    """A plate must be held somewhere on it."""
    listed = plate.get("holes")
    circles = [hole.get("circle_diameter_mm") for hole in listed or () if isinstance(hole, dict)]
    if not plate.has("inner_diameter_mm", "outer_diameter_mm") or "held_diameter_mm" not in plate:
        return
    held = plate["held_diameter_mm"] or next((circle for circle in circles if circle), plate["inner_diameter_mm"])
    if not isinstance(held, int | float):
        return  # complained about already
    name = "held_diameter_mm"
    if held == 0:
        yield (
            name,
            "is required for a disc without bore and fixing holes",
            None,
            "add it: where hub or bearing holds it",
        )
    elif not plate["inner_diameter_mm"] <= held <= plate["outer_diameter_mm"]:
        yield name, "must be from the plate's bore to its outline", held, "state the circle on which it is held"


JUDGES: dict[str, Callable[[_Sound, _Whole], Iterator[Found]]] = {
    "board.holes": _hole,
    "board.slots": _slot,
    "board.tabs": _tab,
    "board.keepouts": _keepout,
    "board.thermistor": _thermistor,
    "rotor.plate": _plate,
    "rotor.plate.holes": _plate_holes,
    "slip_ring.holes": _slip_ring_holes,
}
