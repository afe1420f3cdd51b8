"""Scenarios: what a user asks of the drive, and that causes show where they must."""

from math import degrees

import numpy as np
import pytest

import pcbstator
from pcbstator.analysis.drive.scenarios import SCENARIOS
from pcbstator.analysis.drive.stand import stand_of
from pcbstator.design import design_from_document
from pcbstator.errors import DesignError
from tests.analysis.conftest import DOCUMENT

JOB = {
    "load": {"inertia_kg_m2": 2e-4, "friction_n_m": 0.0004, "standstill_friction_n_m": 0.0005},
    "motion": {"move_deg": 40.0, "speed_rpm": 10.0, "acceleration_deg_s2": 200.0, "dwell_s": 0.3},
    "drive": {
        "supply_v": 12.0, "current_limit_peak_a": 1.5, "pwm_khz": 60.0, "control_khz": 10.0, "sensor_counts": 262144,
        "speed_bandwidth_hz": 12.0,
    },
}  # fmt: skip


def run(name, **changes):
    design = design_from_document(DOCUMENT | JOB).with_values({k.replace("__", "."): v for k, v in changes.items()})
    found = pcbstator.simulate(design, (name,))
    (only,) = found.runs
    return only, found


@pytest.mark.parametrize("name", SCENARIOS)
def test_every_scenario_keeps_its_energy(name):
    """Electrical energy in is heat, friction, work and what is stored, to 1e-3, on the machine with its harmonics."""
    only, found = run(name)
    assert only.trace.balance < 1e-3
    assert found.to_dict()["scenarios"][name]["duration_s"] > 1.0
    assert np.isfinite(only.trace.angles).all()


def test_a_move_arrives():
    only, _ = run("moves")
    assert only.numbers["error_after_rest_deg"] < 0.02
    assert only.trace.angles.max() == pytest.approx(np.radians(40.0), abs=np.radians(0.1))


def test_approach_from_both_sides_differs_by_the_play_of_the_bearing():
    """Common practice: 1 mm at 60 mm shows as nearly one degree between directions."""
    tight, _ = run("approach")
    loose, _ = run("approach", drive__bearing_play_mm=1.0, drive__mark_radius_mm=60.0)
    more = loose.numbers["offset_between_directions_deg"] - tight.numbers["offset_between_directions_deg"]
    assert abs(more) == pytest.approx(0.9548, abs=0.05)
    assert tight.numbers["offset_between_directions_deg"] < 0.05
    assert tight.numbers["repeatability_deg"] < 0.02


@pytest.mark.parametrize("play", [0.6, 1.2])
def test_approach_from_both_sides_differs_by_the_play_of_the_coupling(play):
    """The sensor sits on the motor: a light load is left behind by all of the play."""
    light = {"load__inertia_kg_m2": 2e-5, "motion__acceleration_deg_s2": 50.0, "drive__position_bandwidth_hz": 6.0}
    tight, loose = (run("approach", load__play_deg=size, **light)[0].numbers for size in (0.0, play))
    more = loose["offset_between_directions_deg"] - tight["offset_between_directions_deg"]
    assert more == pytest.approx(play, rel=0.02)


def test_play_before_a_heavy_load_makes_control_impossible():
    """Common practice. In the gap the gains of the whole meet the rotor alone: it rattles to and fro continuously."""
    tight, loose = (run("hold", load__play_deg=size) for size in (0.0, 0.6))
    late = tight[0].trace.times > 2.4
    assert np.ptp(tight[0].trace.motor[late]) < np.radians(0.01)
    assert np.ptp(loose[0].trace.motor[late]) > np.radians(0.5)
    assert any(finding.code == "drive.play" for finding in loose[1].prediction.findings)


def test_small_steps_are_even_with_a_fine_sensor_and_not_with_a_coarse_one():
    """Common practice: half a degree is the small step that must stay visible and even; 1000 counts are 0.36 degree."""
    fine, _ = run("steps")
    coarse, _ = run("steps", drive__sensor_counts=1000)
    assert fine.numbers["steps"] == 12
    assert fine.numbers["mean_step_deg"] == pytest.approx(0.5, rel=1e-2)
    assert fine.numbers["step_deviation_deg"] < 0.02 < coarse.numbers["step_deviation_deg"]


