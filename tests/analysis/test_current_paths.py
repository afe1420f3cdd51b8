"""The winding as one network: terminals, phases that share copper, parallel paths."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

import pcbstator
from pcbstator.analysis.electrical.conductors import conductors_of, phase_phasors
from pcbstator.copper import CoilVisit, Pin, TileJumper, Track
from tests.copper.stators import design_of

RING = {"board.copper_inner_diameter_mm": 60.0, "board.copper_outer_diameter_mm": 130.0, "rotor.poles": 16}
WAVE = {"winding.kind": "wave", "winding.coils": None, "winding.turns": 1, **RING}
KINDS = {
    "one path": {},
    "two paths": {"winding.parallel_paths": 2},
    "three paths, delta": {
        "winding.parallel_paths": 3,
        "winding.connection": "delta",
        "winding.coils": 18,
        "rotor.poles": 12,
    },
    "delta": {"winding.connection": "delta"},
    "wave of two paths": {**WAVE, "winding.parallel_paths": 2},
    "boards in parallel": {"stack.boards": 3, "stack.connection": "parallel"},
    "two paths, open": {"winding.connection": "open", "winding.parallel_paths": 2},
    "tiles": {"board.tiles": 2, "winding.coils": 12, **RING},
}
every_kind = pytest.mark.parametrize("values", KINDS.values(), ids=KINDS)


class Nodes:
    """Pieces that paths go through as resistors, between places where steps meet: found from the drawn ends alone, so
    that current may divide anew at every one of them.
    """

    def __init__(self, conductors):
        self.conductors, self.numbers, self.pieces = conductors, {}, {}
        self.first, self.last, stops = {}, {}, []
        for phase in conductors.copper.phases:
            for path in phase.paths:
                ends = self.walk(path)
                self.first[phase.name], self.last[phase.name] = self.at(*ends[0][0]), self.at(*ends[-1][1])
                stops.append(ends[-1][1])
        for one, other in pairwise(stops):  # the star point, to which paths come on several layers
            if np.hypot(one[0] - other[0], one[1] - other[1]) < 1e-9:
                self.hole(one, other)

    def at(self, x, y, layer):
        return self.numbers.setdefault((round(1e7 * x), round(1e7 * y), layer), len(self.numbers))

    def hole(self, place, other):
        """The wall of a hole from the layer of one end to that of the other, cut at every layer between."""
        x, y, layer = place
        for low, high in pairwise(range(min(layer, other[2]), max(layer, other[2]) + 1)):
            self.pieces[self.at(x, y, low), self.at(x, y, high), "hole"] = self.conductors.barrel(low, high)

    def walk(self, path):
        ends = [list(map(list, ends_of(self.conductors.copper, step))) for step in path.steps]
        for (_, stop), (start, end) in pairwise(ends):  # a wire is soldered to the track that comes to its hole
            if start[2] is None:
                start[2] = end[2] = stop[2]
        for (start, stop), step in zip(ends, path.steps, strict=True):
            kind = ("coil", step.coil) if isinstance(step, CoilVisit) else type(step).__name__
            self.pieces[*sorted((self.at(*start), self.at(*stop))), kind] = ohm_of(self.conductors, step)
        for ((_, stop), one), ((start, _), two) in pairwise(zip(ends, path.steps, strict=True)):
            if not isinstance(one, Pin | TileJumper) and not isinstance(two, Pin | TileJumper):
                self.hole(stop, start)
        return ends

    @property
    def matrix(self):
        """Conductances [S] (nodes, nodes)."""
        matrix = np.zeros((len(self.numbers), len(self.numbers)))
        for (a, b, _), ohm in self.pieces.items():
            matrix[[a, b], [a, b]] += 1 / ohm
            matrix[[a, b], [b, a]] -= 1 / ohm
        return matrix


def ohm_of(conductors, step):
    if isinstance(step, CoilVisit):
        return conductors.coil(step.coil)
    return conductors.track(step) if isinstance(step, Track) else conductors.transition(step)


def ends_of(copper, step):
    """Place and layer of either end; a wire takes the layer of what comes to it."""
    if isinstance(step, CoilVisit):
        tracks = copper.placed_coil(step.coil, step.forward)
        return (*tracks[0].points[0], tracks[0].layer), (*tracks[-1].points[-1], tracks[-1].layer)
    if isinstance(step, Pin):
        return (step.x, step.y, step.from_layer), (step.x, step.y, step.to_layer)
    if isinstance(step, TileJumper):
        return (*step.start, None), (*step.end, None)
    return (*step.points[0], step.layer), (*step.points[-1], step.layer)


@every_kind
def test_resistance_between_terminals_is_that_of_node_voltages(values):
    """To 0.02 %: the network of paths lets current divide at terminals only, the nodes wherever copper meets."""
    design = design_of().with_values(values)
    conductors = conductors_of(design, pcbstator.lay_copper(design))
    nodes = Nodes(conductors)
    connection = design.winding.connection
    inverse = np.linalg.pinv(nodes.matrix, hermitian=True)

    def between(a, b):
        return inverse[a, a] + inverse[b, b] - 2 * inverse[a, b]

    for pair, ohm in conductors.line_resistances(connection).items():
        one, other = pair[0], pair[1:]
        stop = nodes.last[one] if connection == "open" else nodes.first[other]
        if "stack.boards" in values:  # terminals N of the boards are joined by pins, which these steps do not hold
            continue
        assert ohm == pytest.approx(between(nodes.first[one], stop), rel=2e-4), pair


@every_kind
def test_power_into_the_terminals_is_the_loss_of_all_pieces(values):
    """Balanced currents: loss by the loads of every track, coil and via transition against phases/2 R I^2 of the
    phases.
    """
    design = design_of().with_values(values)
    conductors = conductors_of(design, pcbstator.lay_copper(design))
    copper, count = conductors.copper, len(conductors.copper.phases)
    tracks = sum(
        conductors.track(t) * i**2 for t, i in zip(copper.current_paths.tracks, conductors.track_loads, strict=True)
    )
    coils = sum(conductors.coil(k) * i**2 for k, i in enumerate(conductors.coil_loads))
    transitions = conductors.transitions @ conductors.transition_loads**2
    assert (tracks + coils + transitions) / 2 == pytest.approx(count / 2 * conductors.phase_resistance, rel=1e-12)


@every_kind
def test_shares_of_a_phase_are_its_current_and_heat_least(values):
    """Each phase's shares sum to one; any other division of the current among the paths loses more."""
    design = design_of().with_values(values)
    conductors = conductors_of(design, pcbstator.lay_copper(design))
    phase, shared = conductors.copper.current_paths.phase, conductors.shared
    for own in conductors.path_shares:
        assert sum(own) == pytest.approx(1.0, rel=1e-12)
    phasors = phase_phasors(len(conductors.copper.phases))
    currents = conductors.path_currents

    def loss(flow):
        return float((flow.conj() @ shared @ flow).real)

    random = np.random.default_rng(3)
    for _ in range(20):
        other = random.standard_normal(len(phase)) * 0.01
        for number in range(len(phasors)):
            other[phase == number] -= other[phase == number].mean()
        if np.abs(other).max() > 1e-12:
            assert loss(currents + other) > loss(currents)


