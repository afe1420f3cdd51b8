"""The slip-ring board: vias and leads that its current needs, what it stands, and what the brushes see.

Currents follow IPC-2221 as for an isolated track; a via counts as a track inside the board with the section of its
barrel and an equal share of the current (common practice, no source). Where the shares of the real row of vias differ,
the largest is given beside it.
"""

from __future__ import annotations

from dataclasses import replace
from math import ceil, pi
from typing import TYPE_CHECKING

import numpy as np

from pcbstator.analysis.electrical.records import SlipRingResult
from pcbstator.copper.connections.slip_ring import (
    SlipRingGaps,
    SlipRingSizes,
    edge_distances,
    hole_distances,
    lay_slip_ring,
    lead_length,
    ring_radius,
    row_lengths,
    slip_ring_gaps,
)
from pcbstator.copper.plain_board import PlainBoard
from pcbstator.design.sections.slip_ring import MOST_VIAS, SlipRing
from pcbstator.errors import Complaint, DesignError, LawRangeError
from pcbstator.physics.conductors.resistance import track_resistance, via_resistance
from pcbstator.physics.conductors.trace_current import (
    IPC2221_CURRENT_LIMIT,
    ipc2221_current,
    ipc2221_spacing,
    ipc2221_width,
)
from pcbstator.physics.conductors.track_end import hole_end_squares
from pcbstator.physics.conductors.via_row import via_row

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign

WIDEST_LEAD = 10e-3  # m, where IPC-2221 ends
LEAST_VIAS = 2  # one may crack (common practice, no source)


def lay_slip_ring_board(design: SizedDesign) -> PlainBoard | None:
    """The slip-ring board with the vias and leads that its current needs, with balls the one that stands still; None
    for a design without one.

    Raises DesignError where it does not fit, with what would.
    """
    return next(iter(lay_slip_ring_boards(design).values()), None)


def lay_slip_ring_boards(design: SizedDesign) -> dict[str, PlainBoard]:
    """All slip-ring boards by name: one without a name for brushes, "still" and "turning" for balls, each seen from its
    rings; none for a design without slip rings.

    Raises DesignError where one does not fit, with what would.
    """
    boards = design.slip_ring.boards if design.slip_ring else {}
    return {name: lay_slip_ring(design, each, slip_ring_sizes(design, each)) for name, each in boards.items()}


def slip_ring_sizes(design: SizedDesign, section: SlipRing) -> SlipRingSizes:
    """Vias and lead width as stated, or enough for the current."""
    lead = section.stated_lead_width or max(_lead_width(design, section), design.rules.track_width, section.via_pad / 2)
    if section.stated_vias is not None:
        return SlipRingSizes(section.stated_vias, lead)
    stands = via_current(section)
    least = max(LEAST_VIAS, ceil(section.current / stands * (1 - 1e-9)))
    if least > MOST_VIAS:
        rule = f"must let {MOST_VIAS} vias or fewer carry slip_ring.current_rms_a = {section.current:g}"
        remedy = "use a larger drill and pad, or less current"
        drill = f"{1e3 * section.via_drill:g}, which needs {least} vias"
        raise DesignError(design.source, [Complaint("slip_ring.via_drill_mm", rule, drill, remedy)])
    for count in range(least, min(2 * least + 2, MOST_VIAS) + 1):
        sizes = SlipRingSizes(count, lead)
        if worst_share(section, sizes) * section.current <= stands:
            return sizes
    return SlipRingSizes(least, lead)


def _lead_width(design: SizedDesign, section: SlipRing) -> float:
    """Width at which a lead heats by the stated rise [m]."""
    try:
        return float(ipc2221_width(section.current, section.copper, section.temperature_rise))
    except LawRangeError:
        rule = (
            f"must let leads of {1e3 * WIDEST_LEAD:g} mm carry slip_ring.current_rms_a = {section.current:g} (IPC-2221)"
        )
        got = f"{1e6 * section.copper:g}"
        remedy = "use thicker copper, less current, or two rings in parallel"
        raise DesignError(design.source, [Complaint("slip_ring.copper_um", rule, got, remedy)]) from None


def via_current(section: SlipRing) -> float:
    """Current that heats one via by the stated rise [A]."""
    around = pi * (section.via_drill - section.via_plating)
    return _stands(around, section.via_plating, section.temperature_rise, False)


def _stands(width: float, thickness: float, rise: float, external: bool = True) -> float:
    """IPC-2221 [A], or its largest current where it would allow more; widths are at most 10 mm here."""
    try:
        return float(ipc2221_current(width, thickness, rise, external))
    except LawRangeError:
        return IPC2221_CURRENT_LIMIT[external]


