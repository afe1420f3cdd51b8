"""What to buy, each bound by a sum of its own from the results and keys of two shipped designs."""

from math import acos, asin, ceil, hypot, log, log2, pi, radians, sin, sqrt
from pathlib import Path

import pytest

from pcbstator.analysis.order.parts import CLEARANCE
from pcbstator.analysis.pipeline import predict_design
from pcbstator.design import load_design
from pcbstator.output.report.rows.order_rows import order_rows, range_words, reasons
from pcbstator.physics.drive.supply import pulse_ripple

DESIGNS = Path(__file__).parents[2] / "designs"
RPM = pi / 30


def predicted(name, **changes):
    design = load_design(DESIGNS / f"{name}.toml")
    values = {key.replace("__", "."): value for key, value in changes.items()}
    return predict_design(design.with_values({"build": None} | values))


@pytest.fixture(scope="module")
def stage():
    return predicted("photogrammetry-stage")


@pytest.fixture(scope="module")
def wheel():
    return predicted("filter-wheel")


def plain(found):
    return found.to_dict()["order"]


def test_currents_of_the_driver(stage):
    """Twice the motion's, since 100 % in reserve are asked for; at most what the motor and the supply allow."""
    order, motion = plain(stage), stage.to_dict()["motion"]
    rms = order["driver_terminal_current_rms_a"]
    assert rms["least"] == pytest.approx(2 * motion["heating_terminal_current_peak_a"] / sqrt(2), rel=1e-12)
    assert rms["most"] == pytest.approx(stage.thermal.continuous_current, rel=1e-9)  # a star: phase and terminal alike
    peak = order["driver_terminal_current_peak_a"]
    assert peak["least"] == pytest.approx(2 * motion["terminal_current_peak_a"], rel=1e-12)
    hot = stage.electrical.phase_resistance * (1 + 0.00393 * 60)
    assert peak["most"] == pytest.approx((24.0 - 0.5) / sqrt(3) / hot, rel=1e-9)
    assert peak["most"] < sqrt(2) * stage.thermal.peak_1_cold and peak["stated"] == 0.6


def test_the_current_for_a_second_may_be_what_limits():
    found = predicted("photogrammetry-stage", drive__supply_v=300.0)
    assert plain(found)["driver_terminal_current_peak_a"]["most"] == pytest.approx(sqrt(2) * found.thermal.peak_1_cold)


def test_voltage_of_the_supply(stage):
    """Phase voltage of twice the motion's peak current at 6 rpm, copper at 80 C, times 1.1, as a direct voltage."""
    current, speed = 2 * stage.motion.peak_current, 12 * 6 * RPM
    hot = stage.electrical.phase_resistance * (1 + 0.00393 * 60)
    inductance = stage.electrical.synchronous_inductance + 1e-3
    phase = hypot(hot * current + speed * stage.magnetic.flux_linkage_peak, speed * inductance * current)
    supply = plain(stage)["supply_v"]
    assert supply["least"] == pytest.approx(1.1 * sqrt(3) * phase + 0.5, rel=1e-9)
    assert supply["most"] == 60.0


def test_ripple_may_bound_the_voltage():
    """Without so much choke the same phase voltage from 60 V ripples more than a fifth; at the bound it is a fifth."""
    found = predicted("photogrammetry-stage", drive__choke_uh=800.0)
    most = plain(found)["supply_v"]["most"]
    assert 20.0 < most < 60.0
    inductance = found.electrical.synchronous_inductance + 8e-4
    part = found.motion.voltage_part * 23.5 / most
    ripple = pulse_ripple(most, inductance, 40e3, part, resistance=found.electrical.phase_resistance)[0]
    assert ripple == pytest.approx(0.2 * found.motion.peak_current, rel=1e-6)


def test_current_of_the_supply(stage):
    current = plain(stage)["supply_current_peak_a"]
    assert current["least"] == pytest.approx(4 * stage.motion.supply_peak, rel=1e-12)
    hot = stage.electrical.phase_resistance * (1 + 0.00393 * 60)
    power = 1.5 * hot * 0.6**2 + stage.magnetic.torque_constant * 0.6 * 6 * RPM
    assert current["most"] == pytest.approx(power / 24.0, rel=1e-9)


def test_what_the_driver_takes_anyway_does_not_grow_with_the_reserve(stage):
    found = predicted(
        "photogrammetry-stage", drive__quiescent_w=2.4, drive__dead_time_ns=0.0, drive__voltage_drop_v=0.0
    )
    assert plain(found)["supply_current_peak_a"]["least"] == pytest.approx(4 * stage.motion.supply_peak + 0.1, rel=1e-9)


