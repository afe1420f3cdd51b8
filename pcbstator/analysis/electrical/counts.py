"""What winding and copper are by themselves: counts, lengths, mass. Fields of the result records, cheap to find."""

from __future__ import annotations

from collections.abc import Mapping
from math import pi
from typing import TYPE_CHECKING, Any

from pcbstator.analysis.electrical.conductors import Conductors
from pcbstator.analysis.electrical.winding_geometry import span_of_coils, winding_fill_factor
from pcbstator.copper import Copper
from pcbstator.physics.conductors.resistance import copper_mass
from pcbstator.winding import Winding

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign


def turns_in_series(design: SizedDesign, winding: Winding, copper: Copper) -> int:
    """Turns in series in each path of a phase, all boards together."""
    boards = design.boards if design.boards_in_series else 1
    return boards * winding.coils_in_series * copper.coil.series_turns


def winding_figures(design: SizedDesign, winding: Winding, copper: Copper) -> dict[str, Any]:
    """The counts and angles of ``WindingResult``."""
    span = span_of_coils(design, copper)
    return {
        "phases": winding.phases,
        "coils": winding.coils,
        "poles": winding.poles,
        "factor": winding.factor,
        "pole_pitch": 2 * pi / winding.poles,
        "coil_span": span,
        "coil_span_electrical": span * winding.poles / 2,
        "turns_per_coil": copper.coil.turns,
        "series_turns": turns_in_series(design, winding, copper),
        "parallel_paths": len(copper.phases[0].paths),
    }


def copper_figures(
    design: SizedDesign, copper: Copper, conductors: Conductors, areas: Mapping[int, float]
) -> dict[str, Any]:
    """Length, mass, fill factor and counts of ``CopperResult``; areas: of every layer of one board [m2]."""
    laid = sum(areas[layer.number] * layer.thickness for layer in copper.board.layers)
    plating = design.board.via_plating
    walls = sum(count * pi * (drill - plating) * plating for drill, _, count in copper.board.hole_sizes)
    volume = design.boards * (laid + walls * design.board.thickness)
    return {
        "phase_length": float(conductors.path_lengths.mean()),
        "mass": float(copper_mass(volume)),
        "fill_factor": winding_fill_factor(design, copper, areas),
        "via_count": copper.via_count,
        "boards": design.boards if design.boards > 1 else None,
        "tiles": copper.tiles if copper.tiles > 1 else None,
        "tile_jumpers": len(copper.jumper_holes) // 2 or None,
    }


def resistance_figures(design: SizedDesign, conductors: Conductors) -> dict[str, Any]:
    """The resistances of ``ElectricalResult``; open phases have no terminals in common, only a star has a point N."""
    connection, count = design.winding.connection, len(conductors.copper.phases)
    between = conductors.line_resistances(connection)
    names = [phase.name for phase in conductors.copper.phases]
    neighbours = {"".join(sorted((names[k], names[(k + 1) % count]))) for k in range(count)}
    mean = sum(between[pair] for pair in neighbours) / len(neighbours) if connection != "open" else None
    return {
        "phase_resistance": conductors.phase_resistance,
        "phase_resistances": tuple(conductors.phase_resistances),
        "line_resistance": mean,
        "line_resistances": between,
        "star_resistances": conductors.star_resistances if connection == "star" else None,
        "zero_sequence_resistance": conductors.zero_sequence_resistance if connection == "delta" else None,
        "path_shares": conductors.path_shares if len(conductors.copper.current_paths.phase) > count else None,
    }
