"""Values in numbers that people read."""

from __future__ import annotations

PREFIXES = ((1.0, ""), (1e-3, "m"), (1e-6, "µ"), (1e-9, "n"))
MILLIMETRES = ("gap", "thickness")


def amount(value: float, unit: str, kind: str = "") -> str:
    """A value with its unit, in numbers that people read; kind: of the reading.

    >>> amount(0.000268, "H"), amount(36.61, "ohm"), amount(0.0008, "m", "gap")
    ('268 µH', '36.6 ohm', '0.8 mm')
    """
    if kind in MILLIMETRES:
        return f"{1e3 * value:.3g} mm"
    scale, prefix = next((each for each in PREFIXES if abs(value) >= each[0]), PREFIXES[-1])
    return f"{value / scale:.4g} {prefix}{unit}" if value / scale >= 1000 else f"{value / scale:.3g} {prefix}{unit}"