def test_range_and_bits_of_the_current_sensors(stage):
    """The ripple at the slow speed asks for the finest step: a tenth of 5 % of 1.5 rpm, by the speed loop's gain."""
    order, fit = plain(stage), stage.drive
    least = 0.6 + fit.ripple_at_job / 2
    step = 0.1 * 0.05 * 1.5 * RPM * fit.speed_kp / stage.magnetic.torque_constant
    friction = 0.1 * 0.004 / stage.magnetic.torque_constant  # 16 less 12 mN m
    position = 0.1 * radians(0.6) * fit.speed_kp * fit.position_kp / stage.magnetic.torque_constant
    assert step < min(friction, position)
    sense, bits = order["sense_range_terminal_current_peak_a"], order["sense_bits"]
    assert sense["least"] == pytest.approx(least, rel=1e-9)
    assert sense["most"] == pytest.approx(step * 2048, rel=1e-9)
    assert bits["least"] == ceil(log2(2 * least / step))
    assert bits["most"] == ceil(log2(2 * least / (0.1 * 0.005 * 0.6)))  # a tenth of an offset of 0.5 % of the limit


def test_friction_decides_where_nothing_turns_slowly(wheel):
    step = 0.1 * 0.0003 / wheel.magnetic.torque_constant  # 1.1 less 0.8 mN m
    bits = plain(wheel)["sense_bits"]
    assert bits["least"] == ceil(log2(2 * (0.5 + wheel.drive.ripple_at_job / 2) / step))
    assert "friction" in bits["why_least"]


def test_switching_frequency_and_rate_of_the_loops(stage):
    """The least frequency has a ripple of a fifth of the motion's peak, by the pulses; dead time takes 5 % at most."""
    order = plain(stage)
    inductance = stage.electrical.synchronous_inductance + 1e-3
    part, least = stage.motion.voltage_part, 1e3 * order["pwm_khz"]["least"]
    ripple = pulse_ripple(24.0, inductance, least, part, resistance=stage.electrical.phase_resistance)[0]
    assert ripple == pytest.approx(0.2 * stage.motion.peak_current, rel=1e-6)
    assert order["pwm_khz"]["most"] == pytest.approx(1e-3 * 0.05 / (2 * 200e-9), rel=1e-9)
    control = order["control_khz"]
    assert control["least"] == pytest.approx(1e-3 * 20 * 10 * stage.drive.speed_bandwidth, rel=1e-9)
    assert control["most"] == 40.0


def test_fast_turning_sets_the_rate_of_the_loops():
    """6000 rpm and 12 pole pairs are 1200 Hz: 20 samples each."""
    changes = {"motion__move_deg": None, "motion__acceleration_deg_s2": None, "motion__jerk_deg_s3": None,
               "motion__dwell_s": 0.0, "motion__speed_rpm": 6000.0, "requirement": None}  # fmt: skip
    found = predicted("photogrammetry-stage", **changes)
    assert plain(found)["control_khz"]["least"] == pytest.approx(24.0, rel=1e-9)
    assert "electrical period" in plain(found)["control_khz"]["why_least"]


def test_wires_by_density_strength_drop_and_hole(stage, wheel):
    """0.6 A peak at 5 A/mm²; below 0.08 mm² they break; a long wire by its drop; a hole of 1 mm."""
    assert plain(stage)["wire_section_mm2"]["least"] == pytest.approx(0.6 / sqrt(2) / 5, rel=1e-9)
    assert plain(stage)["wire_section_mm2"]["most"] == pytest.approx(pi / 4 * 0.9**2 * 0.75, rel=1e-9)
    assert plain(stage)["wire_gauge_awg"] | {"why_least": "", "why_most": ""} == {
        "least": 21.0, "most": 27.0, "why_least": "", "why_most": "",
    }  # fmt: skip  # AWG 21 has 0.410 mm², 20 0.518; 27 0.102, 28 0.081 (from memory)
    assert plain(wheel)["wire_section_mm2"]["least"] == 0.08
    long = predicted("photogrammetry-stage", drive__cable_length_mm=20_000.0, drive__cable_section_mm2=0.25)
    drop = 0.02 * 24.0 / sqrt(3)
    section = 1e6 * 1.7241e-8 * 1.15 * 20.0 * 0.6 / drop
    found = plain(long)["wire_section_mm2"]
    assert found["least"] == pytest.approx(section, rel=1e-9) and found["stated"] == 0.25
    assert "no value does both" in reasons("order.wire_section_mm2", long.order.wire)  # the hole is too small for it


