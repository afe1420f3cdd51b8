"""Scenarios: what a user asks of the drive, and that causes show where they must."""

import re
from dataclasses import replace
from math import asin, degrees, exp, pi, radians, sqrt
from pathlib import Path

import numpy as np
import pytest

import pcbstator
from pcbstator.analysis.drive.simulation import push_measures as pushes
from pcbstator.analysis.drive.simulation import run_measures as runs
from pcbstator.analysis.drive.simulation.scenario_values import scenario_values
from pcbstator.analysis.drive.simulation.scenarios import SCENARIOS
from pcbstator.analysis.drive.simulation.stand import stand_of
from pcbstator.design import design_from_document
from pcbstator.errors import DesignError
from pcbstator.physics.drive.positioning import magnet_eccentricity_peak
from pcbstator.physics.drive.simulation import simulated
from tests.analysis.conftest import DOCUMENT

JOB = {
    "load": {"inertia_kg_m2": 2e-4},
    "bearing": {"friction_n_m": 0.0004, "standstill_friction_n_m": 0.0005},
    "motion": {"move_deg": 40.0, "speed_rpm": 10.0, "acceleration_deg_s2": 200.0, "dwell_s": 0.3},
    "drive": {
        "supply_v": 12.0, "current_limit_peak_a": 1.5, "pwm_khz": 20.0, "control_khz": 4.0, "sensor_counts": 262144,
        "speed_bandwidth_hz": 12.0,
    },
}  # fmt: skip
DRIVER = {
    "drive__current_offset_percent": 0.0, "drive__current_gain_error_percent": 0.0, "drive__dead_time_ns": 0.0,
    "drive__voltage_drop_v": 0.0,
}  # fmt: skip
PERFECT = {"bearing__friction_n_m": 0.0, "bearing__standstill_friction_n_m": 0.0, **DRIVER}


def asked(**changes):
    document = DOCUMENT | JOB | {"requirement": changes.pop("requirement", {})}
    return design_from_document(document).with_values({k.replace("__", "."): v for k, v in changes.items()})


def run(name, **changes):
    found = pcbstator.simulate(asked(**changes), (name,))
    (only,) = found.runs
    return only, found


def part(found, name, when):
    """Error of a part of the budget [deg]."""
    rows = found.to_dict()["error_budget"]
    (error,) = (row["error_deg"] for row in rows if (row["part"], row["when"]) == (name, when))
    return error


def stand(**changes):
    design = asked(**changes)
    found, _ = stand_of(design, pcbstator.predict(design))
    return found


@pytest.mark.parametrize("name", SCENARIOS)
def test_every_scenario_keeps_its_energy_and_its_keys_are_told(name):
    """Electrical energy in is heat, friction, work and what is stored, to 1e-3, on the machine with its harmonics."""
    only, found = run(name)
    numbers = found.to_dict()["scenarios"][name]
    assert numbers["energy_balance_error_ratio"] < 1e-3
    assert numbers["duration_s"] > 1.0
    assert np.isfinite(only.trace.angles).all()
    page = (Path(__file__).parents[2] / "docs" / "control.md").read_text(encoding="utf-8")
    known = set(re.findall(r"`(\w+)`", page)) | COMMON
    assert {key for key in numbers if key not in known and key.removeprefix("believed_") not in known} == set()


COMMON = {
    "duration_s", "terminal_current_peak_a", "heating_terminal_current_peak_a", "voltage_used_ratio", "copper_rise_k",
    "energy_j", "energy_balance_error_ratio", "moves", "places", "approaches_from_each_side", "steps", "push_n_m",
    "settled_within_deg", "speed_rpm", "turned_deg", "step_deg", "mean_step_deg", "smallest_step_deg",
    "largest_step_deg", "position_ripple_peak_to_peak_deg", "largest_error_at_deg", "error_after_release_deg",
}  # fmt: skip


