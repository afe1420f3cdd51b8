"""Recorded rows beside a bench file: CSV with named columns, comments, any usual separator and decimal mark."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from pcbstator.errors import Complaint

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Table:
    """Columns by name, each (rows,); remarks: what was left out or mended; facts: what the rows say together."""

    name: str
    columns: dict[str, FloatArray]
    remarks: tuple[str, ...] = ()
    facts: dict[str, Any] = field(default_factory=dict)


def read_table(
    folder: Path | None, name: str, wanted: tuple[tuple[str, ...], ...], decimal: Literal["point", "comma"] | None
) -> Table | Complaint:
    """The rows of file ``name`` in the bench's folder, or what is wrong with it. wanted: one column of each group."""
    raise NotImplementedError
