"""The magnets of a ring as sources in radial modes, made once for all laws that ask for the field of that ring."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache
from math import floor, log2

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
from pcbstator.physics.magnetics.magnet_pattern import Footprint, in_plane_harmonics, sheet_charge_harmonics
from pcbstator.physics.magnetics.radial_modes import RadialModes, graded_boundaries, radial_modes

FloatArray = NDArray[np.float64]
Integers = NDArray[np.integer]
Response = Callable[[FloatArray, FloatArray, MagnetLayers], FloatArray]

ELEMENT_ORDER = 7  # error 1e-4 of the peak; see the convergence test
ELEMENT_SIZE = 1.5  # finest element, in units of the smallest scale of the field
SCALE_STEPS = 4  # of that scale to a factor of 2


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

    def of(self, orders: Integers) -> RingSource:
        """The source with some of its orders only."""
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

    >>> from pcbstator.physics.magnetics.magnet_pattern import sector_footprint
    >>> ring = sector_footprint(0.020, 0.035, 0.8 * np.pi / 12)
    >>> ring_source(ring, 6, np.array([0.0275]), np.array([0.001]), np.array([1])).in_plane is None
    True
    """
    radii, distances, orders = np.asarray(radii, float), np.asarray(distances, float), np.asarray(orders)
    require_ring(pole_pairs, radii, distances, orders)
    scale, served = field_scale(footprint, pole_pairs, distances), (float(radii.min()), float(radii.max()))
    modes, wave_numbers, vectors = modes_of_source(footprint, pole_pairs, served, scale, element_order, orders, edges)
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

    >>> from pcbstator.physics.magnetics.magnet_pattern import sector_footprint
    >>> ring, place, near = sector_footprint(0.020, 0.035, 0.8 * np.pi / 12), np.array([0.0275]), np.array([0.001])
    >>> made = ring_source(ring, 6, place, near, np.array([1, 3, 5]))
    >>> serving_source(made, ring, 6, place, near, np.array([1, 5])).orders.tolist()
    [1, 5]
    """
    if source is None:
        return ring_source(footprint, pole_pairs, radii, distances, orders, element_order, edges)
    require_ring(pole_pairs, radii, distances, orders)
    scale = field_scale(footprint, pole_pairs, distances)
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


def require_ring(pole_pairs: int, radii: FloatArray, distances: FloatArray, orders: Integers) -> None:
    """Raise LawRangeError for what no ring field can be asked for.

    pole_pairs: p, 1 or more [-]. radii: (R,) above 0 [m]. distances: (Z,) below the magnet face, above 0 [m].
    orders: (n,) odd [-]. Returns nothing [-]. Derived here.

    >>> require_ring(6, np.array([0.03]), np.array([0.001]), np.array([2]))
    Traceback (most recent call last):
    pcbstator.errors.LawRangeError: orders must be odd and positive, got array([2]): an alternating ring has no others
    """
    if pole_pairs < 1:
        raise LawRangeError(f"a ring needs at least one pole pair, got {pole_pairs!r}")
    if radii.size == 0 or float(radii.min()) <= 0.0:
        raise LawRangeError("radii must be above 0 m")
    if distances.size == 0 or float(distances.min()) <= 0.0:
        raise LawRangeError(f"distances must be above 0 m, got {distances!r}: the copper may not touch the magnets")
    if orders.size == 0 or bool(np.any(orders < 1)) or bool(np.any(orders % 2 == 0)):
        raise LawRangeError(f"orders must be odd and positive, got {orders!r}: an alternating ring has no others")


def field_scale(footprint: Footprint, pole_pairs: int, distances: FloatArray) -> float:
    """Length over which the field can change: the smallest distance, or the pole pitch over pi if that is less.

    footprint: of one magnet [m, rad]. pole_pairs: p [-]. distances: (Z,) below the magnet face [m]. Returns [m].
    Derived here.

    >>> from pcbstator.physics.magnetics.magnet_pattern import sector_footprint
    >>> field_scale(sector_footprint(0.024, 0.035, 0.1), 12, np.array([0.001, 0.004]))
    0.001
    """
    return min(float(distances.min()), float(footprint.breakpoints[0]) / pole_pairs)


def modes_of_source(
    footprint: Footprint,
    pole_pairs: int,
    served: tuple[float, float],
    scale: float,
    element_order: int,
    orders: Integers,
    edges: tuple[float, ...] = (),
) -> tuple[RadialModes, FloatArray, FloatArray]:
    """Radial modes for sources on a footprint, with their wave numbers and vectors for every order.

    footprint: of one magnet [m, rad]. pole_pairs: p [-]. served: inner and outer radius [m]. scale: of the field [m].
    element_order: of the radial polynomials [-]. orders: (n,) times p are those of the turn [-]. edges: radii at which
    steel ends [m]. Returns modes [m], (n, N) [1/m] and (n, N, N) [-]. Any. Derived here.

    >>> from pcbstator.physics.magnetics.magnet_pattern import sector_footprint
    >>> ring = sector_footprint(0.020, 0.035, 0.2)
    >>> modes, k, vectors = modes_of_source(ring, 6, (0.02, 0.035), 1e-3, 7, np.array([1]))
    >>> k.shape == (1, len(modes.nodes)) and vectors.shape == (1, len(modes.nodes), len(modes.nodes))
    True
    """
    inside = float(footprint.breakpoints[0])
    step = floor(SCALE_STEPS * log2(scale / inside))  # in steps, so that rings at many gaps have the same modes
    return _modes_for(
        tuple(footprint.breakpoints.tolist()), pole_pairs, served, inside * 2 ** (step / SCALE_STEPS), element_order,
        tuple(orders.tolist()), edges,
    )  # fmt: skip


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
