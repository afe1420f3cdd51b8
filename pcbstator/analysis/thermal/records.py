"""Results about heat and the currents that it allows."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from pcbstator.analysis.fields import inside, result


@dataclass(frozen=True, kw_only=True)
class SteadyLimits:
    """What copper, board and magnets stand. Three views that are never mixed: a lonely trace by the standards, the
    board's heat balance, the magnets' limit. Currents are rms phase currents."""

    ipc2221_current: float | None = result(
        "ipc2221_phase_current_rms_a", "rms phase current for the stated rise of the worst single track (IPC-2221)"
    )
    ipc2221_via_current: float | None = result(
        "ipc2221_via_phase_current_rms_a", "the same for a single via that carries a phase or path"
    )
    ipc2152_current: float | None = result(
        "ipc2152_phase_current_rms_a", "rms phase current for that rise of the worst single track (fit of IPC-2152)"
    )
    trace_rise: float | None = result("ipc2221_rise_k", "temperature rise of those figures")
    by_layer: tuple[dict[str, float], ...] = result(
        "ipc2221_by_layer", "IPC-2221 for the worst track of every layer", default=()
    )
    board_current: float | None = result(
        "board_phase_current_rms_a", "rms phase current at which the board's hottest place reaches its limit"
    )
    magnet_current: float | None = result(
        "magnet_phase_current_rms_a", "rms phase current at which the rotor reaches the magnets' limit"
    )
    continuous_current: float | None = result(
        "continuous_phase_current_rms_a", "rms phase current without end: the least of the currents above"
    )
    limited_by: str | None = result("limited_by", "what sets it")
    continuous_torque: float | None = result("continuous_torque_n_m", "torque at that current, magnets as warm as then")
    runaway_current: float | None = result(
        "runaway_phase_current_rms_a", "rms phase current above which no steady temperature up to 300 C exists"
    )
    board_limit_c: float | None = result("board_limit_c", "highest temperature of the board")
    magnet_limit_c: float | None = result("magnet_limit_c", "highest temperature of the magnets")
    board_temperature_c: float | None = result("board_temperature_c", "hottest place of the board at that current")
    board_mean_c: float | None = result("board_mean_temperature_c", "mean of the board's rings then")
    surface_temperature_c: float | None = result("surface_temperature_c", "hottest place of its face in the air then")
    rotor_temperature_c: float | None = result("rotor_temperature_c", "the warmer rotor then")
    hot_resistance: float | None = result("hot_phase_resistance_ohm", "resistance of a phase then")
    copper_loss: float | None = result("continuous_copper_w", "copper loss then")
    eddy_loss: float | None = result(
        "continuous_eddy_w", "eddies, circulating currents, those around a delta and steel beyond the board then"
    )
    thermal_resistance: float | None = result(
        "thermal_resistance_k_per_w", "rise of the hottest place over ambient, per watt of all losses then"
    )


@dataclass(frozen=True, kw_only=True)
class ThermalResult(SteadyLimits):
    """The same with what holds for a time, and at what currents something else gives."""

    time_constant: float | None = result(
        "time_constant_s", "time in which the hottest place does 63 % of its rise at that current"
    )
    peak_1_cold: float | None = result(
        "intermittent_phase_current_1_s_cold_rms_a", "rms phase current for 1 s, all at ambient before"
    )
    peak_10_cold: float | None = result("intermittent_phase_current_10_s_cold_rms_a", "the same for 10 s")
    peak_60_cold: float | None = result("intermittent_phase_current_60_s_cold_rms_a", "the same for 60 s")
    peak_1_warm: float | None = result(
        "intermittent_phase_current_1_s_warm_rms_a",
        "rms phase current for 1 s, at half the rise of continuous work before",
    )
    peak_10_warm: float | None = result("intermittent_phase_current_10_s_warm_rms_a", "the same for 10 s")
    peak_60_warm: float | None = result("intermittent_phase_current_60_s_warm_rms_a", "the same for 60 s")
    motion_board_c: float | None = result("motion_board_c", "hottest board in the motion, repeated for ever")
    motion_rotor_c: float | None = result("motion_rotor_c", "hottest rotor in it")
    motion_current_factor: float | None = result(
        "motion_current_factor", "by which all its currents could grow until board or magnets meet their limits"
    )
    duty_current: float | None = result(
        "duty_phase_current_rms_a", "rms phase current while on, for the duty of [cooling]"
    )
    touch_current: float | None = result(
        "touch_phase_current_rms_a", "rms phase current from which the board burns skin (60 C)"
    )
    tg_current: float | None = result(
        "tg_phase_current_rms_a", "rms phase current that takes it to laminate_tg_c in the end"
    )
    solder_current: float | None = result(
        "solder_phase_current_rms_a", "rms phase current that takes it to 183 C in the end"
    )
    blister_current: float | None = result(
        "blister_phase_current_rms_a", "rms phase current that takes cold copper to laminate_tg_c within 1 s"
    )
    profile: tuple[dict[str, float], ...] = result(
        "temperature_profile", "temperature over radius at the continuous current", default=()
    )
    assumptions: tuple[str, ...] = result("assumptions", "what the heat balance takes for granted", default=())
    heat: Any = inside()  # predict.thermal.HeatState
    out_of_range: str = inside("")