def test_a_slow_turn_is_smooth_until_the_sensor_is_coarse_or_friction_sticks():
    """Common practice: 1.5 rpm is a slow turn that must look continuous."""
    fine, _ = run("slow")
    coarse, _ = run("slow", drive__sensor_counts=400)
    rough, _ = run("slow", load__friction_n_m=0.001, load__standstill_friction_n_m=0.003,
                   load__standstill_fades_rpm=0.05, drive__speed_bandwidth_hz=2.0)  # fmt: skip
    assert fine.numbers["speed_rpm"] == pytest.approx(1.5)
    assert fine.numbers["speed_ripple_rms_ratio"] < 0.02 and fine.numbers["standing_still_ratio"] == 0
    assert coarse.numbers["speed_ripple_rms_ratio"] > 5 * fine.numbers["speed_ripple_rms_ratio"]
    assert rough.numbers["speed_ripple_rms_ratio"] > 5 * fine.numbers["speed_ripple_rms_ratio"]


def test_a_friction_spot_shows_where_it_is():
    spot = [{"angle_deg": 90.0, "width_deg": 12.0, "extra_n_m": 0.0008}]
    only, _ = run("slow", load__friction_spots=spot)
    trace = only.trace
    within = np.abs(np.degrees(trace.angles) - 90.0) < 3.0
    outside = (np.degrees(trace.angles) > 100.0) | (np.degrees(trace.angles) < 80.0)
    later = trace.times > 1.0
    assert trace.current[within].mean() > 1.5 * trace.current[outside & later].mean()


def test_a_push_is_held_and_let_go():
    only, found = run("hold")
    design = design_from_document(DOCUMENT | JOB)
    stand, _ = stand_of(design, pcbstator.predict(design))
    limit = stand.push / (stand.control.speed_gain * stand.control.position_gain)
    assert 0 < only.numbers["largest_deflection_deg"] < degrees(limit)  # the integral helps
    assert only.numbers["deflection_at_end_of_push_deg"] < 0.1 * only.numbers["largest_deflection_deg"]
    assert only.numbers["deflection_after_release_deg"] < 0.02
    assert found.prediction.motion.available_peak > stand.push


def test_bare_gains_make_the_load_swing():
    """The margins say so, and the time domain agrees: gains of the bare rotor on forty times its inertia."""
    from dataclasses import replace

    from pcbstator.physics.drive.simulation import simulated

    design = design_from_document(DOCUMENT | JOB).with_values({"load.inertia_kg_m2": 6e-4})
    prediction = pcbstator.predict(design)
    stand, _ = stand_of(design, prediction)
    fit = prediction.drive
    bare = replace(
        stand.control,
        speed_gain=fit.bare_speed_kp,
        speed_integral=fit.bare_speed_ki,
        position_gain=fit.bare_position_kp,
    )
    wanted = np.full(20_000, 0.002)
    wanted[0] = 0.0
    plant = replace(stand.plant, running=0.0, standstill=0.0)
    reference = (wanted, 0 * wanted, 0 * wanted)
    calm, wild = (simulated(plant, gains, stand.sensor, reference) for gains in (stand.control, bare))
    assert np.ptp(calm.angles[-2000:]) < 1e-4
    assert fit.bare_margin < 0 < fit.position_margin
    assert np.ptp(wild.angles[-2000:]) > 0.004


def test_a_gear_makes_the_same_move():
    plain, _ = run("moves")
    geared, _ = run("moves", drive__gear_ratio=5.0)
    assert geared.numbers["error_after_rest_deg"] < 0.02
    assert geared.trace.wanted == pytest.approx(plain.trace.wanted[: len(geared.trace.wanted)], abs=0.02)


@pytest.mark.parametrize("connection", ["delta", "open"])
def test_other_connections_move_as_well(connection):
    only, _ = run("moves", winding__connection=connection)
    assert only.numbers["error_after_rest_deg"] < 0.02 and only.trace.balance < 1e-3


def test_a_run_is_the_same_every_time():
    one, other = (run("moves", drive__sensor_noise_deg=0.02)[0] for _ in range(2))
    assert np.array_equal(one.trace.angles, other.trace.angles)


def test_what_is_missing_is_told():
    with pytest.raises(DesignError, match="drive: this section is required"):
        pcbstator.simulate(design_from_document(DOCUMENT))
    bare = design_from_document(DOCUMENT | {"drive": JOB["drive"]})
    found = pcbstator.simulate(bare)
    assert [only.name for only in found.runs] == ["slow", "approach", "steps", "hold"]
    assert "needs [motion]" in found.remarks[0]


def test_long_motions_are_cut_and_told():
    only, found = run("moves", motion__move_deg=1e6)
    assert only.numbers["duration_s"] <= 50.1 and "only the first" in found.remarks[0]
