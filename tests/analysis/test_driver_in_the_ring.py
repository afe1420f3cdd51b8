"""Driver and wires in voltage limit, supply and heat, by hand from the other results of the same machine."""

from math import pi, radians, sqrt

import numpy as np
import pytest

from pcbstator.analysis.drive.equivalent_machine import machine_of
from pcbstator.analysis.pipeline import predict_design
from pcbstator.check.run import check_design
from pcbstator.design import design_from_document
from pcbstator.errors import DesignError
from pcbstator.physics.drive.supply import pulse_ripple
from tests.analysis.conftest import DOCUMENT

MOTION = {"move_deg": 270.0, "speed_rpm": 60.0, "acceleration_deg_s2": 720.0, "dwell_s": 0.4}
DRIVE = {"supply_v": 12.0, "current_limit_peak_a": 1.5, "pwm_khz": 60.0, "sensor_counts": 16384, "dead_time_ns": 150.0}
LOSSY = {"switch_resistance_mohm": 120.0, "switching_time_ns": 40.0, "quiescent_w": 0.25,
         "cable_length_mm": 2000.0, "cable_section_mm2": 0.25}  # fmt: skip
RING = {"driver_area_mm2": 1500.0, "driver_coefficient_w_per_m2k": 8.0}
JOB = {"load": {"inertia_kg_m2": 2e-4}, "bearing": {"friction_n_m": 0.001}, "motion": MOTION}
WARM = 1 + 0.00393 * 60  # of copper at 80 C, over 20 C; switches go along
SWITCH, WIRE = 0.12, 1.7241e-8 * 1.15 * 2.0 / 0.25e-6
PER_AMPERE = 3 * 2 / pi * (12.0 * 40e-9 * 60e3 + 0.8 * 2 * 150e-9 * 60e3)  # W of three legs per peak ampere
LOST = 4 / pi * 12.0 * 150e-9 * 60e3  # V, no drop beside a stated resistance


def predicted(*parts, **sections):
    drive = {key: value for part in (DRIVE, *parts) for key, value in part.items()}
    return predict_design(design_from_document(DOCUMENT | JOB | {"drive": drive} | sections))


@pytest.fixture(scope="module")
def plain():
    return predicted()


@pytest.fixture(scope="module")
def lossy():
    return predicted(LOSSY)


@pytest.fixture(scope="module")
def ring():
    return predicted(LOSSY, RING)


def cycle_currents(found, points=20_000):
    """Times [s], motor currents [A], speeds [rad/s] over a cycle, worked out anew: rise, cruise, fall, and a rest in
    which the integral may hold as much as friction bears.
    """
    inertia = 2e-4 + found.mechanical.rotor_inertia
    constant, drag = found.magnetic.torque_constant, found.motion.drag / (2 * pi)
    speed, acceleration = 2 * pi, radians(720.0)
    rise, whole = speed / acceleration, found.motion.cycle_time
    cruise = radians(270.0) / speed - rise
    time = (np.arange(points) + 0.5) * whole / points
    turning = np.interp(time, [0, rise, rise + cruise, 2 * rise + cruise], [0, speed, speed, 0])
    growth = np.where(time < rise, acceleration, np.where((time > rise + cruise) & (turning > 0), -acceleration, 0.0))
    torque = inertia * growth + 0.001 + drag * turning
    return time, torque / constant, turning


def test_without_a_word_of_the_driver_nothing_is_lost(plain):
    """Dead time and drop alone say nothing of losses: they were there before."""
    result = plain.to_dict()
    assert not {"mean_driver_loss_w", "mean_wire_loss_w", "cycle_driver_temperature_c"} & set(result["motion"])
    assert not {"series_resistance_ohm", "driver_loss_at_limit_w"} & set(result["drive"])
    _, current, speed = cycle_currents(plain)
    power = (
        1.5 * plain.electrical.phase_resistance * WARM * current**2 + plain.magnetic.torque_constant * current * speed
    )
    assert plain.motion.supply_mean == pytest.approx(power.mean() / 12.0, rel=1e-3)


def test_series_resistance_and_lost_voltage(lossy):
    assert lossy.drive.series_resistance == pytest.approx(SWITCH + WIRE, rel=1e-12)
    assert lossy.drive.lost_voltage == pytest.approx(LOST, rel=1e-12)


