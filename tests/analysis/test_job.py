"""Sizing, driver fit and gains on a real machine, against closed forms worked out here from the other results."""

from dataclasses import replace
from math import pi, radians, sqrt

import numpy as np
import pytest

import pcbstator
from pcbstator.analysis.drive.equivalent_machine import machine_of, star_slopes
from pcbstator.analysis.drive.job import Motor, job_results
from pcbstator.analysis.magnetic.waveforms import line_emf, linkage_slopes
from pcbstator.analysis.thermal.records import ThermalResult
from pcbstator.design import design_from_document
from pcbstator.errors import DesignError
from pcbstator.physics.drive.positioning import magnet_eccentricity_error, ring_eccentricity_error
from pcbstator.physics.drive.supply import pulse_ripple
from tests.analysis.conftest import DOCUMENT

LOAD, BEARING = {"inertia_kg_m2": 2e-4}, {"friction_n_m": 0.001, "standstill_friction_n_m": 0.0014}
MOTION = {"move_deg": 270.0, "speed_rpm": 60.0, "acceleration_deg_s2": 720.0, "dwell_s": 0.4}
DRIVE = {"supply_v": 12.0, "current_limit_peak_a": 1.5, "pwm_khz": 60.0, "sensor_counts": 16384}
JOB = {"load": LOAD, "bearing": BEARING, "motion": MOTION, "drive": DRIVE}


def predicted(**changes):
    document = DOCUMENT | {name: dict(section) for name, section in JOB.items()}
    design = design_from_document(document).with_values({key.replace("__", "."): v for key, v in changes.items()})
    return design, pcbstator.predict(design)


@pytest.fixture(scope="module")
def plain():
    return predicted()[1]


def test_required_torque_of_a_trapezoid(plain):
    """Closed form: (J + J_rotor)·a + F at the peak; rms over rise, cruise, fall and rest, where the integral may hold
    what standstill friction bears.
    """
    inertia = 2e-4 + plain.mechanical.rotor_inertia
    speed, acceleration, angle = 2 * pi, radians(720.0), radians(270.0)
    rise, cruise = speed / acceleration, angle / speed - speed / acceleration
    driving, braking = inertia * acceleration + 0.001, inertia * acceleration - 0.001
    result = plain.to_dict()["motion"]
    assert result["move_time_s"] == pytest.approx(2 * rise + cruise, rel=1e-12)
    assert result["cycle_time_s"] == pytest.approx(2 * rise + cruise + 0.4, rel=1e-12)
    assert result["required_peak_torque_n_m"] == pytest.approx(driving, rel=1e-12)
    square = (driving**2 + braking**2) * rise + 0.001**2 * cruise + 0.0014**2 * 0.4
    assert result["required_rms_torque_n_m"] == pytest.approx(sqrt(square / result["cycle_time_s"]), rel=1e-12)


def test_standstill_friction_counts_where_it_is_the_most():
    _, found = predicted(bearing__standstill_friction_n_m=0.5)
    assert found.motion.required_peak == pytest.approx(0.5, rel=1e-12)


def test_no_load_speed_is_supply_times_speed_constant(plain):
    assert plain.to_dict()["motion"]["no_load_speed_rpm"] == pytest.approx(
        12.0 * plain.magnetic.speed_constant, rel=1e-9
    )


def test_available_peak_is_current_limit_times_torque_constant_until_the_voltage_limits():
    """Below the corner Kt·I; above it the q-axis current that uses up the voltage, found here by bisection."""
    _, found = predicted(drive__current_limit_peak_a=0.5)
    at_limit = 0.5 * found.magnetic.torque_constant - found.motion.drag
    assert found.motion.available_peak == pytest.approx(at_limit, rel=1e-9)
    assert found.motion.peak_limited_by == "current"
    fast, found = predicted(motion__speed_rpm=6000.0, motion__move_deg=1e6, drive__current_limit_peak_a=50.0)
    electrical, magnetic = found.electrical, found.magnetic
    rate = 4 * found.motion.top_speed
    hot = electrical.phase_resistance * (1 + 0.00393 * 60.0)
    low, high = 0.0, 50.0
    for _ in range(60):
        i = (low + high) / 2
        voltage = np.hypot(hot * i + rate * magnetic.flux_linkage_peak, rate * electrical.synchronous_inductance * i)
        low, high = (i, high) if voltage < 12 / sqrt(3) else (low, i)
    assert found.motion.available_peak == pytest.approx(low * magnetic.torque_constant - found.motion.drag, rel=1e-6)
    assert found.motion.peak_limited_by == "voltage"
    assert fast.motion.speed == pytest.approx(200 * pi)


