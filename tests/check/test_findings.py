"""Every finding: what brings it up, what does not, and that the page lists them all."""

import re
from pathlib import Path

import pytest

import pcbstator
from pcbstator.design import design_from_document

ROOT = Path(__file__).parents[2]
SOUND = {
    "title": "Sound machine",
    "envelope": {"bore_diameter_mm": 20.0, "outer_diameter_mm": 80.0, "height_mm": 12.0},
    "winding": {"coils": 6, "turns": 8},
    "board": {
        "layers": 2, "track_width_mm": 0.3, "track_gap_mm": 0.3,
        "copper_inner_diameter_mm": 24.0, "copper_outer_diameter_mm": 66.0,
    },
    "rotor": {
        "poles": 8, "air_gap_mm": 1.5, "back_iron_mm": 4.0,
        "magnet": {
            "shape": "sector", "inner_diameter_mm": 32.0, "outer_diameter_mm": 56.0, "arc_ratio": 0.8,
            "thickness_mm": 3.0, "grade": "N42",
        },
    },
}  # fmt: skip
MOVE = {"move_deg": 90.0, "speed_rpm": 60.0, "acceleration_deg_s2": 3600.0}
DRIVE = {"supply_v": 24.0, "current_limit_peak_a": 0.5, "pwm_khz": 200.0, "sensor_counts": 16384}
RUBBING = {"friction_n_m": 0.002}
STRONG = DRIVE | {"supply_v": 200.0, "current_limit_peak_a": 50.0}
PLATE = {"material": "acrylic", "thickness_mm": 3.0, "outer_diameter_mm": 60.0, "inner_diameter_mm": 20.0}
FACED = {"rotor.stator_iron_mm": 3.0, "envelope.height_mm": 20.0}
RULES = {"drill_mm": 0.2, "annular_ring_mm": 0.1}
DISC = {"shape": "disc", "diameter_mm": 18.0, "circle_diameter_mm": 44.0, "thickness_mm": 3.0, "remanence_t": 1.2}
SLIP_RING = {"rings": 4, "inner_diameter_mm": 40.0, "current_rms_a": 2.0, "voltage_v": 24.0}
BALLS = SLIP_RING | {"contact": "balls", "rings": 2, "width_mm": 2.5, "preload_n": 5.0}
SCREWS = {"diameter_mm": 3.2, "circle_diameter_mm": 72.0, "count": 4, "material": "steel", "head_height_mm": 0.0}
IN_STEEL = {"board.outer_diameter_mm": 80.0, "envelope.outer_diameter_mm": 90.0}
SENSOR = DRIVE | {"sensor_principle": "magnetic", "sensor_radius_mm": 14.0, "sensor_field_mt": 5.0}
CAUSES = {
    "surroundings.cogging": (
        IN_STEEL | {"board.holes": [SCREWS], "motion": MOVE, "bearing": RUBBING, "drive": DRIVE},
        "warning",
    ),
    "surroundings.screw_in_the_way": (
        IN_STEEL | {"board.holes": [SCREWS | {"head_height_mm": 3.0, "head_diameter_mm": 20.0}]}, "error",
    ),
    "surroundings.sensor": (
        {"drive": SENSOR, "motion": MOVE, "bearing": RUBBING, "requirement": {"position_error_deg": 0.1}}, "warning",
    ),
    "accepted.idle": ({"accepted": {"board.bow": "held flat"}}, "note"),
    "envelope.bearing": (
        {"envelope": {"bearing_inner_diameter_mm": 50.0, "bearing_outer_diameter_mm": 60.0}}, "error",
    ),
    "board.track_width": ({"board.rules": {"track_width_mm": 0.6}}, "error"),
    "board.track_gap": ({"board.rules": {"track_gap_mm": 0.4}}, "error"),
    "board.annular_ring": ({"board.via_pad_mm": 0.5}, "error"),
    "board.drill": ({"board.via_drill_mm": 0.2}, "error"),
    "board.aspect_ratio": ({"board.thickness_mm": 3.0, "envelope.height_mm": 20.0}, "error"),
    "board.drill_to_copper": ({"board.rules": {"drill_to_copper_mm": 0.5}}, "error"),
    "board.edge": ({"board.outer_diameter_mm": 66.2}, "error"),
    "board.hole_to_copper": ({"board.holes": [{"diameter_mm": 2.0, "circle_diameter_mm": 68.2}]}, "error"),
    "board.pad_gap": (
        {"board.holes": [{"diameter_mm": 2.0, "pad_mm": 3.0, "plated": True, "circle_diameter_mm": 69.0}],
         "board.outer_diameter_mm": 76.0}, "error",
    ),
    "board.keepout": ({"board.keepouts": [{"shape": "disc", "circle_diameter_mm": 66.0, "diameter_mm": 4.0}]}, "error"),
    "board.outline": ({"board.holes": [{"diameter_mm": 2.0, "circle_diameter_mm": 90.0}]}, "error"),
    "board.hole_web": (
        {"board.holes": [{"diameter_mm": 3.0, "circle_diameter_mm": 72.0}], "board.outer_diameter_mm": 75.8}, "error",
    ),
    "board.slot": (
        {"board.slots": [{"width_mm": 0.6, "length_mm": 4.0, "circle_diameter_mm": 72.0, "direction": "tangential"}],
         "board.outer_diameter_mm": 78.0}, "error",
    ),
    "board.mask_web": (
        {"board.thermistor": {"circle_diameter_mm": 70.0, "angle_deg": 40.0, "land_length_mm": 1.0,
                              "land_width_mm": 1.0, "land_pitch_mm": 1.15}, "board.outer_diameter_mm": 78.0}, "warning",
    ),
    "board.chip_height": (
        {"board.thermistor": {"circle_diameter_mm": 44.0, "angle_deg": 0.0}, "rotor.arrangement": "double",
         "rotor.air_gap_mm": 0.9}, "error",
    ),
    "board.bow": ({"rotor.air_gap_mm": 0.4}, "warning"),
    "envelope.bore": ({"envelope.bore_diameter_mm": 26.0}, "error"),
    "envelope.outer": ({"envelope.outer_diameter_mm": 60.0}, "error"),
    "envelope.height": ({"envelope.height_mm": 9.0}, "error"),
    "magnets.overlap": ({"rotor.magnet": DISC}, "error"),
    "magnets.crowded": ({"rotor.magnet.arc_ratio": 0.99}, "warning"),
    "magnets.annulus": ({"rotor.magnet.inner_diameter_mm": 20.2, "rotor.magnet.outer_diameter_mm": 34.0}, "warning"),
    "magnets.knee": ({"rotor.magnet.temperature_c": 80.0}, "warning"),
    "winding.parallel_paths": ({"winding.parallel_paths": 2}, "warning"),
    "winding.factor": ({"winding.coils": 6, "rotor.poles": 10}, "warning"),
    "magnetic.torque_ripple": (
        {"winding.turns": 1, "rotor.magnet.arc_ratio": 0.98, "rotor.air_gap_mm": 0.2, "rotor.poles": 4}, "warning",
    ),
    "electrical.delta_loop": (
        {"winding": {"kind": "wave", "turns": 1, "connection": "delta"}, "rotor.magnet.arc_ratio": 0.95,
         "operation": {"speeds_rpm": [2000.0], "phase_currents_peak_a": [0.2]}}, "warning",
    ),
    "electrical.unequal_phases": ({"winding.turns": 1, "board.interconnect_width_mm": 0.15}, "warning"),
    "mechanical.back_iron": ({"rotor.back_iron_mm": 1.0}, "warning"),
    "mechanical.stator_iron": ({"rotor.stator_iron_mm": 0.5}, "warning"),
    "mechanical.stator_iron_loss": ({"rotor.stator_iron_mm": 3.0}, "warning"),
    "mechanical.glue": (
        {"rotor.glue_strength_mpa": 1.0, "operation": {"speeds_rpm": [20000.0], "phase_currents_peak_a": [0.0]}},
        "error",
    ),
    "slip_ring.rules": ({"slip_ring": SLIP_RING | {"via_drill_mm": 0.2}}, "error"),
    "slip_ring.current": ({"slip_ring": SLIP_RING | {"vias": 1}}, "error"),
    "slip_ring.via_sharing": (
        {"slip_ring": SLIP_RING | {"current_rms_a": 12.0, "width_mm": 7.0, "vias": 13}}, "warning",
    ),
    "slip_ring.creepage": ({"slip_ring": SLIP_RING | {"voltage_v": 40.0, "spacing_mm": 0.5}}, "error"),
    "slip_ring.lead_spacing": (
        {"slip_ring": SLIP_RING | {"voltage_v": 600.0, "spacing_mm": 4.0, "rings": 17, "lead_width_mm": 9.0}}, "error",
    ),
    "slip_ring.dust": ({"slip_ring": SLIP_RING | {"voltage_v": 40.0}}, "warning"),
    "slip_ring.edge_creepage": ({"slip_ring": SLIP_RING | {"voltage_v": 40.0}}, "warning"),
    "slip_ring.voltage": ({"slip_ring": SLIP_RING | {"voltage_v": 48.0}}, "warning"),
    "slip_ring.brush": ({"slip_ring": SLIP_RING | {"width_mm": 0.8}}, "warning"),
    "slip_ring.finish": ({"slip_ring": SLIP_RING | {"finish": "HASL"}}, "warning"),
    "slip_ring.holes": (
        {"slip_ring": SLIP_RING | {"holes": [{"diameter_mm": 3.0, "circle_diameter_mm": 66.0}]}}, "error",
    ),
    "slip_ring.fit": ({"slip_ring": SLIP_RING | {"bore_diameter_mm": 30.0, "shaft_diameter_mm": 31.0}}, "error"),
    "slip_ring.balls": ({"slip_ring": BALLS | {"balls": 60}}, "error"),
    "slip_ring.groove": ({"slip_ring": BALLS | {"width_mm": 1.2}}, "error"),
    "slip_ring.balls_apart": ({"slip_ring": BALLS | {"spacing_mm": 0.5, "voltage_v": 40.0}}, "error"),
    "slip_ring.ball_size": ({"slip_ring": BALLS | {"board_gap_mm": 3.3}}, "warning"),
    "slip_ring.ball_pressure": ({"slip_ring": BALLS}, "warning"),
    "slip_ring.laminate": ({"slip_ring": BALLS | {"preload_n": 200.0}}, "warning"),
    "slip_ring.ball_contact": ({"slip_ring": BALLS}, "warning"),
    "slip_ring.run_out": ({"slip_ring": BALLS, "build": {"draws": 100, "rotor_run_out_mm": 0.05}}, "warning"),
    "slip_ring.ball_heat": (
        {"slip_ring": BALLS | {"current_rms_a": 25.0, "width_mm": 9.0, "spacing_mm": 4.0, "inner_diameter_mm": 60.0,
                               "copper_um": 105.0, "preload_n": 0.01, "ball_material": "stainless"}}, "warning",
    ),
    "slip_ring.mask_web": ({"slip_ring": SLIP_RING | {"spacing_mm": 0.18, "voltage_v": 5.0}}, "warning"),
    "thermal.continuous": ({"operation": {"speeds_rpm": [0.0], "phase_currents_peak_a": [2.0]}}, "warning"),
    "thermal.runaway": ({"operation": {"speeds_rpm": [0.0], "phase_currents_peak_a": [5.0]}}, "warning"),
    "thermal.tg": ({"operation": {"speeds_rpm": [0.0], "phase_currents_peak_a": [4.0]}}, "warning"),
    "thermal.solder": ({"operation": {"speeds_rpm": [0.0], "phase_currents_peak_a": [4.0]}}, "warning"),
    "thermal.magnets": ({"operation": {"speeds_rpm": [0.0], "phase_currents_peak_a": [3.0]}}, "warning"),
    "thermal.touch": ({"cooling": {}}, "note"),
    "mechanical.gap_unstable": (FACED | {"bearing": {"axial_stiffness_n_per_mm": 5.0}}, "error"),
    "mechanical.tilt_unstable": (FACED | {"bearing": {"tilt_stiffness_n_m_per_deg": 1e-4}}, "error"),
    "mechanical.rubbing": ({"bearing": {"axial_play_mm": 2.0}, "build": {"board_bow_mm": 1.0}}, "error"),
    "mechanical.bearing_load": (FACED | {"bearing": {"allowed_axial_load_n": 5.0}}, "warning"),
    "mechanical.bearing_tilt": (FACED | {"bearing": {"allowed_tilting_moment_n_m": 1e-4}, "build": {}}, "warning"),
    "mechanical.plate_size": ({"rotor.plate": PLATE | {"outer_diameter_mm": 50.0}}, "error"),
    "mechanical.plate_hole": (
        {"rotor.plate": PLATE | {"holes": [{"diameter_mm": 3.0, "circle_diameter_mm": 24.0}]}}, "warning",
    ),
    "thermal.glue": (
        {"rotor.plate": PLATE, "rotor.glue_max_c": 30.0, "operation": {"speeds_rpm": [0.0],
         "phase_currents_peak_a": [3.0]}, "envelope.height_mm": 20.0}, "warning",
    ),
    "thermal.plate": (
        {"rotor.plate": PLATE | {"max_c": 30.0}, "operation": {"speeds_rpm": [0.0], "phase_currents_peak_a": [3.0]},
         "envelope.height_mm": 20.0}, "warning",
    ),
    "thermal.job": ({"bearing": {"friction_n_m": 0.005}, "motion": {"speed_rpm": 60.0}, "drive": STRONG}, "warning"),
    "thermal.driver": (
        {"load": {}, "motion": MOVE, "drive": DRIVE | {"quiescent_w": 1.0, "driver_area_mm2": 1000.0}}, "warning",
    ),
    "thermal.drag": (
        {"rotor.stator_iron_mm": 3.0, "operation": {"speeds_rpm": [600.0], "phase_currents_peak_a": [0.1]}}, "warning",
    ),
    "thermal.via": ({"operation": {"speeds_rpm": [0.0], "phase_currents_peak_a": [3.0]}}, "warning"),
    "thermal.blister": ({"operation": {"speeds_rpm": [0.0], "phase_currents_peak_a": [20.0]}}, "warning"),
    "thermal.eddies": ({"board.track_width_mm": 1.0, "winding.turns": 2, "cooling": {"speed_rpm": 60000.0}}, "warning"),
    "thermal.magnet_temperature": ({"cooling": {}}, "note"),
    "drive.torque": ({"load": {"inertia_kg_m2": 0.1}, "motion": MOVE, "drive": DRIVE}, "warning"),
    "drive.voltage": ({"load": {}, "motion": {"speed_rpm": 60000.0}, "drive": DRIVE}, "warning"),
    "drive.braking": (
        {"load": {}, "motion": MOVE | {"move_deg": 36000.0, "speed_rpm": 2000.0, "acceleration_deg_s2": 720.0},
         "drive": DRIVE}, "note",
    ),
    "drive.drag": (
        {"rotor.stator_iron_mm": 3.0, "bearing": RUBBING, "motion": {"speed_rpm": 600.0}, "drive": STRONG},
        "warning",
    ),
    "drive.slow_speed": (
        {"bearing": RUBBING, "motion": MOVE | {"speed_rpm": 1.0}, "drive": DRIVE | {"sensor_counts": 500}},
        "warning",
    ),
    "drive.ripple": ({"drive": DRIVE | {"pwm_khz": 10.0}}, "warning"),
    "drive.sensor": ({"drive": DRIVE | {"sensor_counts": 200}}, "warning"),
    "drive.misalignment": ({"drive": DRIVE | {"sensor_offset_mm": 1.0}}, "warning"),
    "drive.margin": ({"drive": DRIVE | {"current_bandwidth_hz": 3000.0}}, "warning"),
    "drive.bearing_play": ({"bearing": {"radial_play_mm": 0.3}, "drive": DRIVE}, "note"),
    "drive.play": ({"load": {"play_deg": 0.5}, "drive": DRIVE}, "warning"),
    "drive.coupling": ({"load": {"inertia_kg_m2": 1e-3, "coupling_n_m_per_rad": 0.1}, "drive": DRIVE}, "note"),
    "drive.bare_gains": ({"load": {"inertia_kg_m2": 0.01}, "drive": DRIVE}, "note"),
    "law.range": (
        {"operation": {"speeds_rpm": [100000.0], "phase_currents_peak_a": [0.0], "copper_c": -40.0},
         "board.track_width_mm": 1.5, "winding.turns": 1}, "warning",
    ),
}  # fmt: skip
NEVER = {
    "copper.gap",  # guards the geometry itself; tests/copper holds that it does not happen
    "drive.heat",  # needs the current that the copper stands: tests/check/test_job.py
}


