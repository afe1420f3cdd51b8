"""What is typed into a drive, as one flat list of names with units: the machine, its limits, its gains."""

from __future__ import annotations

from math import pi
from typing import TYPE_CHECKING

from pcbstator.analysis.drive.equivalent_machine import machine_of
from pcbstator.analysis.prediction import Prediction

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign

Parameters = dict[str, float | int | str]


def drive_parameters(design: SizedDesign, prediction: Prediction) -> Parameters | None:
    """Parameters by name; None where there is no machine. Electrical values are those of the equivalent star."""
    if prediction.magnetic is None or prediction.mechanical is None:
        return None
    machine = machine_of(design, prediction.electrical, prediction.magnetic, prediction.mechanical.rotor_inertia, 0.0)
    if machine is None:
        return None
    found: Parameters = {
        "phases": machine.phases,
        "pole_pairs": machine.pole_pairs,
        "phase_resistance_20c_ohm": machine.resistance * machine.winding_part,
        "phase_resistance_hot_ohm": machine.hot_resistance * machine.winding_part,
        "phase_inductance_h": machine.inductance,
        "flux_linkage_peak_wb": machine.psi,
        "torque_constant_n_m_per_peak_a": machine.torque_constant,
        "rotor_inertia_kg_m2": machine.rotor_inertia,
    }
    if machine.driver.series > 0:
        found["switch_and_wire_resistance_20c_ohm"] = machine.driver.series
    if prediction.magnetic.speed_constant is not None:
        found["speed_constant_rpm_per_line_peak_v"] = prediction.magnetic.speed_constant
    stands = prediction.thermal.continuous_current
    if stands is not None:
        found["continuous_current_peak_a"] = machine.peak_current(stands)
    return found | _gains(design, prediction)


def _gains(design: SizedDesign, prediction: Prediction) -> Parameters:
    drive, fit, motion = design.drive, prediction.drive, prediction.motion
    if drive is None or fit is None or motion is None or motion.no_load_speed is None:
        return {}
    found: Parameters = {
        "supply_v": drive.supply,
        "current_limit_peak_a": drive.current_limit,
        "phase_voltage_limit_peak_v": fit.machine.voltage_limit(drive.supply),
        "no_load_speed_rad_per_s": motion.no_load_speed * drive.gear_ratio,
        "pwm_hz": drive.pwm,
        "dead_time_s": drive.dead_time,
        "sensor_counts_per_turn": drive.counts,
        "gear_ratio": drive.gear_ratio,
        "control_rate_hz": fit.control_rate,
        "sample_time_s": 1 / fit.control_rate,
        "current_bandwidth_hz": fit.current_bandwidth,
        "current_kp_v_per_a": fit.current_kp,
        "current_ki_v_per_a_s": fit.current_ki,
        "observer_bandwidth_rad_per_s": fit.observer,
        "speed_bandwidth_hz": fit.speed_bandwidth,
        "speed_kp_n_m_s_per_rad": fit.speed_kp,
        "speed_ki_n_m_per_rad": fit.speed_ki,
        "position_kp_per_s": fit.position_kp,
        "feedforward_inertia_kg_m2": fit.inertia_ahead,
        "feedforward_friction_n_m": fit.friction_ahead,
        "feedforward_viscous_n_m_s_per_rad": fit.viscous_ahead,
        "integral_dead_band_rad": fit.dead_band,
        "electrical_angle_per_count_rad": 2 * pi * fit.machine.pole_pairs / drive.counts,
    }
    if motion.top_speed is not None:
        found["top_speed_rad_per_s"] = motion.top_speed * drive.gear_ratio
    return found | {f"per_unit_{name}": value for name, value in fit.per_unit.items()}
