"""One coil: a spiral per layer, joined by inner vias on the coil's axis and by layer-transition vias at the ring.

A layer-transition via stands on the connection ring, beside the outermost turn. The coil starts at the first one on
layer 1, spirals inwards to inner via 0, outwards on layer 2 to the second one, inwards on layer 3, and so on; it
finishes at the last one on the last layer. It always turns counter-clockwise, and the number of turns of a pair of
layers is whole: what the inward spiral lacks of its last turn, the outward one has more.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass
from math import cos, floor, hypot, sin, sqrt
from typing import TypeGuard

import numpy as np
import shapely
from numpy.typing import NDArray

from pcbstator.copper.geometry.tracks import SAGITTA, FloatArray, Track, Via
from pcbstator.copper.records import Coil
from pcbstator.copper.spiral.outlines import Family, SectorFamily, outline_points, outline_widths

CORNER_POINTS = 6
PLACES = np.linspace(0, 1, CORNER_POINTS)  # of the points of a bend, 0 at its start
BEND = np.stack([(1 - PLACES) ** 2, 2 * PLACES * (1 - PLACES), PLACES**2], axis=1)  # weights of start, control, stop
STEEPEST = 0.6  # sine of the steepest slant; beyond it the turns' pitch grows faster than it is worth


@dataclass(frozen=True, eq=False)
class CoilPlan:
    """The numbers of one coil. side is +1 where the connection ring lies outside the coil, -1 inside; lengths [m],
    angles [rad].

    margin: least distance of an inner via from the centre-line of a turn. skew: turn of the copper between the inner
    and the outer end [rad]; stretch: by how much all lengths here are larger, so that what it squeezes has room.
    """

    family: Family
    turns: int
    pitch: float
    width: float
    side: int
    transition_radius: float
    transition_angles: tuple[float, ...]
    inner_vias: tuple[float, ...]
    corner: float
    margin: float
    skew: float = 0.0
    stretch: float = 1.0


def inner_margin(width: float, gap: float, pad: float) -> float:
    """Distance [m] of an inner via from the centre-line of a turn; a wide track's round end reaches beyond its pad."""
    return max(pad, width) / 2 + gap + width / 2 + SAGITTA


def fit_spiral(
    family: Family, turns: int, width: float, gap: float, pad: float, count: int, side: int
) -> tuple[Family, float, tuple[float, ...]] | None:
    """The family with its ramp, the pitch [m] and the inner vias' places on the axis [m], nearest to the connection
    ring first.

    The pitch leaves ``gap`` [m] between the real tracks, slanting and made of straight pieces as they are. None where
    the turns and ``count`` vias find no room.
    """
    margin = inner_margin(width, gap, pad)
    spacing = (max(pad, width) + pad) / 2 + gap
    beyond = 0.5  # part of a turn that the outward spiral has more, at the via farthest from the ring
    pitch = width + gap
    places: tuple[float, ...] = ()
    for _ in range(4):
        depth = pitch * (turns + beyond)
        if not family.is_open(depth):
            return None
        family = family.with_ramp(depth)
        slant = family.slant(width + gap)
        if slant > STEEPEST:
            return None
        pitch = (width + gap) / sqrt(1 - slant**2) + SAGITTA
        depth = pitch * (turns + beyond)
        low, high = family.axis_room(depth, margin)
        if not family.is_open(depth) or high - low < (count - 1) * spacing:
            return None
        places = tuple((high if side > 0 else low) - side * spacing * index for index in range(count))
        fraction = family.fraction_at(pitch * turns, places[-1])  # of its pitch, gained since the outer middle
        beyond = fraction if side > 0 else 0.5 - fraction
    return family, pitch, places


def round_corner(points: FloatArray, index: int, reach: float, from_lead: bool = False) -> FloatArray:
    """The polyline with the corner at ``index`` replaced by a smooth bend that begins ``reach`` [m] before it.

    points: (n, 2 or more); what comes after x and y follows the bend. A bend ``from_lead`` into a turn keeps to
    the lead's side of the turn, since the next turn lies on the other.
    """
    back, on = _Stretch(points, index, -1, reach), _Stretch(points, index, 1, reach)
    reach = min(reach, 0.9 * back.distances[-1], 0.9 * on.distances[-1])
    if reach <= 0:
        return points
    start, skip_before, arriving = back.at(reach)
    stop, skip_after, leaving = on.at(reach)
    control = back.rows[0]
    turn = leaving[0] * arriving[1] - leaving[1] * arriving[0]
    if from_lead and abs(turn) > 0.1:
        # Where the tangents meet, if that is on the lead: a bend over an arc's chord would cross to the other side.
        x, y = start[0] - stop[0], start[1] - stop[1]
        before, beyond = (y * leaving[0] - x * leaving[1]) / turn, (y * arriving[0] - x * arriving[1]) / turn
        if 0 < min(before, beyond) < reach:
            control = [place - before * along for place, along in zip(start, arriving, strict=True)]
    bend = BEND @ np.array([start, control, stop])
    return np.concatenate([points[: index - skip_before], bend, points[index + skip_after + 1 :]])


