"""How far a round plate bends under loads that are even around the axis.

Each ring between two circles has one stiffness and one pressure; in it the deflection is

    w = q r⁴/(64 D) + A + B r² + C ln r + E r² ln r

Deflection, slope, bending moment and shear force go on from ring to ring; where the plate is held it stays in place and
takes any force. The shear of the plate's thickness is left out.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pcbstator.errors import LawRangeError
from pcbstator.physics.conductors.resistance import require_positive

FloatArray = NDArray[np.float64]

TERMS = 4  # A, B, C, E of a ring


def flexural_rigidity(modulus: ArrayLike, thickness: ArrayLike, poisson: ArrayLike) -> FloatArray:
    """Stiffness of a plate against bending.

    modulus: of elasticity [Pa]; thickness: [m]; poisson: Poisson's ratio [-]. Returns D = E t³/(12 (1 − nu²)) [N m].
    Range: modulus and thickness above 0, else LawRangeError. Source: Roark's Formulas for Stress and Strain, Table
    11.2.

    >>> round(float(flexural_rigidity(70e9, 3e-3, 0.33)), 2)
    176.75
    """
    require_positive(modulus=modulus, thickness=thickness)
    nu = np.asarray(poisson, dtype=float)
    return np.asarray(np.asarray(modulus) * np.asarray(thickness) ** 3 / (12 * (1 - nu**2)))


def plate_deflection(
    edges: ArrayLike,
    rigidity: ArrayLike,
    pressure: ArrayLike,
    poisson: float,
    held: float,
    clamped: bool,
    radii: ArrayLike,
) -> FloatArray:
    """Deflection of a disc or ring, its edges free, held on one circle.

    edges: (n + 1,) rising radii between rings, 0 first for a disc [m]; rigidity: (n,) of each ring [N m]; pressure:
    (n,) on each ring [Pa]; poisson: of all rings [-]; held: one of the edges, above 0 [m]; clamped: whether it cannot
    lean there; radii: (m,) where the deflection is wanted [m]. Returns (m,) along the pressure [m]. Range: small
    deflections of thin plates; edges that do not rise, or a held circle that is none of them: LawRangeError. Source:
    Timoshenko and Woinowsky-Krieger, Theory of Plates and Shells, symmetrical bending of circular plates; Roark's
    Formulas for Stress and Strain, Table 11.2, cases 1 and 2 with one edge free, are single rings of it.

    A disc clamped at its outer edge sags by q a⁴/(64 D) in its middle:

    >>> float(plate_deflection([0.0, 1.0], [1.0], [64.0], 0.3, 1.0, True, [0.0]).round(9)[0])
    1.0
    """
    places, D, q = (np.asarray(values, dtype=float) for values in (edges, rigidity, pressure))
    require_positive(rigidity=D)
    if places[0] < 0 or not np.all(np.diff(places) > 0):
        raise LawRangeError("the circles between the rings of a plate must have rising radii, none negative")
    matches = np.flatnonzero(np.isclose(places, held, rtol=1e-12, atol=0.0))
    if held <= 0 or not len(matches):
        raise LawRangeError(f"a plate must be held on one of its circles, above 0; got {held:g}")
    size = places[-1]  # radii as parts of it, so that all terms are alike
    terms = _constants(places / size, D, q * size**4, poisson, int(matches[0]), clamped)
    wanted = np.asarray(radii, dtype=float)
    ring = np.clip(np.searchsorted(places, wanted, side="right") - 1, 0, len(D) - 1)
    x = wanted / size
    basis = np.stack([_rows(each, nu=poisson)[0] for each in x])
    own = q[ring] * size**4 * x**4 / (64 * D[ring])
    return np.asarray(own + (basis * terms[ring]).sum(axis=1))


def _rows(x: float, nu: float) -> FloatArray:
    """Deflection, slope, moment and shear over rigidity of the four terms at a part of the radius, (4, 4).

    In the middle the two terms with a logarithm are none of a plate's: their columns stay nil there.
    """
    log = np.log(x) if x > 0 else 0.0
    over = 1 / x if x > 0 else 0.0
    logs = 1.0 if x > 0 else 0.0
    return np.array(
        [
            [1.0, x**2, log, x**2 * log],
            [0.0, 2 * x, over, logs * (2 * x * log + x)],
            [0.0, 2 + 2 * nu, (nu - 1) * over**2, logs * (2 * log + 3 + nu * (2 * log + 1))],
            [0.0, 0.0, 0.0, 4 * over],
        ]
    )


def _own(x: float, load: float, nu: float) -> FloatArray:
    """The same four of the term of the pressure; load: pressure over rigidity."""
    return load * np.array([x**4 / 64, x**3 / 16, (3 + nu) * x**2 / 16, x / 2])


def _constants(x: FloatArray, D: FloatArray, q: FloatArray, nu: float, held: int, clamped: bool) -> FloatArray:
    """A, B, C and E of every ring, (n, 4); x: circles; held: number of the circle that is held."""
    n = len(D)
    rows: list[FloatArray] = []
    values: list[float] = []

    def add(value: float, *parts: tuple[int, FloatArray]) -> None:
        row = np.zeros((n, TERMS))
        for ring, part in parts:
            row[ring] = part
        rows.append(row.ravel())
        values.append(value)

    for i, place in enumerate(x):
        if place == 0:  # the middle of a disc: no terms with a logarithm
            add(0.0, (0, np.eye(TERMS)[2]))
            add(0.0, (0, np.eye(TERMS)[3]))
            continue
        sides = [(ring, *_side(place, D[ring], q[ring], nu)) for ring in (i - 1, i) if 0 <= ring < n]
        fixed: tuple[int, ...] = ((0, 1) if clamped else (0,)) if i == held else ()
        for kind in fixed:
            for ring, part, own in sides:
                add(-own[kind], (ring, part[kind]))
        if len(sides) == 1:  # an edge: what is not fixed there is free of moment and shear
            ring, part, own = sides[0]
            for kind in (2, 3)[: 2 - len(fixed)]:
                add(-own[kind], (ring, part[kind]))
            continue
        for kind in range(TERMS):  # the hold takes any force, and a clamp any moment
            if kind not in fixed and TERMS - 1 - kind not in fixed:
                (one, part, own), (other, beside, its) = sides
                add(its[kind] - own[kind], (one, part[kind]), (other, -beside[kind]))
    matrix, right = np.array(rows), np.array(values)
    scale = np.abs(matrix).max(axis=1)
    return np.asarray(np.linalg.solve(matrix / scale[:, None], right / scale)).reshape(n, TERMS)


def _side(x: float, D: float, q: float, nu: float) -> tuple[FloatArray, FloatArray]:
    """Deflection, slope, moment and shear at a circle of a ring, by its terms and by its pressure."""
    times = np.array([1.0, 1.0, D, D])
    return _rows(x, nu) * times[:, None], _own(x, q / D, nu) * times
