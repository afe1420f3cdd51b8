"""Rows of the report about heat and current."""

from __future__ import annotations

from pcbstator.analysis.drive.records import MotionResult
from pcbstator.analysis.thermal.records import ThermalResult
from pcbstator.output.words import Row, figures, measure


def current_rows(thermal: ThermalResult) -> list[Row]:
    """The current among the key numbers."""
    if thermal.continuous_current is not None:
        torque = ""
        if thermal.continuous_torque is not None:
            torque = f"; continuous torque {measure(thermal.continuous_torque, 'N·m', 3)}"
        words = f"rms phase current, limited by: {thermal.limited_by}{torque}. See heat and current below"
        return [Row("Continuous current", f"{figures(thermal.continuous_current, 3)} A", words)]
    if thermal.ipc2221_current is None or thermal.trace_rise is None:
        return []
    words = (
        f"rms phase current for {figures(thermal.trace_rise)} K rise of the worst track by IPC-2221: one isolated "
        "trace in still air, not a plate full of hot copper. Start well below, watch the heat"
    )
    return [Row("Current by the trace rule", f"{figures(thermal.ipc2221_current, 3)} A", words)]


def heat_rows(thermal: ThermalResult, motion: MotionResult | None = None) -> list[Row]:
    """What the job reaches, then currents and temperatures by cause; empty without a heat balance."""
    if thermal.continuous_current is None:
        return []
    return (_job_rows(thermal, motion) if motion else []) + _limit_rows(thermal)


def _job_rows(thermal: ThermalResult, motion: MotionResult) -> list[Row]:
    """The repeated cycle: temperatures, and how far it could grow."""
    cycle = "while the motion repeats for hours"
    rows = [
        _temperature(
            "Board in the motion", motion.cycle_board_c, f"{cycle}; allowed {_celsius(thermal.board_limit_c)}"
        ),
        _temperature("To the touch in the motion", motion.cycle_face_c, f"{cycle}; above 60 °C it burns skin"),
        _temperature(
            "Magnets in the motion", motion.cycle_rotor_c, f"{cycle}; allowed {_celsius(thermal.rotor_limit_c)}"
        ),
        _temperature(
            "Driver in the motion",
            motion.cycle_driver_c,
            f"inside the ring, {cycle}; allowed {_celsius(thermal.driver_limit_c)}",
        ),
    ]
    if motion.cycle_ripple_heat is not None and motion.copper_heat is not None:
        words = (
            f"from switching, on top of {measure(motion.copper_heat, 'W', 2)} of the current itself; both are in these"
        )
        rows.append(Row("Heat of the ripple in the motion", measure(motion.cycle_ripple_heat, "W", 2), words))
    if motion.continuous_ripple_heat is not None and motion.continuous_less_ripple is not None:
        words = (
            f"it leaves {measure(motion.continuous_less_ripple, 'A', 3)} rms for any length of time at the top speed"
        )
        value = measure(motion.continuous_ripple_heat, "W", 2)
        rows.append(Row("Heat of the ripple at the continuous current", value, words))
    if motion.cycle_growth is not None and motion.cycle_growth_limit is not None:
        words = f"all its torques, until {LIMITS[motion.cycle_growth_limit]} is met"
        if motion.cycle_heat_growth is not None and motion.cycle_growth_limit in ("current", "voltage"):
            words += f"; heat alone would allow {figures(motion.cycle_heat_growth, 2)} times"
        rows.append(Row("The motion could grow to", f"{figures(motion.cycle_growth, 2)} times", words))
    if motion.cycle_shortest_rest:
        words = "after each move, or board or magnets get too hot"
        rows.append(Row("Shortest rest in the motion", measure(motion.cycle_shortest_rest, "s", 2), words))
    return [row for row in rows if row is not None]


LIMITS = {
    "board": "the highest temperature of the board",
    "magnets": "the highest temperature of magnets, glue or plate",
    "track": "the current of a single track or via by the standards",
    "current": "the driver's current limit",
    "voltage": "the supply's voltage",
}


def _limit_rows(thermal: ThermalResult) -> list[Row]:
    """Currents by what limits them."""
    rise = "" if thermal.trace_rise is None else f"{figures(thermal.trace_rise)} K rise, "
    rows = [
        _current(
            "One trace, IPC-2221", thermal.ipc2221_current, f"{rise}worst track as an isolated trace in still air"
        ),
        _current("One trace, IPC-2152", thermal.ipc2152_current, f"{rise}the published fit to newer charts"),
        _current(
            "One via, IPC-2221",
            thermal.ipc2221_via_current,
            f"{rise}the wall of one via that carries the current of a path",
        ),
        _current("Board", thermal.board_current, f"its hottest place at {_celsius(thermal.board_limit_c)}"),
        _current("Magnets", thermal.magnet_current, f"the rotor at {_celsius(thermal.rotor_limit_c)}"),
        _current("Driver in the ring", thermal.driver_current, f"at {_celsius(thermal.driver_limit_c)}"),
        _current("Continuous", thermal.continuous_current, f"the least of these: {thermal.limited_by}"),
        _temperatures(thermal),
        _pulses(thermal),
        _current(
            "While on, intermittent duty",
            thermal.duty_current,
            "on and off continuously, hottest moments at the limits",
        ),
        _current("Touch", thermal.touch_current, "from here on the board is hotter than 60 °C and burns skin"),
        _current("Runaway", thermal.runaway_current, "above it no steady temperature up to 300 °C exists"),
    ]
    return [row for row in rows if row is not None]


def _celsius(value: float | None) -> str:
    return "its limit" if value is None else f"{figures(value, 3)} °C"


def _current(name: str, value: float | None, meaning: str) -> Row | None:
    return None if value is None else Row(name, f"{figures(value, 3)} A", meaning)


def _temperature(name: str, value: float | None, meaning: str) -> Row | None:
    return None if value is None else Row(name, _celsius(value), meaning)


def _temperatures(thermal: ThermalResult) -> Row | None:
    if thermal.board_temperature_c is None or thermal.copper_loss is None or thermal.eddy_loss is None:
        return None
    parts = [f"mean of the board {_celsius(thermal.board_mean_c)}", f"rotor {_celsius(thermal.rotor_temperature_c)}"]
    if thermal.surface_temperature_c is not None:
        parts.append(f"face in the air {_celsius(thermal.surface_temperature_c)}")
    if thermal.hot_resistance is not None:
        parts.append(f"phase resistance {measure(thermal.hot_resistance, 'Ω')}")
    parts.append(f"{figures(thermal.copper_loss + thermal.eddy_loss, 3)} W of heat")
    if thermal.thermal_resistance is not None:
        parts.append(f"{figures(thermal.thermal_resistance, 3)} K/W")
    if thermal.time_constant is not None:
        parts.append(f"63 % of the rise after {figures(thermal.time_constant, 2)} s")
    return Row("Hottest copper at the continuous current", _celsius(thermal.board_temperature_c), ", ".join(parts))


def _pulses(thermal: ThermalResult) -> Row | None:
    cold = (thermal.peak_1_cold, thermal.peak_10_cold, thermal.peak_60_cold)
    warm = (thermal.peak_1_warm, thermal.peak_10_warm, thermal.peak_60_warm)
    known = [figures(value, 3) for value in cold if value is not None]
    if len(known) < len(cold):
        return None
    words = "rms phase current for 1, 10 and 60 s with all at ambient before"
    rest = [figures(value, 3) for value in warm if value is not None]
    if rest:
        words += f"; {' / '.join(rest)} A at half the rise of continuous work before"
    return Row("Intermittent", " / ".join(known) + " A", words)
