"""Single rules of the analysis, each by its definition or a closed form."""

from functools import cache
from math import pi
from types import SimpleNamespace

import numpy as np
import pytest

import pcbstator
from pcbstator.analysis.drive.load_cycle import Cycle, LoadValues, load_values, required_torque
from pcbstator.analysis.drive.simulation import place_measures as places
from pcbstator.analysis.drive.simulation.run_measures import Rest
from pcbstator.analysis.drive.simulation.stand import stand_of
from pcbstator.analysis.drive.simulation.turn_measures import _causes
from pcbstator.analysis.electrical import inductance
from pcbstator.analysis.magnetic.as_built import ring_of
from pcbstator.analysis.magnetic.screws import _reached
from pcbstator.analysis.magnetic.stray import rotor_solids
from pcbstator.analysis.thermal.intermittent import root_of_excess
from pcbstator.copper import size_design
from pcbstator.physics.drive.motion import CycleSamples
from tests.command import DESIGNS

PLACES = {path.stem: path for path in DESIGNS}


@cache
def fan():
    return size_design(pcbstator.load_design(PLACES["small-fan"]))


@pytest.mark.parametrize("side", [True, False])
def test_segments_of_a_halbach_ring_are_magnetised_alike(monkeypatch, side):
    """Each is magnetised by the same amount, turned by π/S from one to the next (K. Halbach, NIM 169, 1980)."""
    from pcbstator.analysis.magnetic import as_built

    for S in (1, 2, 4):
        footprint = SimpleNamespace(segments_per_pole=S, strong_side=side, breakpoints=np.array([0.02, 0.03]))
        monkeypatch.setattr(as_built, "magnet_footprint", lambda _, footprint=footprint: footprint)
        ring = ring_of(SimpleNamespace(rotor=SimpleNamespace(poles=6)))
        turned = pi * np.arange(6 * S) / S
        sense = 1 if side else -1
        assert np.hypot(ring.axial, ring.along) == pytest.approx(1, rel=1e-9)
        assert ring.axial + 1j * sense * ring.along == pytest.approx(np.exp(1j * turned), abs=1e-12)


@pytest.mark.parametrize("diameter", [3e-3, 8e-3])
def test_a_screw_reaches_the_rotor_where_their_circles_overlap(diameter):
    """Its edge is half its diameter from its axis, outside the ring as inside."""
    design = fan()
    inner, outer, low, high = rotor_solids(design)["the magnets"]
    beyond = max(solid[1] for solid in rotor_solids(design).values())
    within = min(solid[0] for solid in rotor_solids(design).values())
    part = ((diameter, low, high),)
    assert _reached(design, beyond + 0.501 * diameter, part) == ""
    assert _reached(design, outer + 0.499 * diameter, part) == "the magnets"
    assert _reached(design, inner - 0.499 * diameter, part) == "the magnets"
    if within > diameter:
        assert _reached(design, within - 0.501 * diameter, part) == ""


@pytest.mark.parametrize("power", [1, 3, 9, 1 / 3, 1 / 9])
def test_root_of_a_curved_excess_is_found_in_few_looks(power):
    """(x/x0)^n − 1 has its root at x0; the Illinois rule converges with order 1.44 (Dowell and Jarratt, BIT 11, 1971,
    from memory), so that some twenty looks are enough from afar whichever way the curve bends.
    """
    looks = []

    def excess(x):
        looks.append(x)
        return 100 * ((x / 0.7) ** power - 1)

    assert root_of_excess(excess, 2.0) == pytest.approx(0.7, rel=1e-3)
    assert len(looks) <= 25


def test_recorded_torque_counts_where_it_moves_and_the_hold_where_it_stands():
    zeros = np.zeros(4)
    speeds, moving = np.array([0.0, 2.0, 3.0, 0.0]), np.array([0.0, 1.0, 1.0, 0.0])
    samples = CycleSamples(np.ones(4), np.arange(4.0), zeros, speeds, zeros, moving)
    cycle = Cycle(samples, np.array([0.0, 0.5, 0.7, 0.0]), None, [])
    assert required_torque(cycle, LoadValues(), 1e-3, 0.2) == pytest.approx([0.2, 0.5, 0.7, 0.2], rel=1e-9)


def test_believed_error_of_steps_is_over_the_step():
    """The sensor shows one step of 10 mrad 2 mrad too long: a fifth of it, whatever the true steps are."""
    stops = [
        Rest(0.01 * k, 1.0, 0.0, 1.0, 0.0, believed, 0.0, None, 0.0)
        for k, believed in enumerate([0.0, 0.0, 0.002, 0.002, 0.002])
    ]
    values = SimpleNamespace(small_step=0.01, small_step_from="default", band=1e-3, band_from="default")
    told = places.step_numbers([places.Steps(0.0, tuple(stops))], values)
    assert told["believed_step_error_ratio"] == pytest.approx(0.2, rel=1e-9)


@pytest.mark.parametrize(
    ("key", "cause"), [("dead_time", "dead time"), ("voltage_drop", "voltage drop of the switches")]
)
def test_errors_of_the_legs_are_named_at_their_orders_only_where_there_are_any(key, cause):
    """Legs of three phases err six times in an electrical turn (common practice, no source)."""
    drive = dict.fromkeys(("sensor_offset", "current_offset", "current_gain_error", "dead_time", "voltage_drop"), 0.0)
    plant = SimpleNamespace(unbalance=0.0, pole_pairs=7, phases=3, electrical_turns=1)
    told = SimpleNamespace(plant=plant, surroundings=None)
    design = SimpleNamespace(drive=SimpleNamespace(**drive | {key: 1e-7}))
    assert [order for order, words in _causes(design, told) if words == cause] == [42, 84, 126]
    clean = SimpleNamespace(drive=SimpleNamespace(**drive))
    assert {words for _, words in _causes(clean, told)} == {"EMF harmonics"}


def test_push_of_the_stand_is_told_by_the_page():
    """Standstill friction and three tenths of the torque at the current limit, as docs/control.md says of hold."""
    design = size_design(pcbstator.load_design(PLACES["photogrammetry-stage"]))
    prediction = pcbstator.predict(design)
    ready, _ = stand_of(design, prediction)
    drive = design.drive
    limit = prediction.drive.machine.torque_constant * drive.gear_ratio * drive.current_limit
    friction = load_values(design.load, design.bearing).standstill
    assert ready.push == pytest.approx(friction + 0.3 * limit, rel=1e-9)


def test_a_grid_no_finer_than_that_of_the_waves_adds_nothing(monkeypatch):
    """What waves of a cell miss lies below that cell: a near grid of nine tenths of it sees nothing more."""
    part = SimpleNamespace(starts=np.zeros((4, 3)), ends=np.ones((4, 3)))
    monkeypatch.setattr(inductance, "coil_copper", lambda *_: (part, np.ones((3, 4))))
    monkeypatch.setattr(inductance, "cell_for", lambda *_: 0.9e-3)
    design = SimpleNamespace(
        rotor=SimpleNamespace(poles=8),
        board=SimpleNamespace(copper_inner_diameter=0.03, track_width=1e-3, track_gap=1e-4),
    )
    assert (inductance._near_pole(design, [], 1e-3, ()) == np.zeros((3, 3))).all()
