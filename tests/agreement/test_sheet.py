"""The solver of ``sheet.py`` by itself: against closed forms, and a board read back from files."""

from math import log, pi

import numpy as np
import pytest
import shapely

from tests.agreement.sheet import Board, Hole, squares, terminal_resistances

CORNER = 0.5588  # squares in the corner of a right angle, between arms of equal width; conformal map, from memory


def at(axis, value):
    """The points with this coordinate."""
    return lambda points: np.abs(points[:, axis] - value) < 1e-6


def test_strip():
    """Length over width, to rounding: a strip has no error of the mesh, however many tiles it is cut into."""
    assert squares(shapely.box(0, 0, 23, 0.7), [at(0, 0), at(0, 23)], 0.5) == pytest.approx(23 / 0.7, rel=1e-9)
    slope = shapely.affinity.rotate(shapely.box(0, 0, 23, 0.7), 31, origin=(0, 0))
    along = np.cos(np.radians(31)), np.sin(np.radians(31))
    ends = [lambda points: np.abs(points @ along) < 1e-5, lambda points: np.abs(points @ along - 23) < 1e-5]
    assert squares(slope, ends, 0.5) == pytest.approx(23 / 0.7, rel=1e-5)


def test_right_angle():
    sheet = shapely.union_all([shapely.box(0, 0, 1, 5), shapely.box(0, 0, 5, 1)])
    assert squares(sheet, [at(0, 5), at(1, 5)], 0.5) - 8 == pytest.approx(CORNER, rel=5e-3)


def test_between_circles():
    """ln(b/a)/(2·pi) of a square."""
    ring = shapely.Point(0, 0).buffer(6, quad_segs=64).difference(shapely.Point(0, 0).buffer(2, quad_segs=64))
    ends = [lambda points: np.hypot(*points.T) < 2.001, lambda points: np.hypot(*points.T) > 5.99]
    assert squares(ring, ends, 0.5) == pytest.approx(log(3) / (2 * pi), rel=1e-3)


def board_of(sheets, holes, terminals, depths=(0.0, -1.5)):
    """One square of these sheets is an ohm."""
    out = shapely.union_all([hole.outline for hole in holes])
    cut = tuple(sheet.difference(out) for sheet in sheets)
    return Board(cut, (1.0,) * len(cut), depths[: len(cut)], tuple(holes), 0.02, 1.0, terminals)


def test_via():
    """Two sheets of equal shape joined by a barrel of known length, section and place."""
    strip = shapely.LineString([(0, 0), (10, 0)]).buffer(1)
    start, via = Hole(0, 0, 1.0), Hole(10, 0, 0.4)
    (alone,) = terminal_resistances(board_of([strip], [start, via], {"A": start, "B": via}), 0.5, 1).values()
    turned = shapely.affinity.rotate(strip, 90, origin=(10, 0))
    end = Hole(10, -10, 1.0)
    pads = [shapely.Point(hole.x, hole.y).buffer(1) for hole in (start, via, end)]
    board = board_of(
        [shapely.union_all([strip, pads[2]]), shapely.union_all([turned, pads[0]])],
        [start, via, end],
        {"A": start, "B": end},
    )
    (found,) = terminal_resistances(board, 0.5, 1).values()
    barrel = 1.5 / (pi * 0.38 * 0.02)
    assert found - 2 * alone == pytest.approx(barrel, rel=3e-4)
    assert 4 < alone < 5.5


def test_star_of_three_strips():
    """Three strips of 0.5 mm to a disc in the middle: resistances of the arms add in pairs, and the third is open."""
    lengths, holes, shapes = {"A": 10.0, "B": 20.0, "C": 40.0}, {}, [shapely.Point(0, 0).buffer(0.5)]
    for angle, (name, length) in zip((0.1, 2.2, 4.3), lengths.items(), strict=True):
        x, y = length * np.cos(angle), length * np.sin(angle)
        shapes += [shapely.LineString([(0, 0), (x, y)]).buffer(0.25), shapely.Point(x, y).buffer(0.6)]
        holes[name] = Hole(x, y, 0.6)
    other = shapely.union_all([shapely.Point(hole.x, hole.y).buffer(0.6) for hole in holes.values()])
    found = terminal_resistances(board_of([shapely.union_all(shapes), other], list(holes.values()), holes))
    arms = {
        name: (found[p] + found[q] - found[r]) / 2
        for name, p, q, r in (
            ("A", ("A", "B"), ("A", "C"), ("B", "C")),
            ("B", ("A", "B"), ("B", "C"), ("A", "C")),
            ("C", ("A", "C"), ("B", "C"), ("A", "B")),
        )
    }
    assert arms["B"] - arms["A"] == pytest.approx(20, rel=1e-3)
    assert arms["C"] - arms["B"] == pytest.approx(40, rel=1e-3)


def test_what_nothing_joins():
    sheets = [shapely.union_all([shapely.box(0, 0, 5, 1), shapely.box(0, 2, 5, 3)])]
    a, b, c = Hole(0.5, 0.5, 0.4), Hole(4.5, 0.5, 0.4), Hole(0.5, 2.5, 0.4)
    found = terminal_resistances(board_of(sheets, [a, b, c], {"A": a, "B": b, "C": c}))
    assert found["A", "B"] > 3 and np.isnan(found["A", "C"]) and np.isnan(found["B", "C"])


def test_finer_meshes_rise_to_a_limit():
    """Lower bounds that rise, ever more slowly; the coarsest lacks less than 0.1 %."""
    line = shapely.LineString([(0, 0), (20, 0), (20, 1), (0, 1), (0, 2), (20, 2)]).buffer(0.25)
    holes = {"A": Hole(0, 0, 0.3), "B": Hole(20, 2, 0.3)}
    board = board_of([line], list(holes.values()), holes)
    found = np.array([terminal_resistances(board, 0.5, halvings)["A", "B"] for halvings in range(3)])
    first, second = np.diff(found)
    assert 0 < second < first / 2 and first + 2 * second < 2e-3 * found[-1]