def test_largest_inertia_and_friction(plain):
    """Closed form where the current limits, drag at the top speed taken off: (Kt·I − D − F)/a − J_rotor and
    Kt·I − D − J·a; else the worst that just works.
    """
    at_limit = 1.5 * plain.magnetic.torque_constant - plain.motion.drag
    acceleration = radians(720.0)
    inertia = 2e-4 + plain.mechanical.rotor_inertia
    assert plain.motion.largest_inertia == pytest.approx(
        (at_limit - 0.001) / acceleration - plain.mechanical.rotor_inertia, rel=1e-5
    )
    assert plain.motion.largest_friction == pytest.approx(at_limit - inertia * acceleration, rel=1e-5)
    worked = predicted(load__inertia_kg_m2=plain.motion.largest_inertia)[1].motion
    assert worked.required_peak == pytest.approx(worked.available_peak, rel=1e-5)


def test_heat_limits_where_the_copper_stands_less(plain):
    """The mean torque against a continuous current; the current is what a heat balance gives under that key."""
    design, _ = predicted()

    motor = Motor(plain.magnetic, plain.mechanical.rotor_inertia, ThermalResult(continuous_current=0.55))
    motion, _ = job_results(design, plain.electrical, motor)
    assert motion.available_continuous == pytest.approx(0.55 * sqrt(2) * plain.magnetic.torque_constant, rel=1e-9)
    assert motion.continuous_reserve == pytest.approx(motion.available_continuous / motion.required_rms - 1, rel=1e-9)
    again = predicted(load__inertia_kg_m2=motion.largest_inertia)[1].motion
    assert again.required_rms <= motion.available_continuous * (1 + 1e-6)
    assert "continuous_torque_n_m" in motion.curve[0]


def test_bodies_add_up():
    """Handbook: m d²/8, m (d² + D²)/8, m (l² + w²)/12, m r², Steiner."""
    bodies = [
        {"shape": "disc", "mass_g": 100.0, "diameter_mm": 80.0, "offset_mm": 10.0},
        {"shape": "ring", "mass_g": 50.0, "inner_diameter_mm": 60.0, "outer_diameter_mm": 90.0},
        {"shape": "bar", "mass_g": 30.0, "length_mm": 120.0, "width_mm": 20.0},
        {"shape": "point", "mass_g": 10.0, "radius_mm": 70.0},
    ]
    wanted = (
        0.1 * (0.08**2 / 8 + 0.01**2) + 0.05 * (0.06**2 + 0.09**2) / 8 + 0.03 * (0.12**2 + 0.02**2) / 12
        + 0.01 * 0.07**2 + 2e-4
    )  # fmt: skip
    assert predicted(load__bodies=bodies)[1].motion.load_inertia == pytest.approx(wanted, rel=1e-12)


def test_energy_of_a_cycle_is_friction_and_copper(plain):
    """What the supply gives and gets back is the loss: friction over the travel, and the copper's mean heat."""
    m = plain.motion
    friction = 0.001 * radians(270.0)
    heat = m.copper_heat * m.cycle_time
    assert m.cycle_energy - m.braking_energy == pytest.approx(friction + heat, rel=1e-3)


def test_a_recorded_table_of_the_same_move_needs_the_same(tmp_path, plain):
    """The trapezoid sampled into a CSV file; splines bend its corners a little."""
    from pcbstator.physics.drive.motion import rest_to_rest, sampled_moves
    from tests.command import toml_text

    move = rest_to_rest(radians(270.0), 2 * pi, radians(720.0))
    angles, _, _ = sampled_moves([(0.0, move, 1.0, 0.4)], 1e-3, 100_000)
    rows = [f"{k * 1e-3:.6f},{np.degrees(a):.9f}" for k, a in enumerate(angles)]
    (tmp_path / "move.csv").write_text("time_s,angle_deg\n" + "\n".join(rows) + "\n")
    document = DOCUMENT | JOB | {"motion": {"table_csv": "move.csv"}}
    (tmp_path / "d.toml").write_text(toml_text(document))
    found = pcbstator.predict(pcbstator.load_design(tmp_path / "d.toml")).motion
    assert found.required_rms == pytest.approx(plain.motion.required_rms, rel=2e-2)
    assert found.top_speed == pytest.approx(2 * pi, rel=2e-2)
    copied = pcbstator.load_design(tmp_path / "d.toml").with_values({"winding.turns": 3})
    assert copied.recording is not None


