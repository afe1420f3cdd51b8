"""Coil span, fill factor and end windings: shapes with closed forms, and the drawn copper measured another way."""

from math import asin, pi
from pathlib import Path

import numpy as np
import pytest
import shapely

import pcbstator
from pcbstator.analysis.electrical.winding_geometry import coil_span, length_along_circle
from pcbstator.copper import CoilVisit, TileJumper, Track
from pcbstator.copper.geometry.tracks import strip_outline
from pcbstator.design import design_from_document
from tests.output.matrix import document
from tests.shipped import shipped

DESIGNS = sorted(Path("designs").glob("*.toml"))


@pytest.fixture(scope="module", params=DESIGNS, ids=lambda path: path.stem)
def machine(request):
    return shipped(request.param.stem)[2]


@pytest.fixture(scope="module")
def wave():
    asked = document()
    asked["winding"] = {"kind": "wave", "turns": 2}
    asked["rotor"]["poles"] = 16
    asked["board"] |= {"copper_inner_diameter_mm": 70.0, "copper_outer_diameter_mm": 160.0}
    asked["rotor"]["magnet"] |= {"inner_diameter_mm": 85.0, "outer_diameter_mm": 140.0}
    return pcbstator.predict(design_from_document(asked, "wave"))


def track(points, turn=0.0, layer=1):
    return Track(layer, np.array(points, dtype=float), 0.1, "A", "A", "coil", turn=turn)


def rectangle(half):
    """One turn counter-clockwise from outside, sides at y = +half and -half."""
    return [[30, half], [10, half], [10, -half], [30, -half]]


@pytest.mark.parametrize("turn", [0.0, 0.3])
def test_coil_span_of_parallel_sides(turn):
    """Sides at y = +-h cross radius r at +-asin(h / r); several turns count with their mean, wherever the coil lies."""
    one, two = track(rectangle(4.0), turn), track(rectangle(6.0), turn, 2)
    assert coil_span([one], 20.0) == pytest.approx(2 * asin(4 / 20), rel=1e-12)
    assert coil_span([one, two], 20.0) == pytest.approx(asin(4 / 20) + asin(6 / 20), rel=1e-12)
    assert coil_span([one], 50.0) == 0.0


def test_coil_span_is_where_the_drawn_sides_cross_the_circle(machine):
    """The library cuts the drawn tracks with the circle; along the coil the two sides take turns."""
    board, copper = machine.design.board, machine.laid
    radius = (board.copper_inner_diameter + board.copper_outer_diameter) / 4
    circle = shapely.Point(0, 0).buffer(radius, quad_segs=20_000).exterior
    angles = []
    for each in copper.coil.tracks[:2]:
        line = shapely.LineString(each.points)
        met = sorted(shapely.get_parts(shapely.intersection(circle, line)), key=line.project)
        angles += [np.arctan2(place.y, place.x) for place in met]
    span = abs(np.mean(angles[::2]) - np.mean(angles[1::2]))
    assert machine.winding.coil_span == pytest.approx(span, rel=1e-6)
    assert machine.winding.coil_span_electrical == pytest.approx(span * machine.winding.poles / 2, rel=1e-5)
    assert machine.winding.coil_span < 2 * pi / machine.winding.coils


def test_wave_spans_a_pole(wave):
    rows = wave.to_dict()["winding"]
    assert rows["pole_pitch_deg"] == pytest.approx(22.5)
    assert rows["coil_span_deg"] == pytest.approx(22.5)
    assert rows["coil_span_electrical_deg"] == pytest.approx(180.0)


def test_fill_factor_against_the_drawn_areas(machine):
    """Outlines of all copper of the coils' layers, united by the library, over the annulus. 2 %: overlaps count twice
    in the result, of pads with tracks and of tracks with each other where they meet.
    """
    board, copper = machine.design.board, machine.laid.board
    rings = pi / 4 * (board.copper_outer_diameter**2 - board.copper_inner_diameter**2)
    parts = []
    for number in sorted({each.layer for each in copper.coil.tracks}):
        strips = [shapely.Polygon(strip_outline(each)).buffer(0) for each in copper.tracks if each.layer == number]
        pads = [shapely.Point(hole.x, hole.y).buffer(hole.pad / 2) for hole in copper.holes]
        drills = shapely.union_all([shapely.Point(hole.x, hole.y).buffer(hole.drill / 2) for hole in copper.holes])
        parts.append(shapely.difference(shapely.union_all(strips + pads), drills).area / rings)
    assert machine.copper.fill_factor == pytest.approx(np.mean(parts), rel=0.02)


def test_length_along_circle_of_a_sector_and_a_slanted_line():
    """Of an annular sector the arcs count, a1 r1 + a2 r2; a line at 44 degrees to the radius does not."""
    around = np.linspace(0, 0.8, 2001)
    arcs = [radius * np.stack([np.cos(around), np.sin(around)], axis=1) for radius in (2.0, 5.0)]
    sector = np.concatenate([arcs[0], arcs[1][::-1], arcs[0][:1]])
    assert length_along_circle(sector) == pytest.approx(0.8 * (2 + 5), rel=1e-6)
    for angle, counted in ((44.0, 0.0), (46.0, 1.0)):
        slanted = np.array([[1e3, 0.0], [1e3 + np.cos(np.radians(angle)), np.sin(np.radians(angle))]])
        assert length_along_circle(slanted) == pytest.approx(counted)


def walked_length(copper):
    """Mean over the paths of their pieces more than 45 degrees from the radius, by the angle each turns through."""
    found = []
    for path in (path for phase in copper.phases for path in phase.paths):
        total = 0.0
        for step in path.steps:
            lines = []
            if isinstance(step, CoilVisit):
                lines = [each.points for each in copper.placed_coil(step.coil, step.forward)]
            elif isinstance(step, Track):
                lines = [step.points]
            elif isinstance(step, TileJumper):
                lines = [np.array([step.start, step.end])]
            for points in lines:
                moves, middles = np.diff(points, axis=0), (points[1:] + points[:-1]) / 2
                slants = np.abs(np.einsum("ij,ij->i", moves, middles) / np.hypot(*middles.T))
                lengths = np.hypot(*moves.T)
                total += lengths[slants < lengths / 2**0.5].sum()
        found.append(total)
    return np.mean(found)


def test_end_winding_length_along_every_step(machine):
    assert machine.copper.end_winding_length == pytest.approx(walked_length(machine.laid), rel=1e-3)
    assert 0.2 < machine.copper.end_winding_length / machine.copper.phase_length < 0.8


def test_end_windings_and_active_conductors_of_a_wave(wave):
    """What is no end winding runs along the radius: a straight run for each of the conductors of a path, which reaches
    less far than the annulus is wide and, with bends, more than half as far.
    """
    assert wave.copper.end_winding_length == pytest.approx(walked_length(wave.laid), rel=1e-3)
    board = wave.design.board
    width = (board.copper_outer_diameter - board.copper_inner_diameter) / 2
    conductors = 2 * wave.winding.series_turns
    active = wave.copper.phase_length - wave.copper.end_winding_length
    assert 0.5 < active / (conductors * width) < 1.0