# ---------------------------------------------------------------------- loops
def test_a_step_of_the_position_loop_is_the_second_order_one():
    """Closed form: speed loop without integral in a position loop, s² + w s + w k; damping a half at k = w."""
    found = stand(**PERFECT, drive__sensor_counts=1 << 27, drive__speed_bandwidth_hz=4.0)
    c = found.control
    rate = c.speed_gain / c.inertia
    control = replace(c, speed_integral=0.0, position_gain=rate, observer=0.9 / c.period, dead_band=0.0)
    step = radians(0.02)
    wanted = np.full(4000, step)
    wanted[:20] = 0.0
    speeds = np.zeros_like(wanted)
    speeds[19] = 1e-9  # so that the rest after it is one
    reference = (wanted, speeds, 0 * wanted)
    trace = simulated(found.plant, control, found.sensor, reference)
    overshoot = trace.angles.max() / step - 1
    assert overshoot == pytest.approx(exp(-pi * 0.5 / sqrt(0.75)), rel=0.02)
    (rest,) = runs.rests(trace, reference, found, 0.02 * step)
    time = np.linspace(0.0, 20 / rate, 20_001)
    swing = np.exp(-rate * time / 2) / sqrt(0.75) * np.cos(sqrt(0.75) * rate * time - pi / 6)
    exact = time[np.flatnonzero(np.abs(swing) > 0.02)[-1]]
    assert rest.settling == pytest.approx(exact, rel=0.02)


@pytest.mark.parametrize("part", [0.9, 1.5, 3.0])
def test_a_push_against_friction_has_a_dead_band_and_then_the_loops_stiffness(part):
    """Closed form without integral: nothing up to the friction, then what is above it over the gains' product."""
    friction = 0.0008
    found = stand(bearing__friction_n_m=friction, bearing__standstill_friction_n_m=friction)
    found = replace(found, control=replace(found.control, speed_integral=0.0))
    still = (np.zeros(8000),) * 3
    trace = found.run(still, pushes.long_push(0.1, part * friction, 8000, found.control.period))
    stiffness = found.control.speed_gain * found.control.position_gain
    expected = max(0.0, part - 1) * friction / stiffness
    assert float(np.abs(trace.angles).max()) == pytest.approx(expected, rel=0.03, abs=1e-9)


def loops_give(order, viscous=0.0):
    """Closed form: amplitude of the angle [rad/(N m)] at an order of a turn at 1.5 rpm."""
    c = stand(**PERFECT).control
    s = 1j * order * radians(9.0)
    return 1 / abs(c.inertia * s**2 + viscous * s + (c.speed_gain + c.speed_integral / s) * (s + c.position_gain))


def test_offset_of_the_current_sensors_is_the_first_electrical_order():
    """Closed form: 4/3 of the offset turns against the rotor with three phases."""
    only, _ = run("slow", **PERFECT | {"drive__current_offset_percent": 5.0})
    ready = stand(**PERFECT)
    answer = ready.control.torque_constant * 4 / 3 * 0.05 * 1.5 * loops_give(4)
    (row,) = [row for row in only.numbers["orders"] if row["order"] == 4]
    assert row["cause"] == "offset of the current sensors"
    assert row["angle_error_deg"] == pytest.approx(degrees(answer), rel=0.03)
    assert row["speed_ripple_ratio"] == max(other["speed_ripple_ratio"] for other in only.numbers["orders"])


def test_unequal_gains_of_the_current_sensors_are_the_second_electrical_order():
    """Closed form: a third of their difference turns backwards, of the current that the turn takes."""
    viscous = 0.002
    changes = {"drive__current_gain_error_percent": 10.0, "bearing__viscous_n_m_s_per_rad": viscous}
    only, _ = run("slow", **PERFECT | changes)
    answer = viscous * radians(9.0) * 0.1 / 3 * loops_give(8, viscous)
    (row,) = [row for row in only.numbers["orders"] if row["order"] == 8]
    assert row["cause"] == "unequal gains of the current sensors"
    assert row["angle_error_deg"] == pytest.approx(degrees(answer), rel=0.03)


def test_the_sixth_electrical_order_has_the_names_of_all_that_can_make_it():
    """Harmonics of the EMF, and dead time where there is any."""
    changes = {
        "drive__dead_time_ns": 2000.0,
        "bearing__viscous_n_m_s_per_rad": 0.002,
        "drive__current_bandwidth_hz": 30.0,
    }
    with_it, without = (run("slow", **PERFECT | changes | more)[0] for more in ({}, {"drive__dead_time_ns": 0.0}))
    sixth = [
        {row["order"]: row for row in only.numbers["orders"]}.get(24, {"angle_error_deg": 0.0, "cause": ""})
        for only in (with_it, without)
    ]
    assert all(row["cause"].startswith("EMF harmonics") for row in sixth)
    assert "dead time" in sixth[0]["cause"] and "dead time" not in sixth[1]["cause"]