@pytest.mark.parametrize(
    ("text", "told"),
    [("", "columns"), ("time_s,way\n1,2\n", "columns"), ("time_s,angle_deg\n0,0\n0,1\n1,2\n", "rising"),
     ("time_s,angle_deg\n0,0\n1,x\n2,2\n", "numbers"), ("time_s,angle_deg\n0,0\n", "rows"),
     ("time_s,angle_deg\n0,0\n1,nan\n2,0\n", "sensible"), (None, "is there"), (b"\xff\xfe\x00", "UTF-8")],
)  # fmt: skip
def test_a_bad_table_is_told_in_words(tmp_path, text, told):
    from tests.command import toml_text

    (tmp_path / "d.toml").write_text(toml_text(DOCUMENT | {"motion": {"table_csv": "t.csv"}}))
    if text is not None:
        (tmp_path / "t.csv").write_bytes(text if isinstance(text, bytes) else text.encode())
    with pytest.raises(DesignError, match=told):
        pcbstator.load_design(tmp_path / "d.toml")


def test_a_table_outside_the_folder_is_not_read(tmp_path):
    for name in ("../t.csv", "/etc/passwd"):
        with pytest.raises(DesignError, match="own folder"):
            design_from_document(DOCUMENT | {"motion": {"table_csv": name}}, "d", tmp_path)


# ----------------------------------------------------------------- driver
def test_ripple_and_its_cures(plain):
    """Printed form: V/(6 L f); without a motion, at the stated frequency, or with the stated inductance, it is a fifth
    of the limit. In a motion a second method, the pulses one by one: a fifth of the current that the motion takes.
    """
    alone = pcbstator.predict(design_from_document(DOCUMENT | {"drive": DRIVE}))
    length = alone.electrical.synchronous_inductance
    assert alone.drive.ripple == plain.drive.ripple == pytest.approx(12 / (6 * length * 60e3), rel=1e-12)
    assert 12 / (6 * length * alone.drive.pwm_wanted) == pytest.approx(0.3, rel=1e-9)
    assert 12 / (6 * (length + alone.drive.added_inductance) * 60e3) == pytest.approx(0.3, rel=1e-9)
    fit, motion, resistance = plain.drive, plain.motion, plain.electrical.phase_resistance
    for inductance, pwm in ((length, fit.pwm_wanted), (length + fit.added_inductance, 60e3)):
        ripple = pulse_ripple(12.0, inductance, pwm, motion.voltage_part, resistance=resistance)[0]
        assert ripple == pytest.approx(0.2 * motion.peak_current, rel=1e-5)


@pytest.mark.parametrize("connection", ["star", "delta"])
def test_chokes_in_the_wires_add_to_the_inductance_that_the_driver_sees(connection):
    """V/(6 L f) and Kp = L w with L of an equivalent star, a third of a delta's, plus the choke; R stays."""
    design, found = predicted(winding__connection=connection, drive__choke_uh=250.0)
    part = 1 / 3 if connection == "delta" else 1.0
    length = found.electrical.synchronous_inductance * part + 250e-6
    assert found.drive.ripple == pytest.approx(12 / (6 * length * 60e3), rel=1e-9)
    rate = 2 * pi * found.drive.current_bandwidth
    assert found.drive.current_kp == pytest.approx(length * rate, rel=1e-9)
    assert found.drive.current_ki == pytest.approx(found.electrical.phase_resistance * part * rate, rel=1e-9)
    without = pcbstator.predict(design.with_values({"drive.choke_uh": None}))
    assert found.electrical == without.electrical


