"""Lines of CSV files that a spreadsheet reads as they are meant."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from typing import Any

FORMULA = ("=", "+", "-", "@")


def csv_line(cells: Iterable[Any]) -> str:
    """One line with its end.

    >>> csv_line(["=A1", 2.5, "magnet, north"])
    '\\'=A1,2.5,"magnet, north"\\n'
    """
    file = io.StringIO()
    csv.writer(file, lineterminator="\n").writerow(map(_no_formula, cells))
    return file.getvalue()


def _no_formula(cell: Any) -> Any:
    """Text that a spreadsheet would take for a formula, and run, with an apostrophe before it; numbers as they are."""
    return f"'{cell}" if isinstance(cell, str) and cell.startswith(FORMULA) else cell
