"""Rows of the report about the drive at its job: what it needs, what there is, what to type in."""

from __future__ import annotations

from math import degrees, pi

from pcbstator.analysis.drive.records import DriveResult, MotionResult
from pcbstator.analysis.fields import rows as results
from pcbstator.analysis.prediction import Prediction
from pcbstator.output.quantities import shown
from pcbstator.output.words import Row, figures, measure

LIMITS = {"current": "the current limit", "voltage": "the supply's voltage", "heat": "the heat of the copper"}


def motion_rows(prediction: Prediction) -> list[Row]:
    """What the motion needs against what there is."""
    found: MotionResult | None = prediction.motion
    if found is None:
        return []
    rows: list[Row] = []

    def add(name: str, value: float | None, unit: str, meaning: str) -> None:
        if value is not None:
            rows.append(Row(name, measure(value, unit, 3), meaning))

    if found.load_inertia is not None and found.total_inertia is not None:
        total = f"with the rotor {figures(1e6 * found.total_inertia, 3)} kg·mm²"
        rows.append(Row("Inertia of the load", f"{figures(1e6 * found.load_inertia, 3)} kg·mm²", total))
    add("Time of the move", found.move_time, "s", "of the longest of several")
    add("Required peak torque", found.required_peak, "N·m", "starting, the worst friction spot included")
    add("Required rms torque", found.required_rms, "N·m", "root mean square of moves and rests: what heats")
    add(
        "Available peak torque",
        found.available_peak,
        "N·m",
        f"intermittent, at the top speed; limited by {LIMITS.get(found.peak_limited_by or '', 'nothing known')}",
    )
    add(
        "Available continuous torque",
        found.available_continuous,
        "N·m",
        "for any length of time at the top speed, magnets warm; limited by "
        f"{LIMITS.get(found.continuous_limited_by or '', 'nothing known')}",
    )
    if found.limited_by is not None:
        rows.append(Row("Nearest limit", LIMITS[found.limited_by], "what would give out first with more load"))
    if found.largest_inertia is not None:
        rows.append(Row("Largest inertia of the load", f"{figures(1e6 * found.largest_inertia, 3)} kg·mm²",
                        "with which the same motion would still work"))  # fmt: skip
    add("Largest friction", found.largest_friction, "N·m", "running, with which it would still work")
    if found.no_load_speed is not None:
        rows.append(Row("Speed without load", f"{figures(found.no_load_speed * 30 / pi, 4)} rpm",
                        "where the EMF takes up the whole supply"))  # fmt: skip
    add(
        "Terminal current",
        found.peak_current,
        "A",
        "peak, as the motion asks; `simulate` has what the loops add as they start and by noise; heats like a steady "
        f"sine current with a peak of {figures(found.rms_current or 0, 3)} A",
    )
    add("From the supply", found.supply_mean, "A", f"mean; at most {measure(found.supply_peak or 0.0, 'A', 3)}")
    add("Energy of a cycle", found.cycle_energy, "J",
        f"braking gives back {measure(found.braking_energy or 0.0, 'J', 3)}, which the supply must take")  # fmt: skip
    return rows


def driver_rows(prediction: Prediction) -> list[Row]:
    """How the driver fits."""
    found: DriveResult | None = prediction.drive
    if found is None:
        return []
    rows = []
    if found.electrical_frequency is not None:
        rows.append(Row("Electrical frequency", f"{figures(found.electrical_frequency, 3)} Hz", "at the top speed"))
    rows.append(_ripple_row(found))
    fault = "peak, if a fault puts the supply on the standing winding"
    if found.short_current is not None:
        fault += f"; {measure(found.short_current, 'A', 3)} if the terminals are joined at the top speed"
    rows.append(Row("Fault current", measure(found.stall_current, "A", 3), fault))
    if found.sense_step is not None and found.sense_bits is not None:
        meaning = f"a step, {found.sense_bits} bits over both signs, tells a tenth of the friction apart"
        rows.append(Row("Current sense", measure(found.sense_step, "A", 2), meaning))
    if found.driver_loss is not None and found.wire_loss is not None:
        words = f"at the current limit; the wires take {measure(found.wire_loss, 'W', 2)}"
        motion = prediction.motion
        if motion is not None and motion.driver_heat is not None and motion.wire_heat is not None:
            words += (
                f"; mean of the motion {measure(motion.driver_heat, 'W', 2)}, wires {measure(motion.wire_heat, 'W', 2)}"
            )
        rows.append(Row("Heat of the driver", measure(found.driver_loss, "W", 2), words))
    if found.series_resistance is not None and found.lost_voltage is not None:
        words = (
            f"of switches and wires in each phase; dead time and drop take {measure(found.lost_voltage, 'V', 2)} more"
        )
        rows.append(Row("Resistance before the motor", measure(found.series_resistance, "Ω", 3), words))
    rows.append(
        Row("A count of the sensor", f"{figures(degrees(found.count_electrical), 3)}°",
            f"electrical; at its worst place the sensor costs {figures(100 * found.misalignment, 2)} % of the torque")
    )  # fmt: skip
    return rows


