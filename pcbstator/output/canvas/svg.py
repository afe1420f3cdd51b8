"""Numbers and outlines as SVG writes them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from pcbstator.copper.geometry.tracks import FloatArray


def number(value: float) -> str:
    """Shortest text of a length in mm, to the micrometre.

    >>> number(1.0), number(-0.0001), number(2.34567)
    ('1', '0', '2.346')
    """
    text = f"{value:.3f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def path_data(points: FloatArray, close: bool = False) -> str:
    """A polyline [m] in board axes as path data in mm with y down, straight stretches thinned by at most 0.01 mm."""
    from shapely import LineString

    flat = np.asarray(LineString(points * 1e3).simplify(0.0095).coords) * (1.0, -1.0)
    pairs = (f"{number(x)} {number(y)}" for x, y in flat)
    return "M" + "L".join(pairs) + ("Z" if close else "")
