"""The numbers of a simulated scenario in words: what the load does, and beside it what the sensor believes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from pcbstator.analysis.drive.simulation.scenarios import ScenarioRun
from pcbstator.output.words import figures, measure

UNITS = {
    "n_m": "N·m", "deg": "°", "rpm": "rpm", "s": "s", "a": "A", "k": "K", "j": "J", "ratio": "",
}  # fmt: skip
HIDDEN = (
    "energy_j", "energy_balance_error_ratio", "at_deg", "from_below_deg", "from_above_deg", "believed_from_below_deg",
    "believed_from_above_deg", "band_from", "speed_from", "step_from",
)  # fmt: skip
BELIEVED = "believed_"
SMALL, NIL = 1e-3, 1e-9  # degrees: below them an angle keeps its digits; it is nothing but rounding
SOURCES = {"settled_within_deg": "band_from", "speed_rpm": "speed_from", "step_deg": "step_from"}
SOURCE_WORDS = {"requirement": "as required", "motion": "as in the motion", "default": "by default"}
NAMES = {
    "worst_error_deg": "worst distance from the target",
    "worst_at_deg": "worst at",
    "worst_from": "worst when it comes from",
    "believed_error_there_deg": "the sensor believes there",
    "repeatability_deg": "spread of stops from one side, worst place",
    "repeatability_at_deg": "largest spread at",
    "offset_between_directions_deg": "offset between the two sides, worst place",
    "offset_at_deg": "largest offset at",
    "of_that_bearing_deg": "of that the bearing's play",
    "unsettled": "moves that do not settle",
    "turned_deg": "angle turned",
    "speed_ripple_peak_ratio": "speed ripple, half of peak to peak",
    "drawn_motor": "number of the drawn motor that ran as well",
    "drawn_motor_speed_ripple_peak_ratio": "its speed ripple, half of peak to peak",
    "speed_ripple_rms_ratio": "speed ripple, rms",
    "speed_ripple_peak_to_peak_ratio": "speed ripple, peak to peak",
    "least_speed_ratio": "least speed over its mean",
    "least_speed_at_deg": "least speed at",
    "position_ripple_peak_to_peak_deg": "ripple of the angle, peak to peak",
    "largest_error_at_deg": "largest error at",
    "standing_still_ratio": "part of the time that it stands",
    "step_error_ratio": "largest error of a step",
    "smallest_step_after_reversal_deg": "smallest first step back",
    "told_above_believed_deg": "told where the sensor shows more than",
    "bearing_at_mark_deg": "the mark moves before by the bearing's play",
    "smallest_told_deflection_deg": "smallest turn that is told safely",
    "smallest_told_push_n_m": "push that is told safely in either sense",
    "push_n_m": "long push",
    "terminal_current_peak_a": "peak terminal current, with start and noise",
    "heating_terminal_current_peak_a": "steady peak current that heats the same",
    "copper_rise_k": "rise of the copper in a run, none cooled away",
}


@dataclass(frozen=True)
class NumberRow:
    """A number's name, its value at the load, and what the sensor believes where it says something of it."""

    name: str
    value: str
    believed: str = ""


def number_rows(run: ScenarioRun) -> list[NumberRow]:
    """The rows of a scenario."""
    rows: list[NumberRow] = []
    numbers = run.numbers
    for key, value in numbers.items():
        if key in HIDDEN or (key.startswith(BELIEVED) and key.removeprefix(BELIEVED) in numbers):
            continue
        if isinstance(value, list) and value and isinstance(value[0], dict):
            rows += [_LISTED[key](entry) for entry in value]
        elif value != []:
            other = numbers.get(BELIEVED + key)
            source = numbers.get(SOURCES.get(key, ""), "")
            name = _name(key) + (f", {SOURCE_WORDS[source.partition('.')[0]]}" if source else "")
            rows.append(NumberRow(name, _shown(key, value), "" if other is None else _shown(key, other)))
    return rows


def _name(key: str) -> str:
    """A key in words.

    >>> _name("largest_error_deg"), _name("believed_settling_time_s"), _name("moves")
    ('largest error', 'settling time, the sensor believes', 'moves')
    """
    if key in NAMES:
        return NAMES[key]
    bare = key.removeprefix(BELIEVED)
    unit = _unit(bare)
    words = NAMES.get(bare) or bare.removesuffix(f"_{unit}").replace("_", " ")
    return words + (", the sensor believes" if key.startswith(BELIEVED) else "")


def _unit(key: str) -> str:
    return next((unit for unit in UNITS if key.endswith(f"_{unit}")), "")


def _shown(key: str, value: Any) -> str:
    """A value as a reader sees it.

    >>> _shown("largest_error_deg", 0.12345), _shown("moves", 5), _shown("speed_ripple_rms_ratio", 0.0123)
    ('0.123°', '5', '1.23 %')
    >>> _shown("push_n_m", 0.0123), _shown("settled", False)
    ('12.3 mN·m', 'no')
    >>> _shown("largest_error_deg", 1.397e-5), _shown("largest_error_deg", 1e-15)
    ('0.000014°', '0°')
    """
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, (int, str)):
        return str(value)
    if isinstance(value, list):
        return ", ".join(_shown(key, item) for item in value)
    unit = _unit(key)
    if unit == "ratio":
        return f"{figures(100 * value, 3)} %"
    if unit == "deg":
        return f"{figures(value if NIL < abs(value) < SMALL else round(value, 4), 3)}°"
    if unit in ("n_m", "a"):
        return measure(value, UNITS[unit], 3)
    return f"{figures(value, 3)} {UNITS.get(unit, '')}".strip()


def _order(entry: dict[str, Any]) -> NumberRow:
    ripple = _shown("_ratio", entry["speed_ripple_ratio"])
    error = _shown("_deg", entry["angle_error_deg"])
    return NumberRow(f"{entry['order']} per turn: {entry['cause']}", f"± {ripple} of the speed, ± {error}")


def _push(entry: dict[str, Any]) -> NumberRow:
    return NumberRow(f"push for {figures(entry['deflection_deg'], 3)}°", _shown("_n_m", entry["push_n_m"]))


def _spot(entry: dict[str, Any]) -> NumberRow:
    name = f"friction spot at {figures(entry['angle_deg'], 4)}°"
    if "least_speed_ratio" not in entry:
        return NumberRow(name, "not passed")
    least, largest = (_shown("_ratio", entry[f"{word}_speed_ratio"]) for word in ("least", "largest"))
    return NumberRow(name, f"speed from {least} to {largest}")


_LISTED = {"orders": _order, "push_for_deflection": _push, "friction_spots": _spot}
