"""Rules of single steps of the layout, each by its own definition."""

from math import pi
from types import SimpleNamespace

import numpy as np
import pytest

from pcbstator.copper.connections.connection_ring import ConnectionRingSizes
from pcbstator.copper.connections.terminals import spread
from pcbstator.copper.connections.via_transitions import _teardrop
from pcbstator.copper.geometry.tracks import Track
from pcbstator.copper.spiral.outlines import SectorFamily
from pcbstator.copper.wave.plan import lap_places


def test_too_many_terminals_stand_evenly_about_where_they_would_be():
    """Places that fill the circle are one even division of it; even wishes are met as they are."""
    wishes = [0.3 + 2 * pi * k / 5 for k in range(5)]
    assert spread(wishes, 1.001 * 2 * pi / 5) == pytest.approx(wishes, rel=1e-9)
    crowded = np.sort(np.mod(spread([0.1, 0.2, 0.3, 0.4, 0.5], 2.0), 2 * pi))
    assert np.diff(crowded) == pytest.approx(2 * pi / 5, rel=1e-9)


@pytest.mark.parametrize(("pad", "track"), [(0.8, 0.3), (0.2, 0.5)])
def test_copper_of_a_jumper_begins_where_the_cut_leaves_room(pad, track):
    """The nearest edge of the wider of pad and interconnect is ``beside_cut`` from the middle of the cut."""
    sizes = ConnectionRingSizes(0.03, 1, 0.2, track, 0.15, 0.5, 0.9, jumper_pad=pad, beside_cut=0.4)
    assert sizes.jumper_middle - max(pad, track) / 2 == pytest.approx(0.4, rel=1e-9)
    assert sizes.beside_jumpers == pytest.approx(0.4 + max(pad, track) + 0.15, rel=1e-9)


@pytest.mark.parametrize(("bend", "there"), [(0.0, True), (pi / 3, False), (2 * pi / 3, False)])
def test_a_teardrop_is_left_out_where_its_track_bends(bend, there):
    """A bend of 60° in its middle brings the ends to cos 30° of their distance along the track."""
    points = 1e-3 * np.array([[2.0, 0.0], [1.0, 0.0], [1 - np.cos(bend), np.sin(bend)]])
    track = Track(1, points, 0.2e-3, "A", "A", "coil")
    assert (_teardrop(track, 0.8e-3, 2e-3) is not None) == there


@pytest.mark.parametrize("sectors", [2, 3])
def test_neighbouring_laps_of_a_phase_end_at_different_poles(sectors):
    """Along a phase, which may go on over the end of the count, the pairs of poles follow in turn."""
    belts, laps = [(0, 1), (1, -1), (2, 1), (0, -1), (1, 1), (2, -1)], 12
    owner = [belts[((k + 1) % laps) // 2] for k in range(laps)]  # one phase lies over the end of the count
    winding = SimpleNamespace(
        coils=laps, phases=3, phase_of=[phase for phase, _ in owner], sense=[sense for _, sense in owner]
    )
    for turned in range(laps):
        rolled = SimpleNamespace(
            coils=laps, phases=3, phase_of=list(np.roll(winding.phase_of, turned)),
            sense=list(np.roll(winding.sense, turned)),
        )  # fmt: skip
        steps = lap_places(rolled, 1.0, sectors)
        for phase in range(3):
            own = [k for k in range(laps) if rolled.phase_of[k] == phase]
            first = next(
                k for k in own if rolled.sense[k] > 0 and rolled.sense[k - 1] * (rolled.phase_of[k - 1] == phase) <= 0
            )
            along = sorted(own, key=lambda k: (k - first) % laps)
            at = [round((steps[k] - steps[along[0]] - (k - first) % laps) / laps) for k in along]
            assert at == [rank % sectors for rank in range(len(along))]


def test_a_tapered_track_grows_from_its_base_width_without_a_step():
    """Where a corner leaves either arc the track has the width of the arc."""
    family = SectorFamily(20e-3, 10e-3, pi / 9, 0.0, 1e-3, fan=1 / 10e-3, track_pitch=0.5e-3, gap=0.15e-3)
    pieces = family._pieces
    at = np.flatnonzero((pieces.number == 1) & (pieces.place == 0))
    widths = family.widths(np.zeros(len(pieces.number)), np.arange(len(pieces.number)))
    assert widths[at] == pytest.approx(0.35e-3, rel=1e-9)
    assert widths[pieces.number == 6] == pytest.approx(0.35e-3, rel=1e-9)
    corner = widths[(pieces.number == 1) | ((pieces.number == 2) & (pieces.place == 0))]
    assert (np.diff(corner) > 0).all()
    inner = np.append(widths[pieces.number == 5], 0.35e-3)
    assert (np.abs(np.diff(inner)) < np.ptp(inner)).all() and np.abs(inner[-2] - inner[-1]) < np.ptp(inner) / 2
