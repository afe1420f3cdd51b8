"""Runs a command line in this process, as the entry point does, and writes design files."""

from __future__ import annotations

import io
import json
import math
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, redirect_stderr, redirect_stdout
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from unittest.mock import patch

from pcbstator.cli import commands

DESIGNS = sorted((Path(__file__).parents[1] / "designs").glob("*.toml"))


@dataclass(frozen=True)
class Outcome:
    """Exit code and what stood on the two outputs."""

    code: int
    out: str
    err: str


def run(*arguments: str | Path) -> Outcome:
    """What ``pcbstator ARGUMENTS`` gives; an exception that the program lets through goes through here too."""
    out, err, code = io.StringIO(), io.StringIO(), 0
    words = ["pcbstator", *map(str, arguments)]
    with patch("sys.argv", words), redirect_stdout(out), redirect_stderr(err):
        try:
            commands.main()
        except SystemExit as leaving:
            code = leaving.code if isinstance(leaving.code, int) else 0 if leaving.code is None else 1
    return Outcome(code, out.getvalue(), err.getvalue())


@contextmanager
def no_rendering() -> Iterator[None]:
    """Figures are set up by the program and not rendered by matplotlib, which takes half the time of a page: for what
    is said of files, commands and words. What figures show is asked in tests/output.
    """
    from matplotlib.figure import Figure

    rendered = Figure.savefig

    def empty(figure: Figure, file: Any, **more: Any) -> None:
        rendered(Figure(figsize=figure.get_size_inches()), file, **more)

    with patch.object(Figure, "savefig", empty):
        yield


def toml_text(document: Mapping[str, Any]) -> str:
    """Plain tables as TOML; None is left out, as TOML has no such value."""
    return (
        "\n".join(f"{json.dumps(key)} = {_toml(value)}" for key, value in document.items() if value is not None) + "\n"
    )


def _toml(value: Any) -> str:
    if isinstance(value, Mapping):
        return (
            "{"
            + ", ".join(f"{json.dumps(key)} = {_toml(item)}" for key, item in value.items() if item is not None)
            + "}"
        )
    if isinstance(value, list | tuple):
        return "[" + ", ".join(_toml(item) for item in value if item is not None) + "]"
    if isinstance(value, float) and not math.isfinite(value):
        return "nan" if math.isnan(value) else f"{value:+}"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    return str(value).lower() if isinstance(value, bool) else repr(value)


def write_design(path: Path, document: Mapping[str, Any]) -> Path:
    """Writes a document as a design file."""
    path.write_text(toml_text(document), encoding="utf-8")
    return path
