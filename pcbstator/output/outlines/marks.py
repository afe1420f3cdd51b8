"""Registration marks: the same in every file of a board, so that layers brought in one by one can be laid over each
other; a board that came in mirrored or turned shows by them."""

from __future__ import annotations

from pcbstator.copper.plain_board import BoardCopper

MARGIN = 5e-3  # m from the board to the middle of a mark
ARM, HALF_WIDTH = 2e-3, 0.05e-3  # m, of a mark from its middle
OF_BORE = 0.3  # arm of the mark at the origin over a small bore

Place = tuple[float, float]
Ring = tuple[Place, ...]


def page_box(board: BoardCopper) -> tuple[float, float, float, float]:
    """Least x, least y, most x, most y [m] of a page that holds board, origin and marks."""
    left, low, right, high = board.shape.bounds
    away = MARGIN + ARM
    return min(left, 0.0) - away, min(low, 0.0) - away, max(right, 0.0) + away, max(high, 0.0) + away


def mark_places(board: BoardCopper) -> tuple[Place, Place, Place]:
    """The origin, then below the board at its left and above it at its right [m]; nowhere on the board."""
    left, low, right, high = page_box(board)
    return (0.0, 0.0), (left + ARM, low + ARM), (right - ARM, high - ARM)


def marks(board: BoardCopper) -> list[Ring]:
    """Closed outlines [m] of the crosses at these places."""
    inner = board.board_inner_radius
    return [_cross(x, y, min(ARM, OF_BORE * 2 * inner)) if x == y == 0 else _cross(x, y, ARM)
            for x, y in mark_places(board)]  # fmt: skip


def _cross(x: float, y: float, arm: float) -> Ring:
    half = min(HALF_WIDTH, arm / 4)
    corner = ((arm, -half), (arm, half), (half, half))
    turned = [(dx, dy) for dx, dy in corner]
    found = []
    for _ in range(4):
        found += [(x + dx, y + dy) for dx, dy in turned]
        turned = [(-dy, dx) for dx, dy in turned]
    return tuple(found)