def _ripple_row(found: DriveResult) -> Row:
    """Ripple of the current: in the motion against the current of the motion, else the worst against the limit."""
    cure = ""
    if found.pwm_wanted is not None and found.added_inductance is not None:
        cure = (
            f"; {figures(1e-3 * found.pwm_wanted, 3)} kHz, or {measure(found.added_inductance, 'H', 3)} more in every "
        )
        cure += "wire, would keep it at a fifth"
    if found.ripple_at_job is None or found.ripple_part is None:
        return Row("Ripple of the current", measure(found.ripple, "A", 3), f"peak to peak, worst case{cure}")
    words = f"peak to peak in the motion, {figures(100 * found.ripple_part, 2)} % of the largest current that it takes"
    worst = f"; at its worst voltage {measure(found.ripple, 'A', 3)}"
    return Row("Ripple of the current", measure(found.ripple_at_job, "A", 3), words + cure + worst)


def gain_rows(prediction: Prediction) -> list[tuple[str, str, str, str]]:
    """Name, value, value for the bare rotor and remark of every gain."""
    found: DriveResult | None = prediction.drive
    if found is None:
        return []

    def margin(value: float | None) -> str:
        return "" if value is None else f"{figures(degrees(value), 3)}° of phase left as sampled"

    return [
        ("Current loop Kp, V/A", figures(found.current_kp), figures(found.current_kp), margin(found.current_margin)),
        ("Current loop Ki, V/(A·s)", figures(found.current_ki), figures(found.current_ki),
         f"bandwidth {figures(found.current_bandwidth, 3)} Hz"),
        ("Speed loop Kp, N·m·s/rad", figures(found.speed_kp), figures(found.bare_speed_kp),
         f"{figures(found.speed_bandwidth, 3)} Hz, limited by {found.speed_limited_by}; {margin(found.speed_margin)}"),
        ("Speed loop Ki, N·m/rad", figures(found.speed_ki), figures(found.bare_speed_ki), ""),
        ("Position loop Kp, 1/s", figures(found.position_kp), figures(found.bare_position_kp),
         f"{margin(found.position_margin)}; with the bare rotor's gains on this load: "
         f"{figures(degrees(found.bare_margin or 0.0), 3)}°"),
        ("Observer, rad/s", figures(found.observer), "", "critically damped"),
    ]  # fmt: skip


NEGLIGIBLE = 0.005  # of the largest part of an error budget: what is less does not show in their sum
COMBINED = (  # name, result, words
    (
        "Error at rest",
        "rest_error_deg",
        "to either side of the target, at the worst place of the turn; 95 % of the stops",
    ),
    ("of it repeatable", "repeatable_rest_error_deg", "a correction table over the turn takes this out"),
    ("Repeatability", "repeatability_deg", "width of the band that holds 95 % of the stops at one place from one side"),
    ("Between directions", "direction_offset_deg", "from one side and from the other: approach from the same side"),
    ("Settling time", "settling_time_s", "after the end of a move, until it stays within its band around the target"),
    ("Error in the slow turn", "moving_error_deg", "at the worst place of the turn; 95 % of the time"),
    ("Ripple of the slow speed", "slow_speed_ripple_percent", "half of peak to peak over the mean"),
    (
        "Error of a small step",
        "step_error_percent",
        "of the step, after others in its direction, at the worst place, 95 %",
    ),
    ("Push by hand that is told", "told_push_deg", "the least turn that is safely no noise, friction or play"),
)


def combined_rows(prediction: Prediction) -> list[Row]:
    """What the parts of the error budget come to."""
    if prediction.motion is None:
        return []
    known = {key: value for key, _, value in results(prediction.motion)}
    return [Row(name, shown(f"motion.{key}", known[key]), words) for name, key, words in COMBINED if key in known]


def budget_rows(prediction: Prediction) -> list[Row]:
    """The error budget in one table: what it comes to, then its parts."""
    parts = [
        Row(f"{row.name}, {when.lower()}" if when else row.name, row.value, row.meaning)
        for when, listed in budget_groups(prediction) for row in listed
    ]  # fmt: skip
    return combined_rows(prediction) + parts


def budget_groups(prediction: Prediction) -> list[tuple[str, list[Row]]]:
    """The parts of the error budget at rest and moving, the largest first."""
    if prediction.motion is None:
        return []
    groups: dict[str, list[Row]] = {}
    listed = sorted(prediction.motion.error_budget, key=lambda entry: -float(entry["error_deg"]))
    least = NEGLIGIBLE * float(listed[0]["error_deg"]) if listed else 0.0
    for entry in listed:
        error = float(entry["error_deg"])
        if not error:
            continue
        words = f"± {figures(error, 2)}°" if error >= least else f"below {figures(least, 1)}°"
        row = Row(entry["part"].capitalize(), words, entry["why"])
        groups.setdefault(str(entry.get("when", "")).capitalize(), []).append(row)
    return list(groups.items())
