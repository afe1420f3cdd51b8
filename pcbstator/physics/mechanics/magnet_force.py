"""The axial pull between a magnet ring and what faces it: stator iron, or the second rotor of a pair.

The stress across a plane in the gap is T = (B_z² − B_t²)/(2·mu_0). Over the plane the modes of a ring are orthogonal,
in their values and in their gradients, so the pull is a sum of squares of modal amplitudes, the same at every height.
"""

from __future__ import annotations

from math import pi

import numpy as np
from numpy.typing import NDArray

from pcbstator.constants import MU_0
from pcbstator.errors import LawRangeError
from pcbstator.physics.magnetics.field_layers import MagnetLayers, force_response
from pcbstator.physics.magnetics.magnet_ring import ELEMENT_ORDER, Footprint, RingSource, serving_source

Integers = NDArray[np.integer]

FORCE_ORDERS = tuple(range(1, 32, 2))


def axial_force(
    footprint: Footprint,
    pole_pairs: int,
    layers: MagnetLayers,
    orders: Integers | tuple[int, ...] = FORCE_ORDERS,
    element_order: int = ELEMENT_ORDER,
    source: RingSource | None = None,
) -> float:
    """Axial pull between a magnet ring and the plane or plate that faces it.

    footprint: of one magnet [m, rad]. pole_pairs: p, 1 or more [-]. layers: with mirror_distance (a second rotor, whose
    mid-plane this is, or ideal iron) or plate_distance (a real plate) [m, T]. orders: (n,) odd [-], few suffice unless
    the gap is far below the pole pitch. element_order: of the radial polynomials [-]. source: made beforehand, as
    serving_source takes it [m].
    Returns [N]. Nothing facing the magnets: LawRangeError. At a plane of zero potential this is
    Σ pi/(2·mu_0)·∫ B_n² r dr. Plates are taken as wider than the magnets, the space between magnets as having their
    recoil permeability. Derived here (Maxwell stress).

    >>> from pcbstator.physics.magnetics.magnet_ring import sector_footprint
    >>> ring = sector_footprint(0.034, 0.051, 0.8 * np.pi / 24)
    >>> round(axial_force(ring, 12, MagnetLayers(0.003, 1.3, 1.05, back_iron=0.002, mirror_distance=0.0016)))
    604
    """
    distance = layers.facing_distance
    if not np.isfinite(distance):
        raise LawRangeError("nothing faces the magnets, so nothing pulls: give mirror_distance or plate_distance")
    place, numbers = np.array([distance]), np.asarray(orders)
    source = serving_source(source, footprint, pole_pairs, footprint.breakpoints, place, numbers, element_order)
    falling, rising = force_response(source.wave_numbers, layers)
    squares = source.combined(*falling) * source.combined(*rising)
    return pi / (2.0 * MU_0) * layers.remanence**2 * float(squares.sum())
