"""Least widths, gaps, rings and distances of the copper as files draw it, against limits."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from pcbstator.findings import Finding
from pcbstator.verify.connected import ConnectedCopper, barrel, bored, connected_copper
from pcbstator.verify.pieces.necks import EXACT, SEGMENTS, NarrowPlace, narrow_places
from pcbstator.verify.pieces.rings import WHOLE, ring_parts
from pcbstator.verify.records import WrittenBoard, WrittenHole
from pcbstator.verify.wording import at_most_told, place, written

ROUNDING = 0.003  # mm: files round, and discs are cut into chords


@dataclass(frozen=True)
class SpacingRules:
    """Least numbers [mm], by the names of a rule set; None: not checked.

    drill_to_copper: from a hole's edge to copper that is not joined to it. hole_web: between the edges of two holes of
    which one is not plated or is a slot. edge: copper to the board's edge.
    """

    track_width: float | None = None
    track_gap: float | None = None
    annular_ring: float | None = None
    drill: float | None = None
    drill_to_copper: float | None = None
    hole_web: float | None = None
    edge: float | None = None


def rules_of_job(rules: Mapping[str, float]) -> SpacingRules:
    """The limits that a job file states.

    >>> rules_of_job({"MinLineWidth": 0.3, "TrackToTrack": 0.2, "PadToPad": 0.15}).track_gap
    0.15
    """
    gaps = [rules[key] for key in ("PadToPad", "PadToTrack", "TrackToTrack") if key in rules]
    return SpacingRules(track_width=rules.get("MinLineWidth"), track_gap=min(gaps, default=None))


def spacing_findings(
    board: WrittenBoard,
    rules: SpacingRules,
    copper: ConnectedCopper | None = None,
    necks: Sequence[NarrowPlace] | None = None,
) -> list[Finding]:
    """Where a board's copper and holes fall below ``rules``; with the codes of the same rules of a design."""
    if copper is None:
        copper = connected_copper(board)
    findings: list[Finding] = []
    if rules.track_width:
        findings += _widths(narrow_places(copper, rules.track_width) if necks is None else necks, rules.track_width)
    if rules.track_gap:
        findings += _gaps(copper, rules.track_gap) + _own_gaps(copper, rules.track_gap)
    findings += _rings(board, copper, rules)
    if rules.drill_to_copper:
        findings += _hole_distances(board, copper, rules.drill_to_copper)
    if rules.hole_web:
        findings += _webs(board, rules.hole_web)
    if rules.edge and board.edge is not None:
        findings += _edge(board, board.edge, copper, rules.edge)
    return at_most_told(sorted(findings, key=lambda finding: (finding.code, float(finding.value or 0.0))))


def below(code: str, value: float, limit: float, message: str, where: str) -> list[Finding]:
    """A finding if ``value`` is below ``limit`` by more than rounding."""
    if value >= limit - ROUNDING:
        return []
    return [written(code, message.format(value=f"{value:.3g}", limit=f"{limit:.4g}", where=where), where,
                    value=value, limit=limit)]  # fmt: skip


def _widths(necks: Sequence[NarrowPlace], limit: float) -> list[Finding]:
    findings = []
    for neck in necks:
        where = place(neck.x, neck.y, neck.layer)
        message = "copper is {value} mm wide at {where}, below {limit} mm"
        findings += below("board.track_width", neck.width, limit, message, where)
    return findings


def _gaps(copper: ConnectedCopper, limit: float) -> list[Finding]:
    """Pieces of a layer that are not one, too near to each other."""
    findings = []
    for layer in np.unique(copper.layers):
        members = np.flatnonzero(copper.layers == layer)
        shapes = copper.pieces[members]
        first, second = shapely.STRtree(shapes).query(shapes, predicate="dwithin", distance=limit - ROUNDING)
        for a, b in zip(first[first < second], second[first < second], strict=True):
            line = shapely.shortest_line(shapes[a], shapes[b])
            where = place(line.centroid.x, line.centroid.y, int(layer))
            same = copper.groups[members[a]] == copper.groups[members[b]]
            whose = "of one net" if same else "of different nets"
            message = f"copper {whose} is {{value}} mm apart at {{where}}, below {{limit}} mm"
            findings += below("board.track_gap", float(line.length), limit, message, where)
    return findings


def _own_gaps(copper: ConnectedCopper, limit: float) -> list[Finding]:
    """Gaps within a piece, between turns."""
    radius = EXACT * limit / 2
    grown = shapely.buffer(copper.pieces, radius, quad_segs=SEGMENTS)
    filled = shapely.get_num_interior_rings(grown) != shapely.get_num_interior_rings(copper.pieces)
    findings = []
    for piece in np.flatnonzero(filled):
        closed = grown[piece].buffer(-1.02 * radius, quad_segs=SEGMENTS).difference(copper.pieces[piece])
        for part in shapely.get_parts(closed):
            if part.area < 0.1 * limit**2:
                continue
            point = part.representative_point()
            where = place(point.x, point.y, int(copper.layers[piece]))
            message = "copper of one track is {value} mm apart at {where}, below {limit} mm"
            findings += below("board.track_gap", _slit_width(copper.pieces[piece], part, radius), limit, message, where)
    return findings


def _slit_width(piece: BaseGeometry, slit: BaseGeometry, radius: float) -> float:
    """The least width of a slit in a piece [mm]: twice the least growth that closes it somewhere."""
    local = piece.intersection(shapely.box(*slit.buffer(4 * radius).bounds))
    low, high = 0.0, radius
    start = _topology(local)
    for _ in range(10):
        middle = (low + high) / 2
        low, high = (middle, high) if _topology(local.buffer(middle, quad_segs=SEGMENTS)) == start else (low, middle)
    return 2 * high


