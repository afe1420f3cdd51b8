"""Results of the drive at its job. Torques, speeds and inertias of ``motion`` are at the load, gains at the motor."""

from __future__ import annotations

from dataclasses import dataclass
from math import pi
from typing import TYPE_CHECKING, Any

from pcbstator.analysis.fields import inside, result
from pcbstator.analysis.thermal.records import CycleHeat

if TYPE_CHECKING:
    from pcbstator.analysis.drive.equivalent_machine import Machine
    from pcbstator.analysis.drive.gains import Gains
    from pcbstator.analysis.drive.positioning import Positioning

RPM = 30 / pi
DEGREE = 180 / pi


@dataclass(frozen=True, kw_only=True)
class MotionResult(CycleHeat):
    """What the job asks for and what there is. With a gear all of it is at the load."""

    load_inertia: float | None = result("load_inertia_kg_m2", "inertia of the load with all its bodies")
    total_inertia: float | None = result("total_inertia_kg_m2", "inertia of load and rotor together, at the load")
    top_speed: float | None = result("top_speed_rpm", "highest speed of the motion cycle", RPM)
    move_time: float | None = result("move_time_s", "duration of the move, the longest of several")
    cycle_time: float | None = result(
        "cycle_time_s", "duration of moves and rests together; at constant speed, of a turn"
    )
    required_peak: float | None = result(
        "required_peak_torque_n_m", "largest torque of the motion cycle, starting from rest included"
    )
    required_rms: float | None = result("required_rms_torque_n_m", "rms torque over the motion cycle, rests included")
    available_peak: float | None = result(
        "available_peak_torque_n_m",
        "intermittent torque at the top speed of the motion, drag taken off: what current limit and sagging supply "
        "give with hot copper and with the magnets cold or as warm as in the job, whichever is less",
    )
    peak_limited_by: str | None = result(
        "available_peak_limited_by", "what limits the available peak torque: current or voltage"
    )
    available_continuous: float | None = result(
        "available_continuous_torque_n_m",
        "torque for any length of time at the top speed of the motion, drag taken off: what heat, current limit and "
        "voltage allow with warm magnets; never above the intermittent one",
    )
    continuous_limited_by: str | None = result(
        "available_continuous_limited_by",
        "what limits the available continuous torque: heat (thermal.limited_by says of what), current or voltage",
    )
    warm_magnets: float | None = result(
        "continuous_magnet_strength_ratio",
        "torque constant with the magnets as warm as at the continuous current, over that of the design",
    )
    peak_reserve: float | None = result(
        "peak_torque_reserve_ratio", "available peak torque over the required one, less one"
    )
    continuous_reserve: float | None = result(
        "continuous_torque_reserve_ratio", "available continuous torque over the required rms torque, less one"
    )
    limited_by: str | None = result("limited_by", "what the job comes nearest to: limit of current, voltage or heat")
    largest_inertia: float | None = result(
        "largest_load_inertia_kg_m2", "load inertia with which the motion would still work"
    )
    largest_friction: float | None = result(
        "largest_friction_n_m", "running friction with which the motion would still work"
    )
    no_load_speed: float | None = result(
        "no_load_speed_rpm", "speed at which the EMF between terminals equals the supply", RPM
    )
    peak_current: float | None = result("terminal_current_peak_a", "peak current of a terminal in the motion cycle")
    rms_current: float | None = result(
        "heating_terminal_current_peak_a", "peak of a steady sine terminal current that heats as the motion cycle does"
    )
    voltage_part: float | None = result(
        "voltage_used_ratio", "largest phase voltage of the motion cycle over the limit"
    )
    copper_heat: float | None = result("mean_copper_loss_w", "copper loss, mean of the motion cycle, copper hot")
    driver_heat: float | None = result(
        "mean_driver_loss_w",
        "loss of the driver, mean of the motion cycle: switches, switching and quiescent, as far as [drive] states it",
    )
    wire_heat: float | None = result(
        "mean_wire_loss_w", "loss of the wires from driver to stator, mean of the motion cycle, wires hot"
    )
    loop_current: float | None = result(
        "loop_phase_current_rms_a", "rms current around a delta at the top speed, copper hot"
    )
    loop_heat: float | None = result(
        "mean_delta_loop_w", "loss of the current around a delta, mean of the motion cycle"
    )
    drag: float | None = result(
        "drag_torque_n_m",
        "drag torque of eddies, circulating currents, steel beyond the board and the current around a delta at the "
        "top speed",
    )
    cycle_energy: float | None = result(
        "cycle_energy_j", "energy from the supply for a motion cycle, braking not counted back"
    )
    braking_energy: float | None = result(
        "braking_energy_j", "energy that comes back to the supply while braking, for a motion cycle"
    )
    supply_mean: float | None = result("supply_current_mean_a", "supply current, mean of the motion cycle")
    supply_peak: float | None = result("supply_current_peak_a", "supply current, largest of the motion cycle")
    positioning: Positioning | None = inside()  # what the errors follow from
    error_budget: tuple[dict[str, Any], ...] = result(
        "error_budget", "parts of the position error at rest and moving, at the load", default=()
    )
    rest_error: float | None = result(
        "rest_error_deg",
        "error of a stop at the worst place of the turn from the worse side, to either side of the target; 95 % of "
        "the stops there keep it",
        DEGREE,
    )
    usual_rest_error: float | None = result(
        "rest_error_95_percent_of_stops_deg",
        "1.96 times the root of the sum of squares of all standard deviations at rest: 95 % of the stops at any place "
        "from any side keep it",
        DEGREE,
    )
    repeatable_rest_error: float | None = result(
        "repeatable_rest_error_deg",
        "part of the error at rest that a correction table over the turn takes out, at its worst place",
        DEGREE,
    )
    repeatability: float | None = result(
        "repeatability_deg",
        "width that holds 95 % of the stops at one place from one side",
        DEGREE,
    )
    direction_offset: float | None = result(
        "direction_offset_deg", "offset between the stops from one side and from the other at one place", DEGREE
    )
    moving_error: float | None = result(
        "moving_error_deg",
        "error while it turns at the slow speed, at the worst place of the turn; 95 % of the time there keeps it",
        DEGREE,
    )
    slow_speed: float | None = result("slow_speed_rpm", "slow speed for which the moving errors count", RPM)
    slow_speed_ripple: float | None = result(
        "slow_speed_ripple_percent",
        "half of the peak-to-peak speed over a turn at the slow speed, over its mean; each speed a mean over 20 ms",
        100.0,
    )
    small_step: float | None = result("small_step_deg", "small step for which the error of a step counts", DEGREE)
    step_error: float | None = result(
        "step_error_percent", "error of a small step at the worst place of the turn over the step, 95 %", 100.0
    )
    step_error_from: str = inside("")  # the part that makes most of it
    rest_time: float | None = result("rest_time_s", "time after a move for which the errors at rest count")
    settled_within: float | None = result(
        "settled_within_deg", "error to either side within which the load counts as settled", DEGREE
    )
    settling_time: float | None = result(
        "settling_time_s",
        "time from the end of a move until the load stays within settled_within_deg of its target at the worst place "
        "of the turn; left out where the error at rest is larger",
    )
    told_push: float | None = result(
        "told_push_deg",
        "smallest turn by hand, held, that is told safely from noise, resolution, friction and play",
        DEGREE,
    )
    push_stiffness: float | None = result(
        "push_stiffness_n_m_per_rad", "torque of a push by hand over the turn that it makes at once, loops on"
    )
    curve: tuple[dict[str, Any], ...] = result(
        "speed_torque", "peak and continuous torque over speed with what limits each", default=()
    )
    map: tuple[dict[str, float], ...] = result(
        "loss_map", "loss and efficiency over speed and torque, copper hot", default=()
    )


