"""Results of the drive at its job. Torques, speeds and inertias of ``motion`` are at the load, gains at the motor."""

from __future__ import annotations

from dataclasses import dataclass
from math import pi
from typing import Any

from pcbstator.analysis.fields import inside, result

RPM = 30 / pi
DEGREE = 180 / pi


@dataclass(frozen=True, kw_only=True)
class MotionResult:
    """What the job asks for and what there is. With a gear all of it is at the load."""

    load_inertia: float | None = result("load_inertia_kg_m2", "of the load with all its bodies")
    total_inertia: float | None = result("total_inertia_kg_m2", "of load and rotor, at the load")
    top_speed: float | None = result("top_speed_rpm", "highest speed of the cycle", RPM)
    move_time: float | None = result("move_time_s", "time of the move; of the longest of several")
    cycle_time: float | None = result("cycle_time_s", "moves and rests together; a turn at constant speed")
    required_peak: float | None = result("required_peak_torque_n_m", "largest torque of the cycle, from rest included")
    required_rms: float | None = result("required_rms_torque_n_m", "root mean square over the cycle, rests included")
    available_peak: float | None = result(
        "available_peak_torque_n_m", "at the current limit, or what the voltage allows at the top speed"
    )
    available_continuous: float | None = result("available_continuous_torque_n_m", "that the copper stands for ever")
    peak_reserve: float | None = result("peak_torque_reserve_ratio", "available peak over required, less one")
    continuous_reserve: float | None = result(
        "continuous_torque_reserve_ratio", "available continuous over required rms, less one"
    )
    limited_by: str | None = result("limited_by", "what would give out first: current, voltage or heat")
    largest_inertia: float | None = result("largest_load_inertia_kg_m2", "with which the move would still work")
    largest_friction: float | None = result("largest_friction_n_m", "running friction with which it would still work")
    no_load_speed: float | None = result("no_load_speed_rpm", "EMF between terminals equals the supply", RPM)
    peak_current: float | None = result("terminal_current_peak_a", "peak current of a terminal in the cycle")
    rms_current: float | None = result(
        "heating_terminal_current_peak_a", "peak of a steady sine current that heats as the cycle does"
    )
    voltage_part: float | None = result("voltage_used_ratio", "largest phase voltage of the cycle over the limit")
    heat_steps: Any = inside()  # (steps, 2) duration [s] and rms phase current [A]
    copper_heat: float | None = result("mean_copper_loss_w", "mean of the cycle, copper hot")
    loop_current: float | None = result("loop_phase_current_rms_a", "around a delta at the top speed, copper hot")
    loop_heat: float | None = result("mean_delta_loop_w", "heat of that current, mean of the cycle")
    drag: float | None = result(
        "drag_torque_n_m", "of eddies, circulating currents and the current around a delta at the top speed"
    )
    cycle_energy: float | None = result("cycle_energy_j", "from the supply for a cycle, braking not counted back")
    braking_energy: float | None = result("braking_energy_j", "that comes back to the supply in a cycle")
    supply_mean: float | None = result("supply_current_mean_a", "from the supply, mean of the cycle")
    supply_peak: float | None = result("supply_current_peak_a", "from the supply, largest of the cycle")
    error_budget: tuple[dict[str, Any], ...] = result(
        "error_budget", "parts of the error of position, at the load", default=()
    )
    curve: tuple[dict[str, float], ...] = result("speed_torque", "peak and continuous torque over speed", default=())
    map: tuple[dict[str, float], ...] = result(
        "loss_map", "loss and efficiency over speed and torque, copper hot", default=()
    )


