"""Torque that there is by what limits it, warm magnets, ripple and the heat of the job: by hand from other results."""

from math import pi, sqrt

import numpy as np
import pytest

import pcbstator
from pcbstator.analysis.drive.ripple import ripple_squares
from pcbstator.analysis.drive.speed_maps import axis_values
from pcbstator.design import design_from_document
from pcbstator.physics.drive.supply import pulse_ripple
from pcbstator.physics.thermal.balance import steady_temperature
from tests.analysis.conftest import DOCUMENT
from tests.command import DESIGNS

GRADED = {"rotor.magnet.remanence_t": None, "rotor.magnet.grade": "N42"}
WEAKENS = 0.001075  # per kelvin, of a grade
JOB = {
    "bearing": {"friction_n_m": 0.002},
    "motion": {"speed_rpm": 1.5},
    "drive": {"supply_v": 12.0, "current_limit_peak_a": 1.5, "pwm_khz": 60.0, "sensor_counts": 1 << 22},
}


def predicted(**changes):
    design = design_from_document(DOCUMENT | JOB)
    return pcbstator.predict(design.with_values({key.replace("__", "."): value for key, value in changes.items()}))


def magnets(**changes):
    return predicted(**{key.replace(".", "__"): value for key, value in GRADED.items()}, **changes)


def test_the_cycle_by_hand_with_magnets_that_it_warms():
    """Friction alone: I = F / (k Kt), k by the rotor's temperature at that current, I² R by the board's."""
    found = magnets(bearing__friction_n_m=0.004)
    motion, thermal = found.motion, found.thermal
    network, board = thermal.heat.heat.network, thermal.heat.heat.board
    strength = 1.0
    for _ in range(20):
        current = (0.004 + motion.drag) / (strength * found.magnetic.torque_constant)
        steady = steady_temperature(network, board, current / sqrt(2))
        rotor = float(steady.temperature_c[0][thermal.heat.heat.magnets].max())
        strength = 1 - WEAKENS * (rotor - 20.0)
    assert strength < 0.98
    assert motion.peak_current == pytest.approx(current, rel=1e-4)
    assert motion.copper_heat == pytest.approx(1.5 * found.drive.machine.hot_resistance * current**2, rel=2e-4)
    stated = predicted(bearing__friction_n_m=0.004)
    assert stated.motion.peak_current * stated.magnetic.torque_constant == pytest.approx(0.004 + stated.motion.drag)


def test_continuous_torque_by_heat_with_warm_magnets():
    """√2 I Kt k, k at the rotor's temperature in continuous duty; a stated remanence is that at work."""
    for found in (predicted(), magnets()):
        motion, thermal = found.motion, found.thermal
        hot = 1 - WEAKENS * (thermal.rotor_temperature_c - 20.0) if found.design.rotor.magnet.grade else 1.0
        torque = sqrt(2) * thermal.continuous_current * found.magnetic.torque_constant * hot
        assert motion.continuous_limited_by == "heat"
        assert motion.available_continuous == pytest.approx(torque - motion.drag, rel=1e-4)
        assert motion.warm_magnets == pytest.approx(hot, rel=1e-9)


def test_points_of_the_curve_lie_on_the_voltage_ellipse():
    """(R i + w psi)² + (w L i)² = V², R hot, V the sagged supply over √3: within 1e-9 of it wherever voltage limits."""
    found = predicted(drive__supply_sag_v=1.0, drive__current_limit_peak_a=50.0, motion__speed_rpm=1000.0)
    machine, seen = found.drive.machine, 0
    for point in found.motion.curve:
        if point["peak_limited_by"] != "voltage" or point["peak_torque_n_m"] == 0:
            continue
        speed = point["speed_rpm"] * pi / 30
        i = (point["peak_torque_n_m"] + machine.drag * speed) / machine.torque_constant
        rate = machine.pole_pairs * speed
        volts = np.hypot(machine.hot_resistance * i + rate * machine.psi, rate * machine.inductance * i)
        assert volts == pytest.approx(11.0 / sqrt(3), rel=1e-9)
        seen += 1
    assert seen > 5