def test_gravity_shakes_a_slow_turn_as_the_loops_allow():
    """Closed form: order one at the amplitude of the torque over |J s² + (Kv + Ki/s)(s + Kp)| at the speed."""
    torque = 0.002
    only, _ = run("slow", **PERFECT, load__unbalance_n_m=torque)
    answer = torque * loops_give(1)
    (once,) = [row for row in only.numbers["orders"] if row["order"] == 1]
    assert once["cause"] == "unbalance"
    assert once["angle_error_deg"] == pytest.approx(degrees(answer), rel=0.03)
    assert once["speed_ripple_ratio"] == pytest.approx(answer, rel=0.03)


# --------------------------------------------------------------------- sensor
@pytest.mark.parametrize(
    ("sensor", "peak", "lucky", "order"),
    [
        ({"drive__sensor_radius_mm": 30.0}, asin(0.2 / 30.0), (0, 180), 1),
        ({"drive__sensor_distance_mm": 6.0}, magnet_eccentricity_peak(0.2e-3, 6e-3), (0, 90, 180, 270), 2),
    ],
)
def test_the_worst_place_has_the_closed_form_of_the_eccentricity(sensor, peak, lucky, order):
    """And at the lucky angles next to nothing is seen; the sensor believes that all is well everywhere."""
    only, found = run("approach", **PERFECT, **sensor, drive__sensor_offset_mm=0.2)
    numbers = only.numbers
    assert numbers["worst_error_deg"] == pytest.approx(degrees(peak), rel=0.03)
    assert numbers["believed_worst_error_deg"] < 0.1 * degrees(peak)
    near = [abs(value) for at, value in zip(numbers["at_deg"], numbers["from_below_deg"], strict=True)
            if min(abs((at - angle + 180) % 360 - 180) for angle in lucky) < 2.5]  # fmt: skip
    assert len(near) >= 2 and max(near) < 0.2 * degrees(peak)
    assert numbers["settled"] is False and "settling_time_s" not in numbers
    assert "do not settle within 0.05 degrees" in found.remarks[0]
    turning, _ = run("slow", **PERFECT, **sensor, drive__sensor_offset_mm=0.2)
    rows = {row["order"]: row for row in turning.numbers["orders"]}
    assert rows[order]["cause"] == "sensor eccentricity"
    assert rows[order]["angle_error_deg"] == pytest.approx(degrees(peak), rel=0.03)


def test_an_error_that_the_sensor_hides_is_not_settled_in_0_s():
    """The offset of 0.2 mm that once showed 0.404 degrees, settled in no time."""
    only, found = run("moves", drive__sensor_offset_mm=0.2, drive__sensor_radius_mm=18.0)
    numbers = only.numbers
    assert numbers["error_after_rest_deg"] == pytest.approx(degrees(0.2 / 18 * np.sin(radians(40))), rel=0.05)
    assert numbers["believed_error_after_rest_deg"] < 0.01 and numbers["believed_settled"]
    assert not numbers["settled"] and "settling_time_s" not in numbers
    assert any("moves: 1 of 1 moves do not settle" in remark for remark in found.remarks)


# ----------------------------------------------------------------- what is asked
def test_values_are_the_requirements_then_the_motions_then_the_defaults():
    stated = {"position_error_deg": 0.3, "settling_time_s": 2.0, "slow_speed_rpm": 3.0, "smallest_step_deg": 0.2}
    from_file = scenario_values(asked(requirement=stated), stand())
    assert (degrees(from_file.band), degrees(from_file.small_step)) == pytest.approx((0.3, 0.2))
    assert from_file.slow_speed == pytest.approx(3 * pi / 30) and from_file.rest == pytest.approx(3.0)
    assert from_file.band_from == "requirement.position_error_deg"
    slow = asked(motion__move_deg=0.25)
    assert scenario_values(slow, stand()).small_step_from == "motion.move_deg"
    usual = scenario_values(asked(), stand())
    assert (degrees(usual.band), degrees(usual.small_step)) == pytest.approx((0.05, 0.5))
    assert usual.slow_speed == pytest.approx(1.5 * pi / 30) and usual.slow_speed_from == "default"


