"""Closed outlines made of straight lines and arcs, kept exact; polygons of them for checks.

SI units, board axes. Outlines run counter-clockwise where nothing else is said.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from math import atan2, ceil, cos, hypot, pi, sin, sqrt

import numpy as np
from shapely import Polygon

from pcbstator.copper.geometry.tracks import FloatArray

Place = tuple[float, float]
SAGITTA = 1e-7  # m; most that a chord of a polygon lies inside its arc
FULL = 2 * pi


@dataclass(frozen=True)
class Line:
    """A straight segment to ``end`` [m]."""

    end: Place


@dataclass(frozen=True)
class Arc:
    """A piece of a circle about ``centre`` to ``end`` [m]; it turns all the way round where it ends as it starts."""

    end: Place
    centre: Place
    counter_clockwise: bool = True


Segment = Line | Arc


@dataclass(frozen=True)
class Contour:
    """A closed outline: ``start`` [m] and the segments that lead back to it."""

    start: Place
    segments: tuple[Segment, ...]

    def pairs(self) -> Iterator[tuple[Place, Segment]]:
        """Each segment with the place where it starts."""
        yield from zip((self.start, *(segment.end for segment in self.segments)), self.segments, strict=False)

    def turned(self, angle: float) -> Contour:
        """This outline turned about the board's centre by ``angle`` [rad]."""
        segments = tuple(
            Line(turn(s.end, angle))
            if isinstance(s, Line)
            else Arc(turn(s.end, angle), turn(s.centre, angle), s.counter_clockwise)
            for s in self.segments
        )
        return Contour(turn(self.start, angle), segments)

    def mirrored(self) -> Contour:
        """This outline as seen from the other side, x against x; it then runs the other way round."""
        segments = tuple(
            Line((-s.end[0], s.end[1]))
            if isinstance(s, Line)
            else Arc((-s.end[0], s.end[1]), (-s.centre[0], s.centre[1]), not s.counter_clockwise)
            for s in self.segments
        )
        return Contour((-self.start[0], self.start[1]), segments)

    @property
    def round(self) -> tuple[Place, float] | None:
        """Middle and radius [m] if this is nothing but a circle."""
        arcs = [s for s in self.segments if isinstance(s, Arc)]
        if len(arcs) < len(self.segments) or len({arc.centre for arc in arcs}) != 1:
            return None
        return arcs[0].centre, _radius(self.start, arcs[0])

    def reversed(self) -> Contour:
        """The same outline the other way round."""
        back = [
            Line(start) if isinstance(s, Line) else Arc(start, s.centre, not s.counter_clockwise)
            for start, s in self.pairs()
        ]
        return Contour(self.start, tuple(reversed(back)))

    def polylines(self, sagitta: float = SAGITTA) -> list[FloatArray]:
        """Each segment as points (n, 2) [m], ends included; chords lie at most ``sagitta`` [m] off an arc."""
        return [_polyline(start, segment, sagitta) for start, segment in self.pairs()]

    def chords(self, sagitta: float = SAGITTA) -> Polygon:
        """The area as a polygon whose corners lie on the outline; chords lie at most ``sagitta`` [m] off an arc."""
        if sagitta == SAGITTA:
            return self.polygon
        return Polygon(np.concatenate([points[:-1] for points in self.polylines(sagitta)]))

    @cached_property
    def polygon(self) -> Polygon:
        """The area as a polygon whose corners lie on the outline."""
        return Polygon(np.concatenate([points[:-1] for points in self.polylines()]))

    @cached_property
    def area(self) -> float:
        """Enclosed area [m²], negative where the outline runs clockwise: exact, by Green's theorem."""
        total = 0.0
        for (x0, y0), segment in self.pairs():
            (x1, y1) = segment.end
            total += (x0 * y1 - x1 * y0) / 2
            if isinstance(segment, Arc):
                sweep = signed_sweep((x0, y0), segment)
                total += (sweep - sin(sweep)) / 2 * _radius((x0, y0), segment) ** 2  # beyond the chord
        return total

    @cached_property
    def bounds(self) -> tuple[float, float, float, float]:
        """Least x, least y, most x, most y [m], exact."""
        places = [self.start]
        for start, segment in self.pairs():
            places.append(segment.end)
            if isinstance(segment, Arc):
                places += [place for k in range(4) for place in _on_arc(start, segment, k * pi / 2)]
        x, y = zip(*places, strict=True)
        return min(x), min(y), max(x), max(y)

    @cached_property
    def radii(self) -> tuple[float, float]:
        """Least and most distance [m] of the outline from the board's centre, exact."""
        places = [self.start]
        for start, segment in self.pairs():
            places.append(segment.end)
            if isinstance(segment, Arc):
                away = atan2(segment.centre[1], segment.centre[0])
                places += [*_on_arc(start, segment, away), *_on_arc(start, segment, away + pi)]
            else:
                places.append(_foot(start, segment.end))
        distances = [hypot(*place) for place in places]
        return min(distances), max(distances)


def turn(place: Place, angle: float) -> Place:
    """A place turned about the board's centre by ``angle`` [rad]."""
    c, s = cos(angle), sin(angle)
    return place[0] * c - place[1] * s, place[0] * s + place[1] * c


