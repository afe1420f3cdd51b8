"""The whole stator: what is drawn joins what must be joined and nothing else, and current finds its path through it."""

import itertools
from collections import Counter

import numpy as np
import pytest
import shapely

from pcbstator.copper import CoilVisit, lay_copper
from pcbstator.winding import lay_winding
from tests.copper.stators import check_network, design_of, joined_copper, place

STATORS = {
    "star": {},
    "delta": {"winding__connection": "delta"},
    "open": {"winding__connection": "open"},
    "star, two layers": {"board__layers": 2},
    "delta, two layers, inner ring": {
        "winding__connection": "delta",
        "board__layers": 2,
        "winding__connection_ring": "inner",
    },
    "open, inner ring": {"winding__connection": "open", "winding__connection_ring": "inner"},
    "two paths": {"winding__parallel_paths": 2, "board__layers": 6, "winding__turns": 2},
    "two paths, delta": {"winding__parallel_paths": 2, "winding__connection": "delta"},
    "two paths, open": {"winding__parallel_paths": 2, "winding__connection": "open", "board__layers": 2},
    "both senses": {"winding__coils": 12, "rotor__poles": 10, "winding__turns": 2},
    "both senses, open": {"winding__coils": 12, "rotor__poles": 10, "winding__turns": 2, "winding__connection": "open"},
    "no interconnects": {"winding__coils": 3, "rotor__poles": 4, "winding__outline": "round"},
    "round": {"winding__outline": "round", "winding__coils": 9, "rotor__poles": 12},
    "parallel sides": {"winding__outline": "parallel", "winding__coils": 9, "rotor__poles": 8, "winding__turns": 2},
    "two phases": {"winding__phases": 2, "winding__coils": 8, "rotor__poles": 6, "winding__connection": "open"},
    "wide interconnects": {"board__interconnect_width_mm": 0.9},
}
every_stator = pytest.mark.parametrize("values", STATORS.values(), ids=STATORS)


def laid(values):
    design = design_of(**values)
    return design, lay_copper(design)


def steps_of(copper, path):
    """The tracks of a path in order, coils taken apart."""
    for step in path.steps:
        yield from copper.placed_coil(step.coil, step.forward) if isinstance(step, CoilVisit) else [step]


@every_stator
def test_paths_run_from_terminal_to_end_without_a_break(values):
    """Consecutive tracks meet at one place, and change layers only where a plated hole stands."""
    design, copper = laid(values)
    holes = {place((hole.x, hole.y)) for hole in [*copper.vias, *copper.terminals]}
    terminals = {terminal.name: terminal for terminal in copper.terminals}
    for phase in copper.phases:
        named = terminals[phase.name]
        assert (phase.terminal.x, phase.terminal.y, phase.terminal.layer) == (named.x, named.y, named.layer)
        for path in phase.paths:
            tracks = list(steps_of(copper, path))
            assert place(tracks[0].points[0]) == place((phase.terminal.x, phase.terminal.y))
            assert place(tracks[-1].points[-1]) == place((phase.end.x, phase.end.y))
            for before, after in itertools.pairwise(tracks):
                assert place(before.points[-1]) == place(after.points[0])
                if before.layer != after.layer:
                    assert place(after.points[0]) in holes
        assert len(phase.paths) == design.winding.parallel_paths


@every_stator
def test_phases_end_where_the_connection_says(values):
    design, copper = laid(values)
    terminals = {terminal.name: place((terminal.x, terminal.y)) for terminal in copper.terminals}
    ends = [place((phase.end.x, phase.end.y)) for phase in copper.phases]
    names = [phase.name for phase in copper.phases]
    if design.winding.connection == "star":
        assert len(set(ends)) == 1
    elif design.winding.connection == "delta":
        assert ends == [terminals[name] for name in [*names[1:], names[0]]]
    else:
        assert ends == [terminals[f"{name}2"] for name in names]


@every_stator
def test_paths_pass_every_coil_once_in_its_sense(values):
    _, copper = laid(values)
    visits = [
        (step.coil, phase.name, step.forward)
        for phase in copper.phases
        for path in phase.paths
        for step in path.steps
        if isinstance(step, CoilVisit)
    ]
    expected = [
        (coil, name, sense > 0)
        for coil, (name, sense) in enumerate(zip(copper.coil_phases, copper.coil_senses, strict=True))
    ]
    assert sorted(visits) == expected


