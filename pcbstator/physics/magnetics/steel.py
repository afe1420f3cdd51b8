"""Steel behind the magnets and in a plate on the board's far side: what saturation and its ends do to the field.

The layers take a plate as endless and of one permeability. What a real plate's potential differs from that
(``steel_plate``) is added to the ring's source, and every law that sums over radial modes counts it from there.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pcbstator.errors import LawRangeError
from pcbstator.materials import MagnetisationCurve
from pcbstator.physics.magnetics.field_layers import (
    MagnetLayers,
    back_response,
    back_surroundings,
    plate_reflectance,
    plate_surroundings,
)
from pcbstator.physics.magnetics.magnet_pattern import Footprint
from pcbstator.physics.magnetics.magnet_ring import ODD_ORDERS
from pcbstator.physics.magnetics.ring_modes import RingSource, serving_source
from pcbstator.physics.magnetics.steel_plate import STEEL_ORDERS, Plate, PlateState, plate_state

FloatArray = NDArray[np.float64]

IRON_ORDERS = np.array(ODD_ORDERS)
SWEEPS = 8  # over two plates that feel each other
SETTLED = 1e-3  # of the flux in the plate facing the magnets


@dataclass(frozen=True, eq=False)
class SaturatedIron:
    """The layers with one permeability for each steel plate, and what else there is to it.

    source: the magnets in radial modes with the potentials that the plates have beyond that. back_iron, plate: the flux
    in each plate there is.
    """

    layers: MagnetLayers
    source: RingSource
    back_iron: PlateState | None
    plate: PlateState | None


def saturated_iron(
    footprint: Footprint,
    pole_pairs: int,
    layers: MagnetLayers,
    curve: MagnetisationCurve,
    source: RingSource | None = None,
    ends: tuple[float, float] | None = None,
) -> SaturatedIron:
    """How the steel behind the magnets and that of a plate facing them saturate, and the field with it.

    footprint: of one magnet [m, rad]. pole_pairs: p, 1 or more [-]. layers: any permeability they give to a plate there
    is set aside [m, T]. curve: of the steel [T, A/m]. source: made beforehand, as serving_source takes it [m]. ends:
    inner and outer radius of both plates, by default those of the magnets [m].
    Returns SaturatedIron [T, Wb], whose layers and source go together. The fundamental over the magnets comes within
    1 % of a non-linear field solution in space, in steel that would carry up to 3 T. Derived here.

    >>> from pcbstator.materials import mild_steel
    >>> from pcbstator.physics.magnetics.magnet_pattern import sector_footprint
    >>> ring = sector_footprint(0.034, 0.051, 0.8 * np.pi / 24)
    >>> steel = saturated_iron(ring, 12, MagnetLayers(0.003, 1.3, 1.05, 0.002, mirror_distance=0.0016), mild_steel())
    >>> round(steel.back_iron.mean, 2), round(steel.back_iron.wanted, 2)
    (1.96, 2.14)
    """
    ends = ends or (float(footprint.breakpoints[0]), float(footprint.breakpoints[-1]))
    reach = np.array([min(layers.magnet_thickness, layers.facing_distance)])
    serving = serving_source(source, footprint, pole_pairs, footprint.breakpoints, reach, IRON_ORDERS, edges=ends)
    source = source or serving  # all its orders
    has_plate = layers.plate_distance is not None and layers.plate_thickness > 0.0
    back: PlateState | None = None
    plate: PlateState | None = None
    for _ in range(SWEEPS if layers.back_iron > 0.0 and has_plate else 1):
        before = plate
        if layers.back_iron > 0.0:
            layers, source, back = _with_back(layers, source, Plate(*ends, layers.back_iron, curve))
        if has_plate:
            layers, source, plate = _with_plate(layers, source, Plate(*ends, layers.plate_thickness, curve))
        if before is not None and plate is not None and abs(plate.mean - before.mean) < SETTLED * plate.mean:
            break
    return SaturatedIron(layers, source, back, plate)


def _with_back(layers: MagnetLayers, source: RingSource, plate: Plate) -> tuple[MagnetLayers, RingSource, PlateState]:
    """Layers and source with the steel behind the magnets as it is."""
    some = source.of(STEEL_ORDERS)
    ideal = replace(layers, back_iron_permeability=np.inf)
    admittance, sent = back_surroundings(some.wave_numbers, layers)
    entering = layers.remanence * some.combined(*back_response(some.wave_numbers, ideal), np.zeros(1), sent)
    others = _higher(source)
    rest = layers.remanence * others.combined(*back_response(others.wave_numbers, ideal))
    state = plate_state(some, plate, entering, admittance, _half_pole_flux(others, rest))
    layers = replace(layers, back_iron_permeability=state.permeability)
    lifted = _beyond(state, some.wave_numbers, entering, admittance, layers.back_iron)
    return layers, replace(source, back_potential=_in_rows(source, lifted / layers.remanence)), state


def _with_plate(layers: MagnetLayers, source: RingSource, plate: Plate) -> tuple[MagnetLayers, RingSource, PlateState]:
    """Layers and source with the plate facing the magnets as it is."""
    if layers.plate_distance is None:
        raise LawRangeError("no plate faces the magnets: give plate_distance and plate_thickness")
    some = replace(source.of(STEEL_ORDERS), plate_potential=None)
    ideal = replace(layers, plate_permeability=np.inf)
    admittance = plate_surroundings(some.wave_numbers, layers)
    place, others = np.array([layers.plate_distance]), replace(_higher(source), plate_potential=None)
    entering, rest = (-layers.remanence * each.field(place, ideal)[:, 0] for each in (some, others))
    state = plate_state(some, plate, entering, admittance, _half_pole_flux(others, rest))
    layers = replace(layers, plate_permeability=state.permeability)
    lifted = _beyond(state, some.wave_numbers, entering, admittance, layers.plate_thickness)
    return layers, replace(source, plate_potential=_in_rows(source, lifted / layers.remanence)), state


def _higher(source: RingSource) -> RingSource:
    """The orders that a plate takes as if it were ideal."""
    return source.of(IRON_ORDERS[len(STEEL_ORDERS) :])


def _half_pole_flux(source: RingSource, entering: FloatArray) -> float:
    """Flux [Wb] of half a pole of modal amplitudes (n, N), from a pole's middle to midway between two."""
    whole = source.at_nodes(entering[:, None])[:, 0] @ source.modes.root_mass**2  # ∫ B r dr
    midway = np.where(source.orders % 4 == 1, 1.0, -1.0)  # sin(n·pi/2)
    return float(np.sum(midway / (source.orders * source.pole_pairs) * whole))


def _beyond(
    state: PlateState, k: FloatArray, entering: FloatArray, admittance: FloatArray, thickness: float
) -> FloatArray:
    """mu_0·k·phi of a plate's face beyond that of an endless plate of its one permeability (n, N)."""
    image = plate_reflectance(k, thickness, state.permeability)
    lifted = k * state.potential
    return np.asarray(lifted - (1.0 - image) / (1.0 + image) * (entering - admittance * lifted))


def _in_rows(source: RingSource, some: FloatArray) -> FloatArray:
    """Amplitudes of STEEL_ORDERS among those of all orders of the source."""
    every = np.zeros_like(source.axial)
    every[np.searchsorted(source.orders, STEEL_ORDERS)] = some
    return every
