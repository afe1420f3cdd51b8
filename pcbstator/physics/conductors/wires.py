"""Flexible wires between parts: their resistance, and gauges by number."""

from __future__ import annotations

from math import log, pi

from pcbstator.physics.conductors.resistance import COPPER_RESISTIVITY, require_positive

STRANDING = 1.15  # lay of the strands, and copper that a nominal section need not have; fitted to IEC 60228, class 5
GAUGE_RATIO = 92.0 ** (1 / 39)  # of diameters of neighbouring numbers
GAUGE_36 = 0.127e-3  # m


def wire_resistance(length: float, section: float) -> float:
    """Largest resistance of a flexible wire of plain copper at 20 degC.

    length: 0 or more [m]; section: nominal [m2]. Returns [ohm]. Range: within 2 % of the largest that IEC 60228 allows
    for class 5 from 0.5 to 6 mm2, within 4 % to 16 mm2. Source: resistivity x length / section x 1.15, fitted to the
    standard's table (from memory).

    >>> round(wire_resistance(1000.0, 0.5e-6), 1)  # the standard has 39.0 ohm/km
    39.7
    """
    require_positive(section=section)
    return COPPER_RESISTIVITY * length / section * STRANDING


def gauge_number(section: float) -> float:
    """American wire gauge of a round section, not rounded; thicker wires have lower numbers, negative ones included.

    section: [m2]. Returns [-]. Source: ASTM B258, d = 0.127 mm x 92^((36 - n)/39), from memory.

    >>> round(gauge_number(0.5176e-6), 2)  # AWG 20
    20.0
    """
    require_positive(section=section)
    diameter = (section * 4 / pi) ** 0.5
    return 36 - log(diameter / GAUGE_36) / log(GAUGE_RATIO)
