"""The slip-ring board: bare rings on layer 1, vias at one edge of each, leads on layer 2 out to the terminals.

Every ring is a regular polygon about its circle, with the same corners' angles as all others: their sides are parallel,
so the gap between two rings is exactly what was asked for. The vias of a ring stand in a row at the edge of the ring
where its lead leaves, so that a brush or balls may run beside them; the row is joined below by an arc. Balls roll in a
groove: the mask covers vias and edges of the ring and leaves a raceway bare.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable
from dataclasses import dataclass
from math import asin, ceil, cos, floor, hypot, pi, sin
from typing import TYPE_CHECKING

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from pcbstator.copper.clearance import Gap
from pcbstator.copper.geometry.board_shape import BoardShape, Hole, around
from pcbstator.copper.geometry.contour import circle
from pcbstator.copper.geometry.tracks import FloatArray, Layer, Role, Terminal, Track, Via, arc_pieces
from pcbstator.copper.non_winding import MASK_EXPANSION
from pcbstator.copper.plain_board import PlainBoard
from pcbstator.design.quantities import LARGEST
from pcbstator.design.records import LEAST_BORE, LEAST_EDGE
from pcbstator.design.sections.slip_ring import SlipRing
from pcbstator.errors import Complaint, DesignError

if TYPE_CHECKING:
    from pcbstator.design import Design

RING_SIDE, LEAD_SIDE = 1, 2
OUTLINE_STEP = 0.05e-3  # m, of the radii of bore and outline
MASK_SHIFT = 0.1e-3  # m by which the mask may be off, kept on both sides of a raceway (common practice, no source)


@dataclass(frozen=True)
class SlipRingSizes:
    """What follows from the current: vias of each ring, width of the leads [m]."""

    vias: int
    lead_width: float


@dataclass(frozen=True)
class SlipRingGaps:
    """Least distances between different nets: two rings; a terminal's bare pad and anything; copper under the mask."""

    rings: Gap | None
    terminals: Gap | None
    leads: Gap | None


@dataclass(frozen=True)
class _Plan:
    """The section with the radii [m] that follow from it."""

    section: SlipRing
    sizes: SlipRingSizes
    sides: int

    @property
    def outwards(self) -> bool:
        return self.section.lead_edge == "outer"

    @property
    def corner(self) -> float:
        """Radius of a corner over that of its side."""
        return 1 / cos(pi / self.sides)

    def ring(self, index: int) -> float:
        """Radius of a ring's middle."""
        return ring_radius(self.section, index)

    def row(self, index: int) -> float:
        """Radius of the row of a ring's vias, their pads flush with the ring's edge."""
        half, pad = self.section.width / 2, self.section.via_pad / 2
        if self.outwards:
            return self.ring(index) + half - pad
        return (self.ring(index) - half + pad) * self.corner

    def row_offsets(self, index: int) -> FloatArray:
        """Angles of a ring's vias about the middle of their row; neighbouring pads touch."""
        count, reach = self.sizes.vias, min(1.0, self.section.via_pad / 2 / self.row(index))
        return 2 * asin(reach) * (np.arange(count, dtype=np.float64) - (count - 1) / 2)

    @property
    def terminals(self) -> float:
        """Radius of the terminals' circle."""
        away = self.section.spacing + self.section.terminal_pad / 2
        half = self.section.width / 2
        if self.outwards:
            return self.ring(self.section.rings - 1) * self.corner + half + away
        return self.ring(0) - half - away


def ring_radius(section: SlipRing, index: int) -> float:
    """Radius of the middle of ring ``index`` [m], from 0 for the innermost."""
    return section.inner_diameter / 2 + section.width / 2 + index * (section.width + section.spacing)


def raceway(section: SlipRing) -> tuple[float, float]:
    """Where balls roll: the middle of the groove from that of the ring, outwards [m], and the groove's width [m], which
    both boards leave free of vias; 0 or less where nothing is left.
    """
    hole = (section.via_pad + section.via_drill) / 2
    inside = section.boards["turning"].lead_edge == "inner", section.lead_edge == "inner"
    low = -section.width / 2 + (hole if any(inside) else 0.0)
    high = section.width / 2 - (0.0 if all(inside) else hole)
    return (low + high) / 2, high - low - 2 * MASK_SHIFT


def row_lengths(section: SlipRing, sizes: SlipRingSizes, index: int) -> FloatArray:
    """Places of a ring's vias along their row [m], 0 where the lead leaves."""
    plan = _plan(section, sizes)
    return plan.row(index) * plan.row_offsets(index)


