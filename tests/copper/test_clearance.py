"""The measured gap against a measure of every pair of straight pieces, and that it sees copper put in the way."""

from dataclasses import replace

import numpy as np
import pytest

from pcbstator.copper import Terminal, Via, lay_copper
from pcbstator.copper.clearance import layer_gaps, least_gap
from tests.copper.stators import brute_force_gap, design_of

MM = 1e-3
SMALL = {
    "winding__coils": 3,
    "winding__turns": 2,
    "rotor__poles": 4,
    "board__layers": 2,
    "board__copper_outer_diameter_mm": 50.0,
}
STATORS = {
    "sector": {},
    "sector, four layers": {"board__layers": 4},
    "round": {"winding__outline": "round"},
    "parallel, inner ring": {"winding__outline": "parallel", "winding__connection_ring": "inner"},
    "narrow": {"board__track_width_mm": 0.15, "board__track_gap_mm": 0.15},
    "wide": {"board__track_width_mm": 0.7, "board__track_gap_mm": 0.4, "winding__turns": 1},
    "wide interconnects": {"board__interconnect_width_mm": 1.0, "winding__connection": "delta", "winding__turns": 1},
    "six coils": {"winding__coils": 6, "rotor__poles": 8, "winding__connection": "open"},
}


def copper_of(values):
    design = design_of(**(SMALL | values))
    return design, lay_copper(design)


def every_pair(design, copper, reach):
    """Places up to four copper widths and gaps along the copper count as one: a bridge there saves a few squares."""
    short = 4 * (design.board.track_gap + max(design.board.track_width, design.board.via_pad))
    return [brute_force_gap(copper, layer.number, short, reach) for layer in copper.layers]


@pytest.mark.parametrize("values", STATORS.values(), ids=STATORS)
def test_least_gap_is_that_of_every_pair(values):
    design, copper = copper_of(values)
    reach = 1.5 * design.board.track_gap
    expected = every_pair(design, copper, reach)
    for layer, least in zip(copper.layers, expected, strict=True):
        gaps = layer_gaps(copper, layer.number, reach)
        assert [gap.distance for gap in gaps] == sorted(gap.distance for gap in gaps)
        assert (gaps[0].distance if gaps else reach) == pytest.approx(least, abs=1e-12)
    found = least_gap(copper, reach)
    assert found is not None and found.distance == pytest.approx(min(expected), abs=1e-12)
    assert found.distance >= design.board.track_gap - 1e-9


def test_gap_between_two_strips_is_where_and_what_it_is():
    """A hole beside a track: centre distance less both half widths, half-way between the centres."""
    _, copper = copper_of({})
    track = copper.coil.tracks[0]
    (x, y), (dx, dy) = track.points[40], track.points[41] - track.points[40]
    outwards = np.array([dy, -dx]) / np.hypot(dx, dy)
    at = np.array([x, y]) + np.array([dx, dy]) / 2 + outwards * (track.width / 2 + 0.1 * MM + 0.3 * MM)
    stray = Via(*at, 0.3 * MM, 0.6 * MM, "STRAY", 1, 2)
    gap = layer_gaps(replace(copper, interconnect_vias=(stray,)), 1, 0.2 * MM)[0]
    assert gap.distance == pytest.approx(0.1 * MM, rel=1e-6)
    assert [gap.x, gap.y] == pytest.approx(at - outwards * (track.width / 2 + 0.4 * MM) / 2, rel=1e-6)
    assert set(gap.nets) == {"STRAY", copper.coil_nets[0]} and gap.layer == 1


def wider_tracks(copper):
    tracks = tuple(replace(track, width=track.width + 0.1 * MM) for track in copper.coil.tracks)
    return replace(copper, coil=replace(copper.coil, tracks=tracks))


def coils_closer(copper):
    return replace(copper, coil_angles=copper.coil_angles * (1 - 0.004))


def interconnects_further_in(copper):
    return replace(
        copper,
        interconnects=tuple(
            replace(interconnect, shape=interconnect.shape * 0.99) for interconnect in copper.interconnects
        ),
    )


def a_terminal_beside_a_coil(copper):
    first = copper.terminals[0]
    x, y = copper.coil.tracks[0].points[60]
    stray = Terminal("X", x + 0.3 * MM, y, first.drill, first.pad, 1, "STRAY")
    return replace(copper, terminals=(*copper.terminals, stray))


def larger_transition_pads(copper):
    vias = tuple(replace(via, pad=via.pad + 0.1 * MM) for via in copper.coil.vias)
    return replace(copper, coil=replace(copper.coil, vias=vias))


HARM = [wider_tracks, coils_closer, interconnects_further_in, a_terminal_beside_a_coil, larger_transition_pads]


@pytest.mark.parametrize("harm", HARM, ids=lambda harm: harm.__name__)
def test_gap_shrinks_where_copper_comes_closer(harm):
    """And again by as much as a measure of every pair says."""
    design, copper = copper_of({"winding__coils": 6, "rotor__poles": 8, "board__copper_outer_diameter_mm": 60.0})
    reach = design.board.track_gap
    harmed = harm(copper)
    found = least_gap(harmed, reach)
    assert found is not None and found.distance < design.board.track_gap - 0.02 * MM
    if harm is not coils_closer:  # that one is no longer the same from every coil
        assert found.distance == pytest.approx(min(every_pair(design, harmed, reach)), abs=1e-12)


def test_nothing_within_reach_is_none():
    _, copper = copper_of({"winding__turns": 1})
    assert least_gap(copper, 1e-6) is None
