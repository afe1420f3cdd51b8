"""The current around a delta on real copper: most of it in a wave whose magnets cover the whole pitch."""

from dataclasses import replace
from itertools import pairwise
from math import pi, sqrt

import numpy as np
import pytest

import pcbstator
from pcbstator.analysis.drive.simulation.stand import stand_of
from pcbstator.analysis.electrical.conductors import conductors_of
from pcbstator.analysis.electrical.delta_loop import delta_loop, warm_loop
from pcbstator.analysis.magnetic.rotor_field import rotor_field
from pcbstator.analysis.thermal.board_network import board_heat
from pcbstator.analysis.thermal.cooling import heat_limits
from pcbstator.design import design_from_document
from pcbstator.physics.conductors.delta_loop import loop_loss, loop_torque
from pcbstator.physics.drive.plant import Plant

SPEED = 1500 * pi / 30
DOCUMENT = {
    "title": "Wave in delta",
    "winding": {"kind": "wave", "turns": 1, "connection": "delta"},
    "board": {
        "layers": 2, "thickness_mm": 1.0, "outer_copper_um": 70.0, "track_width_mm": 0.55, "track_gap_mm": 0.2,
        "copper_inner_diameter_mm": 70.0, "copper_outer_diameter_mm": 134.0,
    },
    "rotor": {
        "poles": 12, "arrangement": "double", "air_gap_mm": 0.5, "back_iron_mm": 7.0,
        "magnet": {
            "shape": "sector", "inner_diameter_mm": 76.0, "outer_diameter_mm": 128.0, "arc_ratio": 1.0,
            "thickness_mm": 2.0, "remanence_t": 1.3,
        },
    },
    "operation": {"speeds_rpm": [0.0, 1500.0], "phase_currents_peak_a": [0.0, 2.0], "copper_c": 60.0},
    "load": {"inertia_kg_m2": 1e-4},
    "bearing": {"friction_n_m": 0.01},
    "motion": {"speed_rpm": 1500.0},
    "drive": {"supply_v": 48.0, "current_limit_peak_a": 4.0, "pwm_khz": 60.0, "sensor_counts": 16384},
}  # fmt: skip


def predicted(**changes):
    design = design_from_document(DOCUMENT).with_values({key.replace("__", "."): v for key, v in changes.items()})
    return design, pcbstator.predict(design)


@pytest.fixture(scope="module")
def wave():
    return predicted()


@pytest.fixture(scope="module")
def star():
    return predicted(winding__connection="star")


def loop_of(found):
    """The loop at 20 C, from the results that are given out."""
    magnetic, electrical = found.magnetic, found.electrical
    return delta_loop(
        "delta",
        magnetic.linkages,
        magnetic.orders,
        6,
        electrical.inductance_matrix,
        electrical.zero_sequence_resistance,
    )


def integrated(found, resistance, speed):
    """Current [A] around the loop over the last of four electrical turns (samples,): EMF waves of the three phases,
    sampled and summed, on three resistances and all inductances in series, by the trapezoidal rule.
    """
    waves = found.magnetic.waves
    steps, whole = 2880, float(np.sum(found.electrical.inductance_matrix))
    angles = 2 * pi * np.arange(4 * steps + 1) / steps
    emf = speed * np.interp(angles % (2 * pi), waves.angles, waves.phase_emf.sum(axis=0))
    half = 2 * pi / (6 * speed * steps) / 2
    current = [0.0]
    for before, after in pairwise(emf.tolist()):
        kept = current[-1] * (whole - 3 * resistance * half)
        current.append((kept + half * (before + after)) / (whole + 3 * resistance * half))
    return np.array(current[-steps:])


@pytest.mark.parametrize("speed", [SPEED, 200 * SPEED])  # resistance limits, both limit
def test_loop_current_against_steps_of_time(wave, speed):
    """Second method: the sampled EMF of the phases on their series circuit."""
    _, found = wave
    loop = warm_loop(loop_of(found), 60.0)
    current = integrated(found, loop.resistance, speed)
    assert float(loop_loss(loop, speed)) == pytest.approx(3 * loop.resistance * np.mean(current**2), rel=2e-3)


def test_the_example_shows_it(wave):
    """A third harmonic of 29 % drives about 1.8 A peak around the delta at 1500 rpm, more than 3 W."""
    _, found = wave
    third = next(row["ratio"] for row in found.magnetic.emf_harmonics if row["order"] == 3)
    assert third == pytest.approx(0.29, rel=0.02)
    point = found.losses[-1]
    resistance = found.electrical.zero_sequence_resistance * (1 + 0.00393 * 40)
    current = integrated(found, resistance, SPEED)
    assert 1.7 < 2 * abs(np.fft.rfft(current)[3]) / len(current) < 1.9
    assert point["delta_loop_w"] == pytest.approx(3 * resistance * np.mean(current**2), rel=2e-3)
    assert point["loop_phase_current_rms_a"] == pytest.approx(sqrt(np.mean(current**2)), rel=1e-3)
    assert point["delta_loop_w"] > 3.0


