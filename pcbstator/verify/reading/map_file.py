"""The short file with which a user says which file is what, where the files do not say it themselves.

[files]
"stator-front.gbr" = "copper 1"
"stator-rear.gbr" = "copper 2"
"holes.txt" = "plated"

[drill]
unit = "inch"
digits = [2, 4]
zeros_left_out = "trailing"

[terminals]
A = [52.2, -0.83]
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from pcbstator.errors import Complaint, FilesError
from pcbstator.verify.reading.drill import DrillFormat
from pcbstator.verify.reading.gerber_state import INCH, MILLIMETRE
from pcbstator.verify.reading.limits import LARGEST, MOST_LAYERS
from pcbstator.verify.reading.roles import Role

_LARGEST_FILE = 1024**2
_WORDS = 'one of "copper 1" to "copper 64", "mask top", "mask bottom", "profile", "plated", "unplated", "drill", ' \
    '"netlist" and "ignore"'  # fmt: skip
_ROLES = {
    "mask top": Role("mask", side="top", told_by="map file"),
    "mask bottom": Role("mask", side="bottom", told_by="map file"),
    "profile": Role("profile", told_by="map file"),
    "plated": Role("drill", plated=True, told_by="map file"),
    "unplated": Role("drill", plated=False, told_by="map file"),
    "drill": Role("drill", told_by="map file"),
    "netlist": Role("netlist", told_by="map file"),
    "ignore": Role("ignore", told_by="map file"),
}


@dataclass(frozen=True)
class MapFile:
    """Roles by file name, how numbers of drill files are written, terminals by name [mm]."""

    roles: Mapping[str, Role] = field(default_factory=dict)
    drill: DrillFormat = field(default_factory=DrillFormat)
    terminals: Mapping[str, tuple[float, float]] = field(default_factory=dict)


def read_map_file(path: Path) -> MapFile:
    """A map file; FilesError with every complaint."""
    try:
        if path.stat().st_size > _LARGEST_FILE or not path.is_file():
            raise FilesError(str(path), [Complaint("file", "a map file must be a small text file")])
        content = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise FilesError(str(path), [Complaint("file", "must be readable", error.strerror or "")]) from None
    except (UnicodeDecodeError, tomllib.TOMLDecodeError, RecursionError) as error:
        raise FilesError(str(path), [Complaint("file", "must be TOML", str(error)[:100])]) from None
    complaints = [
        Complaint(key, "is no table of a map file", remedy="the tables are files, drill and terminals")
        for key in content
        if key not in ("files", "drill", "terminals")
    ]
    tables = {}
    for key in ("files", "drill", "terminals"):
        tables[key] = content.get(key, {})
        if not isinstance(tables[key], dict):
            complaints.append(Complaint(key, "must be a table"))
            tables[key] = {}
    roles = _roles(tables["files"], complaints)
    drill = _drill(tables["drill"], complaints)
    terminals = _terminals(tables["terminals"], complaints)
    if complaints:
        raise FilesError(str(path), complaints)
    return MapFile(roles, drill, terminals)


def _roles(table: dict[str, Any], complaints: list[Complaint]) -> dict[str, Role]:
    roles: dict[str, Role] = {}
    for name, word in table.items():
        found = re.fullmatch(r"copper (\d{1,2})", word) if isinstance(word, str) else None
        if found and 1 <= int(found[1]) <= MOST_LAYERS:
            roles[name] = Role("copper", int(found[1]), told_by="map file")
        elif isinstance(word, str) and word in _ROLES:
            roles[name] = _ROLES[word]
        else:
            complaints.append(Complaint(f'files."{name}"', f"must be {_WORDS}", repr(word)[:60]))
    return roles


def _drill(table: dict[str, Any], complaints: list[Complaint]) -> DrillFormat:
    unit, digits, left_out = table.get("unit"), table.get("digits"), table.get("zeros_left_out")
    for key in table:
        if key not in ("unit", "digits", "zeros_left_out"):
            complaints.append(
                Complaint(f"drill.{key}", "is no key", remedy="the keys are unit, digits and zeros_left_out")
            )
    if unit not in (None, "mm", "inch"):
        complaints.append(Complaint("drill.unit", 'must be "mm" or "inch"', repr(unit)[:60]))
    if left_out not in (None, "leading", "trailing"):
        complaints.append(Complaint("drill.zeros_left_out", 'must be "leading" or "trailing"', repr(left_out)[:60]))
    good = digits is None or (
        isinstance(digits, list) and len(digits) == 2 and all(type(n) is int and 0 <= n <= 9 for n in digits)
    )
    if not good:
        rule = "must be the figures before and after the point, such as [2, 4]"
        complaints.append(Complaint("drill.digits", rule, repr(digits)[:60]))
    units = {"mm": MILLIMETRE, "inch": INCH}
    return DrillFormat(
        units.get(unit) if isinstance(unit, str) else None,
        (digits[0], digits[1]) if good and digits else None,
        left_out if isinstance(left_out, str) else None,
    )


def _terminals(table: dict[str, Any], complaints: list[Complaint]) -> dict[str, tuple[float, float]]:
    terminals = {}
    for name, place in table.items():
        numbers = isinstance(place, list) and len(place) == 2 and all(type(n) in (int, float) for n in place)
        if numbers and all(abs(number) <= LARGEST for number in place):
            terminals[name] = float(place[0]), float(place[1])
        else:
            complaints.append(Complaint(f"terminals.{name}", "must be x and y in mm, such as [52.2, -0.83]",
                                        repr(place)[:60]))  # fmt: skip
    return terminals
