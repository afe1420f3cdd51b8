"""Results about heat and the currents that it allows."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from pcbstator.analysis.fields import inside, result

if TYPE_CHECKING:
    from pcbstator.analysis.thermal.heat_state import HeatState


@dataclass(frozen=True, kw_only=True)
class SteadyLimits:
    """What copper, board and magnets stand. Three views that are never mixed: an isolated trace by the standards, the
    board's heat balance, the magnets' limit. Currents are rms phase currents."""

    ipc2221_current: float | None = result(
        "ipc2221_phase_current_rms_a",
        "rms phase current at which the worst track, taken as isolated, has the rise trace_rise_c (IPC-2221)",
    )
    ipc2221_via_current: float | None = result(
        "ipc2221_via_phase_current_rms_a",
        "rms phase current at which the most loaded via, taken as an isolated internal track, has that rise (IPC-2221)",
    )
    ipc2152_current: float | None = result(
        "ipc2152_phase_current_rms_a",
        "rms phase current at which the worst track, taken as isolated, has the rise trace_rise_c (fit of IPC-2152)",
    )
    trace_rise: float | None = result(
        "ipc2221_rise_k", "temperature rise of an isolated trace or via in the IPC-2221 and IPC-2152 currents"
    )
    by_layer: tuple[dict[str, float], ...] = result(
        "ipc2221_by_layer",
        "rms phase current at which the worst track of each layer has the rise trace_rise_c (IPC-2221)",
        default=(),
    )
    board_current: float | None = result(
        "board_phase_current_rms_a", "rms phase current at which the board's hottest place reaches its limit"
    )
    magnet_current: float | None = result(
        "magnet_phase_current_rms_a", "rms phase current at which the rotor reaches the limit of magnets, glue or plate"
    )
    driver_current: float | None = result(
        "driver_phase_current_rms_a",
        "rms phase current at which a driver inside the ring reaches its limit; left out where board, magnets or "
        "standards allow less",
    )
    continuous_current: float | None = result(
        "continuous_phase_current_rms_a",
        "rms phase current in continuous duty: the least of the currents by standards, board, magnets and a driver "
        "inside the ring",
    )
    limited_by: str | None = result("limited_by", "what sets the continuous current")
    continuous_torque: float | None = result(
        "continuous_torque_n_m",
        "torque at the continuous current, with the magnets at the temperature they reach at it",
    )
    continuous_drag: float | None = inside()  # braking torque [N m] that is more than the continuous current drives
    runaway_current: float | None = result(
        "runaway_phase_current_rms_a", "rms phase current above which no steady temperature up to 300 C exists"
    )
    board_limit_c: float | None = result("board_limit_c", "highest temperature of the board")
    magnet_limit_c: float | None = result("magnet_limit_c", "highest temperature of the magnets")
    glue_limit_c: float | None = result("glue_limit_c", "highest temperature of the magnets' glue")
    plate_limit_c: float | None = result("plate_limit_c", "highest temperature of the rotor plate")
    driver_limit_c: float | None = result("driver_limit_c", "highest temperature of a driver inside the ring")
    driver_temperature_c: float | None = result(
        "driver_temperature_c", "driver inside the ring at the continuous current"
    )
    board_temperature_c: float | None = result(
        "board_temperature_c", "hottest place of the board at the continuous current"
    )
    board_mean_c: float | None = result(
        "board_mean_temperature_c", "mean temperature of the board at the continuous current"
    )
    surface_temperature_c: float | None = result(
        "surface_temperature_c", "hottest place of the board's far face, in air, at the continuous current"
    )
    rotor_temperature_c: float | None = result(
        "rotor_temperature_c", "temperature of the warmer rotor at the continuous current"
    )
    hot_resistance: float | None = result("hot_phase_resistance_ohm", "resistance of a phase at the continuous current")
    copper_loss: float | None = result("continuous_copper_w", "copper loss at the continuous current")
    eddy_loss: float | None = result(
        "continuous_eddy_w",
        "loss by eddy currents, currents between parallel paths and around a delta, and in steel beyond the board, "
        "at the continuous current",
    )
    thermal_resistance: float | None = result(
        "thermal_resistance_k_per_w",
        "rise of the board's hottest place over ambient per watt of all losses, at the continuous current",
    )

    @property
    def rotor_limit_c(self) -> float | None:
        """Least of the limits of magnets, glue and plate [C]."""
        limits = (self.magnet_limit_c, self.glue_limit_c, self.plate_limit_c)
        return min((limit for limit in limits if limit is not None), default=None)


@dataclass(frozen=True, kw_only=True)
class CycleHeat:
    """What the job does to the motor while its cycle repeats continuously, and how far it could grow."""

    cycle_board_c: float | None = result(
        "cycle_board_temperature_c", "hottest place of the board while the motion cycle repeats continuously"
    )
    cycle_face_c: float | None = result(
        "cycle_face_temperature_c",
        "hottest place that a finger touches while the motion cycle repeats continuously: the board's face in the air, "
        "or its outer edge where that face is covered",
    )
    cycle_rotor_c: float | None = result(
        "cycle_rotor_temperature_c", "hottest rotor while the motion cycle repeats continuously"
    )
    cycle_driver_c: float | None = result(
        "cycle_driver_temperature_c", "driver inside the ring while the motion cycle repeats continuously"
    )
    continuous_ripple_heat: float | None = result(
        "continuous_ripple_loss_w",
        "loss of the switching ripple in all phases at the continuous current and the top speed of the motion, copper "
        "hot",
    )
    continuous_less_ripple: float | None = result(
        "continuous_less_ripple_phase_current_rms_a",
        "rms phase current for any length of time at the top speed of the motion, beside the heat of the ripple",
    )
    cycle_ripple_heat: float | None = result(
        "cycle_ripple_loss_w", "loss of the switching ripple in all phases, mean of the motion cycle, copper hot"
    )
    cycle_growth: float | None = result(
        "cycle_growth_ratio",
        "factor by which all torques of the motion cycle could grow, speeds and rests unchanged, until a limit is met",
    )
    cycle_growth_limit: str | None = result(
        "cycle_growth_limited_by",
        "limit that the growing cycle meets first: board or magnets (their temperature), track (a standard's current), "
        "current or voltage of the driver",
    )
    cycle_heat_growth: float | None = result(
        "cycle_heat_growth_ratio",
        "factor by which all currents of the motion cycle could grow until board or magnets meet their limits",
    )
    cycle_shortest_rest: float | None = result(
        "cycle_shortest_rest_s",
        "shortest rest after each move with which board and magnets keep their limits while the cycle repeats",
    )


@dataclass(frozen=True, kw_only=True)
class ThermalResult(SteadyLimits):
    """Steady limits, intermittent currents, and the currents at which the board burns skin, softens or blisters."""

    time_constant: float | None = result(
        "time_constant_s", "time in which the board's hottest place does 63 % of its rise at the continuous current"
    )
    peak_1_cold: float | None = result(
        "intermittent_phase_current_1_s_cold_rms_a", "rms phase current allowed for 1 s from ambient temperature"
    )
    peak_10_cold: float | None = result(
        "intermittent_phase_current_10_s_cold_rms_a", "rms phase current allowed for 10 s from ambient temperature"
    )
    peak_60_cold: float | None = result(
        "intermittent_phase_current_60_s_cold_rms_a", "rms phase current allowed for 60 s from ambient temperature"
    )
    peak_1_warm: float | None = result(
        "intermittent_phase_current_1_s_warm_rms_a",
        "rms phase current allowed for 1 s from half the rise of continuous duty",
    )
    peak_10_warm: float | None = result(
        "intermittent_phase_current_10_s_warm_rms_a",
        "rms phase current allowed for 10 s from half the rise of continuous duty",
    )
    peak_60_warm: float | None = result(
        "intermittent_phase_current_60_s_warm_rms_a",
        "rms phase current allowed for 60 s from half the rise of continuous duty",
    )
    duty_current: float | None = result(
        "duty_phase_current_rms_a", "rms phase current in the on-time of the intermittent duty of [cooling]"
    )
    touch_current: float | None = result(
        "touch_phase_current_rms_a", "rms phase current from which the board's hottest place burns skin (60 C)"
    )
    tg_current: float | None = result(
        "tg_phase_current_rms_a", "steady rms phase current at which the board's hottest place reaches laminate_tg_c"
    )
    solder_current: float | None = result(
        "solder_phase_current_rms_a",
        "steady rms phase current at which the board's hottest place reaches 183 C (tin-lead solder melts)",
    )
    blister_current: float | None = result(
        "blister_phase_current_rms_a", "rms phase current that takes copper from ambient to laminate_tg_c within 1 s"
    )
    profile: tuple[dict[str, float], ...] = result(
        "temperature_profile", "board temperature over the radius at the continuous current", default=()
    )
    assumptions: tuple[str, ...] = result("assumptions", "what the heat balance takes for granted", default=())
    heat: HeatState | None = inside()
    out_of_range: str = inside("")