@dataclass(frozen=True, kw_only=True)
class DriveResult:
    """What the driver must do and what to type into it. Terminal quantities of the equivalent star, at the motor."""

    electrical_frequency: float | None = result(
        "electrical_frequency_hz", "electrical frequency at the top speed of the motor"
    )
    ripple: float = result(
        "terminal_ripple_peak_to_peak_a", "peak-to-peak current ripple of a terminal, worst case, resistance left out"
    )
    ripple_at_job: float | None = result(
        "terminal_ripple_at_job_peak_to_peak_a",
        "peak-to-peak current ripple of a terminal at the highest voltage of the motion, resistance included",
    )
    ripple_part: float | None = result(
        "terminal_ripple_at_job_ratio",
        "ripple at the highest voltage of the motion, peak to peak, over the peak terminal current of the motion cycle",
    )
    ripple_heat: float = result("ripple_loss_w", "loss of the current ripple in all phases at full voltage")
    driver_loss: float | None = result(
        "driver_loss_at_limit_w", "loss of the driver at its current limit, as far as [drive] states it"
    )
    wire_loss: float | None = result(
        "wire_loss_at_limit_w", "loss of the wires from driver to stator at the current limit, wires hot"
    )
    series_resistance: float | None = result(
        "series_resistance_ohm", "resistance of switches and wires in the way of a phase's current, at 20 C"
    )
    lost_voltage: float | None = result(
        "lost_phase_voltage_v", "voltage that dead time and drop of the switches take from a phase, peak of its sine"
    )
    pwm_wanted: float | None = result(
        "pwm_for_20_percent_khz",
        "PWM frequency at which the ripple in the motion is 20 % of the motion's peak current; without a motion, in "
        "the worst case, of the current limit; left out where it is no more",
        1e-3,
    )
    added_inductance: float | None = result(
        "added_inductance_for_20_percent_h",
        "inductance to add in each wire for a ripple of 20 % of the motion's peak current, without a motion of the "
        "current limit; left out where it is no more",
    )
    stall_current: float = result(
        "stall_terminal_current_peak_a", "peak terminal current with the full supply on the winding at standstill"
    )
    short_current: float | None = result(
        "short_circuit_terminal_current_peak_a", "peak terminal current with the terminals shorted at the top speed"
    )
    sense_step: float | None = result(
        "current_sense_step_a", "step of current sensing that resolves a tenth of the smallest torque"
    )
    sense_bits: int | None = result(
        "current_sense_bits", "bits of current sensing that resolve this step over the whole range, both signs"
    )
    count_electrical: float = result(
        "sensor_electrical_deg_per_count", "electrical angle of one count of the sensor", DEGREE
    )
    misalignment: float = result(
        "misalignment_loss_ratio", "part of the torque that is lost at the sensor's worst error"
    )
    slowest: float = result(
        "slowest_measured_speed_rpm", "speed with one count of the sensor in a time constant of the observer", RPM
    )
    slow_speed: float | None = inside()  # of the motor that the job asks for [rad/s]
    counts_wanted: int | None = result(
        "sensor_counts_for_slow_speed",
        "counts of a sensor that measures the slow speed of the job; left out where drive.sensor_counts does",
    )
    control_rate: float = result("control_khz", "sampling rate of the control loops", 1e-3)
    current_kp: float = result("current_kp_v_per_a", "proportional gain of the current loop")
    current_ki: float = result("current_ki_v_per_a_s", "integral gain of the current loop")
    current_bandwidth: float = result("current_bandwidth_hz", "bandwidth of the current loop")
    current_margin: float | None = result(
        "current_phase_margin_deg", "phase margin of the sampled current loop, with a sample of delay", DEGREE
    )
    current_factor: float | None = result(
        "current_gain_margin_ratio", "factor by which the gain of the current loop may rise"
    )
    speed_bandwidth: float = result("speed_bandwidth_hz", "bandwidth of the speed loop")
    speed_limited_by: str = result("speed_loop_limited_by", "what keeps the speed loop from being faster")
    speed_kp: float = result("speed_kp_n_m_s_per_rad", "proportional gain of the speed loop, for all that turns")
    speed_ki: float = result("speed_ki_n_m_per_rad", "integral gain of the speed loop, for all that turns")
    speed_margin: float | None = result("speed_phase_margin_deg", "phase margin of the sampled speed loop", DEGREE)
    speed_factor: float | None = result(
        "speed_gain_margin_ratio", "factor by which the gain of the speed loop may rise"
    )
    position_bandwidth: float = result("position_bandwidth_hz", "bandwidth of the position loop")
    position_kp: float = result("position_kp_per_s", "gain of the position loop")
    position_margin: float | None = result(
        "position_phase_margin_deg", "phase margin of the sampled position loop", DEGREE
    )
    observer: float = result("observer_bandwidth_hz", "bandwidth of the observer of angle and speed", 1 / (2 * pi))
    bare_speed_kp: float = result(
        "bare_rotor_speed_kp_n_m_s_per_rad", "proportional gain of the speed loop for the rotor without its load"
    )
    bare_speed_ki: float = result(
        "bare_rotor_speed_ki_n_m_per_rad", "integral gain of the speed loop for the rotor without its load"
    )
    bare_position_kp: float = result(
        "bare_rotor_position_kp_per_s", "gain of the position loop for the rotor without its load"
    )
    bare_margin: float | None = result(
        "bare_rotor_gains_position_phase_margin_deg",
        "phase margin of the position loop when the gains for the rotor without its load drive the load",
        DEGREE,
    )
    inertia_ahead: float = result("feedforward_inertia_kg_m2", "torque per acceleration, for feedforward")
    friction_ahead: float = result(
        "feedforward_friction_n_m", "friction torque in the sense of motion, for feedforward"
    )
    viscous_ahead: float = result("feedforward_viscous_n_m_s_per_rad", "torque per speed, for feedforward")
    resonance: float | None = result("resonance_hz", "resonance of motor and load on their coupling")
    anti_resonance: float | None = result("anti_resonance_hz", "resonance of the load on its coupling, motor held")
    dead_band: float = result(
        "integral_dead_band_deg", "angle of the motor within which the integral of the speed loop waits", DEGREE
    )
    per_unit: dict[str, float] = result(
        "per_unit", "gains for a controller that counts in parts of its bases, with the bases"
    )
    gains: Gains = inside()
    machine: Machine = inside()