def test_torque_at_the_voltage_limit_by_hand():
    """Where the voltage limits: R with switches and wires, hot, and the lost voltage beside the EMF."""
    found = predicted(LOSSY, {"supply_v": 1.2, "switching_time_ns": 0.0})
    machine_inductance, psi = found.electrical.synchronous_inductance, found.magnetic.flux_linkage_peak
    resistance = (found.electrical.phase_resistance + SWITCH + WIRE) * WARM
    assert found.motion.peak_limited_by == "voltage"
    emf, reactance = 4 * 2 * pi * psi + LOST / 10, 4 * 2 * pi * machine_inductance
    square = resistance**2 + reactance**2
    current = np.roots([square, 2 * resistance * emf, emf**2 - (1.2 / sqrt(3)) ** 2]).max()
    expected = found.magnetic.torque_constant * current - found.motion.drag
    assert found.motion.available_peak == pytest.approx(expected, rel=1e-6)


def test_loss_of_driver_and_wires_over_the_cycle(lossy):
    _, current, _ = cycle_currents(lossy)
    driver = 1.5 * SWITCH * WARM * current**2 + PER_AMPERE * np.abs(current) + 0.25
    assert lossy.motion.driver_heat == pytest.approx(driver.mean(), rel=1e-3)
    assert lossy.motion.wire_heat == pytest.approx(1.5 * WIRE * WARM * (current**2).mean(), rel=1e-3)
    at_limit = 1.5 * SWITCH * WARM * 1.5**2 + PER_AMPERE * 1.5 + 0.25
    assert lossy.drive.driver_loss == pytest.approx(at_limit, rel=1e-9)


def test_the_supply_feeds_driver_and_wires(plain, lossy):
    """Power in: what the motor alone takes, and the loss of driver and wires; the winding's own loss is as it was."""
    more = (lossy.motion.supply_mean - plain.motion.supply_mean) * 12.0
    assert more == pytest.approx(lossy.motion.driver_heat + lossy.motion.wire_heat, rel=1e-9)
    assert lossy.motion.copper_heat == pytest.approx(plain.motion.copper_heat, rel=1e-9)


def square_of(found, current):
    """Sum of the squares [A2] of three legs' currents in the mean: sines, and the ripple of switching, from its heat
    in the winding."""
    ripple = found.motion.cycle_ripple_heat / (found.electrical.phase_resistance * WARM)
    return 1.5 * (current**2).mean() + ripple


def test_driver_in_the_job_is_as_warm_as_its_faces_say(ring):
    """P/(h A) above the air, without contact; the part of the switches grows with the driver's own temperature."""
    _, current, _ = cycle_currents(ring)
    fixed, square = PER_AMPERE * np.abs(current).mean() + 0.25, SWITCH * square_of(ring, current)
    conductance = 8.0 * 1500e-6
    rise = (fixed + square * (1 + 0.00393 * 5)) / (conductance - 0.00393 * square)
    found = ring.motion.cycle_driver_c
    assert found == pytest.approx(25.0 + rise, abs=0.3)  # the swing within the cycle comes on top
    assert found >= 25.0 + rise - 1e-2


def test_without_contact_the_board_does_not_feel_it(lossy, ring):
    assert ring.thermal.board_current == pytest.approx(lossy.thermal.board_current, rel=1e-9)
    assert ring.motion.cycle_board_c == pytest.approx(lossy.motion.cycle_board_c, rel=1e-6)


def test_driver_limits_the_continuous_current():
    """With little face in the air: h A (85 - 25) = heat at the limit, the linear part on its tangent at 1.5 A."""
    found = predicted(LOSSY, {**RING, "driver_area_mm2": 1200.0})
    conductance = 8.0 * 1200e-6
    per_square = 2 * (1.5 * SWITCH + PER_AMPERE / 2 / 1.5) * (1 + 0.00393 * 65)  # of rms current
    square = (conductance * 60 - PER_AMPERE * 1.5 / 2 - 0.25) / per_square
    thermal = found.thermal
    assert thermal.continuous_current == pytest.approx(sqrt(square), rel=1e-6)
    assert thermal.limited_by == "driver in the ring (85 C)" and thermal.driver_temperature_c == pytest.approx(85.0)
    assert thermal.continuous_current == thermal.driver_current < thermal.board_current
    resistance = thermal.hot_resistance
    assert thermal.copper_loss == pytest.approx(3 * resistance * square, rel=1e-6)  # of the winding alone


