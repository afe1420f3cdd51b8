"""Arcs of fabrication files as points."""

from __future__ import annotations

from math import acos, atan2, ceil, cos, hypot, pi, sin

CHORD_ERROR = 0.5e-3  # mm: how far a chord may leave its arc

Place = tuple[float, float]


def quarter_segments(radius: float) -> int:
    """In how many chords a quarter of a circle of ``radius`` [mm] is cut.

    >>> quarter_segments(0.3), quarter_segments(50.0), quarter_segments(1e-4)
    (16, 176, 16)
    """
    if radius <= CHORD_ERROR:
        return 16
    return min(400, max(16, ceil(pi / 4 / acos(1 - CHORD_ERROR / radius))))


def arc_points(start: Place, end: Place, centre: Place, clockwise: bool) -> list[Place]:
    """The points of an arc after its start [mm], its end with them; a full circle where both ends are one.

    >>> points = arc_points((1.0, 0.0), (0.0, 1.0), (0.0, 0.0), False)
    >>> len(points), round(points[0][0] ** 2 + points[0][1] ** 2, 9), points[-1]
    (25, 1.0, (0.0, 1.0))
    """
    radius, last = hypot(start[0] - centre[0], start[1] - centre[1]), hypot(end[0] - centre[0], end[1] - centre[1])
    first_angle = atan2(start[1] - centre[1], start[0] - centre[0])
    sweep = atan2(end[1] - centre[1], end[0] - centre[0]) - first_angle
    if start == end:
        sweep = -2 * pi if clockwise else 2 * pi
    elif clockwise:
        sweep = sweep - 2 * pi if sweep > 0 else sweep
    else:
        sweep = sweep + 2 * pi if sweep < 0 else sweep
    count = max(1, ceil(abs(sweep) / (pi / 2) * quarter_segments(max(radius, last))))
    points = []
    for index in range(1, count):
        part = index / count
        reach, angle = radius + part * (last - radius), first_angle + part * sweep
        points.append((centre[0] + reach * cos(angle), centre[1] + reach * sin(angle)))
    return [*points, end]


def single_quadrant_centre(start: Place, end: Place, offset: Place, clockwise: bool) -> Place:
    """The centre of an arc of at most a quarter whose ``offset`` has no signs (G74): the one with the best radius."""
    best, found = float("inf"), (start[0] + offset[0], start[1] + offset[1])
    for x, y in ((1, 1), (1, -1), (-1, 1), (-1, -1)):
        centre = start[0] + x * offset[0], start[1] + y * offset[1]
        sweep = atan2(end[1] - centre[1], end[0] - centre[0]) - atan2(start[1] - centre[1], start[0] - centre[0])
        turned = (-sweep if clockwise else sweep) % (2 * pi)
        error = abs(hypot(end[0] - centre[0], end[1] - centre[1]) - hypot(start[0] - centre[0], start[1] - centre[1]))
        if turned <= pi / 2 + 1e-3 and error < best:
            best, found = error, centre
    return found
