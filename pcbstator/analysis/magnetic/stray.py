"""The rotor's field anywhere around the stator: at its angle sensor, at the bearing, at screws, at foreign copper.

Places are those of the board: z counts from its face to the rotor.
"""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from math import pi
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from pcbstator.analysis.magnetic.rotor_field import magnet_footprint, magnet_layers, rotor_iron, steel_ring
from pcbstator.physics.magnetics.field_layers import MagnetLayers, layer_response
from pcbstator.physics.stray.charged_sheets import SteelRing
from pcbstator.physics.stray.stray_field import StrayField, stray_field

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign

FloatArray = NDArray[np.float64]
Solid = tuple[float, float, float, float]  # inner and outer radius, lower and upper z

STEPS = 24  # of the rotor over a pole pitch; an even number


def steel_rings(design: SizedDesign) -> tuple[SteelRing, ...]:
    """The steel of the rotor above the board and that beyond it, z from the magnets' face."""
    rotor, footprint = design.rotor, magnet_footprint(design)
    inner, outer = steel_ring(design, footprint)
    back, found = rotor.magnet.thickness, []
    if rotor.back_iron > 0:
        found.append(SteelRing(inner, outer, back, back + rotor.back_iron))
    if rotor.stator_iron > 0:
        face = -(rotor.air_gap + design.stator_thickness + rotor.stator_iron_gap)
        found.append(SteelRing(inner, outer, face - rotor.stator_iron, face))
    return tuple(found)


def rotor_solids(design: SizedDesign) -> dict[str, Solid]:
    """What turns above the board, in words: rings that no screw may reach into."""
    rotor, ends = design.rotor, magnet_footprint(design).breakpoints
    top = rotor.air_gap + rotor.magnet.thickness
    solids = {"the magnets": (float(ends[0]), float(ends[-1]), rotor.air_gap, top)}
    if rotor.back_iron > 0:
        ends_of_steel = steel_ring(design, magnet_footprint(design))
        solids["the steel behind the magnets"] = (*ends_of_steel, top, top + rotor.back_iron)
    if rotor.plate is not None:
        plate = rotor.plate
        low = top + (0.0 if plate.material == "steel" else rotor.back_iron) - plate.pocket
        solids["the rotor plate"] = (plate.inner_diameter / 2, plate.outer_diameter / 2, low, low + plate.thickness)
    return solids


def field_of(design: SizedDesign) -> StrayField:
    """The rotor's stray field, z from the magnets' face; made once for designs of one rotor.

    Its steel has for each plate the one permeability with which it saturates. The recoil permeability takes off what it
    does from the fundamental over the middle of the magnets.
    """
    rotor = design.rotor
    mirror = -(rotor.air_gap + design.stator_thickness / 2) if rotor.arrangement == "double" else None
    values = (rotor.poles, rotor.magnet, rotor.air_gap, steel_rings(design), mirror)
    return _made(_Key(design, values))


class _Key:
    """A design that is the same where its rotor and what that faces are."""

    def __init__(self, design: SizedDesign, values: tuple[object, ...]) -> None:
        self.design, self.values = design, values

    def __hash__(self) -> int:
        return hash(self.values)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Key) and self.values == other.values


@lru_cache(maxsize=8)
def _made(key: _Key) -> StrayField:
    design = key.design
    rotor, magnet, footprint = design.rotor, design.rotor.magnet, magnet_footprint(design)
    layers = magnet_layers(design)
    plates = steel_rings(design)
    if plates:
        layers = rotor_iron(design).layers
        found = {False: layers.back_iron_permeability, True: layers.plate_permeability}  # whether before the magnets
        plates = tuple(replace(plate, permeability=found[plate.upper < 0]) for plate in plates)
    mirror = None if layers.mirror_distance is None else -layers.mirror_distance
    remanence = magnet.remanence * _recoil(layers, rotor.poles / 2 / float(footprint.breakpoints[[0, -1]].mean()))
    return stray_field(footprint, rotor.poles // 2, magnet.thickness, remanence, plates, mirror)


def _recoil(layers: MagnetLayers, k: float) -> float:
    """Part of the field of wave number k [1/m] that is left with the recoil permeability of the magnets."""
    wave, face = np.array([k]), np.zeros(1)
    real, ideal = (layer_response(wave, face, each) for each in (layers, replace(layers, recoil_permeability=1.0)))
    return float(real[0, 0] / ideal[0, 0])


def over_a_pole(design: SizedDesign, radius: float, heights: FloatArray) -> FloatArray:
    """Flux density (S, K, 3) [T] along the radius, the turn and the axis at a place of the board, at K heights [m],
    while the rotor turns by a pole pitch in S even steps; over the next pole pitch it is the opposite.

    Magnets are alike on both sides, so that the second half of the pole pitch is the first one mirrored.
    """
    field = field_of(design)
    turned = -2 * pi / design.rotor.poles * np.arange(STEPS // 2 + 1) / STEPS  # the place as the rotor sees it
    z = np.asarray(heights, float) - design.rotor.air_gap
    flip = np.ones(len(z))
    if field.mirror is not None:  # the other rotor's side
        flip = np.where(z < field.mirror, -1.0, 1.0)
        z = np.where(z < field.mirror, 2 * field.mirror - z, z)
    places = np.empty((len(turned), len(z), 3))
    places[..., 0], places[..., 1] = radius * np.cos(turned)[:, None], radius * np.sin(turned)[:, None]
    places[..., 2] = z
    B = field.at(places)
    flat = (B[..., 0] + 1j * B[..., 1]) * np.exp(-1j * turned)[:, None] * flip
    first = np.stack([flat.real, flat.imag, B[..., 2]], axis=-1)
    second = first[STEPS // 2 - 1 : 0 : -1] * (-1.0, 1.0, -1.0)  # as much before the next magnet, which is the opposite
    return np.concatenate([first, second])
