"""What the board manufacturer can make: the copper that is drawn against the rule set."""

from __future__ import annotations

from math import pi, sin
from typing import TYPE_CHECKING

import numpy as np
import shapely

from pcbstator.check.limits import at_least, at_most, found
from pcbstator.copper import Copper, Terminal, Via
from pcbstator.copper.clearance import Gap, layer_gaps
from pcbstator.findings import Finding

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign

SAME = 1e-9  # m
BOW = 0.0075  # bow and twist over the diagonal, the usual limit for boards with surface parts (IPC-6012; from memory)


def fabrication_findings(design: SizedDesign, copper: Copper, closest: Gap | None) -> list[Finding]:
    """Tracks, gaps, rings and holes against the rule set; values in mm."""
    rules, board = design.rules, design.board
    narrowest = min(copper.shapes, key=lambda track: track.narrowest)
    said = f" of the rule set {rules.name}"
    findings = at_least(
        "board.track_width",
        1e3 * narrowest.narrowest,
        1e3 * rules.track_width,
        "tracks of {value} mm are narrower than the {limit} mm" + said,
        where=f"layer {narrowest.layer}",
    )
    gap = min(board.track_gap, closest.distance) if closest else board.track_gap
    place = f"layer {closest.layer}, x {1e3 * closest.x:.3f} mm, y {1e3 * closest.y:.3f} mm" if closest else None
    findings += at_least(
        "board.track_gap",
        1e3 * gap,
        1e3 * rules.track_gap,
        "the gap of {value} mm is below the {limit} mm" + said,
        where=place,
    )
    # The geometry must keep what it was asked for; this is the check on the geometry itself.
    findings += at_least(
        "copper.gap",
        1e3 * gap,
        1e3 * board.track_gap,
        "copper is {value} mm apart where {limit} mm were asked for",
        where=place,
    )
    drilled: list[tuple[str, float, float, tuple[Via, ...] | tuple[Terminal, ...]]] = [
        ("via", board.via_drill, board.via_pad, copper.vias),
        ("terminal", board.terminal_drill, board.terminal_pad, copper.terminals),
    ]
    if copper.jumper_holes:
        drilled.append(("tile jumper", board.jumper_drill, board.jumper_pad, copper.jumper_holes))
    for name, drill, pad, holes in drilled:
        findings += at_least(
            "board.annular_ring",
            1e3 * (pad - drill) / 2,
            1e3 * rules.annular_ring,
            f"the ring of {{value}} mm around a {name}'s hole is below the {{limit}} mm" + said,
            where=name,
        )
        findings += at_least(
            "board.drill",
            1e3 * drill,
            1e3 * rules.drill,
            f"the {name}'s drill of {{value}} mm is below the {{limit}} mm" + said,
            where=name,
        )
        findings += at_most(
            "board.aspect_ratio",
            board.thickness / drill,
            rules.aspect_ratio,
            f"the board is {{value}} times as thick as the {name}'s drill, above the {{limit}}" + said,
            where=name,
        )
        if (pad - drill) / 2 + gap < rules.drill_to_copper:
            findings += _drill_to_copper(design, copper, name, holes)
    return findings + _bow(design, copper)


def _drill_to_copper(
    design: SizedDesign, copper: Copper, name: str, holes: tuple[Via, ...] | tuple[Terminal, ...]
) -> list[Finding]:
    """The plated hole of the winding that is nearest to copper not joined to it: its pad's gap and its ring."""
    limit, ring = design.rules.drill_to_copper, (holes[0].pad - holes[0].drill) / 2
    middles = shapely.points([(hole.x, hole.y) for hole in holes])
    tree = shapely.STRtree(middles)
    halves = np.array([track.width / 2 for track in copper.shapes] + [hole.pad / 2 for hole in copper.holes])
    nearest: tuple[Gap, int] | None = None
    for layer in copper.layers:
        gaps = layer_gaps(copper, layer.number, limit - ring)
        if not gaps:
            continue
        places = shapely.points([(gap.x, gap.y) for gap in gaps])
        for index, hole in zip(*tree.query_nearest(places, all_matches=False), strict=True):
            # The place is half way between the middles of both pieces; if one is this pad, the other has a known half.
            other = 2 * shapely.distance(places[index], middles[hole]) - holes[hole].pad / 2 - gaps[index].distance
            if np.abs(halves - other).min() < SAME and (nearest is None or gaps[index].distance < nearest[0].distance):
                nearest = gaps[index], int(hole)
    if nearest is None:
        return []
    gap, number = nearest
    hole_place = f"x {1e3 * holes[number].x:.3f} mm, y {1e3 * holes[number].y:.3f} mm"
    return at_least(
        "board.drill_to_copper",
        1e3 * (ring + gap.distance),
        1e3 * limit,
        f"a {name}'s hole comes within {{value}} mm of other copper, below the {{limit}} mm of the rule set "
        f"{design.rules.name}: a larger pad or gap",
        where=f"{name} at {hole_place}, layer {gap.layer}, nets {gap.nets[0]} and {gap.nets[1]}",
    )


def _bow(design: SizedDesign, copper: Copper) -> list[Finding]:
    """A bowed board eats the air gap."""
    # A tile bows over its longest diagonal, from tip to tip.
    size = 2 * copper.shape.reach * (sin(pi / copper.tiles) if copper.tiles > 1 else 1.0)
    bow = BOW * size
    if bow < 0.5 * design.rotor.air_gap:
        return []
    message = (
        "a board of this size may bow by {value} mm (0.75 % of its length) and the air gap is {limit} mm: "
        "screw it down flat or widen the gap"
    )
    severe = "warning" if bow >= design.rotor.air_gap else "note"
    return [found("board.bow", severe, message, 1e3 * bow, 1e3 * design.rotor.air_gap, digits=2)]  # type: ignore[arg-type]