def test_what_the_simulation_finds_above_the_requirement_is_told():
    stated = {"position_error_deg": 0.3, "smallest_step_deg": 0.2, "step_error_percent": 90.0}
    coarse = {"drive__sensor_counts": 3000, "requirement": stated}
    assert not any("above requirement" in remark for remark in run("moves", **coarse)[1].remarks)
    _, found = run("steps", **coarse | {"requirement": stated | {"step_error_percent": 1.0}})
    (told,) = [remark for remark in found.remarks if "above requirement" in remark]
    assert re.fullmatch(r"steps: step error [\d.]+ %, above requirement.step_error_percent 1", told)


# ---------------------------------------------------------------------- scenarios
def test_a_move_arrives():
    only, _ = run("moves")
    assert only.numbers["error_after_rest_deg"] < 0.02 and only.numbers["settled"]
    assert only.numbers["settling_time_s"] == pytest.approx(only.numbers["believed_settling_time_s"], abs=0.05)
    assert only.trace.angles.max() == pytest.approx(np.radians(40.0), abs=np.radians(0.1))


def test_approach_from_both_sides_differs_by_the_play_of_the_bearing():
    """Common practice: 1 mm at 60 mm shows as nearly one degree between directions; half of it in the budget."""
    tight, _ = run("approach")
    loose, found = run("approach", bearing__radial_play_mm=1.0, drive__mark_radius_mm=60.0)
    # From below the mark is behind its target, from above in front of it.
    below, above = (np.mean(loose.numbers[f"from_{side}_deg"]) for side in ("below", "above"))
    assert above - below == pytest.approx(0.9548, abs=0.05)
    tight_below, tight_above = (np.mean(tight.numbers[f"from_{side}_deg"]) for side in ("below", "above"))
    of_play = above - below - (tight_above - tight_below)
    assert part(found, "bearing play at the mark", "at rest") == pytest.approx(of_play / 2, rel=0.02)
    assert loose.numbers["worst_error_deg"] == pytest.approx(0.9548 / 2, abs=0.05)
    assert loose.numbers["believed_worst_error_deg"] < 0.05
    assert tight.numbers["offset_between_directions_deg"] < 0.05
    assert tight.numbers["repeatability_deg"] < 0.02


@pytest.mark.parametrize("play", [0.6, 1.2])
def test_approach_from_both_sides_differs_by_the_play_of_the_coupling(play):
    """The sensor sits on the motor: a light load is left behind by all of the play; half of it in the budget."""
    light = {"load__inertia_kg_m2": 2e-5, "motion__acceleration_deg_s2": 50.0, "drive__position_bandwidth_hz": 6.0}
    tight, (loose, found) = (run("approach", load__play_deg=size, **light) for size in (0.0, play))
    offsets = (one.numbers["offset_between_directions_deg"] for one in (loose, tight[0]))
    more = next(offsets) - next(offsets)
    assert more == pytest.approx(play, rel=0.02)
    assert part(found, "play of the coupling", "at rest") == pytest.approx(more / 2, rel=0.02)


def test_play_of_bearing_and_coupling_in_a_slow_turn():
    """The mark stays behind by half of the bearing's play, the load behind the motor by half of the coupling's, all the
    way around: what the turn is off in the mean, each against its part of the budget.
    """
    light = {"load__inertia_kg_m2": 2e-5, "drive__position_bandwidth_hz": 6.0, **DRIVER}  # friction keeps it behind
    means = []
    for more in ({}, {"bearing__radial_play_mm": 1.0, "drive__mark_radius_mm": 60.0}, {"load__play_deg": 0.6}):
        only, found = run("slow", **light, **more)
        means.append((float(only.curves["error_deg"].mean()), found))
    bearing, coupling = (means[0][0] - mean for mean, _ in means[1:])
    assert part(means[1][1], "bearing play at the mark", "moving") == pytest.approx(bearing, rel=0.02)
    assert part(means[2][1], "play of the coupling", "moving") == pytest.approx(coupling, rel=0.02)


def test_play_before_a_heavy_load_makes_control_impossible():
    """Common practice. In the gap the gains of the whole meet the rotor alone: it rattles to and fro continuously."""
    tight, loose = (run("hold", load__play_deg=size) for size in (0.0, 0.6))
    late = tight[0].trace.times > tight[0].trace.times[-1] - 1.0
    assert np.ptp(tight[0].trace.motor[late]) < np.radians(0.01)
    assert np.ptp(loose[0].trace.motor[late]) > np.radians(0.5)
    assert any(finding.code == "drive.play" for finding in loose[1].prediction.findings)