@pytest.mark.parametrize("path", DESIGNS, ids=lambda path: path.stem)
@pytest.mark.parametrize(
    "changes", [{}, GRADED, pytest.param({"cooling": {"ambient_c": -20.0}}, marks=pytest.mark.slow),
                pytest.param({"drive.supply_v": 3.0, "drive.supply_sag_v": 0.0}, marks=pytest.mark.slow),
                {"drive.current_limit_peak_a": 20.0}],
)  # fmt: skip
def test_for_ever_is_never_more_than_for_short(path, changes):
    """Also with a motor whose supply gives less than the copper stands, and at every speed."""
    design = pcbstator.load_design(path).with_values({"build": None})
    if design.drive is None:
        design = design.with_values(JOB)
    motion = pcbstator.predict(design.with_values(changes)).motion
    assert motion.available_continuous <= motion.available_peak
    for point in motion.curve:
        assert point["continuous_torque_n_m"] <= point["peak_torque_n_m"]
    if motion.continuous_limited_by == "voltage":
        assert motion.peak_limited_by == "voltage"


def test_the_cycle_grows_to_its_limit_and_no_further():
    """Friction that has grown by the factor meets it: 0.2 % less raises nothing, 0.2 % more does."""
    free = {"drive__supply_v": 200.0, "drive__current_limit_peak_a": 50.0, "drive__pwm_khz": 900.0}
    found = predicted(**free)
    assert found.motion.cycle_growth_limit in ("board", "magnets") and found.motion.limited_by == "heat"
    driven = 0.002 + found.motion.drag
    for part, told in ((0.998, False), (1.002, True)):
        friction = part * found.motion.cycle_growth * driven - found.motion.drag
        grown = predicted(bearing__friction_n_m=friction, **free)
        assert ("thermal.job" in {finding.code for finding in grown.findings}) is told
        assert grown.motion.cycle_heat_growth == pytest.approx(1 / part, rel=2e-3)


def test_the_driver_limits_the_growth_by_hand():
    """(Kt I − D) / F, and √2 I_standard over the motion's where a standard's current is the least."""
    found = predicted(drive__current_limit_peak_a=0.5)
    by_current = (0.5 * found.magnetic.torque_constant - found.motion.drag) / 0.002
    assert found.motion.cycle_growth_limit == "current"
    assert found.motion.cycle_growth == pytest.approx(by_current, rel=1e-6)


def test_shortest_rest_keeps_the_limits_and_a_shorter_one_does_not():
    """The rest that is named, put into the file: the hottest place is at its limit, within 0.5 K."""
    move = {"move_deg": 600.0, "speed_rpm": 100.0, "acceleration_deg_s2": 3000.0, "dwell_s": 0.1}
    rubs = {"friction_n_m": 0.001, "viscous_n_m_s_per_rad": 0.0012}  # more at rest would heat without an end
    strong = {"bearing": rubs, "motion": move, "drive.supply_v": 200.0, "drive.current_limit_peak_a": 50.0,
              "drive.pwm_khz": 900.0}  # fmt: skip
    design = design_from_document(DOCUMENT | JOB).with_values(strong)
    rest = pcbstator.predict(design).motion.cycle_shortest_rest
    assert rest > 1.0
    found = pcbstator.predict(design.with_values({"motion.dwell_s": rest}))
    over = max(
        found.motion.cycle_board_c - found.thermal.board_limit_c,
        found.motion.cycle_rotor_c - found.thermal.magnet_limit_c,
    )
    assert over == pytest.approx(0.0, abs=0.5)
    assert pcbstator.predict(design.with_values({"motion.dwell_s": 0.8 * rest})).motion.cycle_heat_growth < 1.0
    assert predicted(motion=move).motion.cycle_shortest_rest == 0.0


def test_ripple_of_full_bridges_against_its_closed_form():
    """Two-sided pulses of one bridge without resistance: i_pp = V d (1 − d) / (2 L f), rms i_pp / √12, d = |m cos|; the
    mean over a turn is (V/(2Lf))²/12 · (m²/2 − 8 m³/(3π) + 3 m⁴/8).
    """
    found = predicted(winding__connection="open")
    machine, drive = found.drive.machine, found.design.drive
    bare = type(machine)(**{**vars(machine), "resistance": 1e-9})
    scale = (12.0 / (2 * machine.inductance * 60e3)) ** 2 / 12
    m = np.array([0.1, 0.3, 0.6, 1.0])
    closed = scale * (m**2 / 2 - 8 * m**3 / (3 * pi) + 3 * m**4 / 8)
    assert ripple_squares(bare, drive, m) == pytest.approx(closed, rel=2e-4)