def findings(changes):
    design = design_from_document(SOUND).with_values(changes)
    return {finding.code: finding for finding in pcbstator.predict(design).findings}


def test_a_sound_machine_has_none():
    assert findings({}) == {}
    assert findings({"slip_ring": SLIP_RING}) == {}


@pytest.mark.parametrize("code", CAUSES)
def test_cause_brings_it_up(code):
    changes, severity = CAUSES[code]
    found = findings(changes)
    assert code in found, sorted(found)
    assert found[code].severity == severity
    if found[code].value and found[code].limit is not None:
        value, limit = found[code].value, found[code].limit
        least = 2 if code == "board.bow" else 3  # a bow is a judgement
        rounded = {  # values are given in six digits
            f"{value * part:.{digits}g}" for digits in range(least, 7) for part in (1 - 1e-5, 1 + 1e-5)
        } - ({f"{limit:.4g}"} if least > 2 else set())
        assert rounded & set(re.findall(r"-?\d[\d.]*(?:e[-+]\d+)?(?<!\.)", found[code].message))


def test_nothing_magnetic_is_given_where_magnets_overlap():
    design = design_from_document(SOUND).with_values({"rotor.magnet": DISC})
    result = pcbstator.predict(design).to_dict()
    assert "magnetic" not in result and "waves" not in result and result["electrical"]