def test_losses_hold_the_loop_and_powers_balance(wave, star):
    still, _, unloaded, point = wave[1].losses
    assert still["delta_loop_w"] == still["loop_phase_current_rms_a"] == 0
    assert unloaded["torque_n_m"] * SPEED == pytest.approx(-unloaded["total_w"], rel=1e-9)  # all of it from the shaft
    assert point["electrical_w"] == pytest.approx(point["shaft_w"] + point["total_w"], rel=1e-9)
    assert point["total_w"] == pytest.approx(
        point["copper_w"] + point["eddy_w"] + point["circulating_w"] + point["delta_loop_w"], rel=1e-12
    )
    assert "delta_loop_w" not in star[1].losses[-1] and "loop_phase_current_rms_a" not in star[1].losses[-1]


def test_two_thirds_of_the_pitch_leave_little(wave):
    """The third harmonic of magnets over two thirds of the pitch is nought, as the finding says."""
    _, found = predicted(rotor__magnet__arc_ratio=2 / 3)
    assert found.losses[-1]["delta_loop_w"] < 0.01 * wave[1].losses[-1]["delta_loop_w"]


def test_only_what_the_phases_have_in_common_drives_it():
    """Five phases: harmonics 5, 15 and 25 go around, 3 and 9 do not."""
    orders = np.arange(1, 26, 2)
    linkages = np.exp(2j * pi * np.outer(np.arange(5) / 5, orders))
    loop = delta_loop("delta", linkages, orders, 4, np.eye(5) * 1e-6, 1.0)
    assert loop.emf / (4 * orders) == pytest.approx(np.where(orders % 5 == 0, 1.0, 0.0), abs=1e-12)
    assert delta_loop("star", linkages, orders, 4, np.eye(5), 1.0) is None


def test_inductance_of_the_loop_is_self_plus_mutual():
    """One third of the phases in series; where they cancel to rounding, or below, it stays above zero."""
    linkages = np.ones((3, 1), complex)
    for mutual in (-0.3, 0.2):
        matrix = np.full((3, 3), mutual) + (1 - mutual) * np.eye(3)
        loop = delta_loop("delta", linkages, np.array([3]), 4, matrix * 1e-6, 1.0)
        assert loop.inductance == pytest.approx((1 + 2 * mutual) * 1e-6, rel=1e-12)
    none = delta_loop("delta", linkages, np.array([3]), 4, (1.51 * np.eye(3) - 0.51) * 1e-6, 1.0)
    assert 0 < none.inductance < 2e-9


def test_heat_balance_holds_the_loop(wave, star):
    """At the board's limit the network heats by the loop's loss at that temperature, beyond what it does without."""
    design, found = wave
    board, _ = heat_limits(design)
    assert board > 100.0
    alone = board_heat(found.design, conductors_of(found.design, found.laid), rotor_field(found.design))
    heats = [heat.network.eddy.sum() for heat in (found.thermal.heat.heat, alone)]
    expected = float(loop_loss(warm_loop(loop_of(found), board), SPEED))
    assert (heats[0] - heats[1]) / (1 + 0.00393 * (board - 20)) == pytest.approx(expected, rel=1e-6)
    assert found.thermal.board_current < 0.99 * star[1].thermal.board_current


def test_motion_feels_the_loop(wave, star):
    """At the constant speed of the motion: the losses' own figures, and their drag."""
    point, motion = wave[1].losses[-1], wave[1].motion
    assert motion.loop_heat == pytest.approx(point["delta_loop_w"], rel=1e-9)
    assert motion.loop_current == pytest.approx(point["loop_phase_current_rms_a"], rel=1e-12)
    drag = point["eddy_w"] + point["circulating_w"] + point["delta_loop_w"]
    assert motion.drag * SPEED == pytest.approx(drag, rel=1e-9)
    assert star[1].motion.loop_heat is None and star[1].motion.loop_current is None
    heat = 3 / 2 * wave[1].electrical.phase_resistance * (1 + 0.00393 * 40)
    current = (0.01 + motion.drag) / wave[1].magnetic.torque_constant
    expected = (heat * current**2 + drag + 0.01 * SPEED) / 48.0
    assert motion.supply_mean == pytest.approx(expected, rel=5e-3)


def test_a_geared_motion_turns_the_motor_faster(wave):
    """At the load three times the drag, at a third of the speed."""
    _, geared = predicted(drive__gear_ratio=3.0, motion__speed_rpm=500.0)
    assert geared.motion.loop_heat == pytest.approx(wave[1].motion.loop_heat, rel=1e-9)
    assert geared.motion.drag == pytest.approx(3 * wave[1].motion.drag, rel=1e-9)


def test_simulated_drive_is_braked_by_it(wave):
    """Its plant at a held speed, with the loop less without it: heat and torque of the closed form at 20 C."""
    design, found = wave
    stand, _ = stand_of(design, found)
    still = replace(stand.plant, inertia=1e3, temperature_coefficient=0.0, leg_loss=0.0, ripple_rms=0.0)
    period, count = 2 * pi / (6 * SPEED) / 400, 4000
    heat, brake = [], []
    for plant in (still, replace(still, loop_slopes=(), running=0.0, standstill=0.0)):
        body = Plant(replace(plant, running=0.0, standstill=0.0), period)
        state = body.state
        state.speed = state.load_speed = SPEED
        body.advance(0j, 0.0, count)
        heat.append(state.heat / (count * period))
        brake.append((SPEED - state.speed) * plant.inertia / (count * period))
    assert heat[0] - heat[1] == pytest.approx(float(loop_loss(loop_of(found), SPEED)), rel=5e-3)
    assert brake[0] - brake[1] == pytest.approx(float(loop_torque(loop_of(found), SPEED)), rel=5e-3)
