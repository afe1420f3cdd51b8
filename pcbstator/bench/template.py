"""The file of readings to fill in."""

from __future__ import annotations

from pcbstator.bench.sheet import Sheet


def bench_file(sheet: Sheet) -> str:
    """The text of an empty ``bench.toml``."""
    return f"# Readings of {sheet.design.title}\n"
