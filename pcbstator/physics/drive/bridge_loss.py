"""What a bridge loses in its switches: by resistance and drop, at each change, and in dead time.

A leg carries a sine current of peak I, whose mean amount is 2/pi I. One switch of a leg conducts at any time. Of the
changes of a period those two are lossy at which the switch that carries the current turns on and off.
"""

from __future__ import annotations

from math import pi

from pcbstator.errors import LawRangeError

MEAN_OF_SINE = 2 / pi
DIODE_DROP = 0.8  # V of a switch's body diode (common practice, no source)


def resistive_loss(current: float, resistance: float) -> float:
    """Loss of a leg by the on-resistance of its switches.

    current: peak of the sine [A]; resistance: of a switch [ohm]. Returns [W]. Source: textbook, R I²/2.

    >>> resistive_loss(2.0, 0.1)
    0.2
    """
    return resistance * current**2 / 2


def drop_loss(current: float, drop: float, dead_time: float, frequency: float) -> float:
    """Loss of a leg by the drop of its switches, and of the body diode that conducts in dead time.

    current: peak of the sine [A]; drop: of a switch that conducts [V]; dead_time: at each change [s]; frequency: of
    switching [Hz]. Returns [W]. Range: LawRangeError where dead time takes more than half of a period. Source:
    textbook, drop x mean current, and 0.8 V for the part 2 t f of the time.

    >>> round(drop_loss(pi / 2, 0.1, 100e-9, 50e3), 6)  # 1 A in the mean
    0.108
    """
    part = 2 * dead_time * frequency
    if not 0 <= part <= 0.5 * (1 + 1e-9):
        raise LawRangeError(f"dead time must take at most half of a period; got {part:g} of it")
    return MEAN_OF_SINE * abs(current) * (drop + DIODE_DROP * part)


def switching_loss(current: float, supply: float, time: float, frequency: float) -> float:
    """Loss of a leg while its voltage rises and falls.

    current: peak of the sine [A]; supply: [V]; time: of a rise or fall [s]; frequency: of switching [Hz]. Returns [W].
    Source: textbook, V I t/2 at each of two changes a period, I its mean.

    >>> round(switching_loss(pi / 2, 24.0, 50e-9, 40e3), 6)  # 1 A in the mean
    0.048
    """
    return MEAN_OF_SINE * abs(current) * supply * time * frequency
