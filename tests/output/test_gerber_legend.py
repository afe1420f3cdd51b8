"""The legend: on the board, off the pads, thick enough to print, the right way round; read back by gerbonara."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
from shapely.geometry.base import BaseGeometry

from pcbstator.copper import Copper
from pcbstator.output.fabrication.gerber import legend_gerber
from pcbstator.output.fabrication.legend import legend_shapes
from tests.output import readback

SIDES = ("top", "bottom")
LONG = "A filter wheel with rather a long title that cannot all be printed on any board of this size, can it? " * 3


@pytest.fixture(scope="module")
def stator() -> Copper:
    return readback.small_stator()


def printed(copper: Copper, side: str, title: str) -> BaseGeometry:
    """The printed area [mm] that gerbonara reads."""
    return shapely.union_all(readback.read_shapes(legend_gerber(copper, side, title)))


@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize("title", ["Scan stage", readback.ODD_TITLE, LONG])
def test_on_the_board_and_off_the_pads(stator: Copper, side: str, title: str) -> None:
    ink = printed(stator, side, title)
    board = shapely.Point(0, 0).buffer(43.5, quad_segs=256).difference(shapely.Point(0, 0).buffer(18.5, quad_segs=256))
    assert ink.area > 10
    assert ink.difference(board).area < 1e-6 * ink.area
    for terminal in stator.terminals:
        opening = shapely.Point(terminal.x * 1e3, terminal.y * 1e3).buffer(terminal.pad * 500 + 0.2)
        assert not ink.intersects(opening)


@pytest.mark.parametrize("side", SIDES)
def test_file_holds_the_shapes(stator: Copper, side: str) -> None:
    meant = sum(shape.area for shape in legend_shapes(stator, side, "Scan stage")) * 1e6
    assert printed(stator, side, "Scan stage").area == pytest.approx(meant, rel=1e-3)


def test_strokes_can_be_printed(stator: Copper) -> None:
    """What a 0.15 mm pen can fill is all but the corners of the letters (opening by a disc)."""
    ink = printed(stator, "top", "Scan stage eagx 0123456789")
    open_ink = ink.buffer(-0.074).buffer(0.074)
    assert ink.difference(open_ink).area < 0.02 * ink.area


def test_every_terminal_has_its_name(stator: Copper) -> None:
    """Without title, arrow and layer text only the names are near the terminals; each has ink within 3 mm."""
    ink = printed(stator, "top", "")
    for terminal in stator.terminals:
        assert ink.distance(shapely.Point(terminal.x * 1e3, terminal.y * 1e3)) < terminal.pad * 500 + 1.5


def test_bottom_is_mirrored(stator: Copper) -> None:
    """A board whose copper is its own mirror image has, seen from below, the same title in the same place."""
    no_coils = {"coil_angles": np.array([]), "coil_nets": (), "coil_senses": (), "coil_phases": ()}
    plain = replace(stator, terminals=(), phases=(), **no_coils)
    top, bottom = (printed(plain, side, "Scan stage") for side in SIDES)
    below = shapely.transform(bottom, lambda xy: xy * np.array([-1.0, 1.0]))
    low = shapely.box(-50, -50, 50, -20)
    assert top.intersection(low).area > 5
    assert top.intersection(low).symmetric_difference(below.intersection(low)).area < 1e-3 * top.area
    assert top.intersection(low).symmetric_difference(bottom.intersection(low)).area > 0.2 * top.intersection(low).area


def test_arrow_turns_counter_clockwise_seen_from_the_rotor(stator: Copper) -> None:
    """The arrow's head is its widest part: it lies ahead of its middle, in the direction of turning, in both files."""
    for side in SIDES:
        arrows = [shape for shape in legend_shapes(stator, side, "") if not shape.interiors and shape.length > 15e-3]
        assert len(arrows) == 1
        arrow = arrows[0]
        box = arrow.minimum_rotated_rectangle.centroid
        ahead = np.arctan2(arrow.centroid.y, arrow.centroid.x) - np.arctan2(box.y, box.x)
        assert ahead > 0.5e-3 / 40e-3


def test_odd_letters_and_small_boards(stator: Copper) -> None:
    assert legend_shapes(stator, "top", "\x00\x07 風")  # no glyph: question marks
    narrow = replace(stator, board_inner_radius=43.0e-3)
    assert legend_shapes(narrow, "top", LONG) == []
