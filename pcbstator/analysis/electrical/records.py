"""Results about winding, copper, terminals and slip rings."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import pi
from typing import Any

from pcbstator.analysis.fields import inside, result
from pcbstator.copper.clearance import Gap
from pcbstator.copper.connections.slip_ring import SlipRingGaps

DEGREE = 180 / pi


@dataclass(frozen=True, kw_only=True)
class WindingCounts:
    """What is wound, in counts and angles."""

    phases: int = result("phases", "number of phases")
    coils: int = result("coils", "number of coils; of a wave winding, of its laps around the machine")
    poles: int = result("poles", "number of magnet poles of a rotor")
    factor: float = result("factor", "winding factor of ideal coils, fundamental")
    pole_pitch: float = result("pole_pitch_deg", "mechanical angle from pole to pole", DEGREE)
    coil_span: float = result(
        "coil_span_deg", "mechanical angle between the two sides of a coil at the mean copper radius", DEGREE
    )
    coil_span_electrical: float = result(
        "coil_span_electrical_deg", "electrical angle between the two sides of a coil at the mean copper radius", DEGREE
    )
    turns_per_coil: int = result("turns_per_coil_and_layer", "turns per coil and layer")
    series_turns: int = result("series_turns_per_phase", "turns in series in each path of a phase")
    parallel_paths: int = result("parallel_paths", "parallel paths of a phase")


@dataclass(frozen=True, kw_only=True)
class WindingResult(WindingCounts):
    """The winding with the place of every coil."""

    layout: tuple[str, ...] = result("layout", "phase and sense of every coil")


@dataclass(frozen=True, kw_only=True)
class CopperCounts:
    """What metal there is, cheap to find."""

    phase_length: float = result("phase_length_m", "conductor length of one path from terminal to star point or end")
    mass: float = result("mass_g", "mass of all copper of the winding", 1e3)
    fill_factor: float = result(
        "fill_factor", "copper area of a layer over the area of the copper's annulus, mean of the layers with coils"
    )
    via_count: int = result("via_count", "number of vias in the winding")
    boards: int | None = result("boards", "number of equal boards in the stack")
    tiles: int | None = result("tiles", "number of equal tiles into which the stator is cut")
    tile_jumpers: int | None = result("tile_jumpers", "number of tile jumpers, wires to solder across the cuts")


@dataclass(frozen=True, kw_only=True)
class CopperResult(CopperCounts):
    """What metal there is, as it is drawn."""

    end_winding_length: float = result(
        "end_winding_length_m",
        "length of the end windings of one path: what runs more along the circle than along the radius, "
        "inter-coil connections included",
    )
    min_track_gap: float | None = result(
        "min_track_gap_mm", "least distance between copper of conductors that do not meet there", 1e3
    )
    by_layer: tuple[dict[str, float], ...] = result(
        "copper_by_layer", "area of copper on every layer, and that area over the board's", default=()
    )
    board_turns: tuple[float, ...] | None = result(
        "board_turns_deg", "angle by which each board of the stack is turned"
    )
    tile_kinds: tuple[dict[str, Any], ...] | None = result(
        "tile_kinds", "tiles that are made alike, with the number to order of each"
    )
    closest: Gap | None = inside()


@dataclass(frozen=True, kw_only=True)
class Resistances:
    """Resistance of the winding as one network."""

    phase_resistance: float = result(
        "phase_resistance_ohm", "resistance with which a phase heats under balanced sine currents, at 20 C"
    )
    line_resistance: float | None = result(
        "line_resistance_ohm", "resistance between neighbouring terminals at 20 C, mean"
    )
    phase_resistances: tuple[float, ...] = result(
        "phase_resistances_ohm", "resistance with which every phase heats under balanced sine currents, at 20 C"
    )
    line_resistances: Mapping[str, float] | None = result(
        "line_resistances_ohm", "resistance between each pair of terminals at 20 C, as a meter reads it"
    )
    star_resistances: Mapping[str, float] | None = result(
        "star_resistances_ohm", "resistance from each terminal to terminal N at 20 C, as a meter reads it"
    )
    zero_sequence_resistance: float | None = result(
        "zero_sequence_resistance_ohm", "resistance of a phase to the current around the delta at 20 C"
    )
    path_shares: tuple[tuple[float, ...], ...] | None = result(
        "path_shares", "part of the phase current in every parallel path of each phase, at standstill"
    )


@dataclass(frozen=True, kw_only=True)
class Inductances:
    """Self and mutual inductance of the phases."""

    phase_inductance: float = result("phase_inductance_h", "self inductance of a phase, mean of the phases")
    mutual_inductance: float = result("mutual_inductance_h", "mutual inductance of two phases, mean of all pairs")
    synchronous_inductance: float = result("synchronous_inductance_h", "inductance of a phase in balanced operation")
    inductance_matrix: tuple[tuple[float, ...], ...] = result(
        "inductance_matrix_h", "self and mutual inductances of all phases"
    )


@dataclass(frozen=True, kw_only=True)
class ElectricalResult(Inductances, Resistances):
    """What the terminals see."""


@dataclass(frozen=True, kw_only=True)
class SlipRingResult:
    """What the slip-ring board stands and loses; brushes, their contact and their wear are not in it."""

    rings: int = result("rings", "number of slip rings")
    board_inner_diameter: float = result("board_inner_diameter_mm", "bore of the slip-ring board", 1e3)
    board_outer_diameter: float = result("board_outer_diameter_mm", "outline of the slip-ring board", 1e3)
    vias_per_ring: int = result("vias_per_ring", "number of vias of each slip ring")
    lead_width: float = result("lead_width_mm", "width of the leads between slip rings and terminals", 1e3)
    ring_resistance: float = result(
        "ring_resistance_ohm", "resistance of the largest slip ring at 20 C, with the brush opposite its vias"
    )
    lead_resistance: float = result(
        "lead_resistance_ohm", "resistance of vias and lead at 20 C, the largest of all slip rings"
    )
    path_resistance: float = result(
        "path_resistance_ohm", "resistance from brush to terminal at 20 C, the largest of all slip rings"
    )
    path_resistances: tuple[float, ...] = result(
        "path_resistances_ohm", "resistance from brush to terminal at 20 C of every slip ring"
    )
    loss: float = result(
        "loss_w", "loss in the copper of all slip rings at slip_ring.current_rms_a, brushes at the worst place"
    )
    ring_allowed_current: float = result("ring_allowed_current_rms_a", "allowed rms current of a slip ring by IPC-2221")
    lead_allowed_current: float = result("lead_allowed_current_rms_a", "allowed rms current of a lead by IPC-2221")
    vias_allowed_current: float = result(
        "vias_allowed_current_rms_a", "allowed rms current of a slip ring's vias in equal shares by IPC-2221"
    )
    allowed_current: float = result(
        "allowed_current_rms_a", "allowed rms current of slip ring, lead and vias together: the least of the three"
    )
    via_allowed_current: float = result(
        "via_allowed_current_rms_a", "allowed rms current of one via by IPC-2221, on the section of its barrel"
    )
    via_worst_current: float = result(
        "via_worst_current_rms_a", "rms current of the most loaded via, with the brush opposite"
    )
    hole_free_width: float = result(
        "hole_free_width_mm", "width of a slip ring beside its vias, where a brush meets no hole", 1e3
    )
    creepage_needed: float | None = result(
        "creepage_needed_mm", "spacing needed between bare slip rings, IPC-2221 Table 6-1, B2", 1e3
    )
    ring_gap: float | None = result("ring_gap_mm", "gap between slip rings, as drawn", 1e3)
    terminal_spacing_needed: float | None = result(
        "terminal_spacing_needed_mm", "spacing needed from a terminal to other nets, the larger of B2 and A6", 1e3
    )
    terminal_gap: float | None = result("terminal_gap_mm", "gap from a terminal to other nets, as drawn", 1e3)
    lead_spacing_needed: float | None = result(
        "lead_spacing_needed_mm", "spacing needed between leads under the solder mask, B4", 1e3
    )
    lead_gap: float | None = result("lead_gap_mm", "gap between leads, as drawn", 1e3)
    gaps: SlipRingGaps | None = inside()
    edges: tuple[float, float] = inside()  # copper to bore and to outline [m]
    holes: dict[str, tuple[float, float]] = inside()  # by table: from holes to copper, and to edges or each other [m]
    turning: SlipRingResult | None = inside()  # with balls: the same of the board that turns