def test_the_inductance_that_a_ripple_asks_for_settles_it():
    _, before = predicted()
    assert any(finding.code == "drive.ripple" for finding in before.findings)
    _, after = predicted(drive__choke_uh=1e6 * before.drive.added_inductance * (1 + 1e-3))
    assert not any(finding.code == "drive.ripple" for finding in after.findings)
    _, less = predicted(drive__choke_uh=1e6 * before.drive.added_inductance * 0.95)
    assert any(finding.code == "drive.ripple" for finding in less.findings)


def test_gains_by_rule(plain):
    """Kp = L w, Ki = R w; J w on the whole inertia; position in 1/s."""
    result = plain.to_dict()["drive"]
    rate = 2 * pi * result["current_bandwidth_hz"]
    assert result["current_kp_v_per_a"] == pytest.approx(plain.electrical.synchronous_inductance * rate, rel=1e-12)
    assert result["current_ki_v_per_a_s"] == pytest.approx(plain.electrical.phase_resistance * rate, rel=1e-12)
    inertia = 2e-4 + plain.mechanical.rotor_inertia
    assert result["speed_kp_n_m_s_per_rad"] == pytest.approx(2 * pi * result["speed_bandwidth_hz"] * inertia, rel=1e-12)
    assert result["position_kp_per_s"] == pytest.approx(2 * pi * result["position_bandwidth_hz"], rel=1e-12)
    assert result["electrical_frequency_hz"] == pytest.approx(4 * 1.0, rel=1e-12)  # 60 rpm, 4 pole pairs
    assert result["sensor_electrical_deg_per_count"] == pytest.approx(360 * 4 / 16384, rel=1e-12)


def test_gains_per_unit_make_the_same_controller(plain):
    """One step of each loop in SI and in parts of the bases."""
    drive, unit = plain.drive, plain.drive.per_unit
    current, speed, angle = 0.37, 2.9, 0.2
    assert drive.current_kp * current == pytest.approx(
        unit["current_kp"] * current / unit["base_current_peak_a"] * unit["base_voltage_v"], rel=1e-12
    )
    assert drive.speed_kp * speed == pytest.approx(
        unit["speed_kp"] * speed / unit["base_speed_rad_per_s"] * unit["base_torque_n_m"], rel=1e-12
    )
    assert drive.position_kp * angle == pytest.approx(
        unit["position_kp"] * angle / unit["base_angle_rad"] * unit["base_speed_rad_per_s"], rel=1e-12
    )
    assert drive.inertia_ahead * 3.0 == pytest.approx(
        unit["feedforward_inertia_s"] * 3.0 / unit["base_speed_rad_per_s"] * unit["base_torque_n_m"], rel=1e-12
    )


def test_margins_are_left_by_the_rules_and_lost_by_the_bare_rotors_gains():
    _, found = predicted(load__inertia_kg_m2=0.01)
    degrees = {key: value for key, value in found.to_dict()["drive"].items() if key.endswith("margin_deg")}
    assert degrees["current_phase_margin_deg"] > 40 < degrees["speed_phase_margin_deg"]
    assert degrees["position_phase_margin_deg"] > 40
    assert degrees["bare_rotor_gains_position_phase_margin_deg"] < 0
    assert any(finding.code == "drive.bare_gains" for finding in found.findings)


def test_coupling_sets_the_loops_and_is_named():
    _, found = predicted(load__coupling_n_m_per_rad=2.0, drive__sensor_counts=1 << 24)
    assert found.drive.anti_resonance == pytest.approx(sqrt(2.0 / 2e-4) / (2 * pi), rel=1e-12)
    rotor = found.mechanical.rotor_inertia
    assert found.drive.resonance == pytest.approx(sqrt(2.0 * (1 / 2e-4 + 1 / rotor)) / (2 * pi), rel=1e-9)
    assert found.drive.speed_limited_by == "coupling"
    assert found.drive.speed_bandwidth == pytest.approx(found.drive.anti_resonance / 3, rel=1e-12)


