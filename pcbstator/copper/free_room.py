"""Laminate that no copper needs, inside and outside the winding: room for a driver, a sensor, connectors."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf

import numpy as np
import shapely
from shapely import Point, Polygon
from shapely.geometry.base import BaseGeometry

from pcbstator.copper.net_areas import NetArea
from pcbstator.copper.plain_board import BoardCopper
from pcbstator.design.rules import RuleSet

NARROWEST = 1e-3  # m; what is narrower holds no part (common practice, no source)
ROUNDS = 16  # of halving, for the widest part
COARSE = 10e-6  # m, by which outlines of free laminate may be off, to the safe side


@dataclass(frozen=True, eq=False)
class FreeRoom:
    """Free laminate on all layers, pieces [m]. clearance: of copper; edge: of the board's edge [m].

    ring_inside, ring_outside: least and largest radius [m] of what is free of copper all the way round; None where
    nothing is.
    """

    inside: tuple[Polygon, ...]
    outside: tuple[Polygon, ...]
    clearance: float
    edge: float
    ring_inside: tuple[float, float] | None
    ring_outside: tuple[float, float] | None


def free_room(board: BoardCopper, areas: Sequence[NetArea], rules: RuleSet, clearance: float) -> FreeRoom:
    """What is left on a ring with this copper, ``clearance`` [m] from it on every layer and the rules' distances from
    edge and holes."""
    axis = Point(0.0, 0.0)
    pieces = [_filled(piece, axis) for area in areas for piece in area.pieces]
    near = min((piece.distance(axis) for piece in pieces), default=inf) - clearance
    far = max((_reach(piece) for piece in pieces), default=0.0) + clearance
    wide = shapely.buffer(shapely.simplify(pieces, COARSE), clearance + COARSE, quad_segs=8)
    shape = board.shape
    kept = [shapely.buffer(Point(hole.x, hole.y), hole.diameter / 2 + rules.drill_to_copper) for hole in shape.drilled]
    kept += [shapely.buffer(Point(hole.x, hole.y), hole.pad / 2 + clearance) for hole in board.terminals]
    kept += [slot.contour.polygon.buffer(rules.edge) for slot in shape.slots]
    whole = shape.cut.buffer(-rules.edge).difference(shapely.union_all([*wide, *kept]))
    whole = whole.buffer(-NARROWEST / 2).buffer(NARROWEST / 2)
    inner, outer = board.board_inner_radius + rules.edge, board.board_outer_radius - rules.edge
    within = axis.buffer(_middle(pieces), quad_segs=64)
    return FreeRoom(
        tuple(part for part in _polygons(whole.intersection(within)) if axis.distance(part) < inner + NARROWEST),
        tuple(part for part in _polygons(whole.difference(within)) if _reach(part) > outer - NARROWEST),
        clearance,
        rules.edge,
        (inner, near) if near - inner >= NARROWEST else None,
        (far, outer) if outer - far >= NARROWEST else None,
    )


def _middle(pieces: Sequence[Polygon]) -> float:
    """Where most of the copper is [m from the axis], which parts inside from outside."""
    places = shapely.get_coordinates(list(pieces))
    return float(np.median(np.hypot(*places.T))) if len(places) else 0.0


def widest_part(pieces: Sequence[Polygon]) -> float:
    """Diameter [m] of the largest disc that fits on one of the pieces.

    >>> round(widest_part([shapely.box(0.0, 0.0, 3e-3, 20e-3)]), 5)
    0.003
    """
    sides = [(right - left, top - low) for left, low, right, top in (piece.bounds for piece in pieces)]
    low, high = 0.0, max(map(min, sides), default=0.0)
    for _ in range(ROUNDS):
        middle = (low + high) / 2
        fits = any(not piece.buffer(-middle / 2, quad_segs=4).is_empty for piece in pieces)
        low, high = (middle, high) if fits else (low, middle)
    return low


def radii(pieces: Sequence[Polygon]) -> tuple[float, float]:
    """Least and largest distance [m] of the pieces from the axis."""
    axis = Point(0.0, 0.0)
    return min(piece.distance(axis) for piece in pieces), max(map(_reach, pieces))


def _filled(piece: Polygon, axis: Point) -> Polygon:
    """The piece with what it encloses, but for the bore."""
    return Polygon(piece.exterior, [hole for hole in piece.interiors if Polygon(hole).contains(axis)])


def _polygons(shape: BaseGeometry) -> list[Polygon]:
    return [part for part in shapely.get_parts(shape) if isinstance(part, Polygon)]


def _reach(piece: Polygon) -> float:
    """Largest distance [m] from the axis."""
    return float(shapely.hausdorff_distance(piece, Point(0.0, 0.0)))