def _topology(shape: BaseGeometry) -> tuple[int, int]:
    parts = shapely.get_parts(shape)
    return len(parts), int(shapely.get_num_interior_rings(parts).sum())


def _rings(board: WrittenBoard, copper: ConnectedCopper, rules: SpacingRules) -> list[Finding]:
    """Rings of plated holes, and diameters of all drills."""
    findings: list[Finding] = []
    for hole in board.holes if rules.drill else ():
        where = place(*_middle(hole))
        message = "the hole of {value} mm at {where} is below the {limit} mm of the smallest drill"
        findings += below("board.drill", hole.diameter, rules.drill or 0.0, message, where)
    if not rules.annular_ring:
        return findings
    rings = ring_parts(copper)
    for layer in board.layers:
        whole = rings.get(layer.number, np.zeros(len(copper.holes))) >= WHOLE
        for index, piece in copper.touches:
            if copper.layers[piece] != layer.number or not whole[index]:
                continue
            hole = copper.holes[index]
            ring = _ring(hole, copper.barrels[index], copper.pieces[piece])
            where = place(*_middle(hole), layer.number)
            message = (
                f"the ring around the hole of {hole.diameter:.3g} mm at {{where}} is {{value}} mm, below {{limit}} mm"
            )
            findings += below("board.annular_ring", ring, rules.annular_ring, message, where)
    return findings


def _ring(hole: WrittenHole, drilled: BaseGeometry, piece: BaseGeometry) -> float:
    """The least copper around a hole in a piece [mm]."""
    lines = [line for line in shapely.get_parts(piece.boundary) if not line.within(drilled)]
    path = shapely.Point(hole.path[0]) if len(hole.path) == 1 else shapely.LineString(hole.path)
    return float(min(shapely.distance(path, lines), default=0.0)) - hole.diameter / 2


def _middle(hole: WrittenHole) -> tuple[float, float]:
    middle = hole.path.mean(axis=0)
    return float(middle[0]), float(middle[1])


def _hole_distances(board: WrittenBoard, copper: ConnectedCopper, limit: float) -> list[Finding]:
    """Copper too near to a hole that it is not joined to."""
    findings: list[Finding] = []
    if not len(copper.pieces):
        return findings
    tree = shapely.STRtree(copper.pieces)
    reach = limit - ROUNDING
    if len(copper.barrels):
        for hole, piece in zip(*tree.query(copper.barrels, predicate="dwithin", distance=reach), strict=True):
            each = copper.holes[hole]
            apart = copper.groups[piece] != copper.hole_groups[hole]
            if apart and each.first <= copper.layers[piece] <= each.last:
                where = place(*_middle(each), int(copper.layers[piece]))
                message = "a plated hole comes within {value} mm of other copper at {where}, below {limit} mm"
                distance = float(shapely.distance(copper.barrels[hole], copper.pieces[piece]))
                findings += below("board.drill_to_copper", distance, limit, message, where)
    for bare in board.holes:
        if bare.plated is False:
            drilled = barrel(bare)
            for piece in tree.query(drilled, predicate="dwithin", distance=reach):
                where = place(*_middle(bare), int(copper.layers[piece]))
                message = "an unplated hole comes within {value} mm of copper at {where}, below {limit} mm"
                distance = float(shapely.distance(drilled, copper.pieces[piece]))
                findings += below("board.hole_to_copper", distance, limit, message, where)
    return findings


def _webs(board: WrittenBoard, limit: float) -> list[Finding]:
    """Laminate between two holes of which one is not plated or is a slot."""
    if not board.holes:
        return []
    drilled = bored(board.holes)
    odd = np.array([hole.plated is False or len(hole.path) > 1 for hole in board.holes])
    first, second = shapely.STRtree(drilled).query(drilled, predicate="dwithin", distance=limit - ROUNDING)
    findings = []
    for a, b in zip(first, second, strict=True):
        if a < b and (odd[a] or odd[b]):
            line = shapely.shortest_line(drilled[a], drilled[b])
            where = place(*_middle(board.holes[a]))
            message = "two holes leave {value} mm of laminate between them at {where}, below {limit} mm"
            findings += below("board.hole_web", float(line.length), limit, message, where)
    return findings


def _edge(board: WrittenBoard, edge: BaseGeometry, copper: ConnectedCopper, limit: float) -> list[Finding]:
    """Copper too near to the board's edge, or beyond it."""
    findings: list[Finding] = []
    shapely.prepare(edge)
    beyond = np.flatnonzero(~shapely.covers(edge, copper.pieces))
    for piece in beyond:
        point = copper.pieces[piece].difference(edge).representative_point()
        where = place(point.x, point.y, int(copper.layers[piece]))
        findings.append(written("board.edge", f"copper lies beyond the board's edge at {where}", where, value=0.0))
    line = edge.boundary
    near = shapely.STRtree(copper.pieces).query(line, predicate="dwithin", distance=limit - ROUNDING)
    for piece in np.setdiff1d(near, beyond):
        gap = shapely.shortest_line(copper.pieces[piece], line)
        x, y = (float(value) for value in shapely.get_coordinates(gap)[0])
        where = place(x, y, int(copper.layers[piece]))
        message = "copper comes within {value} mm of the board's edge at {where}, below {limit} mm"
        findings += below("board.edge", float(gap.length), limit, message, where)
    return findings