def lead_length(section: SlipRing, sizes: SlipRingSizes, index: int) -> float:
    """Length of a ring's lead from the row of vias to its terminal [m]."""
    plan = _plan(section, sizes)
    return abs(plan.terminals - plan.row(index))


def _plan(section: SlipRing, sizes: SlipRingSizes) -> _Plan:
    outermost = ring_radius(section, section.rings - 1) + section.width / 2
    return _Plan(section, sizes, max(72, arc_pieces(outermost, 2 * pi)))


def lay_slip_ring(design: Design, section: SlipRing, sizes: SlipRingSizes) -> PlainBoard:
    """A slip-ring board of a design.

    Raises DesignError where it does not fit, with what would.
    """
    plan = _plan(section, sizes)
    edge = max(LEAST_EDGE, design.rules.edge)
    complaints = _misfits(plan, edge)
    if not complaints:
        board = _laid(plan, edge)
        complaints = _collisions(section, slip_ring_gaps(board))
    if complaints:
        raise DesignError(design.source, complaints)
    return board


def _reach(plan: _Plan) -> tuple[float, float]:
    """Least and largest radius of the copper [m]."""
    section, lead = plan.section, plan.sizes.lead_width / 2
    pad = max(section.terminal_pad / 2, lead)
    last = section.rings - 1
    inner = min(plan.ring(0) - section.width / 2, plan.row(0) - lead)
    outer = max(plan.ring(last) * plan.corner + section.width / 2, plan.row(last) + lead)
    return (inner, plan.terminals + pad) if plan.outwards else (plan.terminals - pad, outer)


def _outline(plan: _Plan, edge: float) -> tuple[float, float]:
    """Radii of bore and outline [m]; the bore may come out too small, then it does not fit."""
    inner, outer = _reach(plan)
    bore, outline = plan.section.stated_bore, plan.section.stated_outer
    # In steps of 0.1 mm, away from the copper; the small part keeps a whole number of steps as it is.
    least = floor((inner - edge) / OUTLINE_STEP + 1e-6) * OUTLINE_STEP if bore is None else bore / 2
    return least, ceil((outer + edge) / OUTLINE_STEP - 1e-6) * OUTLINE_STEP if outline is None else outline / 2


def _misfits(plan: _Plan, edge: float) -> list[Complaint]:
    """What does not fit between bore and outline, and rows of vias that go round the whole ring."""
    section = plan.section
    inner, outer = _reach(plan)
    bore, outline = _outline(plan, edge)
    found = []
    if inner <= bore or bore < LEAST_BORE / 2:
        opening = LEAST_BORE if section.stated_bore is None else section.stated_bore
        room = 2 * max(edge if section.stated_bore is None else 0.0, 0.0) + opening
        wanted = 1e3 * (section.inner_diameter + room - 2 * inner)
        rule = f"must leave room for a bore of {1e3 * opening:g} mm"
        if not plan.outwards:
            rule += " and for the terminals inside the rings"
        remedy = f"use {ceil(10 * wanted + 0.5) / 10:g} or more" + ("" if plan.outwards else ', or lead_edge = "outer"')
        found.append(Complaint("slip_ring.inner_diameter_mm", rule, f"{1e3 * section.inner_diameter:g}", remedy))
    if section.stated_outer is not None and outer >= outline:
        rule = f"must be larger than {2e3 * outer:.4g}, which {section.rings} rings with their terminals need"
        remedy = "make it larger, or use fewer or narrower rings"
        found.append(Complaint("slip_ring.outer_diameter_mm", rule, f"{2e3 * outline:g}", remedy))
    elif 2e3 * outline > LARGEST:
        rule = f"the rings with their terminals must fit on a board of {LARGEST:g} mm"
        got = f"{section.rings} rings that need {2e3 * outline:.0f} mm"
        found.append(Complaint("slip_ring.rings", rule, got, "use fewer or narrower rings, closer together"))
    if not found and section.contact == "balls" and raceway(section)[1] <= 2 * MASK_EXPANSION:
        taken = section.width - raceway(section)[1] + 2 * MASK_EXPANSION
        rule = f"must leave a groove for balls beside vias and mask: more than {1e3 * taken:.4g}"
        remedy = "use wider rings or smaller vias, or the terminals of both boards at the same edge"
        found.append(Complaint("slip_ring.width_mm", rule, f"{1e3 * section.width:g}", remedy))
    if not found and len(steps := plan.row_offsets(0)) > 1 and len(steps) * (steps[1] - steps[0]) > pi:
        rule = f"the row of {plan.sizes.vias} vias must be shorter than half of the innermost ring"
        remedy = "use fewer vias with a larger drill, a larger inner_diameter_mm or less current"
        found.append(Complaint("slip_ring.vias", rule, str(plan.sizes.vias), remedy))
    return found