def _row(section: SlipRing, sizes: SlipRingSizes, index: int) -> tuple[float, float]:
    """Resistance of a ring's row of vias [ohm] and the largest share of the current in one of them."""
    upper, lower = (float(track_resistance(1.0, width, section.copper)) for width in (section.width, sizes.lead_width))
    barrel = float(via_resistance(section.via_drill, section.via_plating, section.thickness))
    resistance, shares = via_row(row_lengths(section, sizes, index), upper, lower, barrel)
    return resistance, float(np.max(shares))


def worst_share(section: SlipRing, sizes: SlipRingSizes) -> float:
    """Largest part of a ring's current in one via, the brush opposite."""
    return _row(section, sizes, section.rings - 1)[1]


def half_ring_resistance(section: SlipRing, sizes: SlipRingSizes, index: int) -> float:
    """Resistance of a ring from a brush opposite its vias to both ends of their row, both halves of the ring in
    parallel [ohm].
    """
    row = row_lengths(section, sizes, index)
    half = pi * ring_radius(section, index) - float(row[-1] - row[0]) / 2
    return float(track_resistance(half, section.width, section.copper)) / 2


def slip_ring_results(design: SizedDesign) -> SlipRingResult | None:
    """What the slip-ring board stands and loses, with balls the one that stands still; None without a slip ring."""
    if design.slip_ring is None:
        return None
    laid, sections = lay_slip_ring_boards(design), design.slip_ring.boards
    found = {name: _board_results(design, sections[name], board) for name, board in laid.items()}
    still = next(iter(found.values()))
    return replace(still, turning=found.get("turning"))


def _board_results(design: SizedDesign, section: SlipRing, board: PlainBoard) -> SlipRingResult:
    """What one board stands and loses."""
    sizes = slip_ring_sizes(design, section)
    rings = [half_ring_resistance(section, sizes, index) for index in range(section.rings)]
    leads = [lead_resistance(section, sizes, index) for index in range(section.rings)]
    paths = tuple(ring + lead for ring, lead in zip(rings, leads, strict=True))
    ring, lead = (
        _stands(width, section.copper, section.temperature_rise) for width in (section.width, sizes.lead_width)
    )
    vias = sizes.vias * via_current(section)
    result = SlipRingResult(
        rings=section.rings,
        board_inner_diameter=2 * board.board_inner_radius,
        board_outer_diameter=2 * board.board_outer_radius,
        vias_per_ring=sizes.vias,
        lead_width=sizes.lead_width,
        ring_resistance=max(rings),
        lead_resistance=max(leads),
        path_resistance=max(paths),
        path_resistances=paths,
        loss=section.current**2 * sum(paths),
        ring_allowed_current=ring,
        lead_allowed_current=lead,
        vias_allowed_current=vias,
        allowed_current=min(ring, lead, vias),
        via_allowed_current=via_current(section),
        via_worst_current=section.current * worst_share(section, sizes),
        hole_free_width=section.width - (section.via_pad + section.via_drill) / 2,
        edges=edge_distances(board),
        holes=hole_distances(board),
    )
    return _with_spacings(result, section.voltage, slip_ring_gaps(board))


def lead_resistance(section: SlipRing, sizes: SlipRingSizes, index: int) -> float:
    """Row of vias and lead of one ring, from wall to wall of their holes [ohm]."""
    width = sizes.lead_width
    squares = lead_length(section, sizes, index) / width
    squares += float(hole_end_squares(width, section.terminal_pad, section.terminal_drill))
    if sizes.vias > 1:  # a single via at the ring's edge crowds the current there, which costs as much
        squares += min(float(hole_end_squares(width, section.via_pad, section.via_drill)), 0.0)
    return _row(section, sizes, index)[0] + float(track_resistance(squares, 1.0, section.copper))


def _with_spacings(result: SlipRingResult, voltage: float, gaps: SlipRingGaps) -> SlipRingResult:
    """The result with what IPC-2221 Table 6-1 wants and what is drawn.

    Bare rings are B2, leads under the mask B4; a terminal is a bare pad with a soldered wire, B2 and A6.
    """
    bare, masked = ipc2221_spacing(voltage, "B2"), ipc2221_spacing(voltage, "B4")
    return replace(
        result,
        creepage_needed=bare,
        terminal_spacing_needed=max(bare, ipc2221_spacing(voltage, "A6")),
        lead_spacing_needed=masked,
        ring_gap=gaps.rings.distance if gaps.rings else None,
        terminal_gap=gaps.terminals.distance if gaps.terminals else None,
        lead_gap=gaps.leads.distance if gaps.leads else None,
        gaps=gaps,
    )
