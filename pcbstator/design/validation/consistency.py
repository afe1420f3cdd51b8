"""Rules that tie several keys together; what is nonsense by itself is refused here, what is unwise is a finding later.

A rule is asked as soon as the keys it needs are sound, whatever else is wrong.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pcbstator.design.validation import driver
from pcbstator.design.validation import judgements as judge
from pcbstator.design.validation.judgements import Rule, exceeds
from pcbstator.errors import Complaint


def inconsistencies(values: Mapping[str, Any]) -> list[Complaint]:
    """All complaints about sound values by dotted key; a rule whose keys are not all there is left out."""
    known, value = values.keys(), values.__getitem__
    judged = [rule.judge(*map(value, rule.keys)) for rule in RULES if known >= rule.needed]
    return [complaint for complaint in judged if complaint is not None]


RULES: tuple[Rule, ...] = (
    exceeds("envelope.outer_diameter_mm", "envelope.bore_diameter_mm"),
    exceeds("envelope.bearing_outer_diameter_mm", "envelope.bearing_inner_diameter_mm"),
    exceeds("envelope.bearing_inner_diameter_mm", "envelope.bore_diameter_mm"),
    exceeds("envelope.outer_diameter_mm", "envelope.bearing_outer_diameter_mm"),
    Rule(("winding.coils", "winding.phases", "winding.kind"), judge.coils_per_phase),
    Rule(("winding.parallel_paths", "winding.coils", "winding.phases", "winding.kind"), judge.paths),
    Rule(
        (
            "winding.coils", "winding.kind", "winding.phases", "rotor.poles", "board.layers", "winding.turns",
            "board.copper_outer_diameter_mm", "board.track_width_mm", "board.track_gap_mm",
        ),
        judge.turns_in_all,
    ),
    Rule(("winding.turns", "board.track_width_mm"), judge.one_fill),
    Rule(("board.coil_layers", "board.layers"), judge.used_layers),
    Rule(("board.layer_copper_um", "board.layers"), judge.layer_copper),
    Rule(("board.track_profile", "winding.kind", "winding.outline"), judge.tapered),
    exceeds("board.copper_outer_diameter_mm", "board.copper_inner_diameter_mm"),
    exceeds("board.copper_inner_diameter_mm", "board.inner_diameter_mm"),
    exceeds("board.outer_diameter_mm", "board.copper_outer_diameter_mm"),
    exceeds("board.via_pad_mm", "board.via_drill_mm"),
    exceeds("board.terminal_pad_mm", "board.terminal_drill_mm"),
    Rule(
        ("board.jumper_pad_mm", "board.jumper_drill_mm", "board.terminal_pad_mm", "board.terminal_drill_mm"),
        judge.jumper_pad,
    ),
    Rule(("board.tiles", "winding.coils", "winding.kind", "winding.skew_deg"), judge.tiles),
    Rule(("board.tiles", "stack.boards"), judge.tiled_stack),
    judge.plating("board"),
    Rule(
        (
            "board.thickness_mm", "board.layers",
            "board.outer_copper_um", "board.inner_copper_um", "board.layer_copper_um",
        ),
        judge.copper_in_board,
    ),
    Rule(("board.layer_depths_mm", "board.layers", "board.thickness_mm"), judge.depths),
    exceeds("rotor.magnet.outer_diameter_mm", "rotor.magnet.inner_diameter_mm"),
    exceeds("rotor.magnet.circle_diameter_mm", "rotor.magnet.diameter_mm"),
    exceeds("rotor.magnet.circle_diameter_mm", "rotor.magnet.length_mm"),
    exceeds("rotor.iron_outer_diameter_mm", "rotor.iron_inner_diameter_mm"),
    exceeds("rotor.plate.outer_diameter_mm", "rotor.plate.inner_diameter_mm"),
    exceeds("rotor.plate.thickness_mm", "rotor.plate.pocket_depth_mm"),
    Rule(
        (
            "rotor.plate.material", "rotor.plate.conductivity_w_per_mk", "rotor.plate.max_c",
            "rotor.plate.density_kg_m3", "rotor.plate.modulus_gpa",
        ),
        judge.other_material,
    ),
    Rule(
        ("rotor.plate.material", "rotor.plate.thickness_mm", "rotor.plate.pocket_depth_mm", "rotor.back_iron_mm"),
        judge.steel_plate,
    ),
    Rule(("winding.connection", "winding.phases"), judge.closed_loop),
    Rule(("rotor.stator_iron_mm", "rotor.arrangement"), judge.one_side),
    exceeds("cooling.board_max_c", "cooling.ambient_c"),
    exceeds("cooling.magnet_max_c", "cooling.ambient_c"),
    Rule(("cooling.board_max_c", "board.laminate_tg_c", "cooling.ambient_c"), judge.board_above_ambient),
    Rule(("cooling.magnet_max_c", "rotor.magnet.grade", "cooling.ambient_c"), judge.magnets_above_ambient),
    Rule(("cooling.far_face", "cooling.mount_conductance_w_per_k", "rotor.arrangement"), judge.clamped),
    Rule(("cooling.duty", "cooling.on_s", "cooling.off_s"), judge.on_and_off),
    judge.span("tolerance.outer_copper_um"),
    judge.span("tolerance.inner_copper_um"),
    Rule(
        (
            "motion.move_deg", "motion.stops_deg", "motion.table_csv", "motion.speed_rpm", "motion.acceleration_deg_s2",
        ),
        judge.one_motion,
    ),
    Rule(("motion.stops_deg",), judge.stops),
    Rule(("bearing.standstill_friction_n_m", "bearing.friction_n_m"), judge.standstill),
    Rule(("drive.supply_sag_v", "drive.supply_v"), judge.sag),
    Rule(("drive.voltage_drop_v", "drive.supply_v"), judge.voltage_drop),
    Rule(("drive.switching_time_ns", "drive.switching_loss_w"), driver.one_switching_loss),
    Rule(("drive.switching_time_ns", "drive.pwm_khz"), driver.switching_time),
    Rule(("drive.cable_length_mm", "drive.cable_section_mm2"), driver.cable),
    Rule(("drive.driver_area_mm2", "drive.driver_to_board_w_per_k"), driver.driver_contact),
    Rule(("drive.driver_area_mm2", "drive.driver_limit_c", "cooling.ambient_c"), driver.driver_limit),
    Rule(("drive.control_khz", "drive.pwm_khz", "drive.current_bandwidth_hz", "drive.dead_time_ns"), judge.loop_rates),
    exceeds("drive.sensor_radius_mm", "drive.sensor_offset_mm"),
    Rule(("drive.sensor_offset_mm", "drive.sensor_distance_mm", "drive.sensor_radius_mm"), judge.chip_place),
    Rule(("rotor.magnet.remanence_t", "rotor.magnet.grade"), judge.one_remanence),
    Rule(("rotor.magnet.grade", "rotor.magnet.temperature_c"), judge.grade_holds),
    exceeds("slip_ring.via_pad_mm", "slip_ring.via_drill_mm"),
    exceeds("slip_ring.terminal_pad_mm", "slip_ring.terminal_drill_mm"),
    exceeds("slip_ring.width_mm", "slip_ring.via_pad_mm"),
    exceeds("slip_ring.inner_diameter_mm", "slip_ring.bore_diameter_mm"),
    exceeds("slip_ring.outer_diameter_mm", "slip_ring.inner_diameter_mm"),
    judge.plating("slip_ring"),
    Rule(("slip_ring.thickness_mm", "slip_ring.copper_um"), judge.two_faces),
    Rule(("slip_ring.board_gap_mm", "slip_ring.copper_um"), judge.room_for_balls),
)  # fmt: skip
