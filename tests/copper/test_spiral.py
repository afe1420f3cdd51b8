"""The coil: how often it winds round, where its turns lie, what area it holds, and its bends."""

from math import cos, hypot, pi, sin

import numpy as np
import pytest
import shapely

from pcbstator.copper.lay import lay_copper
from pcbstator.copper.sizing import settle_plan
from pcbstator.copper.spiral.coil import CORNER_POINTS, fit_spiral, inner_margin, round_corner
from pcbstator.copper.spiral.outlines import outline_points
from pcbstator.winding import lay_winding
from tests.copper.stators import design_of, place

MM = 1e-3
COILS = {
    "sector": {},
    "sector, inner ring": {"winding__connection_ring": "inner"},
    "few wide sectors": {"winding__coils": 3, "rotor__poles": 4},
    "parallel": {"winding__outline": "parallel", "winding__coils": 9, "rotor__poles": 8, "winding__turns": 2},
    "round": {"winding__outline": "round"},
    "round, two layers": {"winding__outline": "round", "board__layers": 2, "winding__turns": 5},
    "eight layers": {"board__layers": 8, "winding__turns": 2},
    "one turn": {"winding__turns": 1, "board__layers": 2},
}
every_coil = pytest.mark.parametrize("values", COILS.values(), ids=COILS)


def coil_and_plan(values):
    design = design_of(**values)
    plan = settle_plan(design, lay_winding(design)).coil
    return design, lay_copper(design).coil, plan


def whole_path(coil):
    """The coil's centre-line from its first layer-transition via to its last, seen from above, and back straight: a
    closed line.
    """
    return np.concatenate([track.points for track in coil.tracks])


def times_round(path, point):
    """Winding number of the closed path about a point: the angles under which its steps appear, summed."""
    z = (path - point) @ np.array([1, 1j])
    return float(np.angle(np.roll(z, -1) / z).sum() / (2 * pi))


@every_coil
def test_winds_turns_times_layers_round_every_point_inside(values):
    design, coil, plan = coil_and_plan(values)
    path = whole_path(coil)
    depth = plan.pitch * (plan.turns + 1.0)
    low, high = plan.family.axis_room(depth, 0.5 * plan.width)
    inside = [x for x in np.linspace(low, high, 9) if min(abs(x - via) for via in plan.inner_vias) > 1e-5]
    assert len(inside) > 4
    for x in inside:
        assert times_round(path, [x, 0.0]) == pytest.approx(plan.turns * design.board.layers, abs=1e-9)
    assert times_round(path, [0.0, 0.0]) == pytest.approx(0.0, abs=1e-9)


@every_coil
def test_layers_meet_at_the_coils_own_holes(values):
    design, coil, _ = coil_and_plan(values)
    holes = {place((via.x, via.y)) for via in coil.vias}
    assert len(holes) == design.board.layers // 2 + design.board.layers // 2 + 1
    assert [track.layer for track in coil.tracks] == list(range(1, design.board.layers + 1))
    ends = [place(point) for track in coil.tracks for point in track.points[[0, -1]]]
    assert ends[1:-1:2] == ends[2::2], "a layer ends where the next begins"
    assert set(ends) == holes


@every_coil
def test_turns_cross_the_axis_one_pitch_apart(values):
    """Opposite the layer-transition vias, where no leads are; the pitch is the width, the gap and little more."""
    design, coil, plan = coil_and_plan(values)
    board = design.board
    clear = board.track_width + board.track_gap
    assert clear <= plan.pitch < clear / 0.8  # STEEPEST allows no more than 1/sqrt(1 − 0.6²)
    for track in coil.tracks:
        crossing = shapely.intersection(shapely.LineString(track.points), shapely.LineString([(0, 0), (0.1, 0)]))
        x = np.sort(shapely.get_coordinates(crossing)[:, 0])
        far = x[x < plan.inner_vias[-1] - 1e-6] if plan.side > 0 else x[x > plan.inner_vias[-1] + 1e-6]
        assert len(far) in (plan.turns, plan.turns + 1)
        assert np.diff(far) == pytest.approx(plan.pitch, rel=1e-6)
        outermost = far[0] - plan.family.inner if plan.side > 0 else plan.family.outer - far[-1]
        assert -1e-9 <= outermost <= plan.pitch


@every_coil
def test_pitch_leaves_the_gap_between_turns(values):
    """Turn against turn, cut where the coil has gone half round: by shapely, square on, slant and chords included."""
    design, coil, plan = coil_and_plan(values)
    clear = design.board.track_width + design.board.track_gap
    middle = np.array([plan.inner_vias[-1] - plan.side * 1e-5, 0.0])  # beside the last via
    for track in coil.tracks:
        z = (track.points - middle) @ np.array([1, 1j])
        swept = np.concatenate([[0.0], np.cumsum(np.angle(z[1:] / z[:-1]))])
        assert swept[-1] > 2 * pi * (plan.turns - 1), "counter-clockwise on every layer"
        inner_part = slice(3 * CORNER_POINTS, -3 * CORNER_POINTS)  # without the bends of both leads
        points, swept = track.points[inner_part], swept[inner_part]
        for turn in np.arange(swept[0], swept[-1] - 3 * pi, pi):
            first = points[(swept >= turn) & (swept <= turn + pi)]
            second = points[(swept >= turn + 2 * pi) & (swept <= turn + 3 * pi)]
            if min(len(first), len(second)) > 1:
                assert shapely.LineString(first).distance(shapely.LineString(second)) >= clear - 1e-9


