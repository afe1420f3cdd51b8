"""Balls between two slip-ring boards: forces by hand, what depends on what, and their way into the job."""

from math import log, pi, sqrt

import pytest

import pcbstator
from pcbstator.analysis.mechanical.ball_contact import LOT, with_ball_friction
from pcbstator.copper.connections.slip_ring import raceway
from pcbstator.design import design_from_document
from pcbstator.errors import DesignError
from tests.check.test_findings import DRIVE, MOVE, SLIP_RING, SOUND

BALLS = SLIP_RING | {"contact": "balls", "rings": 2, "width_mm": 3.0, "spacing_mm": 3.0}
LOAD = {"bodies": [{"shape": "disc", "mass_g": 500.0, "diameter_mm": 200.0}]}
STANDING = {"cooling": {"orientation": "rotor-up"}, "load": LOAD}
G = 9.80665


def design_of(more=None, **values):
    return design_from_document(SOUND | STANDING | (more or {}) | {"slip_ring": BALLS | values}, "balls.toml")


def balls_of(more=None, **values):
    return pcbstator.predict(design_of(more, **values)).slip_ring_balls


def required(prediction):
    return prediction.to_dict()["motion"]["required_peak_torque_n_m"]


def test_weight_and_spring_on_flat_boards_by_hand():
    """Flat boards and balls that are nearly alike on a soft bed: every ball has an equal part. Steel on copper:
    E* = 1/((1 − 0.09)/208 + (1 − 0.1156)/120) GPa.
    """
    prediction = pcbstator.predict(design_of(flatness_um=0.0, ball_grade="G3", board_stiffness_n_per_mm=1.0, balls=12))
    found = prediction.slip_ring_balls
    load = (prediction.mechanical.rotor_mass + 0.5) * G
    assert found.load == pytest.approx(load, rel=1e-9)
    each = load / 24
    assert found.carrying == 24 and found.most_load == pytest.approx(each, rel=0.01)
    modulus = 1e9 / (0.91 / 208 + 0.8844 / 120)
    patch = (0.75 * found.most_load * 1.5e-3 / modulus) ** (1 / 3)
    assert found.patch == pytest.approx(patch, rel=1e-6)
    assert found.pressure == pytest.approx(1.5 * found.most_load / (pi * patch**2), rel=1e-6)
    rho, rings = 1.7241e-8 + 2.2e-7, 3e-3 / 2
    patch = (0.75 * each * 1.5e-3 / modulus) ** (1 / 3)
    one = 2 * (rho / (4 * patch) + 1.7241e-8 / (2 * pi * 35e-6) * log(rings / patch))
    assert found.ball_resistance == pytest.approx(one, rel=1e-3)
    radius = (raceway(design_of().slip_ring)[0] * 1e3 + 21.5 + 3.0) * 1e-3  # mean of both rings
    friction = 24 * each * patch * (2 * 3 / 16 * 0.1 * radius / 3e-3 + 3 * pi / 16 * 0.3)
    assert found.friction == pytest.approx(friction, rel=0.01)
    spring = balls_of(preload_n=7.0)
    assert spring.load == pytest.approx(load + 7.0, rel=1e-9)


def test_magnetic_force_presses_as_well():
    prediction = pcbstator.predict(design_of({"rotor": SOUND["rotor"] | {"stator_iron_mm": 3.0}}))
    mechanical = prediction.mechanical
    assert prediction.slip_ring_balls.load == pytest.approx(
        mechanical.axial_force + (mechanical.rotor_mass + 0.5) * G, rel=1e-9
    )


def test_rigid_uneven_boards_stand_on_three_balls():
    found = balls_of(flatness_um=500.0, rings=4, balls=20)
    assert found.carrying == 3
    assert found.most_load == pytest.approx(found.load / 3, rel=1e-9)
    assert found.open_chance == pytest.approx(1 - (1 - (1 - 3 / 80) ** 20) ** 4, rel=1e-9)
    assert found.balls_wanted is None  # no number of balls helps where three carry


def test_ways_out_are_ones():
    """The number and the size that are named keep the pressure, one less does not."""
    soft = {"board_stiffness_n_per_mm": 1.0, "flatness_um": 10.0, "ball_grade": "G10"}
    light = {"load": {"bodies": [{"shape": "disc", "mass_g": 150.0, "diameter_mm": 200.0}]}}
    few = balls_of(light, balls=6, **soft)
    assert few.pressure > few.allowed_pressure and few.balls_wanted and few.diameter_wanted
    enough, less = (balls_of(light, balls=count, **soft) for count in (few.balls_wanted, few.balls_wanted - 1))
    assert enough.pressure <= enough.allowed_pressure < less.pressure
    larger = balls_of(light, board_gap_mm=1e3 * few.diameter_wanted + 0.07, **soft)
    assert larger.pressure <= larger.allowed_pressure


def test_run_out_and_its_torque_by_hand():
    found = balls_of(flatness_um=40.0, ball_grade="G40")
    assert found.run_out == pytest.approx(2 * 40e-6 + LOT["G40"], rel=1e-12)
    outermost = raceway(design_of().slip_ring)[0] + 27.5e-3  # two rings of 3 mm, 3 mm apart, from 40 mm on
    assert found.edge_run_out == pytest.approx(found.run_out * 28e-3 / outermost, rel=1e-9)
    assert found.unevenness == pytest.approx(found.load * sqrt(2) * 40e-6 / 2, rel=1e-9)


def test_gap_sets_the_size_of_the_balls():
    assert balls_of(board_gap_mm=4.14, copper_um=70.0).ball_diameter == pytest.approx(4e-3, rel=1e-9)
    with pytest.raises(DesignError, match=r"must be 0\.37 or more"):
        design_of(board_gap_mm=0.36)


def test_current_of_a_ring_that_stands_on_one_ball_is_all_of_it():
    found = balls_of(flatness_um=500.0, rings=3, balls=3)
    assert found.current == pytest.approx(2.0, rel=1e-9)
    shared = balls_of(flatness_um=0.0, board_stiffness_n_per_mm=1.0, balls=12)
    assert 2.0 / 12 < shared.current < 1.0


def test_friction_is_part_of_the_job():
    """What must be turned grows by it, in the job and in the simulation."""
    job = {"motion": MOVE, "drive": DRIVE, "bearing": {"friction_n_m": 0.002}}
    design = design_of(job, preload_n=20.0)
    prediction = pcbstator.predict(design)
    found = prediction.slip_ring_balls
    plain = pcbstator.predict(design_of(job | {
        "bearing": {"friction_n_m": 0.002 + found.friction},
        "load": LOAD | {"unbalance_n_m": found.unevenness},
    }, contact="brushes"))  # fmt: skip
    bare = pcbstator.predict(design_of(job, contact="brushes"))
    torque = required(prediction)
    assert torque == pytest.approx(required(plain), rel=1e-9)
    assert torque > required(bare) + 0.9 * found.friction
    turned = with_ball_friction(pcbstator.predict(design).design, found)
    assert turned.bearing.standstill_friction == pytest.approx(0.002 + found.friction, rel=1e-12)


def test_nothing_presses_where_nothing_weighs():
    found = {f.code: f for f in pcbstator.predict(design_of({"cooling": {"orientation": "upright"}})).findings}
    assert found["slip_ring.balls"].severity == "error" and "preload_n" in found["slip_ring.balls"].message


def test_brushes_have_no_balls():
    assert balls_of(contact="brushes") is None
