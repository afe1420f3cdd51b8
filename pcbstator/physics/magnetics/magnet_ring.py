"""The axial field of a ring of alternating magnets, or of a Halbach ring, as harmonics of the angle.

    B_z(r, theta − alpha, z) = Σ B_n(r, z)·cos(n·p·(theta − alpha)),  n odd, p pole pairs, alpha the rotor angle.

The rotor is above the board; at rotor angle 0 a magnet whose field points down is centred on theta = 0, so B_1 < 0 at
the board. Each magnet covers the angles ±(lower … upper) about its centre at radius r, which makes its sheet charge
sigma_n = Br·4/(n·pi)·[sin(n·p·upper) − sin(n·p·lower)]; the radial modes carry it to the board through the layers.

A Halbach ring has S segments per pole, each magnetised along one straight direction, as a glued magnet is; from
segment to segment it turns by pi/S in the plane of the tangent and the axis. Its axial part is a sheet charge as above,
its part in the plane a charge −div M through the thickness, with its own response of the layers.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from math import floor, hypot, log2, pi

import numpy as np
from numpy.typing import NDArray

from pcbstator.errors import LawRangeError
from pcbstator.physics.magnetics.field_layers import (
    MagnetLayers,
    back_potential_response,
    charge_response,
    layer_response,
    plate_potential_response,
)
from pcbstator.physics.magnetics.radial_modes import RadialModes, graded_boundaries, radial_modes

FloatArray = NDArray[np.float64]
Integers = NDArray[np.integer]
Response = Callable[[FloatArray, FloatArray, MagnetLayers], FloatArray]

ODD_ORDERS = tuple(range(1, 26, 2))
ELEMENT_ORDER = 7  # error 1e-4 of the peak; see the convergence test
ELEMENT_SIZE = 1.5  # finest element, in units of the smallest scale of the field
SCALE_STEPS = 4  # of that scale to a factor of 2
PROFILE_POINTS = 25  # radii over the magnets
TABLE_STEP = 0.07  # spacing of tabulated radii, in the same unit


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


@dataclass(frozen=True, eq=False)
class RingSource:
    """The magnets in radial modes, per remanence: wave_numbers (n, N) [1/m] and vectors (n, N, N) of ``modes``.

    ends: inner and outer radius of the magnets [m]. axial: (n, N) amplitudes [m] of the sheet charge. in_plane: (n, N)
    amplitudes [m] of −div M over k, None unless the magnets form a Halbach ring. served: inner and outer radius [m];
    scale: length over which its elements follow the field [m]. back_potential, plate_potential: (n, N) amplitudes [m]
    of mu_0·k·phi by which the steel behind the magnets, or facing them, is lifted beyond a plate of one permeability.
    """

    pole_pairs: int
    orders: Integers
    served: tuple[float, float]
    scale: float
    modes: RadialModes
    wave_numbers: FloatArray
    vectors: FloatArray
    ends: FloatArray
    axial: FloatArray
    in_plane: FloatArray | None
    back_potential: FloatArray | None = None
    plate_potential: FloatArray | None = None

    def at(self, amplitudes: FloatArray, radii: FloatArray) -> FloatArray:
        """Modal amplitudes (n, Z, N) as functions of the radius: (n, Z, radii)."""
        return np.asarray(self.at_nodes(amplitudes) @ self.modes.interpolation(radii).T)

    def at_nodes(self, amplitudes: FloatArray) -> FloatArray:
        """Modal amplitudes (n, Z, N) as values at the nodes of the radial modes (n, Z, N)."""
        return np.asarray(amplitudes @ self.vectors.transpose(0, 2, 1) / self.modes.root_mass)

    @cached_property
    def over_magnets(self) -> tuple[FloatArray, FloatArray]:
        """Radii over the magnets (R,) [m], and the matrix (R, N) from values at the nodes to values there."""
        radii = np.linspace(float(self.ends[0]), float(self.ends[1]), PROFILE_POINTS)
        return radii, self.modes.interpolation(radii)

    def of(self, orders: Integers) -> RingSource:
        """The same with some of its orders."""
        if np.array_equal(orders, self.orders):
            return self
        rows = np.array([int(np.flatnonzero(self.orders == order)[0]) for order in orders])
        others = self.in_plane, self.back_potential, self.plate_potential
        in_plane, back, plate = (None if part is None else part[rows] for part in others)
        return replace(
            self,
            orders=orders,
            wave_numbers=self.wave_numbers[rows],
            vectors=self.vectors[rows],
            axial=self.axial[rows],
            in_plane=in_plane,
            back_potential=back,
            plate_potential=plate,
        )

    def field(self, distances: FloatArray, layers: MagnetLayers) -> FloatArray:
        """Modal amplitudes (n, Z, N) of B_z, upwards, per remanence at distances below the magnet face [m]."""
        k = self.wave_numbers
        parts: tuple[tuple[Response, FloatArray | None], ...] = (
            (layer_response, self.axial),
            (charge_response, self.in_plane),
            (back_potential_response, self.back_potential),
            (plate_potential_response, self.plate_potential),
        )
        found = [law(k, distances, layers) * part[:, None] for law, part in parts if part is not None]
        return np.asarray(sum(found[1:], found[0]))

    def combined(self, *factors: FloatArray) -> FloatArray:
        """Σ of the sources times their factors (n, N), in the order axial, in plane, back, plate, as many as given."""
        parts = self.axial, self.in_plane, self.back_potential, self.plate_potential
        total = factors[0] * self.axial
        for factor, part in zip(factors[1:], parts[1:], strict=False):
            total = total if part is None else total + factor * part
        return total


def ring_source(
    footprint: Footprint,
    pole_pairs: int,
    radii: FloatArray,
    distances: FloatArray,
    orders: Integers,
    element_order: int = ELEMENT_ORDER,
    edges: tuple[float, ...] = (),
) -> RingSource:
    """Sources of a magnet ring in radial modes.

    footprint: of one magnet [m, rad]. pole_pairs: p, 1 or more [-]. radii: (R,) to be served, above 0 [m].
    distances: (Z,) that matter, above 0 [m]. orders: (n,) odd [-]. element_order: of the radial polynomials [-].
    edges: radii at which steel ends [m].
    Returns a RingSource [m], for magnets that point up at theta = 0. Outside the range: LawRangeError. Derived here.

    >>> ring = sector_footprint(0.020, 0.035, 0.8 * np.pi / 12)
    >>> ring_source(ring, 6, np.array([0.0275]), np.array([0.001]), np.array([1])).in_plane is None
    True
    """
    radii, distances, orders = np.asarray(radii, float), np.asarray(distances, float), np.asarray(orders)
    _check_range(pole_pairs, radii, distances, orders)
    scale, served = _scale(footprint, pole_pairs, distances), (float(radii.min()), float(radii.max()))
    inside = float(footprint.breakpoints[0])
    step = floor(SCALE_STEPS * log2(scale / inside))  # in steps, so that rings at many gaps have the same modes
    modes, wave_numbers, vectors = _modes_for(
        tuple(footprint.breakpoints.tolist()), pole_pairs, served, inside * 2 ** (step / SCALE_STEPS), element_order,
        tuple(orders.tolist()), edges,
    )  # fmt: skip
    ends = footprint.breakpoints[[0, -1]]
    points, weights = modes.quadrature(footprint.breakpoints)
    shapes = modes.interpolation(points) * ((points * weights)[:, None] / modes.root_mass)
    source = sheet_charge_harmonics(footprint, pole_pairs, points, orders) @ shapes  # (n, N)
    axial = np.matmul(source[:, None, :], vectors)[:, 0]
    found = RingSource(pole_pairs, orders, served, scale, modes, wave_numbers, vectors, ends, axial, None)
    if footprint.segments_per_pole == 1:
        return found
    # ∫ M·grad(v) with v = e(r)·cos(m·theta): M_r·[r·e] at the ends − (M_r + m·M_theta)·∫ e dr
    tangential, radial = in_plane_harmonics(footprint, pole_pairs, orders)
    at_ends = np.array([-1.0, 1.0]) * ends @ modes.interpolation(ends) / modes.root_mass
    along = weights @ modes.interpolation(points) / modes.root_mass
    charge = radial[:, None] * at_ends - (radial + orders * pole_pairs * tangential)[:, None] * along
    in_plane = np.matmul(charge[:, None, :], vectors)[:, 0] / wave_numbers
    return replace(found, in_plane=in_plane)


def serving_source(
    source: RingSource | None,
    footprint: Footprint,
    pole_pairs: int,
    radii: FloatArray,
    distances: FloatArray,
    orders: Integers,
    element_order: int = ELEMENT_ORDER,
    edges: tuple[float, ...] = (),
) -> RingSource:
    """A source that was made beforehand, so that several laws share it; or one of its own where there is none.

    source: of this ring [m], with these orders at least, for these radii and distances at least; or None. footprint: of
    one magnet [m, rad]. pole_pairs, radii, distances, orders, element_order, edges: as of
    ring_source [-, m, m, -, -, m].
    Returns a RingSource [m]. A source that does not serve: LawRangeError. Derived here.

    >>> ring, place, near = sector_footprint(0.020, 0.035, 0.8 * np.pi / 12), np.array([0.0275]), np.array([0.001])
    >>> made = ring_source(ring, 6, place, near, np.array([1, 3, 5]))
    >>> serving_source(made, ring, 6, place, near, np.array([1, 5])).orders.tolist()
    [1, 5]
    """
    if source is None:
        return ring_source(footprint, pole_pairs, radii, distances, orders, element_order, edges)
    _check_range(pole_pairs, radii, distances, orders)
    scale = _scale(footprint, pole_pairs, distances)
    serves = (
        source.pole_pairs == pole_pairs
        and np.allclose(source.ends, footprint.breakpoints[[0, -1]], rtol=1e-9, atol=0.0)
        and source.scale <= scale * (1.0 + 1e-9)
        and source.served[0] <= radii.min() * (1.0 + 1e-9)
        and source.served[1] >= radii.max() * (1.0 - 1e-9)
        and np.isin(orders, source.orders).all()
    )
    if not serves:
        raise LawRangeError("the source was made for another ring, or for other radii, distances or orders")
    return source.of(orders)


def ring_harmonics(
    footprint: Footprint,
    pole_pairs: int,
    layers: MagnetLayers,
    radii: FloatArray,
    distances: FloatArray,
    orders: Integers,
    element_order: int = ELEMENT_ORDER,
    source: RingSource | None = None,
) -> FloatArray:
    """Signed harmonics B_n of the axial field of a magnet ring.

    footprint: of one magnet [m, rad]. pole_pairs: p, 1 or more [-]. layers: across the magnet plate [m, T].
    radii: (R,) above 0 [m]. distances: (Z,) below the magnet face, above 0 [m]. orders: (n,) odd [-].
    element_order: of the radial polynomials, 2 or more [-]. source: made beforehand, as serving_source takes it [m].
    Returns (n, Z, R) [T], B_z = Σ B_n·cos(n·p·theta), negative
    fundamental for a magnet that points down at theta = 0; error below 0.1 % of the peak, falling exponentially with
    element_order. Outside the range: LawRangeError. Derived here.

    >>> ring = sector_footprint(0.020, 0.035, 0.8 * np.pi / 12)  # 12 poles
    >>> B = ring_harmonics(ring, 6, MagnetLayers(0.003, 1.3), np.array([0.0275]), np.array([0.001]), np.array([1]))
    >>> round(float(B[0, 0, 0]), 4)
    -0.3217
    """
    radii, distances = np.asarray(radii, float), np.asarray(distances, float)
    source = serving_source(source, footprint, pole_pairs, radii, distances, np.asarray(orders), element_order)
    return -layers.remanence * source.at(source.field(distances, layers), radii)


def _check_range(pole_pairs: int, radii: FloatArray, distances: FloatArray, orders: Integers) -> None:
    if pole_pairs < 1:
        raise LawRangeError(f"a ring needs at least one pole pair, got {pole_pairs!r}")
    if radii.size == 0 or float(radii.min()) <= 0.0:
        raise LawRangeError("radii must be above 0 m")
    if distances.size == 0 or float(distances.min()) <= 0.0:
        raise LawRangeError(f"distances must be above 0 m, got {distances!r}: the copper may not touch the magnets")
    if orders.size == 0 or bool(np.any(orders < 1)) or bool(np.any(orders % 2 == 0)):
        raise LawRangeError(f"orders must be odd and positive, got {orders!r}: an alternating ring has no others")


def _scale(footprint: Footprint, pole_pairs: int, distances: FloatArray) -> float:
    """Length over which the field can change [m]: the smallest distance, or the pole pitch over pi if that is less."""
    return min(float(distances.min()), float(footprint.breakpoints[0]) / pole_pairs)


@lru_cache(maxsize=24)
def _modes_for(
    breakpoints: tuple[float, ...],
    pole_pairs: int,
    served: tuple[float, float],
    scale: float,
    element_order: int,
    orders: tuple[int, ...],
    edges: tuple[float, ...] = (),
) -> tuple[RadialModes, FloatArray, FloatArray]:
    """Elements as fine as the field's scale near the magnet edges; the ends reflect (r/R)^(2p+1) = 1e-5. With their
    wave numbers and vectors, which take most of the time and depend neither on the gap nor on the magnets' thickness.
    """
    reach = 10.0 ** (5.0 / (2 * pole_pairs + 1))
    places = np.union1d(breakpoints, edges)
    inner, outer = min(places[0], served[0]) / reach, max(places[-1], served[1]) * reach
    boundaries = graded_boundaries(places, inner, outer, ELEMENT_SIZE * scale)
    modes = radial_modes(boundaries, element_order)
    return modes, *modes.eigen(np.array(orders) * pole_pairs, (breakpoints[0], breakpoints[-1]))


@dataclass(frozen=True, eq=False)
class PlateField:
    """What enters a plate facing the magnets: harmonics B_n (n, R) [T] at the middles (R,) of even rings [m]."""

    radii: FloatArray
    values: FloatArray


@dataclass(frozen=True, eq=False)
class RingField:
    """A tabulated ring field: B_n on evenly spaced radii at several distances, read by linear interpolation.

    orders: (n,). distances: (Z,) [m]. inner, outer: the radii served [m]. values: (n, Z, radii) [T]. plate: what enters
    a plate facing the magnets, if there is one.
    """

    pole_pairs: int
    orders: Integers
    distances: FloatArray
    inner: float
    outer: float
    values: FloatArray
    plate: PlateField | None = None

    @cached_property
    def mean_peak(self) -> FloatArray:
        """Magnitude of the fundamental at every radius of the table, the mean over the distances [T]."""
        return np.asarray(np.abs(self.values[0]).mean(axis=0))

    def joins(self, other: RingField) -> bool:
        """Whether both have the same poles, orders and radii, so that one table can hold them."""
        return (
            self.pole_pairs == other.pole_pairs
            and (self.inner, self.outer, self.values.shape[-1]) == (other.inner, other.outer, other.values.shape[-1])
            and np.array_equal(self.orders, other.orders)
        )

    def locate(self, radii: FloatArray, index: int | Integers) -> tuple[Integers, FloatArray]:
        """Place in the flattened table and position 0 … 1 in its cell, at ``radii`` [m] and distances ``index``."""
        size = self.values.shape[-1]
        position = (radii - self.inner) * ((size - 1) / (self.outer - self.inner))
        if radii.size and not (float(position.min()) >= -1e-6 and float(position.max()) <= size - 1 + 1e-6):
            raise LawRangeError(
                f"the field table serves radii {self.inner:g} … {self.outer:g} m, "
                f"asked for {float(radii.min()):g} … {float(radii.max()):g} m"
            )
        cell = np.clip(position.astype(np.int64), 0, size - 2)
        return cell + np.multiply(index, size), position - cell

    def at(self, radii: FloatArray, index_of_distance: int | Integers) -> FloatArray:
        """B_n at ``radii`` (R,) [m] and the distance of that index (one, or one per radius): (n, R) [T]."""
        place, t = self.locate(np.asarray(radii, float), index_of_distance)
        table = self.values.reshape(len(self.orders), -1)
        return np.asarray((1.0 - t) * table[:, place] + t * table[:, place + 1])


def joined_fields(fields: Sequence[RingField]) -> RingField:
    """One table for several fields, their distances one after the other.

    fields: 1 or more that join each other [T]. Returns a RingField [T], or the only one itself. LawRangeError where
    they do not join. Derived here.

    >>> ring = sector_footprint(0.020, 0.035, 0.8 * np.pi / 12)
    >>> near, far = (ring_field(ring, 6, MagnetLayers(0.003, b), 0.018, 0.037, np.array([0.002])) for b in (1.2, 1.3))
    >>> joined_fields([near, far]).at(np.array([0.0275]), 1).tolist() == far.at(np.array([0.0275]), 0).tolist()
    True
    """
    first = fields[0]
    if len(fields) == 1:
        return first
    if not all(field.joins(first) for field in fields):
        raise LawRangeError("only fields with the same poles, orders and radii have one table")
    distances, values = [field.distances for field in fields], [field.values for field in fields]
    return replace(first, distances=np.concatenate(distances), values=np.concatenate(values, axis=1))


def ring_field(
    footprint: Footprint,
    pole_pairs: int,
    layers: MagnetLayers,
    inner: float,
    outer: float,
    distances: FloatArray,
    orders: Integers | tuple[int, ...] = ODD_ORDERS,
    source: RingSource | None = None,
) -> RingField:
    """Tabulate the harmonics of a ring between two radii so that many windings can be evaluated cheaply.

    footprint: of one magnet [m, rad]. pole_pairs: p, 1 or more [-]. layers: across the magnet plate [m, T].
    inner, outer: radii to serve, 0 < inner < outer [m]. distances: (Z,) below the magnet face, above 0 [m].
    orders: (n,) odd [-]. source: made beforehand, as serving_source takes it [m]. Returns a RingField [T], read to
    0.05 % of the peak.
    Outside the range: LawRangeError. Derived here.

    >>> ring = sector_footprint(0.020, 0.035, 0.8 * np.pi / 12)
    >>> field = ring_field(ring, 6, MagnetLayers(0.003, 1.3), 0.018, 0.037, np.array([0.001, 0.002]))
    >>> round(float(field.at(np.array([0.0275]), 1)[0, 0]), 4)
    -0.2562
    """
    if not 0.0 < inner < outer:
        raise LawRangeError(f"a field table needs 0 < inner < outer, got {inner:g} … {outer:g} m")
    distances, orders = np.asarray(distances, float), np.asarray(orders)
    _check_range(pole_pairs, np.array([inner, outer]), distances, orders)
    count = int(np.clip((outer - inner) / (TABLE_STEP * _scale(footprint, pole_pairs, distances)), 16, 3000)) + 2
    radii = np.linspace(inner, outer, count)
    values = ring_harmonics(footprint, pole_pairs, layers, radii, distances, orders, source=source)
    return RingField(pole_pairs, orders, distances, inner, outer, values)