@pytest.mark.parametrize("turns", [3, 6])
def test_area_of_a_round_coil(turns):
    """Archimedes' spiral r = R − p·t/(2·pi) sweeps pi·(R³ − (R − N·p)³)/(3·p) (integral of r²/2); 1 % for the leads."""
    values = {"winding__turns": turns, "winding__coils": 3, "rotor__poles": 4, "board__track_width_mm": 0.2}
    _, coil, plan = coil_and_plan(values | {"winding__outline": "round", "board__layers": 2})
    x, y = whole_path(coil).T
    area = float((x * np.roll(y, -1) - y * np.roll(x, -1)).sum() / 2)
    R, p, N = plan.family.radius, plan.pitch, turns
    assert area == pytest.approx(2 * pi * (R**3 - (R - N * p) ** 3) / (3 * p), rel=0.01)


@every_coil
def test_area_lies_between_the_turns_before_and_after(values):
    """A turn that moves in by a pitch holds less than the outline it starts on and more than the one it ends on."""
    design, coil, plan = coil_and_plan(values)
    x, y = whole_path(coil).T
    area = float((x * np.roll(y, -1) - y * np.roll(x, -1)).sum() / 2)

    def held(offset):
        vertex = np.arange(2 * plan.family.half_vertices)
        return shapely.Polygon(outline_points(plan.family, np.full(len(vertex), offset), vertex)).area

    turns = [held(plan.pitch * number) for number in range(plan.turns + 1)]
    layers = design.board.layers
    assert layers * sum(turns[1:]) < area < layers * sum(turns[:-1])


def test_inner_vias_keep_clear_of_each_other_and_of_the_turns():
    design, coil, plan = coil_and_plan({"board__layers": 8, "winding__turns": 2})
    board = design.board
    assert len(plan.inner_vias) == 4
    assert np.abs(np.diff(plan.inner_vias)).min() >= board.via_pad + board.track_gap
    margin = inner_margin(board.track_width, board.track_gap, board.via_pad)
    assert margin >= (board.track_width + board.via_pad) / 2 + board.track_gap
    for track in coil.tracks:
        half = len(track.points) // 2  # the half that does not lead to the vias
        turns = shapely.LineString(track.points[:half] if track.layer % 2 else track.points[half:])
        for via in plan.inner_vias:
            gap = turns.distance(shapely.Point(via, 0)) - board.track_width / 2 - board.via_pad / 2
            assert gap >= board.track_gap - 1e-9


def test_too_many_turns_or_vias_do_not_fit():
    _, _, plan = coil_and_plan({})
    sizes = (0.4 * MM, 0.25 * MM, 0.6 * MM)
    depth = plan.family.outer - plan.family.inner
    most = int(depth / 2 / (sizes[0] + sizes[1]))
    assert fit_spiral(plan.family, 1, *sizes, 1, 1) is not None
    assert fit_spiral(plan.family, most + 1, *sizes, 1, 1) is None
    assert fit_spiral(plan.family, 1, *sizes, int(depth / (sizes[1] + sizes[2])) + 1, 1) is None


@pytest.mark.parametrize("bend", [pi / 2, 2 * pi / 3, pi / 6])
def test_rounded_corner_is_a_parabola(bend):
    """Archimedes: a parabola's segment is 2/3 of its triangle; n equal pieces of it hold 1 − 1/n² of the segment."""
    reach = 0.4 * MM
    corner = np.array([3.0 * MM, 1.0 * MM])
    before, after = corner - [2 * MM, 0], corner + 2 * MM * np.array([cos(bend), sin(bend)])
    path = round_corner(np.array([before, corner, after]), 1, reach)
    assert len(path) == CORNER_POINTS + 2
    assert path[[0, -1]] == pytest.approx(np.array([before, after]), rel=1e-12)
    start, stop = corner - [reach, 0], corner + reach * np.array([cos(bend), sin(bend)])
    assert path[[1, -2]] == pytest.approx(np.array([start, stop]), rel=1e-12)
    triangle = reach**2 * sin(bend) / 2
    pieces = CORNER_POINTS - 1
    assert shapely.Polygon(path[1:-1]).area == pytest.approx(triangle * 2 / 3 * (1 - 1 / pieces**2), rel=1e-9)


def test_rounded_corner_passes_over_short_steps():
    """A corner next to short steps begins further along the line, never beyond its ends."""
    line = np.array([[0, 0], [1, 0], [1.9, 0], [2, 0], [2, 0.1], [2, 5]]) * MM
    path = round_corner(line, 3, 0.5 * MM)
    assert path[0] == pytest.approx(line[0]) and path[-1] == pytest.approx(line[-1])
    assert path[2] == pytest.approx([1.5 * MM, 0.0], abs=1e-12)
    assert path[-2] == pytest.approx([2 * MM, 0.5 * MM], abs=1e-12)
    assert hypot(*(round_corner(line[1:5], 2, 5 * MM)[-1] - line[4])) < 1e-12
