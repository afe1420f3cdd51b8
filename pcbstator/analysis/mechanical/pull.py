"""Axial magnetic force of this rotor, at its gap and at others."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from pcbstator.analysis.magnetic.rotor_field import rotor_iron, rotor_source, steel_ring
from pcbstator.materials import mild_steel
from pcbstator.physics.magnetics.magnet_pattern import Footprint
from pcbstator.physics.magnetics.steel import SaturatedIron, saturated_iron
from pcbstator.physics.mechanics.gap import PullCurve
from pcbstator.physics.mechanics.magnet_force import axial_force

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign

GAP_STEP = 0.01  # of the distance to what faces the magnets, for the change of the axial force with it
CURVE = (0.0, 0.25, 0.5, 1.0, 2.0, 4.0)  # gaps of the curve, in parts of the drawn one


def pull(design: SizedDesign, footprint: Footprint, iron: SaturatedIron, wider: float = 0.0) -> float:
    """Axial magnetic force [N], each rotor's gap wider by so much [m].

    At another gap the steel is solved again: how far it saturates depends on the gap.
    """
    layers, pole_pairs = iron.layers, design.rotor.poles // 2
    if wider:
        mirror, plate = (None if d is None else d + wider for d in (layers.mirror_distance, layers.plate_distance))
        layers = replace(layers, mirror_distance=mirror, plate_distance=plate)
        ends = steel_ring(design, footprint)
        iron = saturated_iron(footprint, pole_pairs, layers, mild_steel(), iron.source, ends)
    return axial_force(footprint, pole_pairs, iron.layers, source=iron.source)


def pull_and_stiffness(
    design: SizedDesign, footprint: Footprint, iron: SaturatedIron
) -> tuple[float | None, float | None]:
    """Axial magnetic force [N] and its stiffness [N/m], from wider gaps; None where nothing faces the magnets."""
    distance = iron.layers.facing_distance
    if distance == float("inf"):
        return None, None
    step = GAP_STEP * distance
    forces = [pull(design, footprint, iron, steps * step) for steps in range(3)]
    slope = (4 * forces[1] - 3 * forces[0] - forces[2]) / (2 * step)
    # Between two rotors each face moves by half of a change of their gap; a plate stands still.
    return forces[0], -slope / (2 if design.rotor.arrangement == "double" else 1)


def pull_curve(design: SizedDesign, footprint: Footprint, iron: SaturatedIron) -> PullCurve:
    """Axial magnetic force over the air gap, which changes on both sides of a board between two rotors."""
    drawn = design.rotor.air_gap
    gaps = tuple(part * drawn for part in CURVE)
    # The source of the drawn gap need not serve a narrower one.
    iron = rotor_iron(design, rotor_source(design, nearest=iron.layers.facing_distance - drawn))
    return PullCurve(gaps, tuple(pull(design, footprint, iron, gap - drawn) for gap in gaps))
