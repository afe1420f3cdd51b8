"""Motion logs in words: every value beside what was assumed, what to do, what could not be told."""

from __future__ import annotations

from itertools import groupby
from math import floor, log10

from pcbstator.bench.logs.result import CorrectionTable, LogRow, MotionLogs
from pcbstator.errors import printable
from pcbstator.output.words import figures

SHOP = {
    "deg": (1.0, "degrees"),
    "N·m": (1e3, "mN·m"),
    "kg·m²": (1e6, "kg·mm²"),
    "N·m·s/rad": (1e3, "mN·m·s/rad"),
    "N·m·s²/rad²": (1e6, "µN·m·s²/rad²"),
}
MOST_DECIMALS = 6
NEAR = 1.0  # standard deviations within which a value is as assumed


def decimals(sigma: float, value: float) -> int:
    """Digits behind the point that a value with this deviation deserves.

    >>> decimals(0.011, 0.1937), decimals(210.0, 5020.0), decimals(0.0, 0.5)
    (3, 0, 3)
    """
    size = sigma if sigma > 0 else abs(value) / 20
    return 3 if size <= 0 else min(MOST_DECIMALS, max(0, 1 - floor(log10(size))))


def value_words(row: LogRow) -> str:
    """The value with its deviation, in a unit of the shop."""
    scale, unit = SHOP.get(row.unit, (1.0, row.unit))
    digits = decimals(scale * row.sigma, scale * row.value)
    spread = f" ± {scale * row.sigma:.{digits}f}" if row.sigma > 0 else ""
    return f"{scale * row.value:.{digits}f}{spread} {unit}"


def assumed_words(row: LogRow) -> str:
    """What was assumed; empty where nothing was."""
    if row.assumed is None:
        return ""
    scale = SHOP.get(row.unit, (1.0, row.unit))[0]
    if row.assumed < row.sigma / 20:
        return "almost nothing" if row.assumed > 0 else "nothing"
    return f"{'at most ' if row.at_most else ''}{figures(scale * row.assumed, 3)}"


def judged_words(row: LogRow) -> str:
    """Whether it is as assumed."""
    if row.deviation is None:
        return ""
    if abs(row.deviation) < NEAR:
        return "as assumed"
    side = "above" if row.deviation > 0 else "below"
    apart = f"{abs(row.deviation):.1f} standard deviations"
    return f"not as assumed: {apart} {side}" if row.far else f"{apart} {side}"


def table_words(table: CorrectionTable) -> str:
    """How a table of corrections is used, and what it does."""
    orders = ", ".join(str(order) for order, *_ in table.harmonics)
    step = 360 / len(table.values)
    return (
        f"{table.log}: {len(table.values)} corrections, every {step:.4g} degrees of the reading from 0 on, to "
        f"subtract, with straight lines between; made of the orders {orders}, good to {table.sigma:.1g} degrees. Error "
        f"before: {table.rms_before:.2g} degrees rms, {table.largest_before:.2g} at most; after: {table.rms_after:.2g} "
        f"rms, {table.largest_after:.2g} at most"
    )


def whose(row: LogRow) -> str:
    """The log, with board and rotor where there are several."""
    more = f" (board {row.board}, rotor {row.rotor})" if (row.board, row.rotor) != ("1", "1") else ""
    return f"{row.log}{more}"


def logs_lines(found: MotionLogs) -> list[str]:
    """Lines for a terminal."""
    lines = ["motion logs"] if found.rows else []
    for name, rows in groupby(found.rows, key=whose):
        lines.append(f"  {printable(name)}")
        for row in rows:
            assumed = assumed_words(row)
            said = [f"assumed {assumed}" if assumed else "", judged_words(row), row.words]
            lines.append(f"    {printable(row.about)}")
            lines.append(f"      {value_words(row):<28} " + printable("; ".join(filter(None, said))))
    if found.tables:
        lines += ["", "tables of corrections"] + [f"  {printable(table_words(table))}" for table in found.tables]
    if found.advice:
        lines += ["", "what to do, by size of effect"]
        lines += [f"  {number}. {printable(each.words)}" for number, each in enumerate(found.advice, 1)]
    if found.remarks:
        lines += ["", *map(printable, found.remarks)]
    return lines