def _laid(plan: _Plan, edge: float) -> PlainBoard:
    section = plan.section
    rings, leads, vias, terminals = [], [], [], []
    grooves: list[Track] = []
    for index in range(section.rings):
        name, angle = f"R{index + 1}", 2 * pi * index / section.rings
        corners = 2 * pi * (np.arange(plan.sides + 1) % plan.sides + 0.5) / plan.sides
        rings.append(
            _track(RING_SIDE, _polar(plan.ring(index) * plan.corner, corners), section.width, name, "interconnect")
        )
        if section.contact == "balls":
            aside, groove = raceway(section)
            line = _polar((plan.ring(index) + aside) * plan.corner, corners)
            grooves.append(_track(RING_SIDE, line, groove - 2 * MASK_EXPANSION, name, "interconnect"))
        row, offsets = plan.row(index), plan.row_offsets(index)
        places = _polar(row, angle + offsets)
        vias += [Via(float(x), float(y), section.via_drill, section.via_pad, name, 1, 2) for x, y in places]
        if len(offsets) > 1:
            arc = np.linspace(offsets[0], offsets[-1], arc_pieces(row, offsets[-1] - offsets[0]) + 1)
            arc = np.unique(np.concatenate([arc, offsets, [0.0]]).round(9))
            leads.append(_track(LEAD_SIDE, _polar(row, angle + arc), plan.sizes.lead_width, name, "interconnect"))
        lead = np.concatenate([_polar(plan.terminals, np.array([angle])), _polar(row, np.array([angle]))])
        leads.append(_track(LEAD_SIDE, lead, plan.sizes.lead_width, name, "lead"))
        x, y = (float(value) for value in lead[0])
        terminals.append(Terminal(name, x, y, section.terminal_drill, section.terminal_pad, LEAD_SIDE, name))
    bore, outline = _outline(plan, edge)
    layers = Layer(RING_SIDE, 0.0, section.copper), Layer(LEAD_SIDE, -section.thickness, section.copper)
    return PlainBoard(
        layers, bore, outline, (*rings, *leads), tuple(vias), tuple(terminals), tuple(grooves or rings),
        stated_shape=BoardShape(circle(outline), circle(bore), (), _holes(section)),
    )  # fmt: skip


def _holes(section: SlipRing) -> tuple[Hole, ...]:
    """The fixing holes, unplated."""
    places = [
        (spec, f"slip_ring.holes[{number}]", angle)
        for number, spec in enumerate(section.holes, start=1)
        for angle in around(spec.first_angle, spec.count)
    ]
    found = []
    for number, (spec, origin, angle) in enumerate(places, start=1):
        x, y = (spec.circle_diameter / 2 * part for part in (cos(angle), sin(angle)))
        name = f"H{number}"
        found.append(Hole(name, x, y, spec.diameter, origin=origin, part=name))
    return tuple(found)


def _polar(radius: float, angles: FloatArray) -> FloatArray:
    return radius * np.stack([np.cos(angles), np.sin(angles)], axis=1)


def _track(layer: int, points: FloatArray, width: float, net: str, role: Role) -> Track:
    return Track(layer, points, width, net, "", role)


@dataclass(frozen=True, eq=False)
class _Item:
    """Copper of one net: the line or points it lies about, half its width [m], whether it is a terminal."""

    shape: BaseGeometry
    half: float
    net: str
    layer: int
    terminal: bool


