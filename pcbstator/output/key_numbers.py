"""The eight numbers of a design that its user asks for first: those of the job where there is one."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from pcbstator.analysis.cost import board_cost, magnet_cost
from pcbstator.analysis.prediction import Prediction
from pcbstator.check.envelope import total_height
from pcbstator.output.quantities import shown
from pcbstator.output.words import Row, figures

COUNT = 8
NOT_STATED = (
    "No [requirement] is stated, so nothing here is judged. With one (position_error_deg = 0.1, slow_speed_rpm = 1.5, "
    "torque_reserve_percent = 25 …) this begins with what is met, what is not, and the cheapest change that would meet "
    "it: docs/design-file.md."
)


@dataclass(frozen=True)
class Known:
    """Results by dotted key, None where one does not apply."""

    prediction: Prediction
    results: dict[str, Any]

    def value(self, *keys: str) -> str | None:
        """The first of these results that there is, in words."""
        key = self.key(*keys)
        return None if key is None else shown(key, self.results[key])

    def key(self, *keys: str) -> str | None:
        """The first of these results that there is."""
        return next((key for key in keys if self.results.get(key) is not None), None)

    def row(self, name: str, words: str, *keys: str) -> Row | None:
        """A row for the first of these results; each {key} in the words is another one: without it no words."""
        value = self.value(*keys)
        if value is None:
            return None
        said = []
        for part in words.split("; "):  # a part whose number is not known is left out
            head, brace, rest = part.partition("{")
            key, _, tail = rest.partition("}")
            other = self.value(key) if brace else ""
            if other is not None:
                said.append(f"{head}{other}{tail}")
        return Row(name, value, "; ".join(said), self.key(*keys) or "")


def key_numbers(prediction: Prediction) -> list[Row]:
    """At most eight rows: of the job, of the machine as a thing, and where these are few, of the motor as such."""
    known = Known(prediction, results_by_key(prediction))
    rows = [row(known) for row in ROWS]
    return [row for row in rows if row is not None][:COUNT]


def results_by_key(prediction: Prediction) -> dict[str, Any]:
    """The results of the groups of ``predict --json``, by dotted key."""
    plain = prediction.to_dict()
    return {f"{group}.{key}": value for group, table in plain.items() if isinstance(table, dict)
            for key, value in table.items()}  # fmt: skip


def _plain(name: str, words: str, *keys: str) -> Callable[[Known], Row | None]:
    return lambda known: known.row(name, words, *keys)


def _move_or_ripple(known: Known) -> Row | None:
    """The ripple where an even slow turn is asked for, else the time of a move; where there is no move, the ripple."""
    asked = known.prediction.design.requirement if known.prediction.design is not None else None
    even = asked is not None and (asked.slow_speed is not None or asked.speed_ripple is not None)
    ripple = known.row("Ripple of the slow speed", "at {motion.slow_speed_rpm}, half of peak to peak over the mean",
                       "motion.slow_speed_ripple_percent")  # fmt: skip
    words = "the longest of the motion; it takes {motion.settling_time_s} more until it has settled"
    move = known.row("Time of a move", words, "motion.move_time_s")
    return (ripple or move) if even else (move or ripple)


def _height(known: Known) -> Row | None:
    design = known.prediction.design
    if design is None:
        return None
    return Row("Height", f"{figures(1e3 * total_height(design), 3)} mm", "board, air gaps, magnets and steel")


def _price_or_mass(known: Known) -> Row | None:
    design = known.prediction.design
    if design is not None and design.prices is not None:
        prices = design.prices.model_dump()
        price = board_cost(design, prices, known.prediction.copper.via_count) + magnet_cost(design, prices)
        return Row("Price", f"{figures(price, 2)} {design.prices.currency}", "of boards, magnets and steel by [prices]")
    has_plate = design is not None and design.rotor.plate is not None
    name = "Magnets, steel and plate" if has_plate else "Magnets and steel"
    return known.row(name, "their mass", "mechanical.rotor_mass_g")


ROWS: tuple[Callable[[Known], Row | None], ...] = (
    _plain(
        "Torque at the job's speed",
        "for a short time; {motion.available_continuous_torque_n_m} continuously; the motion needs "
        "{motion.required_peak_torque_n_m} at its peak; {motion.required_rms_torque_n_m} rms",
        "motion.available_peak_torque_n_m",
    ),
    _plain(
        "Current for the job",
        "peak of a terminal, start and noise not in it; heats like a steady sine with a peak of "
        "{motion.heating_terminal_current_peak_a}",
        "motion.terminal_current_peak_a",
    ),
    _plain(
        "Board in the job",
        "its hottest place while the motion repeats; a hand meets {motion.cycle_face_temperature_c}",
        "motion.cycle_board_temperature_c", "thermal.motion_board_c",
    ),
    _move_or_ripple,
    _plain(
        "Error at rest",
        "to either side of the target, at the worst place of the turn; 95 % of the stops keep it",
        "motion.rest_error_deg",
    ),
    _plain("From the supply", "at most; {motion.supply_current_mean_a} in the mean", "motion.supply_current_peak_a"),
    _height,
    _price_or_mass,
    _plain("Torque constant", "for each ampere of peak phase current, sine drive",
           "magnetic.torque_constant_n_m_per_a"),
    _plain("Motor constant", "torque for one watt of heat in the copper at 20 °C; four watts give twice as much",
           "magnetic.motor_constant_n_m_per_sqrt_w"),
    _plain("Continuous current", "rms phase current; limited by {thermal.limited_by}",
           "thermal.continuous_phase_current_rms_a"),
    _plain("Continuous torque", "at that current", "thermal.continuous_torque_n_m"),
    _plain("Between two terminals", "as a meter reads it at 20 °C", "electrical.line_resistance_ohm"),
    _plain("Phase resistance", "at 20 °C", "electrical.phase_resistance_ohm"),
    _plain("Inductance", "of a phase in balanced operation", "electrical.synchronous_inductance_h"),
)  # fmt: skip
