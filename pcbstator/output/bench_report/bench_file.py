"""The file of readings to fill in: an entry for every reading of the sheet, and every key that a reading may have.

All of it stands as comments; what was measured loses its marks and gets its numbers.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from pcbstator.bench.load import KINDS
from pcbstator.bench.readings import Reading
from pcbstator.bench.sheet import Sheet
from pcbstator.design.keys import Key, record_keys
from pcbstator.output.bench_report.records import Test

HEAD = """\
# Readings of {title}, to fill in by the bench sheet; then:
#   pcbstator compare {source} bench.toml
# Take "# " off the lines of what you measured and write the number behind the "=". The rest may stay as it is. Lines
# that begin with "#   " are for more: take the mark off where you need them. Recorded files are CSV, beside this file,
# with the columns named. Never write an expected value for a measured one.
# Every reading may also say, with these defaults:
{common}

# title = "first board, first rotor"
"""
# Of several ways to state a reading, the one that the sheet asks for.
CHOSEN = {
    "emf": ("peak_to_peak_v", "frequency_hz"),
    "static_torque": ("grams",),
    "no_load": ("terminal_peak_a",),
}
FOUR_PLACES = (0.0, 90.0, 180.0, 270.0)  # deg, of a feeler gauge


@dataclass(frozen=True)
class Entry:
    """A reading: its list, and the conditions that the sheet sets."""

    kind: str
    given: Mapping[str, Any]


def bench_file(sheet: Sheet, tests: tuple[Test, ...]) -> str:
    """The text of ``bench.toml``; tests: of the sheet, in their order."""
    numbers = {test.fills: number for number, test in enumerate(tests, 1) if test.fills}
    order = [*numbers, *(kind for kind in KINDS if kind not in numbers)]
    common = [key for key in record_keys("", Reading)]
    lines = [
        HEAD.format(
            title=sheet.design.title, source=sheet.design.source or "DESIGN", common="\n".join(map(_more, common))
        )
    ]
    for kind in order:
        place = f"test {numbers[kind]} of the sheet" if kind in numbers else "not on the sheet"
        lines.append(f"# ---- {kind.replace('_', ' ')}: {place} ----")
        lines += [_entry_text(entry, first=k == 0) for k, entry in enumerate(_entries(sheet, kind))]
    return "\n".join(lines)


def _entries(sheet: Sheet, kind: str) -> list[Entry]:
    """The readings of one list that the sheet asks for."""
    ends: list[dict[str, Any]] = [{"between": [pair[:1], pair[1:]]} for pair in sheet.resistances]
    given: Sequence[Mapping[str, Any]]
    if kind in ("resistance", "emf"):
        given = [*ends]
    elif kind == "inductance":
        given = [end | {"frequency_khz": _plain(sheet.meter_frequency / 1e3)} for end in ends]
    elif kind == "static_torque" and sheet.torque is not None:
        given = [ends[0] | {"current_a": _plain(sheet.torque.current), "lever_mm": _plain(1e3 * sheet.torque.lever)}]
    elif kind == "warm_up" and sheet.held is not None:
        given = [ends[0] | {"current_a": _plain(sheet.held.current)}]
    elif kind in ("static_torque", "warm_up"):
        given = ends[:1]
    elif kind == "field" and sheet.field:
        radius = _plain(1e3 * sheet.field_radius)
        given = [{"distance_mm": _plain(1e3 * place), "radius_mm": radius} for place, _ in sheet.field]
    elif kind == "gap":
        given = [{"angle_deg": angle} for angle in FOUR_PLACES]
    else:
        parts: dict[str, dict[str, Any]] = {"thickness": {"of": "board"}, "finished_copper": {"layer": 1}}
        given = [parts.get(kind, {})]
    return [Entry(kind, each) for each in given]


def _entry_text(entry: Entry, first: bool) -> str:
    """An entry as comments: its conditions, then the blanks; after the first one of a kind what may be added."""
    record = KINDS[entry.kind]
    keys = [key for key in record_keys("", record) if key.name not in _common_names()]
    wanted = [key for key in keys if key.required or key.name in entry.given or key.name in CHOSEN.get(entry.kind, ())]
    lines = [f"# [[{entry.kind}]]", *(_line(key, entry) for key in wanted)]
    if record.columns and any(key.name == "table_csv" for key in wanted):
        lines.append(f"# # columns of the file: {_columns(record)}")
    rest = [key for key in keys if key not in wanted]
    if first and rest:
        lines += ["# # may be added:", *map(_more, rest)]
    return "\n".join(lines) + "\n"


def _common_names() -> set[str]:
    return {key.name for key in record_keys("", Reading)}


def _columns(record: type[Reading]) -> str:
    return ", ".join(" or ".join(names) for names in record.columns)


def _line(key: Key, entry: Entry) -> str:
    if key.name in entry.given:
        return f"{f'# {key.name} = {json.dumps(entry.given[key.name])}'.ljust(34)}  # {_note(key)}"
    shape = f"; for example {json.dumps(key.example)}" if isinstance(key.example, str | list) else ""
    return f"{f'# {key.name} ='.ljust(34)}  # {_note(key)}{shape}"


def _more(key: Key) -> str:
    """A key that may be added, with its default where it has one."""
    default = "" if key.default is None else f" {json.dumps(key.default)}"
    return f"{f'#   {key.name} ={default}'.ljust(34)}  # {_note(key)}"


def _note(key: Key) -> str:
    unit = f" [{key.unit}]" if key.unit else ""
    otherwise = f"; left out: {key.otherwise}" if key.otherwise else ""
    return f"{key.meaning}{unit}{otherwise}"


def _plain(value: float) -> float:
    """Without the last digits of a conversion."""
    return float(f"{value:.9g}")