@dataclass(frozen=True, kw_only=True)
class DriveResult:
    """What the driver must do and what to type into it. Terminal quantities of the equivalent star, at the motor."""

    electrical_frequency: float | None = result("electrical_frequency_hz", "at the top speed of the motor")
    ripple: float = result(
        "terminal_ripple_peak_to_peak_a", "peak to peak of a terminal's current, worst case, resistance left out"
    )
    ripple_at_job: float | None = result(
        "terminal_ripple_at_job_peak_to_peak_a", "at the highest voltage of the motion, resistance included"
    )
    ripple_heat: float = result("ripple_loss_w", "heat of the ripple in all phases, full voltage")
    pwm_wanted: float = result("pwm_for_20_percent_khz", "at which the ripple is 20 % of the current limit", 1e-3)
    added_inductance: float | None = result("added_inductance_for_20_percent_h", "in each wire, that does the same")
    stall_current: float = result("stall_terminal_current_peak_a", "peak, full supply on the standing winding")
    short_current: float | None = result(
        "short_circuit_terminal_current_peak_a", "peak, terminals joined at the top speed"
    )
    sense_step: float | None = result("current_sense_step_a", "that tells a tenth of the smallest torque apart")
    sense_bits: int | None = result("current_sense_bits", "that resolve it over the whole range, both signs")
    count_electrical: float = result("sensor_electrical_deg_per_count", "electrical angle of a count", DEGREE)
    misalignment: float = result("misalignment_loss_ratio", "part of the torque lost at the sensor's worst error")
    slowest: float = result("slowest_measured_speed_rpm", "one count in a time constant of the observer", RPM)
    control_rate: float = result("control_khz", "rate of the loops", 1e-3)
    current_kp: float = result("current_kp_v_per_a", "proportional gain of the current loop")
    current_ki: float = result("current_ki_v_per_a_s", "integral gain of the current loop")
    current_bandwidth: float = result("current_bandwidth_hz", "of the current loop")
    current_margin: float | None = result("current_phase_margin_deg", "as sampled, a sample of delay", DEGREE)
    current_factor: float | None = result("current_gain_margin_ratio", "factor by which the gain may rise")
    speed_bandwidth: float = result("speed_bandwidth_hz", "of the speed loop")
    speed_limited_by: str = result("speed_loop_limited_by", "what keeps it from being faster")
    speed_kp: float = result("speed_kp_n_m_s_per_rad", "proportional gain of the speed loop, all inertia")
    speed_ki: float = result("speed_ki_n_m_per_rad", "integral gain of the speed loop")
    speed_margin: float | None = result("speed_phase_margin_deg", "as sampled", DEGREE)
    speed_factor: float | None = result("speed_gain_margin_ratio", "factor by which the gain may rise")
    position_bandwidth: float = result("position_bandwidth_hz", "of the position loop")
    position_kp: float = result("position_kp_per_s", "gain of the position loop")
    position_margin: float | None = result("position_phase_margin_deg", "as sampled", DEGREE)
    observer: float = result("observer_bandwidth_hz", "of the observer of angle and speed", 1 / (2 * pi))
    bare_speed_kp: float = result("bare_rotor_speed_kp_n_m_s_per_rad", "what the bare rotor would get")
    bare_speed_ki: float = result("bare_rotor_speed_ki_n_m_per_rad", "what the bare rotor would get")
    bare_position_kp: float = result("bare_rotor_position_kp_per_s", "what the bare rotor would get")
    bare_margin: float | None = result(
        "bare_rotor_gains_position_phase_margin_deg", "left when the bare rotor's gains drive the load", DEGREE
    )
    inertia_ahead: float = result("feedforward_inertia_kg_m2", "torque per acceleration to feed forward")
    friction_ahead: float = result("feedforward_friction_n_m", "torque in the sense of motion to feed forward")
    viscous_ahead: float = result("feedforward_viscous_n_m_s_per_rad", "torque per speed to feed forward")
    resonance: float | None = result("resonance_hz", "of motor and load on their coupling")
    anti_resonance: float | None = result("anti_resonance_hz", "of the load on its coupling, motor held")
    dead_band: float = result("integral_dead_band_deg", "of the motor, in which the integral waits", DEGREE)
    per_unit: dict[str, float] = result("per_unit", "the gains for a controller that counts in parts of its bases")
    gains: Any = inside()
    machine: Any = inside()