# ----------------------------------------------------------------- connection and gear
@pytest.mark.parametrize("connection", ["star", "delta", "open"])
def test_the_machine_at_its_terminals(connection):
    """Torque per terminal ampere from the slopes; a delta's star: L/3, R/3, psi/sqrt(3), Kt/sqrt(3)."""
    design, found = predicted(winding__connection=connection)
    machine = machine_of(design, found.electrical, found.magnetic, 1e-4, 0.0)
    factor = sqrt(3) if connection == "delta" else 1.0
    assert machine.psi == pytest.approx(found.magnetic.flux_linkage_peak / factor, rel=2e-3)
    assert machine.torque_constant == pytest.approx(found.magnetic.torque_constant / factor, rel=2e-3)
    assert machine.resistance == pytest.approx(found.electrical.phase_resistance / factor**2, rel=1e-9)
    mean = complex(np.mean(machine.slopes))
    assert mean.imag == pytest.approx(machine.pole_pairs * machine.psi, rel=1e-9) and abs(mean.real) < 1e-3 * mean.imag


def test_star_slopes_of_a_delta_give_its_line_voltages():
    """Second method: differences of the star against the EMF between the delta's terminals."""
    _, found = predicted(winding__connection="delta")
    slopes = star_slopes(found.magnetic, 4, "delta")
    angles = np.arange(360) * 2 * pi / 360
    between = line_emf(linkage_slopes(found.magnetic.linkages, found.magnetic.orders, 4, angles), "delta")
    assert slopes - np.roll(slopes, -1, axis=0) == pytest.approx(between, abs=1e-12)


def test_a_delta_and_its_star_are_driven_alike():
    """No-load speed of a delta: supply times its own speed constant, from the waves of its lines."""
    _, found = predicted(winding__connection="delta")
    assert found.to_dict()["motion"]["no_load_speed_rpm"] == pytest.approx(
        12.0 * found.magnetic.speed_constant, rel=2e-3
    )


def test_a_gear_at_the_load(plain):
    """Ten to one: torque tenfold, speed a tenth, the rotor's inertia a hundredfold; eddies brake a hundredfold."""
    _, geared = predicted(drive__gear_ratio=10.0)
    rotor = plain.mechanical.rotor_inertia
    driving = [found.motion.available_peak + found.motion.drag for found in (geared, plain)]
    assert driving[0] == pytest.approx(10 * driving[1], rel=1e-9)
    assert geared.motion.drag == pytest.approx(100 * plain.motion.drag, rel=1e-9)
    assert geared.motion.no_load_speed == pytest.approx(plain.motion.no_load_speed / 10, rel=1e-12)
    assert geared.motion.total_inertia == pytest.approx(2e-4 + 100 * rotor, rel=1e-12)
    assert geared.drive.inertia_ahead == pytest.approx(2e-4 / 100 + rotor, rel=1e-12)
    assert geared.drive.electrical_frequency == pytest.approx(40.0, rel=1e-12)


# ----------------------------------------------------------------- absence
def test_each_absence_leaves_out_what_needs_it():
    def keys(*sections):
        design = design_from_document(DOCUMENT | {name: JOB[name] for name in sections})
        result = pcbstator.predict(design).to_dict()
        return set(result.get("motion", {})), set(result.get("drive", {}))

    assert keys() == (set(), set())
    motion, drive = keys("load")
    assert {"load_inertia_kg_m2", "total_inertia_kg_m2"} <= motion and "required_peak_torque_n_m" not in motion
    assert not drive
    motion, drive = keys("motion")
    assert "move_time_s" in motion and "required_peak_torque_n_m" not in motion and not drive
    motion, drive = keys("drive")
    assert {"no_load_speed_rpm", "available_peak_torque_n_m"} <= motion and "move_time_s" not in motion
    assert "current_kp_v_per_a" in drive and "electrical_frequency_hz" not in drive
    motion, drive = keys("load", "motion")
    assert "required_rms_torque_n_m" in motion and "available_peak_torque_n_m" not in motion and not drive


