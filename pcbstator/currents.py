"""Peak and rms of a sine current; docs/conventions.md says which key holds which."""

from __future__ import annotations

from math import sqrt


def peak_current(rms: float) -> float:
    """Amplitude of a sine current from its rms value, in the same unit.

    >>> round(peak_current(1.0), 4)
    1.4142
    """
    return sqrt(2) * rms


def rms_current(peak: float) -> float:
    """Rms value of a sine current from its amplitude, in the same unit.

    >>> round(rms_current(1.0), 4)
    0.7071
    """
    return peak / sqrt(2)