def test_small_steps_are_even_with_a_fine_sensor_and_not_with_a_coarse_one():
    """Common practice: half a degree is the small step that must stay visible and even; 1000 counts are 0.36 degree."""
    fine, _ = run("steps")
    coarse, _ = run("steps", drive__sensor_counts=1000)
    assert fine.numbers["steps"] == 4 * 6 and fine.numbers["places"] == 4
    assert fine.numbers["mean_step_deg"] == pytest.approx(0.5, rel=1e-2)
    assert fine.numbers["step_deviation_deg"] < 0.02 < coarse.numbers["step_deviation_deg"]


def test_a_slow_turn_is_smooth_until_the_sensor_is_coarse_or_friction_sticks():
    """Common practice: 1.5 rpm is a slow turn that must look continuous."""
    fine, _ = run("slow")
    coarse, _ = run("slow", drive__sensor_counts=400)
    rough, _ = run("slow", bearing__friction_n_m=0.001, bearing__standstill_friction_n_m=0.003,
                   bearing__standstill_fades_rpm=0.05, drive__speed_bandwidth_hz=2.0)  # fmt: skip
    assert fine.numbers["speed_rpm"] == pytest.approx(1.5)
    assert fine.numbers["speed_ripple_rms_ratio"] < 0.02 and fine.numbers["standing_still_ratio"] == 0
    assert coarse.numbers["speed_ripple_rms_ratio"] > 5 * fine.numbers["speed_ripple_rms_ratio"]
    assert rough.numbers["speed_ripple_rms_ratio"] > 5 * fine.numbers["speed_ripple_rms_ratio"]
    assert fine.numbers["turned_deg"] >= 360.0


def test_a_friction_spot_shows_where_it_is():
    spot = [{"angle_deg": 90.0, "width_deg": 12.0, "extra_n_m": 0.0008}]
    only, _ = run("slow", bearing__friction_spots=spot)
    angle, current = only.curves["angle_deg"], only.curves["current_a"]
    within = np.abs(angle - 90.0) < 3.0
    outside = (angle > 110.0) | (angle < 80.0)
    assert current[within].mean() > 1.5 * current[outside].mean()
    assert 82.0 < only.numbers["largest_error_at_deg"] < 105.0
    assert 82.0 < only.numbers["least_speed_at_deg"] < 105.0
    (there,) = only.numbers["friction_spots"]
    assert there["angle_deg"] == pytest.approx(90.0)
    assert there["least_speed_ratio"] == only.numbers["least_speed_ratio"]
    assert any(row["cause"] == "friction spot" for row in only.numbers["orders"])


def test_copper_does_not_run_hot_in_a_long_turn():
    """Nothing is cooled away in the model: a turn of 40 s would double the resistance again and again."""
    only, _ = run("slow", bearing__viscous_n_m_s_per_rad=0.002)
    voltage = only.trace.voltage
    late = len(voltage) // 10
    assert voltage[-late:].mean() == pytest.approx(voltage[late : 2 * late].mean(), rel=0.05)
    assert "copper_rise_k" not in only.numbers and run("moves")[0].numbers["copper_rise_k"] > 0


def test_a_turn_too_slow_to_be_run_whole_says_so():
    only, found = run("slow", motion__speed_rpm=0.001, motion__move_deg=None, motion__acceleration_deg_s2=None)
    assert only.numbers["speed_from"] == "motion.speed_rpm" and "orders" not in only.numbers
    assert only.numbers["turned_deg"] == pytest.approx(0.06, rel=0.05)
    assert "slow: a turn takes 6e+04 s" in found.remarks[0]


def test_a_push_is_held_and_let_go():
    only, found = run("hold")
    numbers, ready = only.numbers, stand()
    limit = ready.push / (ready.control.speed_gain * ready.control.position_gain)
    assert 0 < numbers["largest_deflection_deg"] < degrees(limit)  # the integral helps
    assert numbers["deflection_at_end_of_push_deg"] < 0.1 * numbers["largest_deflection_deg"]
    assert numbers["deflection_after_release_deg"] < 0.02 and numbers["returned"]
    assert 0 < numbers["return_time_s"] < 1.0
    assert found.prediction.motion.available_peak > ready.push