def test_counts_of_the_sensor(stage, wheel):
    """The stage: a count of 0.05 degrees. The wheel: half a count a tenth of 0.5 degrees; 5 electrical degrees less."""
    assert plain(stage)["sensor_counts"]["least"] == 360 / 0.05
    assert plain(stage)["sensor_counts"]["most"] == 2 ** ceil(log2(360 / 0.006))  # a hundredth of 0.6 degrees
    assert plain(wheel)["sensor_counts"]["least"] == 3600 > 72 * 6
    assert plain(wheel)["sensor_counts"]["most"] == 2 ** ceil(log2(360 / 0.005))


def test_slow_speed_asks_for_counts():
    """With 0.05 rpm the least counts measure it and hardly fewer do not."""
    changes = {"requirement__slow_speed_rpm": 0.1, "requirement__position_error_deg": None,
               "requirement__repeatability_deg": None, "requirement__speed_ripple_percent": None}  # fmt: skip
    least = plain(predicted("photogrammetry-stage", **changes))["sensor_counts"]["least"]

    def slowest(counts):
        return predicted("photogrammetry-stage", **changes, drive__sensor_counts=counts).drive.slowest / RPM

    assert slowest(least) <= 0.1 * (1 + 1e-9) < slowest(int(0.97 * least))


def test_place_of_the_sensor(stage, wheel):
    """A ring off centre errs by asin(offset / radius); a chip by the field of a dipole beside its axis."""
    left = radians(0.6) - stage.motion.rest_error + asin(0.1 / 30)
    torque = acos(0.95) / 12
    assert left < torque
    assert plain(stage)["sensor_offset_mm"]["most"] == pytest.approx(30 * sin(left), rel=1e-6)
    part = 3 * 0.2**2 / (0.2**2 + 3.0**2)
    left = radians(0.5) - wheel.motion.rest_error + asin(part / (2 - part))
    wanted = 2 * sin(left) / (1 + sin(left))  # 3 x²/(x² + 9) of it
    assert plain(wheel)["sensor_offset_mm"]["most"] == pytest.approx(sqrt(9 * wanted / (3 - wanted)), rel=1e-6)
    assert "the bore of 36 mm" in plain(wheel)["sensor_place"] and "a ring of 30 mm" in plain(stage)["sensor_place"]


def test_screws(wheel):
    """Holes of 2.7 mm for M2.5 through 1.6 mm: 4.1 and 6.6 mm, of lengths in the shops; 44 − 34.5 mm to the magnets."""
    order = plain(wheel)
    assert order["screw_diameter_mm"]["least"] == order["screw_diameter_mm"]["most"] == 2.5
    assert (order["screw_length_mm"]["least"], order["screw_length_mm"]["most"]) == (5, 8)
    faded = 2 * pi * 28.5 / 12 / pi * log(100)  # of a field that falls by e over a pole pitch over pi
    assert f"9.5 mm away, and 1 % of their field is left at {faded:.3g} mm" in order["screw_material"]


def test_screws_alone_where_there_is_no_job(wheel):
    changes = {name: None for name in ("motion", "load", "bearing", "drive", "requirement")}
    found = predicted("filter-wheel", **changes)
    assert set(plain(found)) == {"screw_diameter_mm", "screw_length_mm", "screw_material"}


def test_nothing_to_say(stage):
    changes = {name: None for name in ("motion", "load", "bearing", "drive", "requirement")}
    assert predicted("photogrammetry-stage", **changes).order is None
    assert len(order_rows(stage)) == len(plain(stage))


def test_words_say_where_the_design_lies_outside():
    found = predicted("filter-wheel", drive__sensor_counts=2048)
    words = reasons("order.sensor_counts", found.order.counts)
    assert words.endswith("the design has 2048, which is less")
    assert range_words("order.sensor_counts", found.order.counts) == "3600 to 131072"


def test_clearance_holes_are_those_of_the_fine_series():
    """ISO 273 (from memory), threads and holes in mm."""
    fine = {"1.6": 1.7, "2": 2.2, "2.5": 2.7, "3": 3.2, "4": 4.3, "5": 5.3, "6": 6.4, "8": 8.4}
    assert {f"{thread:g}": hole for thread, hole in CLEARANCE} == fine