@every_stator
def test_every_interconnect_is_drawn_once_and_carries_current(values):
    """Interconnects of the paths are those that are drawn, in whichever direction; a star's lead is idle."""
    design, copper = laid(values)

    def ends(track):
        return track.layer, *sorted((place(track.points[0]), place(track.points[-1])))

    drawn = Counter(ends(interconnect) for interconnect in copper.interconnects)
    assert set(drawn.values()) == {1}
    used = {
        ends(step)
        for phase in copper.phases
        for path in phase.paths
        for step in path.steps
        if not isinstance(step, CoilVisit)
    }
    idle = set(drawn) - used
    neutral = [place((t.x, t.y)) for t in copper.terminals if t.name == "N"]
    assert used <= set(drawn)
    assert all(neutral and neutral[0] in key[1:] for key in idle)
    assert len(idle) <= (1 if design.winding.connection == "star" else 0)


@every_stator
def test_copper_of_a_net_is_one_piece_and_nets_are_apart(values):
    design, copper = laid(values)
    _, pieces = joined_copper(copper, copper.tracks)
    nets = ["STAR"] if design.winding.connection == "star" else ["DELTA"]
    if design.winding.connection == "open":
        nets = [phase.name for phase in copper.phases]
    assert sorted(sorted(piece) for piece in pieces) == [[net] for net in nets]


@every_stator
def test_no_turn_is_bridged(values):
    """The copper of one coil on one layer, pads included, encloses nothing: a bridge would make a ring."""
    _, copper = laid(values)
    for track in copper.coil.tracks:
        strip = shapely.LineString(track.points).buffer(track.width / 2)
        pads = [shapely.Point(via.x, via.y).buffer(via.pad / 2) for via in copper.coil.vias]
        parts = shapely.get_parts(shapely.union_all([strip, *pads]))
        assert all(len(part.interiors) == 0 for part in parts)
        assert len(parts) == 1 + len(copper.coil.vias) - 2, "only the holes at both ends touch the strip"


@every_stator
def test_drawn_copper_is_the_network_of_the_winding(values):
    """Interconnects, leads, pads and holes as they are drawn join the ends of the coils; a meter would see it."""
    design, copper = laid(values)
    piece_at, _ = joined_copper(copper, copper.interconnects)
    last = len(copper.layers)
    nodes = []
    for coil in range(len(copper.coil_angles)):
        tracks = copper.placed_coil(coil, True)
        nodes.append((piece_at(tracks[0].points[0], 1), piece_at(tracks[-1].points[-1], last)))
    terminals = {t.name: piece_at((t.x, t.y), t.layer) for t in copper.terminals}
    check_network(lay_winding(design), design.winding.connection, nodes, terminals)


@every_stator
def test_everything_lies_within_the_annulus(values):
    design, copper = laid(values)
    inner, outer = design.board.copper_inner_diameter / 2, design.board.copper_outer_diameter / 2
    shapes = [(track.points, track.width) for track in copper.tracks]
    shapes += [(np.array([[hole.x, hole.y]]), hole.pad) for hole in [*copper.vias, *copper.terminals]]
    for points, width in shapes:
        centre = shapely.Point(0, 0)
        line = shapely.LineString(points) if len(points) > 1 else shapely.Point(points[0])
        assert line.distance(centre) - width / 2 >= inner - 1e-9
        assert np.hypot(*points.T).max() + width / 2 <= outer + 1e-9


def test_coils_are_the_template_turned():
    _, copper = laid({"winding__coils": 9, "rotor__poles": 12})
    for coil, angle in enumerate(np.arange(9) * 2 * np.pi / 9):
        for track, template in zip(copper.placed_coil(coil, True), copper.coil.tracks, strict=True):
            turned = (template.points @ [1, 1j]) * np.exp(1j * angle)
            assert track.points @ [1, 1j] == pytest.approx(turned, rel=1e-12)
            assert track.phase == copper.coil_phases[coil]


def test_layers_have_their_depth_and_thickness():
    design, copper = laid({"board__outer_copper_um": 70.0, "board__inner_copper_um": 35.0, "board__thickness_mm": 1.2})
    assert [layer.number for layer in copper.layers] == [1, 2, 3, 4]
    assert [layer.depth for layer in copper.layers] == pytest.approx([0.0, -0.4e-3, -0.8e-3, -1.2e-3])
    assert [layer.thickness for layer in copper.layers] == pytest.approx([70e-6, 35e-6, 35e-6, 70e-6])
    assert design.board.layer_z == tuple(layer.depth for layer in copper.layers)