SPEAK_OF_KEYS = ("changes", "requirement", "retrial", "side_by_side")  # not of findings


def codes_in_source():
    files = [path for path in (ROOT / "pcbstator" / "check").glob("*.py") if path.stem not in SPEAK_OF_KEYS]
    text = "".join(path.read_text(encoding="utf-8") for path in files)
    groups = (
        "accepted|board|copper|drive|envelope|magnets|winding|magnetic|electrical|law|mechanical|slip_ring|"
        "surroundings|thermal"
    )
    return set(re.findall(rf'"((?:{groups})\.[a-z_]+)"', text))


def codes_of_written_boards():
    text = "".join(path.read_text(encoding="utf-8") for path in (ROOT / "pcbstator" / "verify").rglob("*.py"))
    return set(re.findall(r'"(verify\.[a-z_]+)"', text))


def test_the_page_lists_exactly_the_codes_of_the_source():
    rows = re.findall(r"^\| (`.*?) \|", (ROOT / "docs" / "findings.md").read_text(encoding="utf-8"), re.MULTILINE)
    assert {
        code for row in rows for code in re.findall(r"`([a-z_.]+)`", row)
    } == codes_in_source() | codes_of_written_boards()


def test_every_code_has_a_cause_here():
    assert set(CAUSES) | NEVER == codes_in_source()
