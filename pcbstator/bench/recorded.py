"""Recorded rows beside a bench file: CSV with named columns, comments, any usual separator and decimal mark."""

from __future__ import annotations

import io
import re
from dataclasses import dataclass, field
from itertools import islice
from math import pi
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter

from pcbstator.design.quantities import shown
from pcbstator.errors import Complaint

FloatArray = NDArray[np.float64]

LARGEST_FILE = 256 << 20  # bytes; a million rows of five columns have about 60 MB
HEAD_LINES = 60  # an instrument may write this much about itself above the names of its columns
FEWEST_ROWS = 3
SPIKE = 12.0  # robust standard deviations from the neighbours
NEIGHBOURS = 5
ROWS_AT_ONCE = 50_000  # where cells hold words: lists of numbers take much memory
GAP = 5.0  # times the usual step

SCALES: dict[str, dict[str, float]] = {  # units of the columns, each in SI
    "time": {"s": 1.0, "ms": 1e-3, "us": 1e-6},
    "voltage": {"v": 1.0, "mv": 1e-3},
    "current": {"a": 1.0, "ma": 1e-3},
    "terminal_peak": {"a": 1.0, "ma": 1e-3},
    "resistance": {"ohm": 1.0},
    "speed": {"rad_s": 1.0, "rpm": pi / 30},
    "angle": {"rad": 1.0, "deg": pi / 180},
    "reference": {"rad": 1.0, "deg": pi / 180},
    "sensor": {"rad": 1.0, "deg": pi / 180},
}
COLUMNS = {f"{what}_{unit}": (what, scale) for what, units in SCALES.items() for unit, scale in units.items()}


@dataclass(frozen=True, eq=False)
class Table:
    """Columns in SI by what they hold, each (rows,); remarks: what was left out or mended; facts: what they say."""

    name: str
    columns: dict[str, FloatArray]
    remarks: tuple[str, ...] = ()
    facts: dict[str, float] = field(default_factory=dict)


class _RefusedError(Exception):
    """Why a file is not taken."""

    def __init__(self, rule: str, value: str, remedy: str) -> None:
        self.complaint = Complaint("", rule, value, remedy)


def read_table(
    folder: Path | None, name: str, wanted: tuple[tuple[str, ...], ...], decimal: Literal["point", "comma"] | None
) -> Table | Complaint:
    """The rows of file ``name`` in the bench's folder, or what is wrong with it. wanted: one column of each group."""
    try:
        return _read(_content(folder, name), name, wanted, decimal)
    except _RefusedError as refused:
        return refused.complaint


def _content(folder: Path | None, name: str) -> str:
    if folder is None or Path(name).name != name or not (folder / name).is_file():
        raise _RefusedError(
            "must name a file that lies beside the bench file", shown(name), "put it there, or mend the name"
        )
    if (folder / name).stat().st_size > LARGEST_FILE:
        raise _RefusedError("must be at most 256 MiB", shown(name), "record fewer points")
    try:
        return (folder / name).read_bytes().decode("utf-8-sig")
    except (OSError, ValueError) as error:
        raise _RefusedError("must be a readable text file in UTF-8", shown(name), type(error).__name__) from None


def _read(text: str, name: str, wanted: tuple[tuple[str, ...], ...], decimal: str | None) -> Table:
    head, separator, body = _head(text, name, wanted)
    comma = _decimal_comma(body, separator, decimal)
    values = _numbers(body.replace(",", ".") if comma else body, separator, len(head))
    if len(values) < FEWEST_ROWS:
        value = f"{len(values)} rows in {shown(name)}"
        raise _RefusedError(f"must hold at least {FEWEST_ROWS} rows of numbers", value, "record it again")
    columns = {
        COLUMNS[title][0]: values[:, at] * COLUMNS[title][1] for at, title in enumerate(head) if title in COLUMNS
    }
    other = [title for title in head if title not in COLUMNS]
    remarks = [f"column {shown(title)} is not used" for title in other]
    sound, told = _sound(columns)
    if sound.sum() < FEWEST_ROWS:
        value = f"{len(sound)} rows, {int(sound.sum())} of them whole, in {shown(name)}"
        raise _RefusedError("must hold numbers", value, "look at what the instrument wrote; nan is no number")
    columns = {what: column[sound] for what, column in columns.items()}
    return Table(name, *_in_time(columns, remarks + told))


