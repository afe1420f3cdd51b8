"""The centre-lines as the contract with field solvers has them, held against the copper that they come from."""

from __future__ import annotations

import itertools
import json
from math import hypot

import numpy as np
import pytest

import pcbstator
from pcbstator.analysis.electrical.conductors import conductors_of
from pcbstator.output.drawing.centrelines import centrelines
from tests.command import DESIGNS

POINT = {"x_mm", "y_mm", "layer"}
TRACK = {"layer", "z_mm", "width_mm", "thickness_um", "points_mm"}
VIA = {"x_mm", "y_mm", "drill_mm", "from_layer", "to_layer", "net"}
CHANGES = [
    {},
    {"winding.connection": "delta"},
    {"winding.connection": "open"},
    {"winding.parallel_paths": 3, "winding.turns": 8},
]


@pytest.fixture(scope="module", params=[(path, {}) for path in DESIGNS] + [(DESIGNS[1], c) for c in CHANGES[1:]])
def case(request):
    path, changes = request.param
    design = pcbstator.load_design(path).with_values(changes)
    copper = pcbstator.lay_copper(design)
    data = centrelines(copper, conductors_of(design, copper).path_shares)
    return design, copper, json.loads(json.dumps(data, allow_nan=False))


def place(point):
    return point["x_mm"], point["y_mm"]


def test_keys_and_units(case):
    design, copper, data = case
    assert set(data) == {"phases", "vias"}
    z = dict(enumerate(design.board.layer_z, start=1))
    for phase in data["phases"]:
        assert set(phase) == {"name", "terminal", "end", "paths"}
        assert set(phase["terminal"]) == set(phase["end"]) == POINT
        for path in phase["paths"]:
            assert set(path) == {"share", "tracks"}
            for track in path["tracks"]:
                assert set(track) == TRACK
                assert track["z_mm"] == pytest.approx(1e3 * z[track["layer"]], abs=6e-7)  # nanometres
                assert track["thickness_um"] == pytest.approx(1e6 * copper.layers[track["layer"] - 1].thickness)
                assert np.array(track["points_mm"]).shape[1:] == (2,)
    assert all(set(via) == VIA for via in data["vias"])


def test_paths_run_from_terminal_to_end_without_a_break(case):
    _, copper, data = case
    drilled = {place(via) for via in data["vias"]} | {(1e3 * t.x, 1e3 * t.y) for t in copper.terminals}
    for phase in data["phases"]:
        for path in phase["paths"]:
            first, last = path["tracks"][0], path["tracks"][-1]
            assert first["points_mm"][0] == pytest.approx(place(phase["terminal"]), abs=2e-6)
            assert first["layer"] == phase["terminal"]["layer"]
            # Paths may meet at a star point on different layers, if it is a plated hole.
            at_hole = min(np.hypot(x - phase["end"]["x_mm"], y - phase["end"]["y_mm"]) for x, y in drilled) < 2e-6
            assert last["layer"] == phase["end"]["layer"] or at_hole
            assert last["points_mm"][-1] == pytest.approx(place(phase["end"]), abs=2e-6)
            for here, there in itertools.pairwise(path["tracks"]):
                joint = here["points_mm"][-1]
                assert joint == pytest.approx(there["points_mm"][0], abs=2e-6)
                if here["layer"] != there["layer"]:
                    assert min(hypot(joint[0] - x, joint[1] - y) for x, y in drilled) < 2e-6


def test_shares_add_up_and_lengths_are_those_of_the_copper(case):
    design, copper, data = case
    for phase in data["phases"]:
        assert sum(path["share"] for path in phase["paths"]) == pytest.approx(1)
        assert len(phase["paths"]) == design.winding.parallel_paths
    coil = sum(track.length for track in copper.coil.tracks)
    for phase, laid in zip(data["phases"], copper.phases, strict=True):
        for path, steps in zip(phase["paths"], laid.paths, strict=True):
            given = sum(np.hypot(*np.diff(track["points_mm"], axis=0).T).sum() for track in path["tracks"])
            assert given == pytest.approx(1e3 * sum(getattr(step, "length", coil) for step in steps.steps), rel=1e-6)


def test_every_coil_is_passed_once(case):
    _, copper, data = case
    layers, width = len(copper.layers), 1e3 * copper.coil.tracks[0].width
    lengths = [1e3 * track.length for track in copper.coil.tracks]
    count = 0
    for phase in data["phases"]:
        for path in phase["paths"]:
            for track in path["tracks"]:
                points = np.array(track["points_mm"])
                length = np.hypot(*np.diff(points, axis=0).T).sum()
                count += bool(np.isclose(length, lengths[track["layer"] - 1], rtol=1e-6) and track["width_mm"] == width)
    assert count == layers * len(copper.coil_angles)


def test_vias_are_those_of_the_copper(case):
    _, copper, data = case
    assert len({place(via) for via in data["vias"]}) == len(data["vias"]) == len(copper.vias)
    for given, via in zip(data["vias"], copper.vias, strict=True):
        assert place(given) == pytest.approx((1e3 * via.x, 1e3 * via.y), abs=1e-6)
        assert (given["net"], given["from_layer"], given["to_layer"]) == (via.net, via.from_layer, via.to_layer)