def test_delta_of_equal_phases_is_two_thirds():
    """Between the corners of a delta of three equal phases: R parallel to 2 R; corners and leads are a little more."""
    star, delta = (
        pcbstator.predict(design_of().with_values({"winding.connection": connection})).electrical
        for connection in ("star", "delta")
    )
    assert star.line_resistance == pytest.approx(2 * star.phase_resistance, rel=5e-3)
    assert delta.line_resistance == pytest.approx(2 / 3 * delta.phase_resistance, rel=5e-3)
    assert star.star_resistances is not None and set(star.star_resistances) == {"AN", "BN", "CN"}
    for name, ohm in star.star_resistances.items():
        assert ohm == pytest.approx(star.phase_resistance, rel=0.02), name


def test_a_lead_that_all_paths_share_counts_by_the_square_of_the_line_current():
    """A delta's lead carries sqrt(3) of the phase current: 3 r I^2 of its own for each of three leads."""
    design = design_of().with_values({"winding.connection": "delta"})
    copper = pcbstator.lay_copper(design)
    conductors = conductors_of(design, copper)
    leads = [row for row, track in enumerate(copper.current_paths.tracks) if track.role == "lead"]
    assert len(leads) == 3
    assert conductors.track_loads[leads] == pytest.approx(np.full(3, 3**0.5), rel=1e-9)