class _Stretch:
    """The vertices of a polyline from the one at ``index`` on, in one sense (+1 or -1), a little farther than ``reach``
    [m], and their distances along it.
    """

    def __init__(self, points: FloatArray, index: int, sense: int, reach: float) -> None:
        self.rows: list[list[float]] = [points[index].tolist()]
        self.distances = [0.0]
        last = len(points) - 1 if sense > 0 else 0
        while index != last and 0.9 * self.distances[-1] <= reach:
            index += sense
            self.rows.append(points[index].tolist())
            (x, y), (here, there) = self.rows[-2][:2], self.rows[-1][:2]
            self.distances.append(self.distances[-1] + hypot(here - x, there - y))

    def at(self, reach: float) -> tuple[list[float], int, list[float]]:
        """Point at ``reach`` along it, number of vertices passed after the first, and the direction there."""
        passed = bisect_right(self.distances, reach) - 1
        before, after = self.rows[passed], self.rows[passed + 1]
        length = self.distances[passed + 1] - self.distances[passed]
        direction = [(b - a) / length for a, b in zip(before, after, strict=True)]
        beyond = reach - self.distances[passed]
        return [a + beyond * along for a, along in zip(before, direction, strict=True)], passed, direction


class _Turns:
    """The turns of a spiral, which all layers share as far as they begin at the same offset."""

    def __init__(self, plan: CoilPlan) -> None:
        self.plan, self.family = plan, plan.family
        self.around = 2 * plan.family.half_vertices
        self.base = 0 if plan.side > 0 else plan.family.half_vertices
        self.fractions = plan.family.turn_fractions()
        near = self.base + np.arange(-(self.around // 4), self.around // 4)
        ring_points = outline_points(self.family, np.zeros(len(near)), near)[:: plan.side]
        self.ring_vertices = near[:: plan.side]
        self.ring_angles = np.arctan2(ring_points[:, 1], ring_points[:, 0])
        self.ring_radii = np.hypot(*ring_points.T)
        self.laid: dict[float, tuple[FloatArray, NDArray[np.int64]]] = {}

    def ring_place(self, angle: float) -> tuple[float, float]:
        """Vertex (with the part of the piece to the next one) and radius [m] of the outermost turn at a polar angle."""
        vertex = float(np.interp(angle, self.ring_angles, self.ring_vertices))
        return vertex, float(np.interp(angle, self.ring_angles, self.ring_radii))

    def rows(self, first: float) -> tuple[FloatArray, NDArray[np.int64]]:
        """Rows of x, y and width of the turns that begin at vertex ``first``, and their vertices; not to be changed."""
        around = self.around
        started = first // around + float(np.interp(first % around, np.arange(around + 1), self.fractions))
        if started not in self.laid:
            self.laid[started] = self._lay(started)
        points, vertex = self.laid[started]
        begin = int(np.searchsorted(vertex, floor(first) + 1, side="right")) - 1
        return points[begin:], vertex[begin:]

    def _lay(self, started: float) -> tuple[FloatArray, NDArray[np.int64]]:
        """Rows of all turns and their vertices, of those at one place the first."""
        plan, family = self.plan, self.family
        vertex = np.arange(self.base - self.around // 4, self.base + (plan.turns + 1) * self.around)
        offset = plan.pitch * (vertex // self.around + self.fractions[vertex % self.around] - started)
        rows = np.empty((len(vertex), 3))
        rows[:, :2] = outline_points(family, offset, vertex)
        rows[:, 2] = plan.width
        if _is_tapered(family):
            rows[:, 2] = outline_widths(family, offset, vertex)
        # An arc of no length has all its vertices at one place, but for rounding.
        moved = np.append(True, _apart(rows, 1e-12))
        return rows[moved], vertex[moved]


def _is_tapered(family: Family) -> TypeGuard[SectorFamily]:
    """Whether tracks along these outlines vary in width."""
    return isinstance(family, SectorFamily) and family.fan > 0


def _inward_spiral(turns: _Turns, angle: float, end: float, outward: bool) -> FloatArray:
    """Counter-clockwise inward spiral from the connection ring at polar ``angle`` to the axis height ``end``, with both
    leads.

    Rows of x, y and width.

    It ends on its last approach to the ring, or, as the mirror image of an ``outward`` spiral, just after it.
    """
    plan = turns.plan
    first, ring_radius = turns.ring_place(angle)
    points, vertex = turns.rows(first)
    approach = turns.base + plan.turns * turns.around - (0 if outward else turns.around // 2)
    passed = int(np.searchsorted(vertex, approach))
    last, leave = _crossing(points, passed, points[passed:, 0] - end)
    width = plan.width
    bends = [leave, [end, 0.0, width]]
    if outward:
        # It would run back beside itself to get there: it leaves at once, beside the vias that it passes.
        behind = end != plan.inner_vias[0]
        height = np.abs(points[passed:, 1]) - (plan.margin if behind else SAGITTA)
        sooner, aside = _crossing(points, passed, height)
        if sooner < last:
            corner = [[end, aside[1], width]] if behind else []
            last, bends = sooner, [aside, *corner, [end, 0.0, width]]

    lead = [[r * cos(angle), r * sin(angle), width] for r in (plan.transition_radius, ring_radius)]
    path = np.concatenate([lead, points[: last + 1], bends])
    path = round_corner(path, len(path) - 2, plan.corner)
    return round_corner(path, 1, plan.corner, from_lead=True)


def _crossing(points: FloatArray, first: int, height: FloatArray) -> tuple[int, list[float]]:
    """The first place from vertex ``first`` on where ``height`` (one per point from there) passes zero, and the vertex
    before it."""
    sign = np.sign(height)
    passing = int(np.flatnonzero(sign[:-1] != sign[1:])[0])
    before, after = height[passing : passing + 2].tolist()
    part = before / (before - after)
    one, other = points[first + passing : first + passing + 2].tolist()
    return first + passing, [a + part * (b - a) for a, b in zip(one, other, strict=True)]


def distinct_points(points: FloatArray) -> FloatArray:
    """The polyline without pieces of no length, as an arc of no length would leave them."""
    apart = _apart(points, 1e-9)
    return points if apart.all() else points[np.append(True, apart)]


def _apart(points: FloatArray, least: float) -> NDArray[np.bool_]:
    """Whether each of the points (n, 2 or more) is farther than ``least`` [m] from the next in the plane, (n − 1,)."""
    x, y = points[:, 0], points[:, 1]
    dx, dy = x[1:] - x[:-1], y[1:] - y[:-1]
    return np.asarray(dx * dx + dy * dy > least**2)


def _track(plan: CoilPlan, layer: int, rows: FloatArray) -> Track:
    """The track of rows of x, y and width as they were planned."""
    if plan.skew:
        rows = _in_short_pieces(rows, 0.3e-3)
        rows = np.column_stack([skewed(plan, rows[:, :2]), rows[:, 2]])
        line = shapely.LineString(rows * (1.0, 1.0, 0.5))
        rows = shapely.get_coordinates(line.simplify(SAGITTA), include_z=True) * (1.0, 1.0, 2.0)
    points = np.ascontiguousarray(rows[:, :2])
    if not _is_tapered(plan.family):
        return Track(layer, points, plan.width / plan.stretch, "", "", "coil")
    widths = rows[:, 2] / plan.stretch
    return Track(layer, points, float(widths.max()), "", "", "coil", np.ascontiguousarray(widths))


def _in_short_pieces(rows: FloatArray, longest: float) -> FloatArray:
    """The same polyline with no piece longer than ``longest`` [m]."""
    counts = np.maximum(np.ceil(np.hypot(*np.diff(rows[:, :2], axis=0).T) / longest), 1).astype(int)
    along = np.concatenate([i + np.arange(count) / count for i, count in enumerate(counts)] + [[len(rows) - 1]])
    return np.stack([np.interp(along, np.arange(len(rows)), column) for column in rows.T], axis=1)


def skewed(plan: CoilPlan, points: FloatArray) -> FloatArray:
    """Points (n, 2) turned by the skew: half of it each way at the ends of the coil, nothing in the middle."""
    radii = np.hypot(*points.T)
    part = np.clip((radii - plan.family.inner) / (plan.family.outer - plan.family.inner), 0, 1) - 0.5
    turned = (points[:, 0] + 1j * points[:, 1]) * np.exp(1j * plan.skew * part)
    return np.stack([turned.real, turned.imag], axis=1)


def skew_stretch(outer: float, inner: float, skew: float) -> float:
    """By how much a skew [rad] between two radii [m] can squeeze a length: one over the least stretch of a shear.

    >>> skew_stretch(0.05, 0.03, 0.0)
    1.0
    """
    shear = abs(skew) * outer / (outer - inner)
    return 1 / (sqrt(1 + shear**2 / 4) - shear / 2)


def lay_coil(plan: CoilPlan, layers: int, drill: float, pad: float) -> Coil:
    """The coil template of this plan on all layers."""
    tracks, turns = [], _Turns(plan)
    for layer in range(1, layers + 1):
        pair, outward = divmod(layer - 1, 2)
        end = plan.inner_vias[pair]
        if outward:
            mirrored = _inward_spiral(turns, -plan.transition_angles[pair + 1], end, True)
            points = (mirrored * np.array([1.0, -1.0, 1.0]))[::-1]
        else:
            points = _inward_spiral(turns, plan.transition_angles[pair], end, False)
        tracks.append(_track(plan, layer, distinct_points(points)))
    ring_vias = [
        (plan.transition_radius * cos(angle), plan.transition_radius * sin(angle)) for angle in plan.transition_angles
    ]
    places = [(x, 0.0) for x in plan.inner_vias] + ring_vias
    if plan.skew:
        places = [(float(x), float(y)) for x, y in skewed(plan, np.array(places))]
    vias = tuple(Via(x, y, drill, pad, "", 1, layers) for x, y in places)
    return Coil(plan.turns, plan.turns * layers, tuple(tracks), vias)
