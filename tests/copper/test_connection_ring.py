"""The connection ring: buses join the right coil ends, arcs of one channel keep apart, and parts keep the gap."""

import itertools
from math import pi

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pcbstator.copper.connections.connection_ring import (
    Bus,
    ConnectionRingSizes,
    Tap,
    assign_channels,
    chord_angle,
    joins,
    lay_buses,
    layered_ring,
    stepped_ring,
)
from pcbstator.winding import wind
from tests.copper.stators import check_network

WINDINGS = [
    (3, 3, 4, 1), (3, 6, 8, 1), (3, 6, 8, 2), (3, 9, 8, 1), (3, 12, 10, 1), (3, 12, 10, 2), (3, 18, 24, 1),
    (3, 18, 24, 2), (3, 18, 24, 3), (3, 18, 24, 6), (2, 8, 6, 1), (2, 8, 6, 2), (5, 10, 8, 1), (5, 10, 8, 2),
]  # fmt: skip
MM = 1e-3


def evenly(winding):
    return 2 * pi / winding.coils * np.arange(winding.coils)


def name_of(numbers):
    return "{} phases, {} coils, {} poles, {} paths".format(*numbers)


@pytest.mark.parametrize("connection", ["star", "delta", "open"])
@pytest.mark.parametrize("numbers", WINDINGS, ids=name_of)
def test_buses_join_the_right_ends(numbers, connection):
    """A network of the coils with the buses as nodes shows the resistances and phasors of the connection."""
    winding = wind(*numbers)
    if connection == "delta" and winding.phases == 2:
        pytest.skip("a delta of two phases is a loop of two sources that do not cancel")
    buses = lay_buses(winding, connection, evenly(winding), -0.02, 0.02, 0.05)
    node, terminals = {}, {}
    for number, bus in enumerate(buses):
        for tap in bus.taps:
            if tap.terminal:
                terminals[tap.terminal] = number
            else:
                assert (tap.coil, tap.at_start) not in node, "a coil end hangs on one bus"
                node[tap.coil, tap.at_start] = number
    assert set(node) == set(itertools.product(range(winding.coils), (False, True)))
    check_network(winding, connection, [(node[c, True], node[c, False]) for c in range(winding.coils)], terminals)
    nets = {bus.net for bus in buses}
    assert len(nets) == (winding.phases if connection == "open" else 1)


@pytest.mark.parametrize("numbers", WINDINGS, ids=name_of)
def test_taps_stand_in_order_at_their_coil_ends(numbers):
    winding = wind(*numbers)
    for bus in lay_buses(winding, "star", evenly(winding), -0.02, 0.03, 0.05):
        angles = [tap.angle for tap in bus.taps]
        assert angles == sorted(angles)
        assert angles[-1] - angles[0] < 2 * pi
        # The arc leaves out the widest space between taps.
        spaces = np.diff([*angles, angles[0] + 2 * pi])
        assert spaces[-1] == pytest.approx(spaces.max())
        for tap in bus.taps:
            if not tap.terminal:
                coil_end = tap.coil * 2 * pi / winding.coils + (-0.02 if tap.at_start else 0.03)
                assert np.exp(1j * tap.angle) == pytest.approx(np.exp(1j * coil_end))


@pytest.mark.parametrize("numbers", WINDINGS, ids=name_of)
def test_rounding_decides_nothing(numbers):
    """Many gaps and arcs of a winding are alike: coils off by a few last bits have the same arcs and channels."""
    winding, dice = wind(*numbers), np.random.default_rng(5)

    def laid(noise):
        angles = evenly(winding) + noise * dice.uniform(-1, 1, winding.coils)
        buses = lay_buses(winding, "star", angles, -0.02, 0.02, 0.05)
        return [[tap[1:] for tap in bus.taps] for bus in buses], assign_channels(buses, 0.01)

    exact = laid(0.0)
    assert all(laid(1e-14) == exact for _ in range(5))


@pytest.mark.parametrize("connection", ["star", "delta", "open"])
def test_terminals_keep_apart(connection):
    spacing = 0.2
    buses = lay_buses(wind(3, 9, 8), connection, evenly(wind(3, 9, 8)), -0.02, 0.02, spacing)
    angles = sorted(bus.terminal.angle % (2 * pi) for bus in buses if bus.terminal)
    assert len(angles) == {"star": 4, "delta": 3, "open": 6}[connection]
    assert np.diff([*angles, angles[0] + 2 * pi]).min() >= spacing - 1e-6


