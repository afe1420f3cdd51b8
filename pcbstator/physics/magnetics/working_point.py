"""Where the magnets work on their load line, and how far that is from the knee at which they lose strength for good.

The flux density just inside a face is continuous through it, so the layers give it: a sheet charge by itself makes
Br/(1 + mu_r) at a free face, and the rest of the response, which falls as e^(−kh), is summed over modes and harmonics.
A coreless stator's own field is millitesla, so no current is set against the magnets here.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

import numpy as np
from numpy.typing import NDArray

from pcbstator.constants import MU_0
from pcbstator.errors import LawRangeError
from pcbstator.physics.magnetics.field_layers import MagnetLayers, face_response
from pcbstator.physics.magnetics.magnet_pattern import Footprint
from pcbstator.physics.magnetics.magnet_ring import ODD_ORDERS
from pcbstator.physics.magnetics.ring_modes import RingSource, serving_source

FloatArray = NDArray[np.float64]

RADII, ANGLES = 33, 17  # points over the magnet's face
ORDERS = np.array(ODD_ORDERS)


@dataclass(frozen=True)
class WorkingPoint:
    """Lowest flux density along the magnetisation in a magnet [T], at which radius [m], and the permeance there.

    permeance: −B/(mu_0·H), the slope of the load line [1]. at_back: on the face away from the board.
    """

    flux_density: float
    radius: float
    permeance: float
    at_back: bool


@dataclass(frozen=True)
class DemagnetisingMargin:
    """Flux density at the knee [T], negative where the line is straight beyond B = 0, and what is left above it [T]."""

    knee: float
    margin: float


def thinnest_layer(layers: MagnetLayers) -> float:
    """The distance that a source must follow for the field at the magnets' own faces.

    layers: across the magnet plate [m, T]. Returns [m]. Derived here.

    >>> thinnest_layer(MagnetLayers(0.003, 1.3, back_iron=0.002))
    0.002
    """
    return min(size for size in (layers.magnet_thickness, layers.facing_distance, layers.back_iron) if size > 0.0)


def working_point(
    footprint: Footprint, pole_pairs: int, layers: MagnetLayers, source: RingSource | None = None
) -> WorkingPoint:
    """Lowest flux density along the magnetisation inside the magnets of a ring.

    footprint: of one magnet [m, rad]. pole_pairs: p, 1 or more [-]. layers: across the magnet plate, with the remanence
    at the magnets' temperature [m, T]. source: made beforehand, as serving_source takes it [m].
    Returns a WorkingPoint [T, m, -].
    Halbach rings: LawRangeError, since their segments press on each other's edges beyond what two faces show.
    Both faces are searched, where the flux density of axial magnets is lowest; error below 0.5 % of Br. Layers without
    end, each steel of one permeability, what the source has beyond that left out (at a corner it would have no bound);
    the space between magnets as having their recoil permeability. Derived here.

    >>> from pcbstator.physics.magnetics.magnet_pattern import sector_footprint
    >>> ring = sector_footprint(0.034, 0.051, 0.8 * np.pi / 24)
    >>> point = working_point(ring, 12, MagnetLayers(0.003, 1.3, 1.05, back_iron=0.002))
    >>> round(point.flux_density, 2), round(point.permeance, 2)
    (0.5, 0.65)
    """
    if footprint.segments_per_pole != 1:
        raise LawRangeError("the working point is known for one axial magnet per pole, not for a Halbach ring")
    mu_r = layers.recoil_permeability
    inner, outer = float(footprint.breakpoints[0]), float(footprint.breakpoints[-1])
    radii = np.linspace(inner, outer, RADII)
    source = serving_source(source, footprint, pole_pairs, radii, np.array([thinnest_layer(layers)]), ORDERS)
    mu_back = layers.back_iron_permeability if layers.back_iron > 0.0 else 1.0
    board, _, back, _ = face_response(source.wave_numbers, layers)
    alone = np.array([1.0 / (1.0 + mu_r), 1.0 / (1.0 + (0.0 if mu_back == inf else mu_r / mu_back))])
    faces = np.stack([board - alone[0], back - alone[1]], axis=1) * source.axial[:, None]  # (n, 2, N)
    rest = source.at(faces, radii)  # (n, 2, R)
    lower, upper = footprint.lower(radii), footprint.upper(radii)
    angles = lower + np.linspace(0.0, 1.0, ANGLES)[:, None] * (upper - lower)
    turns = np.cos(np.multiply.outer(ORDERS * pole_pairs, angles))  # (n, A, R)
    B = alone[:, None, None] + np.einsum("nar,nfr->far", turns, rest)
    face, _, place = np.unravel_index(int(np.argmin(B)), B.shape)
    lowest = float(B[face, :, place].min())
    return WorkingPoint(layers.remanence * lowest, float(radii[place]), mu_r * lowest / (1.0 - lowest), bool(face == 1))


def demagnetising_margin(
    flux_density: float, remanence: float, recoil_permeability: float, knee_field_strength: float
) -> DemagnetisingMargin:
    """How far the lowest flux density of a magnet is above the knee of its material.

    flux_density: lowest along the magnetisation, as of ``working_point`` [T]. remanence: [T], above 0.
    recoil_permeability: relative, 1 or more [-]. knee_field_strength: opposing field at the knee, as of
    ``materials.knee_field_strength``, above 0 [A/m]. All at the magnets' temperature.
    Returns DemagnetisingMargin [T]; a negative margin means lasting loss. Outside the range: LawRangeError.
    Derived here: on the straight recoil line the knee lies at Br − mu_0·mu_r·|H_knee|.

    >>> result = demagnetising_margin(0.5, 1.22, 1.05, 548e3)
    >>> round(result.knee, 3), round(result.margin, 3)
    (0.497, 0.003)
    """
    if not (remanence > 0.0 and recoil_permeability >= 1.0 and knee_field_strength > 0.0):
        raise LawRangeError(
            f"a magnet needs a remanence and a knee above 0 and a recoil permeability of 1 or more, got "
            f"{remanence:g} T, {knee_field_strength:g} A/m, {recoil_permeability:g}"
        )
    knee = remanence - MU_0 * recoil_permeability * knee_field_strength
    return DemagnetisingMargin(knee, flux_density - knee)
