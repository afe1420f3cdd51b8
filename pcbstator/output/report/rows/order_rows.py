"""What to buy, as rows: a range, and the reason of either end."""

from __future__ import annotations

from dataclasses import fields

from pcbstator.analysis.fields import Bounds
from pcbstator.analysis.order_result import OrderResult
from pcbstator.analysis.prediction import Prediction
from pcbstator.output.quantities import shown
from pcbstator.output.words import Row, figures

NAMES = {
    "continuous": "Driver, continuous current",
    "peak": "Driver, peak current",
    "supply": "Supply, voltage",
    "supply_current": "Supply, current",
    "sense_range": "Current sensors, range",
    "sense_bits": "Current sensors, bits",
    "pwm": "Switching frequency",
    "control": "Rate of the loops",
    "wire": "Wires to the stator",
    "gauge": "Wires, by gauge",
    "counts": "Sensor, counts a turn",
    "offset": "Sensor, off its place",
    "place": "Sensor, place",
    "screw": "Screws, thread",
    "screw_length": "Screws, length",
    "screw_material": "Screws, material",
}
KINDS = {"continuous": " rms", "peak": " peak", "sense_range": " peak"}
SERIES = {"order.screw_diameter_mm": "M", "order.wire_gauge_awg": "AWG "}  # named by a number, not measured
DIGITS = 3


def order_rows(prediction: Prediction) -> list[Row]:
    """A row for everything that can be said; what the design states stands at the end, with a mark where it is out."""
    found: OrderResult | None = prediction.order
    if found is None:
        return []
    rows = []
    for item in fields(found):
        value, key = getattr(found, item.name), f"order.{item.metadata['key']}"
        if isinstance(value, Bounds):
            rows.append(Row(NAMES[item.name], range_words(key, value) + KINDS.get(item.name, ""), reasons(key, value)))
        elif value is not None:
            rows.append(Row(NAMES[item.name], "", str(value)))
    return rows


def range_words(key: str, bounds: Bounds) -> str:
    """A range in words: "0.112 to 1.2 A"."""
    least, most = (None if end is None else _end(key, end) for end in (bounds.least, bounds.most))
    if least is None or most is None:
        return f"at most {most}" if least is None else f"{least} or more"
    if bounds.least is not None and bounds.most is not None and bounds.least > bounds.most:
        return f"at least {least}, at most {most}"
    return least if least == most else f"{least} to {most}"


def _end(key: str, value: float) -> str:
    """One value in words."""
    if key in SERIES:
        return f"{SERIES[key]}{figures(value, DIGITS)}"
    return shown(key, value, DIGITS)


def reasons(key: str, bounds: Bounds) -> str:
    """Why it lies between these ends, and where the design's own value lies."""
    parts = [
        f"least: {bounds.why_least}" if bounds.why_least else "",
        f"most: {bounds.why_most}" if bounds.why_most else "",
    ]
    if bounds.why_least == bounds.why_most:
        parts = [bounds.why_least]
    if bounds.least is not None and bounds.most is not None and bounds.least > bounds.most:
        parts.insert(0, "no value does both")
    if bounds.stated is not None:
        low = bounds.least is not None and bounds.stated < bounds.least * (1 - 1e-9)
        high = bounds.most is not None and bounds.stated > bounds.most * (1 + 1e-9)
        place = ", which is less" if low else ", which is more" if high else ""
        parts.append(f"the design has {_end(key, bounds.stated)}{place}")
    return "; ".join(part for part in parts if part)