def slip_ring_gaps(board: PlainBoard) -> SlipRingGaps:
    """The least distances on the copper that is drawn; None where there is only one net.

    The pads of vias lie within their rings, so on the ring side rings and terminals are all there is.
    """
    pads = [
        _Item(shapely.Point(t.x, t.y), t.pad / 2, t.net, layer, True)
        for t in board.terminals
        for layer in (RING_SIDE, LEAD_SIDE)
    ]
    rings = [
        _Item(shapely.LineString(t.points), t.width / 2, t.net, RING_SIDE, False)
        for t in board.tracks
        if t.layer == RING_SIDE
    ]
    below = [
        _Item(shapely.LineString(t.points), t.width / 2, t.net, LEAD_SIDE, False)
        for t in board.tracks
        if t.layer == LEAD_SIDE
    ]
    for net in dict.fromkeys(via.net for via in board.vias):
        row = [via for via in board.vias if via.net == net]
        points = shapely.MultiPoint([(via.x, via.y) for via in row])
        below.append(_Item(points, row[0].pad / 2, net, LEAD_SIDE, False))
    outer = [rings[0], rings[-1]]  # the only rings that are next to a terminal
    return SlipRingGaps(
        rings=_least(itertools.pairwise(rings)),
        terminals=_least(
            (pad, other) for number, pad in enumerate(pads) for other in (*pads[number + 1 :], *outer, *below)
        ),
        leads=_least(itertools.combinations(below, 2)),
    )


def hole_distances(board: PlainBoard) -> dict[str, tuple[float, float]]:
    """Of every table of holes: least distance of a hole's edge from copper, and from another hole or the board's edge
    [m], below 0 where it meets it or lies beyond.
    """
    copper = [shapely.LineString(t.points).buffer(t.width / 2, quad_segs=32) for t in board.tracks]
    copper += [shapely.Point(t.x, t.y).buffer(t.pad / 2, quad_segs=64) for t in board.terminals]
    copper += [shapely.Point(v.x, v.y).buffer(v.pad / 2, quad_segs=64) for v in board.vias]
    metal, found = shapely.union_all(copper), dict[str, tuple[float, float]]()
    for hole in board.shape.drilled:
        radius, reach = hole.diameter / 2, hypot(hole.x, hole.y)
        web = [reach - radius - board.board_inner_radius, board.board_outer_radius - reach - radius]
        web += [
            hypot(hole.x - other.x, hole.y - other.y) - radius - other.diameter / 2
            for other in board.shape.drilled
            if other is not hole
        ]
        place = float(shapely.Point(hole.x, hole.y).distance(metal)) - radius
        before = found.get(hole.origin, (place, min(web)))
        found[hole.origin] = min(before[0], place), min(before[1], *web)
    return found


def edge_distances(board: PlainBoard) -> tuple[float, float]:
    """Least distance of copper to the bore and to the outline [m]."""
    centre = shapely.Point(0, 0)
    near = [shapely.LineString(t.points).distance(centre) - t.width / 2 for t in board.tracks]
    far = [float(np.hypot(*t.points.T).max()) + t.width / 2 for t in board.tracks]
    places = [(hole.x, hole.y, hole.pad) for hole in board.vias]
    for x, y, pad in places + [(hole.x, hole.y, hole.pad) for hole in board.terminals]:
        near.append(hypot(x, y) - pad / 2)
        far.append(hypot(x, y) + pad / 2)
    return min(near) - board.board_inner_radius, board.board_outer_radius - max(far)


def _least(pairs: Iterable[tuple[_Item, _Item]]) -> Gap | None:
    """The closest pair of different nets on one layer."""
    apart = [(a, b) for a, b in pairs if a.net != b.net and a.layer == b.layer]
    if not apart:
        return None
    first, second = (np.array([pair[i].shape for pair in apart]) for i in (0, 1))
    distances = shapely.distance(first, second) - np.array([a.half + b.half for a, b in apart])
    index = int(np.argmin(distances))
    a, b = apart[index]
    middle = shapely.line_interpolate_point(shapely.shortest_line(a.shape, b.shape), 0.5, normalized=True)
    return Gap(float(distances[index]), a.layer, float(middle.x), float(middle.y), (a.net, b.net))


def _collisions(section: SlipRing, gaps: SlipRingGaps) -> list[Complaint]:
    """Copper of different rings that lies on top of each other."""
    gap = min((gap for gap in (gaps.terminals, gaps.leads) if gap), key=lambda gap: gap.distance, default=None)
    if gap is None or gap.distance > 0:
        return []
    place = f"{gap.nets[0]} and {gap.nets[1]} meet at x {1e3 * gap.x:.2f} mm, y {1e3 * gap.y:.2f} mm"
    remedy = "use fewer rings, a larger inner_diameter_mm, thicker copper, smaller terminal_pad_mm or less current"
    rule = "the leads and terminals of the rings must have room side by side round the circle"
    return [Complaint("slip_ring.rings", rule, f"{section.rings}: {place}", remedy)]
