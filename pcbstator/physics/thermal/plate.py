"""Heat along a ring-shaped plate: rings of finite volume between circles, and how far bare laminate helps."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pcbstator.errors import LawRangeError
from pcbstator.physics.conductors.resistance import require_positive

FloatArray = NDArray[np.float64]


def ring_areas(edges: ArrayLike) -> FloatArray:
    """Area of one face of each ring.

    edges: (n + 1,) rising radii [m]. Returns (n,) [m2]. Range: radii not negative and rising, else LawRangeError.
    Source: derived here.

    >>> [round(float(area) * 1e4, 3) for area in ring_areas([0.0, 0.01, 0.02])]
    [3.142, 9.425]
    """
    radii = np.asarray(edges, dtype=float)
    if radii.ndim != 1 or len(radii) < 2 or radii[0] < 0 or not np.all(radii[1:] > radii[:-1]):
        raise LawRangeError("the circles between rings must have rising radii, none negative")
    squares = radii**2
    return np.asarray(np.pi * (squares[1:] - squares[:-1]))


def ring_conductances(edges: ArrayLike, sheet_conductance: ArrayLike) -> FloatArray:
    """Conductance from the middle of each ring to that of the next, along the plate.

    edges: (n + 1,) rising radii [m]; sheet_conductance: (n,) conductivity times thickness of each ring [W/K]. Returns
    (n - 1,) [W/K]. Range: as ring_areas, conductances above 0, else LawRangeError.
    Source: derived here, 2 pi K / ln(r2 / r1) for each half ring, in series.

    >>> round(float(ring_conductances([0.01, 0.02, 0.03], [1e-3, 1e-3])[0]) * 1e3, 3)  # 2 pi 1e-3 / ln(25 / 15)
    12.3
    """
    ring_areas(edges)
    require_positive(sheet_conductance=sheet_conductance)
    radii, sheet = np.asarray(edges, dtype=float), np.asarray(sheet_conductance, dtype=float)
    middle, between = (radii[1:] + radii[:-1]) / 2, radii[1:-1]
    inner, outer = np.log(between / middle[:-1]) / sheet[:-1], np.log(middle[1:] / between) / sheet[1:]
    return np.asarray(2 * np.pi / (inner + outer))


def fin_efficiency(length: ArrayLike, sheet_conductance: ArrayLike, coefficient: ArrayLike) -> FloatArray:
    """Part of the heat that a bare strip of plate gives off, compared with one as warm as its heated edge.

    length: (...) from the heated edge to the line that no heat crosses [m]; sheet_conductance: (...) conductivity times
    thickness [W/K]; coefficient: (...) of both faces together, [W/(m2 K)]. Returns (...) 0 to 1 [-].
    Range: length not negative, the others above 0, else LawRangeError. Source: handbook, straight fin with an insulated
    end, tanh(m L) / (m L) with m^2 = h / K.

    >>> round(float(fin_efficiency(5e-3, 1.7e-3, 20.0)), 3)
    0.912
    """
    require_positive(sheet_conductance=sheet_conductance, coefficient=coefficient)
    reach = np.asarray(length, dtype=float)
    if np.any(reach < 0):
        raise LawRangeError(f"the length of a fin must not be negative; got {reach.min():g}")
    x = reach * np.sqrt(np.asarray(coefficient) / np.asarray(sheet_conductance))
    return np.asarray(np.tanh(x) / np.maximum(x, 1e-12) + (x < 1e-12))


def buried_layer_rise(share: ArrayLike, depths: ArrayLike, thickness: float, conductivity: float) -> float:
    """How much hotter than the board's mean the hottest copper layer is, for each W/m2 of the whole board.

    share: (n,) of the loss in each layer, sum 1 [-]; depths: (n,) rising, 0 to thickness [m]; thickness: of the
    board [m]; conductivity: of the laminate, through [W/(m K)]. Returns [K m2/W]. Range: while the board warms up
    evenly and gives off little meanwhile; in the first tenths of thickness^2 over diffusivity the copper is hotter by
    less. LawRangeError for depths that do not rise. Source: derived here, the slab equation with flat sources: between
    layers the temperature is a parabola, its mean by Simpson's rule, exact for it.

    >>> round(buried_layer_rise([0.5, 0.5], [0.0, 1.6e-3], 1.6e-3, 0.343) * 1e4, 3)  # thickness / (12 k)
    3.887
    """
    require_positive(thickness=thickness, conductivity=conductivity)
    parts, z = np.asarray(share, dtype=float), np.asarray(depths, dtype=float) / thickness
    if not (np.all(np.diff(z) > 0) and z[0] >= 0 and z[-1] <= 1 + 1e-9):
        raise LawRangeError("the depths of the copper layers must rise, within the board's thickness")
    places = np.concatenate([[0.0], z, [max(1.0, z[-1])]])
    steps, middles = np.diff(places), (places[1:] + places[:-1]) / 2
    passed = (parts[:, None] * (z[:, None] < middles)).sum(axis=0)  # heat of all layers above

    def fall(begin: FloatArray, end: FloatArray) -> FloatArray:
        return np.asarray(passed * (end - begin) - (end**2 - begin**2) / 2)

    at = np.concatenate([[0.0], -np.cumsum(fall(places[:-1], places[1:]))])
    between = at[:-1] - fall(places[:-1], middles)
    mean = float((steps * (at[:-1] + 4 * between + at[1:])).sum()) / 6
    return float(at.max() - mean) * thickness / conductivity
