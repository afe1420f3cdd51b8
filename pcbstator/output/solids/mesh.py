"""Bodies as triangles: each piece of a body that is alike all the way up is a closed surface of its own."""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, pi, radians

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from pcbstator.analysis.mechanical.bodies import Ball, Body

FloatArray = NDArray[np.float64]

SAGITTA = 2e-5  # m; most that a chord lies off an arc
SMOOTH = cos(radians(35.0))  # edges that turn by less are those of an arc, and are shaded round
AROUND, UP = 24, 12  # pieces of a ball


@dataclass(frozen=True)
class Mesh:
    """Triangles: places (n, 3) [m], outward normals (n, 3), corners (m, 3) counter-clockwise seen from outside."""

    places: FloatArray
    normals: FloatArray
    corners: NDArray[np.int64]


def body_mesh(body: Body) -> Mesh:
    """The surface of a body where it is neither turned nor lifted."""
    if isinstance(body.shape, Ball):
        return _ball(body.shape)
    parts: list[Mesh] = []
    for face, low, high in body.slabs(SAGITTA):
        for polygon in shapely.get_parts(shapely.orient_polygons(face, exterior_cw=False)):
            parts += [_cap(polygon, low, up=False), _cap(polygon, high, up=True)]
            parts += [_wall(ring, low, high) for ring in (polygon.exterior, *polygon.interiors)]
    return _joined(parts)


def _cap(polygon: BaseGeometry, height: float, up: bool) -> Mesh:
    """A flat face; it has the corners of the outline and no other."""
    pieces = shapely.get_parts(shapely.constrained_delaunay_triangles(polygon))
    flat = shapely.get_coordinates(pieces).reshape(-1, 4, 2)[:, :3]
    (ax, ay), (bx, by) = (flat[:, 1] - flat[:, 0]).T, (flat[:, 2] - flat[:, 0]).T
    wrong = (ax * by - ay * bx > 0) != up
    flat[wrong] = flat[wrong][:, ::-1]
    corners, inverse = np.unique(flat.reshape(-1, 2), axis=0, return_inverse=True)
    places = np.column_stack([corners, np.full(len(corners), height)])
    normals = np.tile([0.0, 0.0, 1.0 if up else -1.0], (len(corners), 1))
    return Mesh(places, normals, inverse.reshape(-1, 3))


def _wall(ring: BaseGeometry, low: float, high: float) -> Mesh:
    """The wall over a closed line that has the body at its left."""
    points = shapely.get_coordinates(ring)[:-1]
    along = np.roll(points, -1, axis=0) - points
    across = np.column_stack([along[:, 1], -along[:, 0]]) / np.hypot(*along.T)[:, None]
    before = np.roll(across, 1, axis=0)
    round_here = np.sum(across * before, axis=1) > SMOOTH
    mean = across + before
    mean /= np.maximum(np.hypot(*mean.T), 1e-12)[:, None]
    first = np.where(round_here[:, None], mean, across)
    last = np.where(np.roll(round_here, -1)[:, None], np.roll(mean, -1, axis=0), across)
    ends = np.roll(points, -1, axis=0)
    flat = np.stack([points, ends, ends, points], axis=1)
    heights = np.broadcast_to([low, low, high, high], flat.shape[:2])
    normals = np.stack([first, last, last, first], axis=1)
    start = 4 * np.arange(len(points))[:, None]
    corners = np.concatenate([start + np.array(each) for each in ((0, 1, 2), (0, 2, 3))])
    return Mesh(
        np.concatenate([flat, heights[..., None]], axis=2).reshape(-1, 3),
        np.concatenate([normals, np.zeros((*flat.shape[:2], 1))], axis=2).reshape(-1, 3),
        corners,
    )


def _ball(ball: Ball) -> Mesh:
    """A ball by longitude and latitude."""
    turn, rise = np.arange(AROUND) * 2 * pi / AROUND, pi * (np.arange(1, UP) / UP - 0.5)
    t, r = (grid.ravel() for grid in np.meshgrid(turn, rise))
    normals = np.column_stack([np.cos(r) * np.cos(t), np.cos(r) * np.sin(t), np.sin(r)])
    normals = np.concatenate([normals, [[0.0, 0.0, -1.0], [0.0, 0.0, 1.0]]])
    bottom, top = len(normals) - 2, len(normals) - 1
    here = np.arange(AROUND)
    beside = np.roll(here, -1)
    corners = [np.column_stack([np.full(AROUND, bottom), beside, here])]
    for row in range(UP - 2):
        a, b = here + row * AROUND, beside + row * AROUND
        corners += [np.column_stack([a, b, b + AROUND]), np.column_stack([a, b + AROUND, a + AROUND])]
    last = (UP - 2) * AROUND
    corners.append(np.column_stack([here + last, beside + last, np.full(AROUND, top)]))
    places = ball.diameter / 2 * normals + [ball.radius, 0.0, ball.height]
    return Mesh(places, normals, np.concatenate(corners))


def _joined(parts: list[Mesh]) -> Mesh:
    """Several meshes as one."""
    starts = np.cumsum([0, *(len(part.places) for part in parts[:-1])])
    return Mesh(
        np.concatenate([part.places for part in parts]),
        np.concatenate([part.normals for part in parts]),
        np.concatenate([part.corners + start for part, start in zip(parts, starts, strict=True)]),
    )
