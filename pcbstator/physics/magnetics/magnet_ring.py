"""The axial field of a ring of alternating magnets, or of a Halbach ring, as harmonics of the angle.

    B_z(r, theta − alpha, z) = Σ B_n(r, z)·cos(n·p·(theta − alpha)),  n odd, p pole pairs, alpha the rotor angle.

The rotor is above the board; at rotor angle 0 a magnet whose field points down is centred on theta = 0, so B_1 < 0 at
the board. The magnets' charges (``magnet_pattern``) are sources in radial modes (``ring_modes``), which carry them to
the board through the layers.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from pcbstator.errors import LawRangeError
from pcbstator.physics.magnetics.field_layers import MagnetLayers
from pcbstator.physics.magnetics.magnet_pattern import Footprint
from pcbstator.physics.magnetics.ring_modes import ELEMENT_ORDER, RingSource, field_scale, require_ring, serving_source

FloatArray = NDArray[np.float64]
Integers = NDArray[np.integer]

ODD_ORDERS = tuple(range(1, 26, 2))
TABLE_STEP = 0.07  # spacing of tabulated radii, in units of the smallest scale of the field


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

    >>> from pcbstator.physics.magnetics.magnet_pattern import sector_footprint
    >>> ring = sector_footprint(0.020, 0.035, 0.8 * np.pi / 12)  # 12 poles
    >>> B = ring_harmonics(ring, 6, MagnetLayers(0.003, 1.3), np.array([0.0275]), np.array([0.001]), np.array([1]))
    >>> round(float(B[0, 0, 0]), 4)
    -0.3217
    """
    radii, distances = np.asarray(radii, float), np.asarray(distances, float)
    source = serving_source(source, footprint, pole_pairs, radii, distances, np.asarray(orders), element_order)
    return -layers.remanence * source.at(source.field(distances, layers), radii)


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

    >>> from pcbstator.physics.magnetics.magnet_pattern import sector_footprint
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

    >>> from pcbstator.physics.magnetics.magnet_pattern import sector_footprint
    >>> ring = sector_footprint(0.020, 0.035, 0.8 * np.pi / 12)
    >>> field = ring_field(ring, 6, MagnetLayers(0.003, 1.3), 0.018, 0.037, np.array([0.001, 0.002]))
    >>> round(float(field.at(np.array([0.0275]), 1)[0, 0]), 4)
    -0.2562
    """
    if not 0.0 < inner < outer:
        raise LawRangeError(f"a field table needs 0 < inner < outer, got {inner:g} … {outer:g} m")
    distances, orders = np.asarray(distances, float), np.asarray(orders)
    require_ring(pole_pairs, np.array([inner, outer]), distances, orders)
    count = int(np.clip((outer - inner) / (TABLE_STEP * field_scale(footprint, pole_pairs, distances)), 16, 3000)) + 2
    radii = np.linspace(inner, outer, count)
    values = ring_harmonics(footprint, pole_pairs, layers, radii, distances, orders, source=source)
    return RingField(pole_pairs, orders, distances, inner, outer, values)
