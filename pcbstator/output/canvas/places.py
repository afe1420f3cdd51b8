"""Where labels of points fit."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

DIRECTIONS = 16
DISTANCES = (11.0, 16.0, 23.0, 32.0)  # points of type, from a point to the middle of its label


def label_offsets(
    points: FloatArray, sizes: FloatArray, others: FloatArray, frame: FloatArray, chosen: Sequence[int]
) -> dict[int, tuple[float, float]]:
    """Offsets (dx, dy) of the middles of labels, by index of their point; those chosen first have the first choice.

    points: (n, 2), all of them; sizes: (n, 2) of the labels; others: (m, 2) that are better not
    covered; frame: left, bottom, right, top that labels keep within; all in one unit. A label covers neither a point
    nor another label; one that does not fit is left out.

    >>> label_offsets(np.zeros((1, 2)), np.full((1, 2), 8.0), np.zeros((0, 2)), np.array([-50.0, -50, 50, 50]), [0])
    {0: (0.0, 11.0)}
    >>> label_offsets(np.zeros((1, 2)), np.full((1, 2), 80.0), np.zeros((0, 2)), np.array([-50.0, -50, 50, 50]), [0])
    {}
    """
    angles = np.pi / 2 - 2 * np.pi * np.arange(DIRECTIONS) / DIRECTIONS
    circle = np.column_stack([np.cos(angles), np.sin(angles)]).round(9) + 0.0
    placed: dict[int, tuple[float, float]] = {}
    boxes = np.zeros((0, 4))
    for index in chosen:
        half = sizes[index] / 2
        best, least = None, np.inf
        for distance in DISTANCES:
            offsets = circle * (distance + np.array([max(half[0] - half[1], 0.0), 0.0]))
            for offset in offsets:
                middle = points[index] + offset
                box = np.concatenate([middle - half, middle + half])
                outside = (box[:2] < frame[:2]).any() or (box[2:] > frame[2:]).any()
                if outside or _within(points, box, 2.0).any() or _overlap(boxes, box):
                    continue
                cost = float(_within(others, box, 1.0).sum()) + 0.15 * distance
                if cost < least:
                    best, least = (float(offset[0]), float(offset[1])), cost
        if best is not None:
            placed[index] = best
            middle = points[index] + best
            boxes = np.vstack([boxes, np.concatenate([middle - half, middle + half])])
    return placed


def along(points: FloatArray, most: int) -> list[int]:
    """At most ``most`` of the points (n, 2), evenly along the line through them, its ends first.

    >>> along(np.array([[0.0, 0.0], [1.0, 0.0], [5.0, 0.0], [10.0, 0.0]]), 3)
    [0, 3, 2]
    """
    steps = np.hypot(*np.diff(points, axis=0).T) if len(points) > 1 else np.zeros(0)
    lengths = np.concatenate([[0.0], np.cumsum(steps)])
    wanted = np.linspace(0.0, lengths[-1], min(most, len(points)))
    chosen = [int(np.abs(lengths - place).argmin()) for place in wanted]
    return list(dict.fromkeys([*chosen[:1], *chosen[-1:], *chosen]))


def _within(points: FloatArray, box: FloatArray, margin: float) -> NDArray[np.bool_]:
    found: NDArray[np.bool_] = np.all((points > box[:2] - margin) & (points < box[2:] + margin), axis=1)
    return found


def _overlap(boxes: FloatArray, box: FloatArray) -> bool:
    return bool(((boxes[:, :2] < box[2:]) & (boxes[:, 2:] > box[:2])).all(axis=1).any())


def spread_angles(angles: Sequence[float], spacing: float) -> list[float]:
    """Angles [rad] pushed apart as little as it takes to leave ``spacing`` between neighbours, order kept.

    >>> [round(angle, 3) for angle in spread_angles([0.0, 0.1, 2.0], 0.3)]
    [-0.1, 0.2, 2.0]
    """
    order = sorted(range(len(angles)), key=lambda index: angles[index])
    placed = [angles[index] for index in order]
    count = len(placed)
    for _ in range(400 if count > 1 else 0):
        lacks = [spacing - ((placed[(i + 1) % count] - placed[i]) % (2 * np.pi)) for i in range(count)]
        if max(lacks) < 1e-6:
            break
        for i, lack in enumerate(lacks):
            if lack > 0:
                placed[i] -= lack / 2
                placed[(i + 1) % count] += lack / 2
    return [angle for _, angle in sorted(zip(order, placed, strict=True))]