def test_parts_of_the_error_budget():
    """Printed: 1 mm at 60 mm is 0.95 degree between directions; half counts; e/r. Totals by hand from the rows."""
    _, found = predicted(
        bearing__radial_play_mm=1.0, drive__mark_radius_mm=60.0, drive__sensor_offset_mm=0.1,
        drive__sensor_radius_mm=20.0, load__play_deg=0.1,
    )  # fmt: skip
    motion, rows = found.motion, [row for row in found.motion.error_budget if row["when"] == "at rest"]
    parts = {row["part"]: row["error_deg"] for row in rows}
    assert parts["bearing play at the mark"] == pytest.approx(0.9548 / 2, abs=1e-4)
    assert parts["play of the coupling"] == pytest.approx(0.05, rel=1e-9)
    assert parts["sensor resolution"] == pytest.approx(0.95 * 180 / 16384, rel=1e-9)
    assert parts["sensor eccentricity"] == pytest.approx(np.degrees(0.1 / 20), rel=1e-4)
    stiffness = found.drive.speed_kp * found.drive.position_kp
    assert parts["friction"] < np.degrees(0.0014 / stiffness)
    fixed = sum(row["error_deg"] for row in rows if row["behaviour"] != "by chance")
    chance = sum(row["error_deg"] ** 2 for row in rows if row["behaviour"] == "by chance") ** 0.5
    assert np.degrees(motion.rest_error) == pytest.approx(fixed + chance, rel=1e-9)
    assert np.degrees(motion.repeatability) == pytest.approx(np.hypot(2 * chance, parts["friction"]), rel=1e-9)
    sides = 2 * (parts["friction"] + 0.9548 / 2 + 0.05) + 2**0.5 * chance
    assert np.degrees(motion.direction_offset) == pytest.approx(sides, abs=2e-4)
    assert np.degrees(motion.repeatable_rest_error) == pytest.approx(parts["sensor eccentricity"], rel=1e-9)
    assert motion.usual_rest_error <= motion.rest_error


def test_replacing_results_does_not_touch_the_prediction(plain):
    """Records are frozen: change means a new copy."""
    with pytest.raises(AttributeError):
        plain.motion.required_peak = 1.0
    assert replace(plain.motion, required_peak=1.0).required_peak == 1.0 != plain.motion.required_peak


def test_the_map_of_losses_by_hand(plain):
    """Work over work and loss; a torque costs (T + drag)² / Kt² of copper beside what the drag takes, so that second
    differences over evenly spaced torques are alike at every speed.
    """
    points, bends = plain.motion.map, {}
    assert len(points) > 20
    for point in points:
        work = point["torque_n_m"] * point["speed_rpm"] * pi / 30
        assert point["efficiency"] == pytest.approx(work / (work + point["loss_w"]), rel=1e-12)
        bends.setdefault(point["speed_rpm"], []).append((point["torque_n_m"], point["loss_w"]))
    whole = [np.array(rows).T for rows in bends.values() if len(rows) > 3]
    second = np.concatenate([np.diff(loss, 2) for torque, loss in whole if np.ptp(np.diff(torque)) < 1e-12])
    assert len(second) > 5 and second == pytest.approx(np.full(len(second), second[0]), rel=1e-6)


@pytest.mark.parametrize(
    ("place", "order", "law"),
    [
        ({"sensor_radius_mm": 10.0}, 1, ring_eccentricity_error),
        ({"sensor_distance_mm": 2.0}, 2, magnet_eccentricity_error),
    ],
    ids=["ring", "on the axis"],
)
def test_a_small_step_takes_a_part_of_the_eccentricity(place, order, law):
    """Readings of an error a·sin(order·angle), a step apart, differ by 2·a·sin(order·step/2) at the most."""
    (length,) = place.values()
    errors = law(np.linspace(0, 2 * pi, 3600, endpoint=False), 0.1e-3, 1e-3 * length)
    _, off = predicted(drive=DRIVE | place | {"sensor_offset_mm": 0.1})
    _, centred = predicted(drive=DRIVE | place | {"sensor_offset_mm": 0.0})
    electrical = off.winding.poles / 2 * (np.abs(errors).max() + pi / DRIVE["sensor_counts"])  # and half a count
    assert off.drive.misalignment == pytest.approx(1 - np.cos(electrical), rel=2e-3)
    step = off.motion.small_step
    wanted = 2 * np.abs(errors).max() * np.sin(order * step / 2) / step
    assert off.motion.step_error - centred.motion.step_error == pytest.approx(wanted, rel=1e-3)


def test_the_observer_is_four_times_as_fast_as_the_speed_loop(plain):
    """As docs/control.md says; one count at that rate is the slowest speed that is told."""
    rate = 4 * 2 * pi * plain.drive.speed_bandwidth
    assert plain.drive.slowest == pytest.approx(2 * pi / 16384 * rate, rel=1e-9)