def circle(radius: float, centre: Place = (0.0, 0.0)) -> Contour:
    """A circle of two half circles.

    >>> round(circle(1.0).area / pi, 12)
    1.0
    """
    x, y = centre
    return Contour((x + radius, y), (Arc((x - radius, y), centre), Arc((x + radius, y), centre)))


def stadium(a: Place, b: Place, width: float) -> Contour:
    """The outline of a slot of ``width`` [m] whose tool goes from ``a`` to ``b``."""
    length = hypot(b[0] - a[0], b[1] - a[1])
    nx, ny = -(b[1] - a[1]) / length * width / 2, (b[0] - a[0]) / length * width / 2
    start = a[0] - nx, a[1] - ny
    far = Line((b[0] - nx, b[1] - ny)), Arc((b[0] + nx, b[1] + ny), b)
    return Contour(start, (*far, Line((a[0] + nx, a[1] + ny)), Arc(start, a)))


def ring_with_tabs(radius: float, tabs: list[MountingTab]) -> Contour:
    """A circle of ``radius`` [m] with mounting tabs on its edge, fillets at their roots; the tabs must not meet."""
    if not tabs:
        return circle(radius)
    tabs = sorted(tabs, key=lambda tab: tab.angle)
    outlines = [_tab_outline(radius, tab) for tab in tabs]
    segments: list[Segment] = []
    for (_, path), (following, _) in pairwise([*outlines, outlines[0]]):
        segments += [*path, Arc(following, (0.0, 0.0))]
    return Contour(outlines[0][0], tuple(segments))


@dataclass(frozen=True)
class MountingTab:
    """A mounting tab: angle [rad], width, reach beyond the edge and radius of the fillet at its root [m]."""

    angle: float
    width: float
    reach: float
    rounded: bool
    fillet: float

    def half_angle(self, radius: float) -> float:
        """Angle [rad] from the tab's axis to where its fillet meets the edge of ``radius`` [m]."""
        across = self.width / 2 + self.fillet
        return atan2(across, self.root(radius))

    def root(self, radius: float) -> float:
        """Distance [m] from the centre, along the axis, at which the fillet ends and the straight side begins."""
        across, along = self.width / 2 + self.fillet, radius + self.fillet
        return sqrt(max(along**2 - across**2, 0.0))


def _tab_outline(radius: float, tab: MountingTab) -> tuple[Place, list[Segment]]:
    """Where a mounting tab leaves the edge, and its segments up to where it meets the edge again, counter-clockwise."""
    half, root, tip = tab.width / 2, tab.root(radius), radius + tab.reach
    across = half + tab.fillet
    scale = radius / (radius + tab.fillet)
    start = root * scale, -across * scale
    if tab.rounded:
        end: list[Segment] = [Line((tip - half, -half)), Arc((tip - half, half), (tip - half, 0.0))]
    else:
        end = [Line((tip, -half)), Line((tip, half))]
    path: list[Segment] = [
        Arc((root, -half), (root, -across), False), *end, Line((root, half)),
        Arc((start[0], -start[1]), (root, across), False),
    ]  # fmt: skip
    moved = Contour(start, tuple(path)).turned(tab.angle)
    return moved.start, list(moved.segments)


def signed_sweep(start: Place, arc: Arc) -> float:
    """Angle [rad] that an arc turns through, positive counter-clockwise; a whole turn where it ends at its start."""
    a = atan2(start[1] - arc.centre[1], start[0] - arc.centre[0])
    b = atan2(arc.end[1] - arc.centre[1], arc.end[0] - arc.centre[0])
    turned = (b - a if arc.counter_clockwise else a - b) % FULL
    turned = turned if turned > 1e-12 else FULL
    return turned if arc.counter_clockwise else -turned


def _radius(start: Place, arc: Arc) -> float:
    return hypot(start[0] - arc.centre[0], start[1] - arc.centre[1])


def _on_arc(start: Place, arc: Arc, direction: float) -> list[Place]:
    """The place of an arc in ``direction`` [rad] from its centre, if the arc passes there."""
    first = atan2(start[1] - arc.centre[1], start[0] - arc.centre[0])
    sweep, radius = signed_sweep(start, arc), _radius(start, arc)
    passed = (direction - first if sweep > 0 else first - direction) % FULL
    if passed > abs(sweep):
        return []
    return [(arc.centre[0] + radius * cos(direction), arc.centre[1] + radius * sin(direction))]


def _foot(a: Place, b: Place) -> Place:
    """The place of a straight segment that is nearest to the board's centre."""
    dx, dy = b[0] - a[0], b[1] - a[1]
    squared = dx * dx + dy * dy
    part = 0.0 if squared == 0 else min(max(-(a[0] * dx + a[1] * dy) / squared, 0.0), 1.0)
    return a[0] + part * dx, a[1] + part * dy


def _polyline(start: Place, segment: Segment, sagitta: float) -> FloatArray:
    if isinstance(segment, Line):
        return np.array([start, segment.end])
    radius, sweep = _radius(start, segment), signed_sweep(start, segment)
    step = 2 * np.arccos(1 - min(sagitta / radius, 0.5)) if radius > 0 else pi
    count = max(2, ceil(abs(sweep) / step))
    first = atan2(start[1] - segment.centre[1], start[0] - segment.centre[0])
    angles = first + np.linspace(0.0, sweep, count + 1)
    points = np.stack([np.cos(angles), np.sin(angles)], axis=1) * radius + segment.centre
    points[0], points[-1] = start, segment.end
    return points
