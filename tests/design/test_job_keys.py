"""[load], [motion] and [drive]: what they refuse, in words, and how lists of small tables are read."""

import pytest

from pcbstator.design import design_from_document
from pcbstator.errors import DesignError
from tests.analysis.conftest import DOCUMENT

DRIVE = {"supply_v": 24.0, "current_limit_peak_a": 1.0, "pwm_khz": 50.0, "sensor_counts": 4096}
POINT = {"shape": "point", "mass_g": 5.0, "radius_mm": 3.0}
MOVE = {"move_deg": 90.0, "speed_rpm": 20.0, "acceleration_deg_s2": 360.0}


def told(**sections):
    with pytest.raises(DesignError) as caught:
        design_from_document(DOCUMENT | sections)
    return {complaint.key: str(complaint) for complaint in caught.value.complaints}


@pytest.mark.parametrize(
    ("sections", "key", "words"),
    [
        ({"motion": MOVE | {"stops_deg": [0.0, 5.0]}}, "motion.stops_deg", "only one of"),
        ({"motion": {"move_deg": 5.0, "speed_rpm": 3.0}}, "motion.acceleration_deg_s2", "required with move_deg"),
        ({"motion": {"move_deg": 5.0, "acceleration_deg_s2": 3.0}}, "motion.speed_rpm", "required with move_deg"),
        ({"motion": MOVE | {"move_deg": -5.0}}, "motion.move_deg", "0.001 to"),
        ({"motion": {"stops_deg": [0.0, 5.0, 0.0], "speed_rpm": 1.0, "acceleration_deg_s2": 1.0}},
         "motion.stops_deg", "the last and the first too"),
        ({"motion": {"table_csv": "none.csv"}}, "motion.table_csv", "own folder"),
        ({"bearing": {"friction_n_m": 0.2, "standstill_friction_n_m": 0.1}},
         "bearing.standstill_friction_n_m", "at least"),
        ({"load": {"bodies": []}}, "load.bodies", "at least one is needed"),
        ({"load": {"bodies": 3}}, "load.bodies", "got 3; write bodies = [...], or [[load.bodies]] above"),
        ({"load": {"bodies": [POINT] * 51}}, "load.bodies", "at most 50 are possible; got 51"),
        ({"load": {"bodies": [{"shape": "cone"}]}}, "load.bodies[1].shape",
         '"disc", "ring", "bar", "point"; got "cone"'),
        ({"load": {"bodies": [POINT, {"mass_g": 5.0}]}}, "load.bodies[2].shape", '"point"; got nothing'),
        ({"load": {"bodies": [{"shape": "disc", "mass_g": 5.0}]}}, "load.bodies[1].diameter_mm",
         "is required; got nothing; add diameter_mm = 180.0, in mm"),
        ({"load": {"bodies": [POINT | {"mass_g": "5"}]}}, "load.bodies[1].mass_g", "without quotes"),
        ({"load": {"bodies": [POINT | {"mass_g": -5}]}}, "load.bodies[1].mass_g", "0 or a number"),
        ({"load": {"bodies": [POINT | {"radius": 1}]}}, "load.bodies[1].radius", "did you mean radius_mm?"),
        ({"load": {"bodies": [POINT | {"size": 1}]}}, "load.bodies[1].size", "known here: shape, mass_g, radius_mm"),
        ({"bearing": {"friction_spots": [3]}}, "bearing.friction_spots[1]", "got 3; write it as { name = value"),
        ({"drive": {key: DRIVE[key] for key in DRIVE if key != "supply_v"}}, "drive.supply_v", "is required"),
        ({"load": {"friction_n_m": 0.2}}, "load.friction_n_m", "it is called bearing.friction_n_m now"),
        ({"drive": DRIVE | {"bearing_play_mm": 0.2}}, "drive.bearing_play_mm", "called bearing.radial_play_mm now"),
        ({"drive": DRIVE | {"supply_sag_v": 30.0}}, "drive.supply_sag_v", "below drive.supply_v"),
        ({"drive": DRIVE | {"voltage_drop_v": 6.0}}, "drive.voltage_drop_v", "below a quarter of drive.supply_v"),
        ({"drive": DRIVE | {"voltage_drop_v": -0.1}}, "drive.voltage_drop_v", "from 0 to 10 V"),
        ({"drive": DRIVE | {"current_offset_percent": 30.0}}, "drive.current_offset_percent", "from 0 to 20"),
        ({"drive": DRIVE | {"current_gain_error_percent": -1.0}}, "drive.current_gain_error_percent", "from 0 to 50"),
        ({"drive": DRIVE | {"control_khz": 60.0}}, "drive.control_khz", "at most drive.pwm_khz"),
        ({"drive": DRIVE | {"current_bandwidth_hz": 9000.0}}, "drive.current_bandwidth_hz", "a sixth"),
        ({"drive": DRIVE | {"pwm_khz": 500.0, "dead_time_ns": 2000.0}}, "drive.dead_time_ns", "half of a period"),
        ({"drive": DRIVE | {"sensor_offset_mm": 2.5}}, "drive.sensor_offset_mm", "0.6 of"),
        ({"drive": DRIVE | {"sensor_offset_mm": 9.0, "sensor_radius_mm": 8.0}}, "drive.sensor_radius_mm", "larger"),
        ({"drive": DRIVE | {"sensor_counts": 4096.5}}, "drive.sensor_counts", "whole number"),
    ],
)  # fmt: skip
def test_refused_in_words(sections, key, words):
    found = told(**sections)
    assert key in found and words in found[key]


def test_lists_of_tables_are_in_si():
    design = design_from_document(
        DOCUMENT
        | {
            "load": {
                "bodies": [{"shape": "bar", "mass_g": 40.0, "length_mm": 100.0}],
            },
            "bearing": {
                "friction_spots": [{"angle_deg": 180.0, "width_deg": 18.0, "extra_n_m": 0.002}],
            },
        }
    )
    (body,), (spot,) = design.load.bodies, design.bearing.spots
    assert body.model_dump() == {"shape": "bar", "mass": 0.04, "length": 0.1, "width": 0.0, "offset": 0.0}
    assert spot.angle == pytest.approx(3.14159265, rel=1e-8) and spot.extra == 0.002


def test_control_rate_is_a_whole_part_of_the_switching():
    rates = {15.0: 15e3, 20.0: 20e3, 50.0: 50e3 / 3, 100.0: 20e3}
    for pwm, rate in rates.items():
        assert design_from_document(DOCUMENT | {"drive": DRIVE | {"pwm_khz": pwm}}).drive.control == pytest.approx(rate)


def test_the_driver_errs_unless_told_otherwise():
    """Offset and gain of the current sensors as parts, dead time in seconds; nothing of it where zero is stated."""
    usual = design_from_document(DOCUMENT | {"drive": DRIVE}).drive
    assert (usual.current_offset, usual.current_gain_error) == pytest.approx((0.005, 0.01), rel=1e-12)
    assert (usual.dead_time, usual.voltage_drop) == pytest.approx((100e-9, 0.05), rel=1e-12)
    named = ("current_offset_percent", "current_gain_error_percent", "dead_time_ns", "voltage_drop_v")
    perfect = design_from_document(DOCUMENT | {"drive": DRIVE | dict.fromkeys(named, 0.0)}).drive
    assert perfect.current_offset == perfect.current_gain_error == perfect.dead_time == perfect.voltage_drop == 0
