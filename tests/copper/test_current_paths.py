"""What paths run through, and what copies of a track share."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import pcbstator
from pcbstator.copper import CoilVisit, Path, Pin, TileJumper, Track
from pcbstator.copper.geometry.tracks import spot, track_lengths
from tests.copper.stators import design_of

RING = {"board.copper_inner_diameter_mm": 60.0, "board.copper_outer_diameter_mm": 130.0, "rotor.poles": 16}
WAVE = {"winding.kind": "wave", "winding.coils": None, "winding.turns": 1, **RING}
KINDS = {
    "one path": {},
    "two paths": {"winding.parallel_paths": 2},
    "delta": {"winding.connection": "delta"},
    "wave": WAVE,
    "wave of two paths": {**WAVE, "winding.parallel_paths": 2},
    "boards in series": {"stack.boards": 2, "stack.connection": "series"},
    "boards in parallel": {"stack.boards": 2, "stack.connection": "parallel"},
    "tiles": {"board.tiles": 2, "winding.coils": 12, **RING},
    "open": {"winding.connection": "open"},
    "five phases": {"winding.phases": 5, "winding.coils": 10},
    "two of four layers, tapered": {"board.coil_layers": [2, 3], "board.track_profile": "tapered", "winding.turns": 2},
}
every_kind = pytest.mark.parametrize("values", KINDS.values(), ids=KINDS)


def laid(values):
    return pcbstator.lay_copper(design_of().with_values(values))


@every_kind
def test_every_path_goes_through_what_its_steps_say(values):
    """Steps found again in the table by where they lie, not by who they are."""
    copper = laid(values)
    table, paths = copper.current_paths, [path for phase in copper.phases for path in phase.paths]
    rows = {track.piece[0]: row for row, track in enumerate(table.tracks)}
    assert len(rows) == len(table.tracks)
    assert table.tracks[: len(copper.interconnects)] == copper.interconnects
    for number, path in enumerate(paths):
        through, coils = np.zeros(len(table.tracks)), np.zeros(len(copper.coil_angles))
        for step in path.steps:
            if isinstance(step, Track):
                row = rows[step.piece[0]]
                through[row] = 1 if np.hypot(*(step.points[0] - table.tracks[row].points[0])) < 1e-9 else -1
            elif isinstance(step, CoilVisit):
                coils[step.coil] = 1 if step.forward else -1
        assert np.array_equal(table.through[number], through)
        assert np.array_equal(table.coils[number], coils)
    assert table.phase.tolist() == [index for index, phase in enumerate(copper.phases) for _ in phase.paths]


@every_kind
def test_every_coil_lies_on_one_path(values):
    assert np.array_equal(np.abs(laid(values).current_paths.coils).sum(axis=0), np.ones(len(laid(values).coil_angles)))


@every_kind
def test_paths_are_found_as_well_where_tracks_were_moved_one_by_one(values):
    """Copies of the steps are no longer the interconnects themselves; their places tell."""
    copper = laid(values)

    def copied(path):
        return replace(path, steps=tuple(replace(s) if isinstance(s, Track) else s for s in path.steps))

    phases = tuple(replace(phase, paths=tuple(map(copied, phase.paths))) for phase in copper.phases)
    other = replace(copper, phases=phases)
    assert np.array_equal(other.current_paths.through, copper.current_paths.through)
    assert len(other.current_paths.tracks) == len(copper.current_paths.tracks)


@pytest.mark.parametrize("angle", [0.0, 0.4, -2.0])
def test_a_turned_track_is_the_same_copper_elsewhere(angle):
    shape = np.array([[0.02, 0.0], [0.03, 0.004], [0.031, 0.009]])
    track = Track(1, shape, 1e-3, "X", "A", "interconnect").turned(0.3).turned(angle)
    turn = np.exp(1j * (0.3 + angle))
    placed = (shape[:, 0] + 1j * shape[:, 1]) * turn
    assert track.points == pytest.approx(np.stack([placed.real, placed.imag], axis=1), abs=1e-15)
    assert np.array(track.ends) == pytest.approx(track.points[[0, -1]], abs=1e-15)
    assert track.shape is shape
    assert track.length == pytest.approx(np.hypot(*np.diff(shape, axis=0).T).sum(), rel=1e-14)
    assert track_lengths([track, track.reversed()]) == pytest.approx([track.length] * 2, rel=1e-14)


@every_kind
def test_nobody_can_change_what_stators_share(values):
    """Arcs, leads and conductors of waves are kept for further stators."""
    copper = laid(values)
    shared = [track for track in copper.interconnects if track.turn != 0.0]
    assert shared or "winding.kind" in values
    for track in shared:
        with pytest.raises(ValueError, match="read-only"):
            track.shape[0] = 0.0


def test_tracks_of_one_shape_are_told_apart_by_layer_and_width():
    shape, widths = np.array([[0.02, 0.0], [0.03, 0.0]]), np.array([1e-3, 2e-3])
    track = Track(1, shape, 2e-3, "X", "A", "interconnect")
    others = [replace(track, layer=2), replace(track, width=1e-3), replace(track, widths=widths)]
    others.append(replace(track, shape=shape.copy()))
    assert len({each.form for each in (track, *others)}) == 5
    assert track.turned(1.0).form == track.form


def test_back_and_forth_is_the_track_itself():
    track = Track(1, np.array([[0.02, 0.0], [0.03, 0.0]]), 1e-3, "X", "A", "interconnect", turn=0.2)
    back = track.reversed()
    assert back.original is track and back.reversed() is track and track.original is track
    assert np.array_equal(back.points, track.points[::-1])
    assert back.piece == (track.piece[0], -track.piece[1])
    lower = replace(back, layer=2)
    assert lower.original is lower and lower.reversed().layer == 2
    assert [spot(*end) for end in back.ends] == [spot(*end) for end in track.ends[::-1]]


def test_pins_and_tile_jumpers_are_transitions_of_their_paths():
    series, tiles = laid(KINDS["boards in series"]), laid(KINDS["tiles"])
    pins = np.array([isinstance(transition, Pin) for transition in series.current_paths.transitions])
    assert np.all(np.abs(series.current_paths.across[:, pins]).sum(axis=1) == 1)
    wires = [transition for transition in tiles.current_paths.transitions if isinstance(transition, TileJumper)]
    assert wires and len(wires) <= len(tiles.jumper_holes) // 2


def test_a_hole_is_cut_where_paths_part():
    """Layers 1 to 4 and 6 to 3 of one hole: both run through its middle, each in its own direction, and that is there
    once.
    """
    steps = [
        (Track(a, np.array([[0.0, 0.0], [1.0, 0.0]]), 1e-3, "X", "A", "interconnect"),
         Track(b, np.array([[1.0, 0.0], [1.0, 1.0 + a]]), 1e-3, "X", "A", "interconnect"))
        for a, b in ((1, 4), (6, 3))
    ]  # fmt: skip
    copper = laid({})
    phases = tuple(replace(phase, paths=(Path(own),)) for phase, own in zip(copper.phases[:2], steps, strict=True))
    table = replace(copper, interconnects=(), phases=phases).current_paths
    found = {tuple(transition): table.across[:, index].tolist() for index, transition in enumerate(table.transitions)}
    assert found == {(1, 3): [1.0, 0.0], (3, 4): [1.0, -1.0], (4, 6): [0.0, -1.0]}