def test_ripple_heats_the_cycle():
    """Second method: the pulses one by one at the voltage of a constant speed, and the steady state with their heat."""
    found = predicted(drive__pwm_khz=20.0)
    motion, machine = found.motion, found.drive.machine
    rms = pulse_ripple(12.0, machine.inductance, 20e3, motion.voltage_part, resistance=machine.resistance)[1]
    assert motion.cycle_ripple_heat == pytest.approx(3 * machine.hot_resistance * rms**2, rel=5e-3)
    heat = found.thermal.heat.heat
    steady = steady_temperature(heat.network, heat.board, sqrt(motion.peak_current**2 / 2 + rms**2))
    board = float(steady.temperature_c[0][heat.board].max())
    assert 0 <= motion.cycle_board_c - board <= 0.03 * (board - 25.0)  # the copper leads its board
    assert motion.cycle_board_c > predicted(drive__pwm_khz=400.0).motion.cycle_board_c + 1.0


def test_ripple_is_judged_by_the_motion_and_not_by_the_limit():
    """Raising the limit does not silence it; more friction, so more current to judge by, does."""
    for limit in (1.5, 50.0):
        codes = {finding.code for finding in predicted(drive__current_limit_peak_a=limit).findings}
        assert "drive.ripple" in codes
    found = predicted(drive__pwm_khz=900.0, bearing__friction_n_m=0.01)
    part = found.drive.ripple_at_job / found.motion.peak_current
    assert found.drive.ripple_part == pytest.approx(part, rel=1e-12)
    assert ("drive.ripple" in {finding.code for finding in found.findings}) is (part > 0.2)


def test_counts_for_the_slow_speed():
    """2π/N times the observer is the slowest speed: the counts that are named just do, one less does not."""
    coarse = predicted(drive__sensor_counts=1000, drive__speed_bandwidth_hz=5.0)
    wanted = coarse.drive.counts_wanted
    assert wanted == pytest.approx(2 * pi * coarse.drive.observer / (1.5 * pi / 30), abs=1)
    for counts, told in ((1000, True), (wanted - 1, True), (wanted, False)):
        found = predicted(drive__sensor_counts=counts, drive__speed_bandwidth_hz=5.0)
        assert ("drive.slow_speed" in {finding.code for finding in found.findings}) is told
    asked = predicted(drive__sensor_counts=wanted, drive__speed_bandwidth_hz=5.0, requirement={"slow_speed_rpm": 0.5})
    assert asked.drive.counts_wanted == pytest.approx(3 * wanted, abs=3)


def test_curves_and_maps_hold_the_speeds_of_the_job():
    """A slow job on a logarithm, its speeds among the points; a fast one on even steps from standstill."""
    found = predicted(requirement={"slow_speed_rpm": 0.5}).motion
    speeds = [point["speed_rpm"] for point in found.curve]
    assert any(speed == pytest.approx(1.5, rel=1e-9) for speed in speeds)
    assert any(speed == pytest.approx(0.5, rel=1e-9) for speed in speeds) and 0.0 < speeds[0] < 0.5
    assert min(point["speed_rpm"] for point in found.map) < 1.5
    fast = predicted(motion__speed_rpm=4000.0).motion
    assert fast.curve[0]["speed_rpm"] == 0.0
    assert axis_values(10.0, [], 3).tolist() == [0.0, 5.0, 10.0]
    assert axis_values(100.0, [1.0], 3)[[0, -1]] == pytest.approx([0.5, 100.0])


def test_drag_that_eats_the_torque_is_told_instead_of_a_negative_number():
    """A steel plate beyond the board at 600 rpm: what it brakes, by the losses over the speed, against √2 I Kt."""
    steel = {"rotor.stator_iron_mm": 3.0, "rotor.back_iron_mm": 3.0}
    fast = {"operation": {"speeds_rpm": [600.0], "phase_currents_peak_a": [0.1]}}
    found = pcbstator.predict(design_from_document(DOCUMENT).with_values(steel | fast))
    driving = sqrt(2) * found.thermal.continuous_current * found.magnetic.torque_constant
    assert found.thermal.eddy_loss / (20 * pi) > driving > 0
    assert found.thermal.continuous_torque == 0.0
    assert "thermal.drag" in {finding.code for finding in found.findings}


def test_hysteresis_brakes_a_slow_job_as_much_as_a_fast_one():
    """Its loss goes with the speed, so its torque stands still, and √2 I Kt is left after it."""
    steel = {"rotor__stator_iron_mm": 3.0, "rotor__back_iron_mm": 3.0}
    slow, faster = (predicted(motion__speed_rpm=rpm, **steel) for rpm in (0.03, 0.3))
    assert slow.motion.drag == pytest.approx(faster.motion.drag, rel=0.01) and slow.motion.drag > 1e-4
    assert slow.motion.peak_current * slow.magnetic.torque_constant == pytest.approx(0.002 + slow.motion.drag, rel=1e-6)