def test_play_and_friction_make_a_nudge_harder_to_tell():
    """The sensor on the motor sees nothing of the coupling's play, and friction must be overcome before."""
    plain = run("hold")[0].numbers
    assert plain["smallest_told_deflection_deg"] < 0.05
    assert plain["smallest_told_deflection_deg"] > plain["told_above_believed_deg"]
    light = {"load__inertia_kg_m2": 2e-5, "motion__acceleration_deg_s2": 50.0, "drive__position_bandwidth_hz": 6.0}
    tight, loose = (run("hold", **PERFECT, **light, load__play_deg=size)[0].numbers for size in (0.0, 0.6))
    more = loose["smallest_told_deflection_deg"] - tight["smallest_told_deflection_deg"]
    assert 0.3 < more < 0.61  # a load that floats in the gap: half of it in the middle, all of it at one end
    rough = run("hold", bearing__friction_n_m=0.0010, bearing__standstill_friction_n_m=0.0012)[0].numbers
    assert rough["smallest_told_push_n_m"] > plain["smallest_told_push_n_m"] + 0.0006
    stiff = {row["deflection_deg"]: row["push_n_m"] for row in plain["push_for_deflection"]}
    assert list(stiff.values()) == sorted(stiff.values()) and 0.1 in stiff


def test_bare_gains_make_the_load_swing():
    """The margins say so, and the time domain agrees: gains of the bare rotor on forty times its inertia."""
    design = asked(load__inertia_kg_m2=6e-4)
    prediction = pcbstator.predict(design)
    ready, _ = stand_of(design, prediction)
    fit = prediction.drive
    bare = replace(
        ready.control,
        speed_gain=fit.bare_speed_kp,
        speed_integral=fit.bare_speed_ki,
        position_gain=fit.bare_position_kp,
    )
    wanted = np.full(20_000, 0.002)
    wanted[0] = 0.0
    plant = replace(ready.plant, running=0.0, standstill=0.0)
    reference = (wanted, 0 * wanted, 0 * wanted)
    calm, wild = (simulated(plant, gains, ready.sensor, reference) for gains in (ready.control, bare))
    assert np.ptp(calm.angles[-2000:]) < 1e-4
    assert fit.bare_margin < 0 < fit.position_margin
    assert np.ptp(wild.angles[-2000:]) > 0.004


def test_a_gear_makes_the_same_move():
    plain, _ = run("moves")
    geared, _ = run("moves", drive__gear_ratio=5.0)
    assert geared.numbers["error_after_rest_deg"] < 0.02
    assert geared.trace.wanted[-1] == pytest.approx(plain.trace.wanted[-1], abs=1e-9)


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
    assert any("needs [motion]" in remark for remark in found.remarks)


def test_long_motions_are_cut_and_told():
    only, found = run("moves", motion__move_deg=1e6)
    assert only.numbers["duration_s"] <= 501 and "moves: only the first 500 s were run" in found.remarks[0]
    assert "settled" not in only.numbers


def test_the_stand_errs_as_its_keys_say():
    """Offset, gains and legs of a design reach the run: 4/3 of the offset, a third of the spread."""
    drive = {"drive__current_offset_percent": 2.0, "drive__current_gain_error_percent": 3.0}
    legs = {"drive__dead_time_ns": 500.0, "drive__voltage_drop_v": 0.2}
    design = design_from_document(DOCUMENT | JOB).with_values(
        {key.replace("__", "."): value for key, value in (drive | legs).items()}
    )
    stand, _ = stand_of(design, pcbstator.predict(design))
    assert abs(stand.sensor.current_offset) == pytest.approx(4 / 3 * 0.02 * 1.5, rel=1e-9)
    assert abs(stand.sensor.current_image) == pytest.approx(0.03 / 3, rel=1e-9)
    assert stand.plant.leg_loss == pytest.approx(12.0 * 500e-9 * design.drive.pwm + 0.2, rel=1e-9)
    bridges = design.with_values({"winding.connection": "open"})
    twice, _ = stand_of(bridges, pcbstator.predict(bridges))
    assert twice.plant.leg_loss == pytest.approx(2 * stand.plant.leg_loss, rel=1e-9)