def test_contact_shares_the_heat(ring):
    """What the driver gives to air and board is what it loses; the cooler of both is warmed by the other, which it
    cools."""
    joined = predicted(LOSSY, RING, {"driver_to_board_w_per_k": 0.02})
    assert ring.motion.cycle_driver_c < joined.motion.cycle_driver_c < joined.motion.cycle_board_c
    assert joined.motion.cycle_board_c < ring.motion.cycle_board_c
    state, current = joined.thermal.heat, joined.thermal.continuous_current
    warm = state.continuous.temperature_c[0]
    driver, edge = warm[state.heat.driver.index], warm[0]
    tangent = PER_AMPERE / 2 / 1.5
    heat = 2 * current**2 * (1.5 * SWITCH + tangent) * (1 + 0.00393 * (driver - 20)) + PER_AMPERE * 0.75 + 0.25
    assert 8.0 * 1500e-6 * (driver - 25) + 0.02 * (driver - edge) == pytest.approx(heat, rel=1e-6)


def codes(found):
    return {finding.code for finding in findings(found)}


def findings(found):
    return check_design(found.design, found.laid, found)


def test_finding_where_the_driver_passes_its_limit(ring):
    assert "thermal.driver" not in codes(ring)
    hot = predicted(LOSSY, {**RING, "quiescent_w": 1.0})
    finding = next(each for each in findings(hot) if each.code == "thermal.driver")
    assert finding.severity == "warning" and finding.limit == 85.0
    assert finding.value == pytest.approx(hot.motion.cycle_driver_c, rel=1e-5)


def test_a_driver_that_is_too_hot_without_current():
    found = predicted(LOSSY, {**RING, "quiescent_w": 1.0}, cooling={})
    assert found.thermal.continuous_current == 0
    assert found.thermal.driver_temperature_c == pytest.approx(25 + (1.0 + PER_AMPERE * 0.75) / 0.012, rel=1e-6)
    assert "thermal.eddies" not in codes(found) and "thermal.driver" in codes(found)


def test_ripple_beside_the_continuous_current(plain):
    """The voltage of the continuous current at the top speed, its ripple by the pulses, and what that leaves."""
    design = plain.design
    machine = machine_of(design, plain.electrical, plain.magnetic, plain.mechanical.rotor_inertia, 0.0)
    peak = sqrt(2) * plain.thermal.continuous_current  # eddies at 60 rpm change nothing
    hot, speed = machine.hot_resistance, 2 * pi * 4
    current = min(peak, 1.5)
    voltage = np.hypot(hot * current + speed * machine.psi, speed * machine.inductance * current)
    part = min(1.0, voltage / (12 / sqrt(3)))
    rms = pulse_ripple(12.0, machine.inductance, 60e3, part, resistance=machine.resistance)[1]
    motion = plain.motion
    assert motion.continuous_ripple_heat == pytest.approx(3 * hot * rms**2, rel=0.01)  # of the heat's steps in voltage
    left = sqrt(plain.thermal.continuous_current**2 - rms**2)
    assert motion.continuous_less_ripple == pytest.approx(left, rel=1e-3)


@pytest.mark.parametrize(
    "part, key",
    [
        ({"switching_time_ns": 40.0, "switching_loss_w": 0.1}, "drive.switching_loss_w"),
        ({"switching_time_ns": 4500.0}, "drive.switching_time_ns"),
        ({"cable_length_mm": 100.0}, "drive.cable_section_mm2"),
        ({"driver_to_board_w_per_k": 0.1}, "drive.driver_area_mm2"),
    ],
)
def test_what_does_not_go_together_is_refused(part, key):
    with pytest.raises(DesignError, match=key):
        predicted(part)


def test_a_limit_below_the_air_is_refused():
    with pytest.raises(DesignError, match=r"drive\.driver_limit_c: must be above cooling"):
        predicted(RING, {"driver_limit_c": 40.0}, cooling={"ambient_c": 50.0})


@pytest.mark.parametrize("connection, each, square", [("delta", 1, 1 / 3), ("open", 2, 1.0)])
def test_other_connections(connection, each, square):
    """In a delta the star of the terminals counts, with a third of R; open phases have two legs and two wires."""
    document = DOCUMENT | JOB | {"drive": DRIVE | LOSSY}
    found = predict_design(design_from_document(document).with_values({"winding.connection": connection}))
    assert found.drive.series_resistance == pytest.approx(each * (SWITCH + WIRE), rel=1e-12)
    winding = found.drive.machine.resistance * found.drive.machine.winding_part
    assert winding == pytest.approx(square * found.electrical.phase_resistance, rel=1e-9)
