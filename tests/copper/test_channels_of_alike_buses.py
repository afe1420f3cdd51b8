"""Buses that are turned by a period lie in one channel, so that the parts of a ring come out alike."""

from math import pi

import pytest

from pcbstator.copper.connections.buses import Bus, Tap
from pcbstator.copper.connections.connection_ring import assign_channels

# Start and length of arcs within a quarter of the ring [rad]; some have one length and others one start.
PATTERNS = [
    [(0.0, 0.5), (0.3, 0.6), (0.7, 0.4)],
    [(0.1, 0.4), (0.3, 0.4), (0.6, 0.4), (1.0, 0.4)],
    [(0.2, 0.9), (0.2, 0.3), (0.9, 0.3)],
    [(0.0, 1.2), (0.4, 1.2), (0.8, 1.2)],
    [(0.0, 0.5), (0.6, 0.5), (1.2, 0.5)],
]


@pytest.mark.parametrize("pattern", PATTERNS, ids=str)
def test_turned_buses_share_a_channel(pattern: list[tuple[float, float]]) -> None:
    period = pi / 2
    arcs = [(start + turn * period, length) for turn in range(4) for start, length in pattern]
    buses = tuple(Bus("N", "N", (Tap(start), Tap(start + length))) for start, length in arcs)
    channels, count = assign_channels(buses, 0.02, period=period)
    alone = assign_channels(buses, 0.02)[1]
    assert count <= alone + 1
    for index in range(len(pattern)):
        assert len(set(channels[index :: len(pattern)])) == 1
