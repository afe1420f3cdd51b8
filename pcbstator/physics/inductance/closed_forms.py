"""Elementary inductances: circles, straight filaments, rectangular bars and the current sheet of a planar spiral.

Partial inductances: a straight piece counts by itself, and the pieces of a path add up with their mutual terms. All
are for direct current, spread evenly over the section.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ellipe, ellipkm1

from pcbstator.constants import MU_0
from pcbstator.errors import LawRangeError
from pcbstator.physics.conductors.resistance import require_positive

FloatArray = NDArray[np.float64]

LONG_BAR = 40.0  # length over (width + thickness) from which the series in section / length is the more accurate form
PARALLEL_SINE = 1e-7  # below this sine two filaments count as parallel
COLLINEAR_DISTANCE = 1e-9  # distance over length that stands for zero; its logarithm cancels
SPIRAL_COEFFICIENTS = {
    "circle": (1.00, 2.46, 0.00, 0.20),
    "square": (1.27, 2.07, 0.18, 0.13),
    "octagon": (1.07, 2.29, 0.00, 0.19),
}


def circle_mutual_inductance(radius_a: ArrayLike, radius_b: ArrayLike, distance: ArrayLike) -> FloatArray:
    """Mutual inductance of two coaxial circular filaments.

    radius_a, radius_b: (...) [m]; distance: between their planes (...) [m]. Returns (...) [H].
    Range: positive radii that do not coincide, else LawRangeError.
    Source: Maxwell; NIST DLMF 19.34, M = mu0 sqrt(a b) [(2/k - k) K - (2/k) E], k^2 = 4 a b / ((a + b)^2 + h^2).

    >>> round(float(circle_mutual_inductance(0.1, 0.1, 0.1)) * 1e9, 4)
    49.4078
    """
    require_positive(radius_a=radius_a, radius_b=radius_b)
    a, b, h = (np.asarray(value, dtype=float) for value in (radius_a, radius_b, distance))
    far2, near2 = (a + b) ** 2 + h**2, (a - b) ** 2 + h**2
    if np.any(near2 <= 0):
        raise LawRangeError("two circular filaments must not coincide; part them by the mean distance of a section")
    k2 = 4 * a * b / far2
    k = np.sqrt(k2)
    return np.asarray(MU_0 * np.sqrt(a * b) * ((2 / k - k) * ellipkm1(near2 / far2) - 2 / k * ellipe(k2)))


def _reach(coefficient: FloatArray, length: FloatArray, total: FloatArray) -> FloatArray:
    """``2 coefficient artanh(length / total)``; zero where the coefficient is zero, even on the filament."""
    return coefficient * np.log((total + length) / np.maximum(total - length, 1e-30 * total))


def _parallel(along: FloatArray, across: FloatArray, l: FloatArray, m: FloatArray) -> FloatArray:  # noqa: E741
    """Neumann integral of filaments [0, l] and [along, along + m] at the distance ``across``."""
    d = np.maximum(across, COLLINEAR_DISTANCE * (l + m))

    def F(z: FloatArray) -> FloatArray:
        return np.asarray(z * np.arcsinh(z / d) - np.sqrt(z * z + d * d))

    return F(along + m) - F(along + m - l) - F(along) + F(along - l)


def filament_mutual_inductance(
    starts_a: ArrayLike, ends_a: ArrayLike, starts_b: ArrayLike, ends_b: ArrayLike
) -> FloatArray:
    """Mutual partial inductance of straight filaments anywhere in space, pair by pair, with its sign.

    starts_a, ends_a, starts_b, ends_b: (..., 3), broadcast [m]. Returns (...) [H].
    Range: filaments may meet end to end; those that overlap or cross give a meaningless (huge or inexact) value.
    Source: Neumann's integral in closed form, Campbell 1915 and Grover, Inductance Calculations, 1946, chapter 7,
    M = mu0 cos(e) / (4 pi) [2 (u + l) artanh(m / (R1 + R2)) + ... - Omega d / sin(e)] (from memory).

    >>> round(float(filament_mutual_inductance([0, 0, 0], [0.01, 0, 0], [0, 1e-3, 0], [0.01, 1e-3, 0])) * 1e9, 5)
    4.18647
    """
    A, A2, B, B2 = np.broadcast_arrays(
        *(np.asarray(points, dtype=float) for points in (starts_a, ends_a, starts_b, ends_b))
    )
    l, m = np.linalg.norm(A2 - A, axis=-1), np.linalg.norm(B2 - B, axis=-1)  # noqa: E741
    require_positive(filament_length_a=l, filament_length_b=m)
    a, b, gap = (A2 - A) / l[..., None], (B2 - B) / m[..., None], B - A
    normal = np.cross(a, b)
    sine2 = np.sum(normal**2, axis=-1)
    cosine = np.sum(a * b, axis=-1)
    parallel = sine2 < PARALLEL_SINE**2
    result = np.empty(l.shape)

    p = parallel
    if np.any(p):
        # a filament that runs backwards is taken forwards from its end
        sense = np.sign(cosine[p])
        origin = np.where((sense > 0)[:, None], gap[p], B2[p] - A[p])
        along = np.sum(origin * a[p], axis=-1)
        across = np.linalg.norm(origin - along[:, None] * a[p], axis=-1)
        result[p] = sense * _parallel(along, across, l[p], m[p])
    s = ~parallel
    if np.any(s):
        u = np.sum(np.cross(gap[s], b[s]) * normal[s], axis=-1) / sine2[s]  # foot of the common perpendicular on a, b
        v = np.sum(np.cross(gap[s], a[s]) * normal[s], axis=-1) / sine2[s]
        d = np.abs(np.sum(gap[s] * normal[s], axis=-1)) / np.sqrt(sine2[s])
        result[s] = cosine[s] * _skew(-u, -v, d, l[s], m[s], (A[s], A2[s], B[s], B2[s]), cosine[s], np.sqrt(sine2[s]))
    return np.asarray(MU_0 / (4 * np.pi) * result)


def _skew(
    u: FloatArray,
    v: FloatArray,
    d: FloatArray,
    l: FloatArray,  # noqa: E741
    m: FloatArray,
    ends: tuple[FloatArray, FloatArray, FloatArray, FloatArray],
    cosine: FloatArray,
    sine: FloatArray,
) -> FloatArray:
    """Neumann integral over cos(e): filaments [u, u + l] and [v, v + m] from the common perpendicular of length d."""
    A, A2, B, B2 = ends
    R1, R2, R3, R4 = (np.linalg.norm(p - q, axis=-1) for p, q in ((A2, B2), (A2, B), (A, B), (A, B2)))
    total = _reach(u + l, m, R1 + R2) + _reach(v + m, l, R1 + R4) - _reach(u, m, R3 + R4) - _reach(v, l, R2 + R3)

    def angle(x: FloatArray, y: FloatArray, R: FloatArray) -> FloatArray:
        return np.asarray(np.arctan2(d * d * cosine + x * y * sine**2, d * R * sine))

    omega = angle(u + l, v + m, R1) - angle(u + l, v, R2) + angle(u, v, R3) - angle(u, v + m, R4)
    return np.asarray(total - omega * d / sine)


def bar_geometric_mean_distance(width: ArrayLike, thickness: ArrayLike) -> FloatArray:
    """Geometric mean distance of a rectangle from itself, about 0.2235 (width + thickness).

    width: (...) [m]; thickness: (...) [m], zero allowed for a tape. Returns (...) [m].
    Range: positive width, else LawRangeError. Source: Maxwell, Treatise, art. 692, closed form for a rectangle.

    >>> round(float(bar_geometric_mean_distance(1.0, 1.0)), 5)
    0.44705
    """
    require_positive(width=width)
    sides = np.broadcast_arrays(np.asarray(width, dtype=float), np.asarray(thickness, dtype=float))
    a, b = np.maximum(*sides), np.maximum(np.minimum(*sides), 1e-9 * np.maximum(*sides))
    q = b / a
    logarithm = (
        0.5 * np.log1p(q**2)
        - q**2 / 12 * np.log1p(1 / q**2)
        - np.log1p(q**2) / (12 * q**2)
        + 2 / 3 * (q * np.arctan(1 / q) + np.arctan(q) / q)
        - 25 / 12
    )
    return np.asarray(a * np.exp(logarithm))


def _bar_mean_distance(w: FloatArray, t: FloatArray) -> FloatArray:
    """Mean distance of two points of a rectangle (Santalo, Integral Geometry, 1976, I.4; from memory)."""
    w, t = np.maximum(w, 1e-4 * t), np.maximum(t, 1e-4 * w)  # the tape's limit w / 3 is reached; thinner cancels
    D = np.hypot(w, t)
    return np.asarray(
        (
            w**3 / t**2
            + t**3 / w**2
            + D * (3 - (w / t) ** 2 - (t / w) ** 2)
            + 2.5 * (t**2 / w * np.arcsinh(w / t) + w**2 / t * np.arcsinh(t / w))
        )
        / 15
    )


def _hoer_love(x: FloatArray, y: FloatArray, z: FloatArray) -> FloatArray:
    """The sixfold integral of 1/R as a function of the corner distances; Hoer and Love 1965, eq. (14)."""
    R = np.sqrt(x * x + y * y + z * z)

    def logarithm(p: FloatArray, q: FloatArray, s: FloatArray) -> FloatArray:
        across = np.hypot(q, s)
        safe = np.where(across > 0, across, 1.0)
        return np.where(across > 0, (q * q * s * s / 4 - q**4 / 24 - s**4 / 24) * p * np.arcsinh(p / safe), 0.0)

    def angle(p: FloatArray, q: FloatArray, s: FloatArray) -> FloatArray:
        below = s * R
        return np.where(below > 0, -p * q * s**3 / 6 * np.arctan(p * q / np.where(below > 0, below, 1.0)), 0.0)

    polynomial = x**4 + y**4 + z**4 - 3 * (x * x * y * y + y * y * z * z + z * z * x * x)
    return np.asarray(
        logarithm(x, y, z)
        + logarithm(y, x, z)
        + logarithm(z, x, y)
        + polynomial * R / 60
        + angle(x, y, z)
        + angle(x, z, y)
        + angle(y, z, x)
    )


def bar_self_inductance(length: ArrayLike, width: ArrayLike, thickness: ArrayLike) -> FloatArray:
    """Partial self inductance of a straight rectangular bar.

    length, width, thickness: (...) [m]. Returns (...) [H].
    Range: all positive, else LawRangeError; accurate to 1e-6 for thickness over width from 1e-3 to 1e3.
    Source: Hoer and Love, J. Res. NBS 69C, 1965, eq. (14); bars longer than 40 (width + thickness) by the series in the
    mean distances of the section, M = mu0 l / (2 pi) [ln(2 l / d) - 1 + d / l - d^2 / (4 l^2)], where it cancels less.

    >>> round(float(bar_self_inductance(10e-3, 0.5e-3, 0.035e-3)) * 1e9, 4)
    8.2723
    """
    require_positive(length=length, width=width, thickness=thickness)
    l, w, t = np.broadcast_arrays(*(np.asarray(value, dtype=float) for value in (length, width, thickness)))  # noqa: E741
    series = np.log(2 * l / bar_geometric_mean_distance(w, t)) - 1 + _bar_mean_distance(w, t) / l
    series = MU_0 / (2 * np.pi) * l * (series - (w * w + t * t) / (24 * l * l))
    corners = np.zeros(l.shape)
    scale = np.minimum(l, LONG_BAR * (w + t))  # keeps the branch that is not taken tame
    zero = np.zeros(l.shape)
    for x, sx in ((w, 1), (zero, -1)):
        for y, sy in ((t, 1), (zero, -1)):
            for z, sz in ((scale, 1), (zero, -1)):
                corners = corners + sx * sy * sz * _hoer_love(x, y, z)
    exact = MU_0 / (4 * np.pi) * 8 * corners / (w * t) ** 2
    return np.asarray(np.where(l > LONG_BAR * (w + t), series, exact))


def tape_self_inductance(length: ArrayLike, width: ArrayLike) -> FloatArray:
    """Partial self inductance of a straight tape without thickness.

    length, width: (...) [m]. Returns (...) [H]. Range: both positive, else LawRangeError.
    Source: Ruehli, IBM J. Res. Dev. 16, 1972, the zero-thickness form of the bar (from memory).

    >>> round(float(tape_self_inductance(10e-3, 0.5e-3)) * 1e9, 2)
    8.41
    """
    require_positive(length=length, width=width)
    l, w = np.asarray(length, dtype=float), np.asarray(width, dtype=float)  # noqa: E741
    u = l / w
    # Ruehli's u^2 - (u^(4/3) + u^(-2/3))^(3/2), written so that a long tape does not cancel
    rest = -(u**2) * np.expm1(1.5 * np.log1p(1 / u**2))
    bracket = 3 * np.arcsinh(u) + 3 * u * np.arcsinh(1 / u) + 1 / u + rest
    return np.asarray(MU_0 / (6 * np.pi) * l * bracket)


def spiral_sheet_inductance(
    turns: float, outer_diameter: float, inner_diameter: float, shape: Literal["circle", "square", "octagon"]
) -> float:
    """Inductance of a one-layer planar spiral by the current-sheet expression of Mohan and others.

    turns: [-]; outer_diameter, inner_diameter: across the copper, between opposite sides [m]; shape: of the turns [-].
    Returns [H]. Range: 0 < inner < outer diameter, turns > 0, else LawRangeError; 2-3 % typical error, more for gaps
    much wider than the tracks.
    Source: Mohan, del Mar Hershenson, Boyd, Lee, IEEE JSSC 34(10), 1419-1424, 1999, table II.

    >>> round(spiral_sheet_inductance(10, 20e-3, 10e-3, "circle") * 1e6, 4)
    1.9047
    """
    require_positive(turns=turns, inner_diameter=inner_diameter)
    if not inner_diameter < outer_diameter:
        raise LawRangeError(f"outer diameter must exceed inner; got {outer_diameter:g} and {inner_diameter:g} m")
    c1, c2, c3, c4 = SPIRAL_COEFFICIENTS[shape]
    mean = (outer_diameter + inner_diameter) / 2
    rho = (outer_diameter - inner_diameter) / (outer_diameter + inner_diameter)
    return float(MU_0 * turns**2 * mean * c1 / 2 * (np.log(c2 / rho) + c3 * rho + c4 * rho**2))