def test_joins_of_a_series_star():
    """Six coils, eight poles, by hand: coil i has the phasor 240°·i, so A, C, B, A, C, B, all in one sense."""
    assert [(name, list(ends), terminal) for _, name, ends, terminal in joins(wind(3, 6, 8), "star")] == [
        ("A", [(0, False), (3, True)], ""),
        ("A", [(0, True)], "A"),
        ("B", [(2, False), (5, True)], ""),
        ("B", [(2, True)], "B"),
        ("C", [(1, False), (4, True)], ""),
        ("C", [(1, True)], "C"),
        ("N", [(3, False), (4, False), (5, False)], "N"),
    ]


spans = st.lists(st.tuples(st.floats(0, 6.28), st.floats(0.01, 5.5)), min_size=1, max_size=12)


@given(spans, st.sampled_from([0.01, 0.2]))
def test_channels_keep_arcs_apart(drawn, clearance):
    """Arcs of one channel, sampled around the circle, never overlap; more channels than arcs are never used."""
    buses = tuple(Bus("STAR", "A", (Tap(start), Tap(start + length))) for start, length in drawn)
    channels, count = assign_channels(buses, clearance)
    assert set(channels) == set(range(count))
    assert count <= len(buses)
    around = np.linspace(0, 2 * pi, 2000, endpoint=False)
    covered = [(around - start) % (2 * pi) <= length for start, length in drawn]
    for i, j in itertools.combinations(range(len(buses)), 2):
        if channels[i] == channels[j]:
            assert not np.any(covered[i] & covered[j])
            ends = itertools.product((drawn[i][0], sum(drawn[i])), (drawn[j][0], sum(drawn[j])))
            assert min(abs((a - b + pi) % (2 * pi) - pi) for a, b in ends) >= clearance - 1e-9
    assert count >= int(np.sum(covered, axis=0).max()), "where n arcs pass one place there are n channels"


@pytest.mark.parametrize("side", [1, -1])
@pytest.mark.parametrize("widths", [(0.3, 0.3), (0.2, 1.2), (1.5, 0.4)], ids=str)
@pytest.mark.parametrize("ring", [layered_ring, stepped_ring])
def test_parts_of_the_connection_ring_keep_the_gap(side, widths, ring):
    """From the edge to the coil, copper edge to copper edge: terminal, arcs, layer-transition vias, coil."""
    coil, interconnect = (width * MM for width in widths)
    sizes = ConnectionRingSizes(50 * MM, side, coil, interconnect, 0.25 * MM, 0.6 * MM, 1.6 * MM)
    plan = ring(sizes, 4)
    assert len(plan.arc_radii) == 4
    transition = max(0.6 * MM, coil, interconnect)  # where tracks end: the pad, or the round end of the wider track
    ends_on_arc = transition if ring is stepped_ring else interconnect
    radii = [
        plan.terminal_radius,
        *sorted(set(plan.arc_radii), reverse=side > 0),
        plan.transition_radius,
        plan.coil_radius,
    ]
    sizes_along = [max(1.6 * MM, interconnect), *[ends_on_arc] * len(set(plan.arc_radii)), transition, coil]
    assert side * (sizes.edge - radii[0]) == pytest.approx(sizes_along[0] / 2)
    for (a, size_a), (b, size_b) in itertools.pairwise(zip(radii, sizes_along, strict=True)):
        # Between two arcs a via of one faces the plain arc of the other, in another angle than the other's vias.
        if ring is stepped_ring and a in plan.arc_radii and b in plan.arc_radii:
            size_b = interconnect
        assert side * (a - b) - (size_a + size_b) / 2 == pytest.approx(0.25 * MM, rel=1e-9)


def test_chord_angle_on_a_polygon():
    """Side of a regular polygon of n corners: 2·r·sin(pi/n) (geometry)."""
    for corners in (3, 6, 17):
        assert chord_angle(2 * 0.05 * np.sin(pi / corners), 0.05) == pytest.approx(2 * pi / corners)
    assert chord_angle(1.0, 0.1) == pytest.approx(pi)