def _head(text: str, name: str, wanted: tuple[tuple[str, ...], ...]) -> tuple[list[str], str | None, str]:
    """Names of the columns, what parts them (None: blanks), and the text below."""
    at = 0
    for _ in range(HEAD_LINES):
        end = text.find("\n", at)
        line = text[at : len(text) if end < 0 else end].strip().lstrip("#").strip()
        for separator in (";", "\t", ",", None):
            titles = [cell.strip().strip('"').lower() for cell in line.split(separator)]
            held = {COLUMNS[title][0] for title in titles if title in COLUMNS}
            if all(held & set(group) for group in wanted) and len(set(titles)) == len(titles):
                return titles, separator, "" if end < 0 else text[end + 1 :]
        if end < 0:
            break
        at = end + 1
    named = " and ".join(" or ".join(f"{what}_{unit}" for what in group for unit in SCALES[what]) for group in wanted)
    value = f"an empty file, {shown(name)}" if not text.strip() else f"{shown(text.strip().splitlines()[0])} in {name}"
    raise _RefusedError(
        f"must have the columns {named}", value, "write their names, with their units, above the numbers"
    )


def _decimal_comma(body: str, separator: str | None, decimal: str | None) -> bool:
    """Whether decimals follow a comma; where the comma parts columns they cannot."""
    found = re.search(r"\d,\d", body[:4000]) is not None
    if separator == ",":
        if decimal == "comma":
            raise _RefusedError(
                "must not part its columns with commas too", "decimal comma", "export it with semicolons"
            )
        return False
    if decimal == "point" and found:
        raise _RefusedError("must have a point for its decimals, as decimal says", "commas", 'write decimal = "comma"')
    return found or decimal == "comma"


def _numbers(body: str, separator: str | None, width: int) -> FloatArray:
    """All rows (rows, columns); what is missing becomes NaN."""
    if not body.strip():
        return np.empty((0, width))
    try:
        # Bytes take a quarter of the memory that a StringIO does.
        rows = np.loadtxt(
            io.TextIOWrapper(io.BytesIO(body.encode()), "utf-8"),
            delimiter=separator,
            comments="#",
            ndmin=2,
            dtype=float,
        )
        if rows.size == 0 or rows.shape[1] == width:
            return np.asarray(rows.reshape(-1, width))
    except ValueError:
        pass  # cells that are empty or hold words: row by row
    lines = io.TextIOWrapper(io.BytesIO(body.encode()), "utf-8")
    parts = []
    while part := list(islice(lines, ROWS_AT_ONCE)):
        found = [row for line in part if (row := _row(line, separator, width))]
        parts.append(np.array(found, dtype=float).reshape(-1, width))
    return np.concatenate(parts)


def _row(line: str, separator: str | None, width: int) -> list[float] | None:
    if not line.strip() or line.lstrip().startswith("#"):
        return None
    cells = line.split(separator)
    found = [_number(cell) for cell in cells[:width]]
    return found + [np.nan] * (width - len(found))


def _number(cell: str) -> float:
    try:
        return float(cell)
    except ValueError:
        return float("nan")


def _sound(columns: dict[str, FloatArray]) -> tuple[NDArray[np.bool_], list[str]]:
    """Which rows are whole and hold no spike, and what to say of the others."""
    whole = np.logical_and.reduce([np.isfinite(column) for column in columns.values()])
    told, sound = [], whole.copy()
    if lost := int((~whole).sum()):
        told.append(f"{lost} of {len(whole)} rows hold no number somewhere and are left out")
    for what, column in columns.items():
        if what == "time" or whole.sum() < 4 * NEIGHBOURS:
            continue
        kept = column[whole]
        apart = np.abs(kept - median_filter(kept, NEIGHBOURS, mode="nearest"))
        usual, span = 1.4826 * float(np.median(apart)), float(np.subtract(*np.quantile(kept, [0.95, 0.05])))
        spikes = apart > max(SPIKE * usual, 0.3 * span)
        if 0 < spikes.sum() <= 0.01 * len(kept) + 1:
            sound[np.flatnonzero(whole)[spikes]] = False
            told.append(f"{int(spikes.sum())} outliers of {what} are left out")
    return sound, told


def _in_time(columns: dict[str, FloatArray], told: list[str]) -> tuple[dict[str, FloatArray], tuple[str, ...]]:
    """The columns with rising times from 0 on, and what to say of them."""
    if "time" not in columns:
        return columns, tuple(told)
    steps = np.diff(columns["time"])
    if (back := int((steps < 0).sum())) > 0.01 * len(steps):
        raise _RefusedError("must have rising times", f"{back} steps back", "put the rows in their order")
    order = np.argsort(columns["time"], kind="stable")
    fresh = np.append(True, np.diff(columns["time"][order]) > 0)
    if not fresh.all() or back:
        told.append(f"{int((~fresh).sum()) + back} rows with a time that was there before or out of order are mended")
    columns = {what: column[order][fresh] for what, column in columns.items()}
    steps = np.diff(columns["time"])
    if len(steps) and (gaps := int((steps > GAP * np.median(steps)).sum())):
        told.append(f"{gaps} gaps in time, the longest {steps.max():.3g} s")
    columns["time"] = columns["time"] - columns["time"][0]
    return columns, tuple(told)
