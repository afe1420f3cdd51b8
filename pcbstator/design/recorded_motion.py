"""A recorded motion in a CSV file beside the design: times with angles, torques or both."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from math import inf, isfinite, radians
from pathlib import Path

from pcbstator.design.quantities import LEAST, shown
from pcbstator.design.sections.job import LEAST_TIME
from pcbstator.errors import Complaint

LARGEST_FILE = 4 << 20  # bytes
MOST_ROWS = 20_000
LIMITS = {"time_s": 1e6, "angle_deg": 1e7, "torque_n_m": 1e5}
KEY = "motion.table_csv"


@dataclass(frozen=True)
class Recording:
    """Times [s] from 0 on, and the load's angle [rad] or the torque [N m] it wants; empty where not recorded."""

    times: tuple[float, ...]
    angles: tuple[float, ...] = ()
    torques: tuple[float, ...] = ()


def read_recording(folder: Path | None, name: str) -> Recording | Complaint:
    """The recording in file ``name`` beside the design, or what is wrong with it."""
    if folder is None or Path(name).name != name:
        return Complaint(KEY, "must name a file in the design's own folder", shown(name), "put it beside the design")
    try:
        if not (folder / name).is_file():
            return Complaint(KEY, "must name a file that is there", shown(name), "check the name")
        with (folder / name).open("rb") as file:
            content = file.read(LARGEST_FILE + 1)
        if len(content) > LARGEST_FILE:
            return Complaint(KEY, "must be at most 4 MiB", shown(name), "record fewer points")
        return _parsed(content.decode("utf-8-sig"))
    except (OSError, ValueError) as error:
        return Complaint(KEY, "must be a readable text file in UTF-8", shown(name), f"mend it ({type(error).__name__})")


def _parsed(text: str) -> Recording | Complaint:
    try:
        lines = csv.reader(io.StringIO(text, newline=None))  # whatever ends its lines
        rows = [row for row in lines if row and not row[0].lstrip().startswith("#")]
    except csv.Error as error:
        return Complaint(KEY, "must be a table with commas between short numbers", str(error), "mend the file")
    head = [cell.strip() for cell in rows[0]] if rows else []
    if "time_s" not in head or not set(head) <= set(LIMITS) or len(set(head)) != len(head) or len(head) < 2:
        remedy = "begin it with a line such as: time_s,angle_deg"
        return Complaint(KEY, "must have the columns time_s and angle_deg or torque_n_m", shown(",".join(head)), remedy)
    if not 3 <= len(rows) - 1 <= MOST_ROWS:
        count = str(max(0, len(rows) - 1))
        return Complaint(KEY, f"must have 3 to {MOST_ROWS} rows", count, "record fewer or more points")
    columns: dict[str, list[float]] = {name: [] for name in head}
    before = -inf
    for number, row in enumerate(rows[1:], start=1):
        try:
            values = dict(zip(head, map(float, row), strict=True))
        except ValueError:
            rule = "must hold numbers, as many as columns"
            return Complaint(KEY, rule, shown(",".join(row)), f"mend data row {number}")
        if any(not isfinite(value) or abs(value) > LIMITS[name] for name, value in values.items()):
            return Complaint(KEY, "must hold sensible numbers", shown(",".join(row)), f"mend data row {number}")
        if values["time_s"] - before < 0.999 * LEAST_TIME:
            rule = f"must have rising times, each at least {LEAST_TIME:g} s after the one before"
            return Complaint(KEY, rule, f"{values['time_s']:.9g}", f"mend data row {number}")
        before = values["time_s"]
        for name, value in values.items():
            columns[name].append(value if abs(value) >= LEAST else 0.0)
    start = columns["time_s"][0]
    return Recording(
        tuple(time - start for time in columns["time_s"]),
        tuple(radians(angle) for angle in columns.get("angle_deg", ())),
        tuple(columns.get("torque_n_m", ())),
    )
