"""The pattern of the magnets of a ring: where one lies, and the harmonics of the magnetisation around the circle.

Each magnet covers the angles ±(lower … upper) about its centre at radius r, which makes its sheet charge
sigma_n = Br·4/(n·pi)·[sin(n·p·upper) − sin(n·p·lower)].

A Halbach ring has S segments per pole, each magnetised along one straight direction, as a glued magnet is; from
segment to segment it turns by pi/S in the plane of the tangent and the axis. Its axial part is a sheet charge as above,
its part in the plane a charge −div M through the thickness.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import hypot, pi

import numpy as np
from numpy.typing import NDArray

from pcbstator.errors import LawRangeError

FloatArray = NDArray[np.float64]
Integers = NDArray[np.integer]


@dataclass(frozen=True, eq=False)
class Footprint:
    """Where one magnet lies: at radius r [m] it covers lower(r) … upper(r) [rad] either side of its centre line.

    breakpoints: ascending radii [m] where those angles start, end or have a kink. segments_per_pole: above 1 for a
    Halbach ring, of which this is one segment. strong_side: whether its stronger side faces the board.
    """

    breakpoints: FloatArray
    lower: Callable[[FloatArray], FloatArray]
    upper: Callable[[FloatArray], FloatArray]
    segments_per_pole: int = 1
    strong_side: bool = True


def sector_footprint(inner_radius: float, outer_radius: float, half_angle: float) -> Footprint:
    """Footprint of a ring segment.

    inner_radius, outer_radius: [m], 0 < inner < outer. half_angle: [rad], above 0. Returns a Footprint [m, rad].
    Outside the range: LawRangeError. Derived here.

    >>> float(sector_footprint(0.034, 0.051, 0.1).upper(np.array([0.04]))[0])
    0.1
    """
    if not 0.0 < inner_radius < outer_radius or not half_angle > 0.0:
        raise LawRangeError(
            f"a sector needs 0 < inner radius < outer radius and a half angle above 0, "
            f"got {inner_radius:g} m, {outer_radius:g} m, {half_angle:g} rad"
        )
    return Footprint(np.array([inner_radius, outer_radius]), np.zeros_like, lambda r: np.full_like(r, half_angle))


def halbach_footprint(
    inner_radius: float, outer_radius: float, half_angle: float, segments_per_pole: int, strong_side: bool = True
) -> Footprint:
    """Footprint of one segment of a Halbach ring.

    inner_radius, outer_radius: [m], 0 < inner < outer. half_angle: of a segment, above 0 [rad]; touching segments have
    pi/(2·p·S). segments_per_pole: S, 2 or more [-]. strong_side: whether the stronger side faces the board.
    Returns a Footprint [m, rad]. Outside the range: LawRangeError.
    Source: Halbach 1980, the segmented array (from memory); derived here for a ring.

    >>> halbach_footprint(0.034, 0.051, 0.05, 2).segments_per_pole
    2
    """
    if segments_per_pole < 2:
        raise LawRangeError(f"a Halbach ring needs at least 2 segments per pole, got {segments_per_pole!r}")
    sector = sector_footprint(inner_radius, outer_radius, half_angle)
    return Footprint(sector.breakpoints, sector.lower, sector.upper, segments_per_pole, strong_side)


def disc_footprint(circle_radius: float, radius: float) -> Footprint:
    """Footprint of a round magnet.

    circle_radius: of the circle the centres lie on [m]. radius: of the disc [m], below circle_radius.
    Returns a Footprint [m, rad]. Outside the range: LawRangeError. Derived here (law of cosines).

    >>> round(float(disc_footprint(0.040, 0.005).upper(np.array([0.040]))[0]), 5)  # 2·asin(R/2c)
    0.12508
    """
    c, R = circle_radius, radius
    if not 0.0 < R < c:
        raise LawRangeError(f"a disc needs 0 < radius < circle radius, got {R:g} m on {c:g} m")
    return Footprint(
        np.array([c - R, c + R]),
        np.zeros_like,
        lambda r: np.arccos(np.clip((r**2 + c**2 - R**2) / (2.0 * r * c), -1.0, 1.0)),
    )


def block_footprint(circle_radius: float, length: float, width: float) -> Footprint:
    """Footprint of a block with straight sides, its length along the radius.

    circle_radius: of the circle the centres lie on [m]. length: radial [m], below 2·circle_radius. width: [m].
    Returns a Footprint [m, rad]. Outside the range: LawRangeError. Derived here.

    >>> round(float(block_footprint(0.040, 0.010, 0.006).upper(np.array([0.040]))[0]), 5)  # asin(W/2r)
    0.07507
    """
    if not (0.0 < length < 2.0 * circle_radius and width > 0.0):
        raise LawRangeError(
            f"a block needs 0 < length < 2 circle radius and width > 0, "
            f"got {length:g} m by {width:g} m on {circle_radius:g} m"
        )
    near, far = circle_radius - length / 2.0, circle_radius + length / 2.0
    corners = sorted({near, hypot(near, width / 2.0), far, hypot(far, width / 2.0)})

    def upper(r: FloatArray) -> FloatArray:
        side = np.arcsin(np.clip(width / (2.0 * r), 0.0, 1.0))
        return np.minimum(side, np.arccos(np.clip(near / r, -1.0, 1.0)))

    def lower(r: FloatArray) -> FloatArray:
        return np.minimum(np.arccos(np.clip(far / r, -1.0, 1.0)), upper(r))

    return Footprint(np.array(corners), lower, upper)


def sheet_charge_harmonics(footprint: Footprint, pole_pairs: int, radii: FloatArray, orders: Integers) -> FloatArray:
    """Harmonics of the remanence pattern of the ring at given radii, as a fraction of the remanence.

    footprint: of one magnet [m, rad]. pole_pairs: p [-]. radii: (R,) within the footprint [m]. orders: (n,) odd [-].
    Returns (n, R) [-]: the coefficient of cos(n·p·theta).
    Magnets that overlap their neighbours: LawRangeError. Derived here (Fourier series).

    >>> ring = sector_footprint(0.034, 0.051, 0.8 * np.pi / 24)
    >>> sheet_charge_harmonics(ring, 12, np.array([0.04]), np.array([1, 3])).round(4).ravel().tolist()  # 4/(n pi) sin
    [1.2109, -0.2495]
    """
    upper, lower, S = footprint.upper(radii), footprint.lower(radii), footprint.segments_per_pole
    if upper.size and float(upper.max()) > pi / (2 * pole_pairs * S) * (1.0 + 1e-9):
        raise LawRangeError(
            f"the magnets overlap: half angle {float(upper.max()):.4g} rad, "
            f"at most {pi / (2 * pole_pairs * S):.4g} rad for {2 * pole_pairs} poles of {S} segments; "
            "take narrower magnets, fewer poles or a larger circle"
        )
    order = orders[:, None] * pole_pairs
    weight = 2.0 * pole_pairs / pi * np.abs(_segment_sum(orders, S))[:, None]
    return np.asarray(weight / order * (np.sin(order * upper) - np.sin(order * lower)))


def _segment_sum(orders: Integers, S: int) -> FloatArray:
    """Σ sin(j·pi/S)·sin(n·j·pi/S) over the 2S segments of a pole pair: S for n = 2S·i + 1, −S for 2S·i − 1, else 0.

    With cosines instead of sines both are +S. One magnet per pole has cosines only, and 2 for every odd n.
    """
    if S == 1:
        return np.full(len(orders), 2.0)
    rest = orders % (2 * S)
    return np.where(rest == 1, float(S), np.where(rest == 2 * S - 1, -float(S), 0.0))


def in_plane_harmonics(footprint: Footprint, pole_pairs: int, orders: Integers) -> tuple[FloatArray, FloatArray]:
    """Harmonics of the tangential and radial magnetisation of a Halbach ring, as a fraction of the remanence.

    footprint: of one segment [m, rad]. pole_pairs: p [-]. orders: (n,) odd [-].
    Returns (n,) tangential, of sin(n·p·theta), and (n,) radial, of cos(n·p·theta) [-], for an axial part
    +cos; zero for one magnet per pole. A segment is magnetised along one straight direction, tangential at its middle:
    away from it by u it has M_theta ~ cos u and M_r ~ sin u. Derived here (Fourier series).

    >>> segment = halbach_footprint(0.034, 0.051, np.pi / 48, 2)  # 24 poles; 4/pi·sin(pi/4) and a little radial part
    >>> [round(float(part[0]), 4) for part in in_plane_harmonics(segment, 12, np.array([1]))]
    [0.8997, -0.0161]
    """
    S, m = footprint.segments_per_pole, np.asarray(orders) * pole_pairs
    if S == 1:
        return np.zeros(len(m)), np.zeros(len(m))
    half = float(footprint.upper(footprint.breakpoints[:1])[0])
    less, more = (half * np.sinc((m + shift) * half / pi) for shift in (-1, 1))  # sin((m ± 1)·half)/(m ± 1)
    weight = pole_pairs / pi * _segment_sum(orders, S) * (1.0 if footprint.strong_side else -1.0)
    return weight * (less + more), -weight * (less - more)
