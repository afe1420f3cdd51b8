"""The field of one magnet of a ring, in all orders of the turn, and how it changes as the magnet is moved or tilted.

    B_z(r, theta, z) = Σ B_m(r, z)·cos(m·theta)  (or sin where the change is odd),  m = 1, 2, 3 …

A ring of equal magnets has odd multiples of its pole pairs only; magnets that differ from each other have the orders
between. Moving a footprint by a small d changes ∬ v dA by ∬ d·grad v dA, and a magnetisation M in the plane is the
charge −div M with ∬ −div M·v dA = ∬ M·grad v dA: one integral over the footprint serves both.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import inf, pi

import numpy as np
from numpy.typing import NDArray

from pcbstator.errors import LawRangeError
from pcbstator.physics.magnetics.field_layers import MagnetLayers, charge_response, layer_response
from pcbstator.physics.magnetics.magnet_pattern import Footprint
from pcbstator.physics.magnetics.magnet_ring import TABLE_STEP, RingField
from pcbstator.physics.magnetics.ring_modes import ELEMENT_ORDER, field_scale, modes_of_source

FloatArray = NDArray[np.float64]
Integers = NDArray[np.integer]

GAP_STEP = 1e-5  # of the smallest distance: for the change with the distance
SLOPE_STEP = 1e-6  # of a radius: for the slope of radial functions


@dataclass(frozen=True, eq=False)
class MagnetField:
    """Harmonics of one magnet that points down at theta = 0, tabulated as RingField with one pole pair, all [T] or per
    [m] or [rad]: by itself; moved outwards, along the turn, away from board and what faces it; its magnetisation tilted
    outwards and along the turn; the board moved away from it, towards what faces it. ``odd`` names those that go with
    sin(m·theta) instead of cos(m·theta).
    """

    itself: RingField
    outwards: RingField
    along: RingField
    lifted: RingField
    tilted_outwards: RingField
    tilted_along: RingField
    board_away: RingField
    odd = ("along", "tilted_along")

    def tables(self) -> dict[str, RingField]:
        """Every table by its name."""
        names = ("itself", "outwards", "along", "lifted", "tilted_outwards", "tilted_along", "board_away")
        return {name: getattr(self, name) for name in names}


def one_magnet_field(
    footprint: Footprint,
    layers: MagnetLayers,
    inner: float,
    outer: float,
    distances: FloatArray,
    orders: Integers,
    element_order: int = ELEMENT_ORDER,
) -> MagnetField:
    """Tabulate the harmonics of one magnet and their changes between two radii.

    footprint: of the magnet [m, rad]. layers: across the magnet plate, endless ones [m, T]. inner, outer: radii to
    serve, 0 < inner < outer [m]. distances: (Z,) below the magnet face, above 0 [m]. orders: (m,) 1 or more [-].
    element_order: of the radial polynomials [-]. Returns a MagnetField [T, T/m, T/rad]; error as of ring_harmonics.
    Outside the range: LawRangeError. Derived here.

    >>> from pcbstator.physics.magnetics.magnet_pattern import disc_footprint
    >>> disc = disc_footprint(0.040, 0.005)
    >>> field = one_magnet_field(disc, MagnetLayers(0.003, 1.3), 0.03, 0.05, np.array([0.002]), np.arange(1, 120))
    >>> round(float(field.itself.at(np.array([0.04]), 0).sum()), 3)  # below its middle, but for the mean over the turn
    -0.211
    """
    distances, orders = np.asarray(distances, float), np.asarray(orders)
    if not 0.0 < inner < outer or distances.size == 0 or float(distances.min()) <= 0.0 or int(orders.min()) < 1:
        raise LawRangeError("one magnet needs 0 < inner < outer radius, distances above 0 and orders of 1 or more")
    ends = footprint.breakpoints
    served = min(inner, float(ends[0])), max(outer, float(ends[-1]))
    scale = field_scale(footprint, 1, distances)
    modes, k, vectors = modes_of_source(footprint, 1, served, scale, element_order, orders)
    points, weights = modes.quadrature(ends)
    values = modes.interpolation(points) / modes.root_mass
    slopes = (modes.interpolation(points * (1 + SLOPE_STEP)) - modes.interpolation(points * (1 - SLOPE_STEP))) / (
        2 * SLOPE_STEP * points[:, None] * modes.root_mass
    )

    def in_modes(rows: FloatArray) -> FloatArray:
        """Rows (m, N) of values at the nodes as modal amplitudes."""
        return np.asarray(np.matmul(rows[:, None, :], vectors)[:, 0])

    area = weights * points
    covered, across, straight = _window(footprint, points, orders)
    turning = orders[:, None] / points * area
    itself = in_modes((covered * area) @ values)
    outwards = in_modes((straight * area) @ slopes + (across * turning) @ values)
    along = in_modes((across * area) @ slopes + (straight * turning) @ values)
    step = GAP_STEP * float(distances.min())
    near, far = (layer_response(k, distances + s, layers.with_gap(s)) for s in (-step, step))
    if layers.facing_distance < inf:
        # At the plane between two rotors the field stands still, so what would lie beyond it may lie on it.
        closer, further = (
            layer_response(k, np.minimum(distances + s, layers.facing_distance), layers) for s in (-step, step)
        )
    else:
        closer, further = near, far
    sheet, charge = layer_response(k, distances, layers), charge_response(k, distances, layers) / k[:, None]
    count = int(np.clip((outer - inner) / (TABLE_STEP * scale), 16, 3000)) + 2
    radii = np.linspace(inner, outer, count)
    read = modes.interpolation(radii).T

    def table(response: FloatArray, source: FloatArray) -> RingField:
        amplitudes = response * source[:, None]
        at_nodes = amplitudes @ vectors.transpose(0, 2, 1) / modes.root_mass
        return replace(empty, values=-layers.remanence * (at_nodes @ read))

    empty = RingField(1, orders, distances, inner, outer, np.zeros((len(orders), len(distances), count)))
    return MagnetField(
        itself=table(sheet, itself),
        outwards=table(sheet, outwards),
        along=table(sheet, along),
        lifted=table((far - near) / (2 * step), itself),
        tilted_outwards=table(charge, outwards),
        tilted_along=table(charge, along),
        board_away=table((further - closer) / (2 * step), itself),
    )


def _window(footprint: Footprint, radii: FloatArray, orders: Integers) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Fourier integrals over the angles u that the magnet covers at each radius, over pi: of cos(m·u), of
    sin(u)·sin(m·u), and of cos(u)·cos(m·u), each (m, R).
    """
    lower, upper, m = footprint.lower(radii), footprint.upper(radii), orders[:, None].astype(float)

    def between(order: FloatArray) -> FloatArray:
        """2·∫ cos(order·u) du from lower to upper."""
        return np.asarray(2 * (upper * np.sinc(order * upper / pi) - lower * np.sinc(order * lower / pi)))

    less, more = between(m - 1), between(m + 1)
    return between(m) / pi, (less - more) / (2 * pi), (less + more) / (2 * pi)
