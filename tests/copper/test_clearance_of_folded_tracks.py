"""A track that comes back to itself: its neck is a gap as soon as the way round is clearly longer than the gap."""

from dataclasses import replace
from math import asin, hypot, pi

import numpy as np
import pytest

from pcbstator.copper import Copper, Track, lay_copper
from pcbstator.copper.clearance import layer_gaps
from tests.copper.stators import design_of

MM = 1e-3
WIDTH, NECK, REACH = 0.2 * MM, 0.1 * MM, 0.15 * MM


def keyhole(way: float, centre: tuple[float, float] = (25.0 * MM, 0.0)) -> Track:
    """A round loop whose ends stand NECK apart and leave straight away from each other; ``way`` [m] round the loop."""
    radius = way / (2 * pi)
    for _ in range(20):
        half = asin((NECK + WIDTH) / 2 / radius)  # of the opening, seen from the loop's middle
        radius = way / (2 * pi - 2 * half)
    turn = np.linspace(half, 2 * pi - half, 400)
    loop = radius * np.column_stack([np.cos(turn), np.sin(turn)])
    away = np.linspace(0.0, 2.0 * MM, 200)[1:, None] * np.array([[0.6, 0.8]])
    points = np.vstack([(loop[0] + away)[::-1], loop, loop[-1] + away * [1, -1]]) + np.array(centre)
    return Track(1, points, WIDTH, "", "", "coil")


def board_with(track: Track) -> Copper:
    """One coil that is this track alone; a terminal far off."""
    copper = lay_copper(design_of(winding__turns=1, board__layers=2))
    coil = replace(copper.coil, tracks=(track,), vias=())
    one = {"coil_angles": np.zeros(1), "coil_phases": ("A",), "coil_senses": (1,), "coil_nets": ("A",)}
    terminal = replace(copper.terminals[0], x=-30.0 * MM, y=0.0)
    return replace(copper, coil=coil, interconnects=(), interconnect_vias=(), terminals=(terminal,), **one)


@pytest.mark.parametrize("way", [1.6, 1.9, 3.0, 6.0])
def test_the_neck_of_a_loop_is_a_gap(way: float) -> None:
    """Ways round of 5 to 17 copper widths and gaps: a bridge across the neck would save at least a loop's inside."""
    track = keyhole(way * MM)
    gaps = layer_gaps(board_with(track), 1, REACH)
    assert gaps[0].distance == pytest.approx(NECK, abs=1e-9)
    ends = track.points[199], track.points[598]
    assert hypot(*(np.array([gaps[0].x, gaps[0].y]) - (ends[0] + ends[1]) / 2)) < 0.02 * MM


def test_a_bend_is_no_gap() -> None:
    """A corner bent as tightly as its own width brings its sides together, but over no longer way than that."""
    turn = np.linspace(0.0, pi, 100)[:, None]
    bend = np.hstack([25.0 * MM + 0.05 * MM * np.cos(turn), 0.05 * MM * np.sin(turn)])
    assert layer_gaps(board_with(Track(1, bend, WIDTH, "", "", "coil")), 1, REACH) == []
