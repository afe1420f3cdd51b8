"""Slips of the pen and of the meter: a quotient of measured and predicted that is 1000, 2, a root of 2 or 3, or the
number of pole pairs.
"""

from __future__ import annotations

from math import log, sqrt

CLOSE = 0.12  # part by which a quotient may miss that of a slip at most
NEAR = 2.0  # standard deviations by which it may
SURE = 3.0  # standard deviations that it must be from 1

WRITTEN = "written as "
THOUSAND = "units off by 1000: milli for whole, or whole for milli"
SLIPS: dict[str, tuple[tuple[float, str], ...]] = {
    "resistance": (
        (2.0, "twice: two phases more in the way than there are, or the sum of two readings"),
        (0.5, "half: from a terminal to the star point, instead of between two terminals"),
        (3.0, "three times: a star that was taken for a delta"),
        (1 / 3, "a third: a delta that was taken for a star"),
    ),
    "inductance": (
        (2.0, "twice: two phases in series, where one was meant"),
        (0.5, "half: from a terminal to the star point, instead of between two terminals"),
        (3.0, "three times: a star that was taken for a delta"),
        (1 / 3, "a third: a delta that was taken for a star"),
    ),
    "emf": (
        (2.0, "twice: peak to peak, written as peak"),
        (0.5, "half: peak, written as peak to peak"),
        (sqrt(2), "the root of 2: peak, written as rms"),
        (sqrt(0.5), "1 over the root of 2: rms, written as peak"),
        (2 * sqrt(2), "2 times the root of 2: peak to peak, written as rms"),
        (sqrt(0.125), "rms, written as peak to peak"),
        (sqrt(3), "the root of 3: a star that was taken for a delta, or a phase for two terminals"),
        (sqrt(1 / 3), "1 over the root of 3: between a terminal and the star point, or of a delta taken for a star"),
    ),
    "static_torque": (
        (2.0, "twice: from one end of the scale to the other, or twice the current"),
        (0.5, "half: half the current or half the lever, or not the largest torque of a turn"),
        (sqrt(2), "the root of 2: a peak current, written as rms"),
        (sqrt(0.5), "1 over the root of 2: an rms current, written as peak"),
        (sqrt(3), "the root of 3: a star that was taken for a delta"),
        (sqrt(1 / 3), "1 over the root of 3: a delta that was taken for a star"),
        (9.80665, "9.8 times: newtons taken for kilograms of force"),
        (1 / 9.80665, "a tenth: kilograms of force taken for newtons"),
    ),
    "no_load": (
        (2.0, "twice: peak to peak, written as peak"),
        (sqrt(2), "the root of 2: peak, written as rms"),
        (sqrt(0.5), "1 over the root of 2: rms, written as peak"),
    ),
}  # fmt: skip


def likely_slip(kind: str, measured: float, predicted: float, sigma: float, pole_pairs: int, written: str = "") -> str:
    """The slip that the quotient of measured and predicted points to, in words; empty where there is none.

    kind: of the reading; measured, predicted: above 0 [any, alike]; sigma: of the difference [the same]; pole_pairs:
    p [-]; written: how an EMF was written, peak, peak to peak or rms, where that is known, so that only slips of that
    key count. A quotient counts where it is nearer to that of the slip than 12 % and 2 standard deviations, and more
    than 3 of them from 1. Derived here.

    >>> likely_slip("resistance", 3.31, 0.00330, 0.0002, 12)
    'units off by 1000: milli for whole, or whole for milli'
    >>> likely_slip("emf", 2.03, 1.0, 0.05, 12)
    'twice: peak to peak, written as peak'
    >>> likely_slip("emf", 1.10, 1.0, 0.05, 12)
    ''
    >>> [likely_slip("emf", 0.707, 1.0, 0.05, 12, key) for key in ("peak", "peak to peak")]
    ['1 over the root of 2: rms, written as peak', '']
    """
    if not (measured > 0 and predicted > 0) or abs(measured - predicted) <= SURE * sigma:
        return ""
    known = [(1e3, THOUSAND), (1e-3, THOUSAND), (1e6, "units off by a million"), (1e-6, "units off by a million")]
    known += [(factor, words) for factor, words in SLIPS.get(kind, ()) if _of_key(words, written)]
    if kind == "emf" and pole_pairs > 1:
        known += [
            (
                pole_pairs,
                f"the {pole_pairs} pole pairs: turns per second of the rotor, written as frequency of the wave",
            ),
            (1 / pole_pairs, f"1 over the {pole_pairs} pole pairs: the electrical speed, written as that of the rotor"),
        ]
    quotient, room = measured / predicted, min(CLOSE, NEAR * sigma / min(measured, predicted))
    apart, words = min((abs(log(quotient / factor)), words) for factor, words in known)
    return words if apart <= max(room, 0.02) else ""


def _of_key(words: str, written: str) -> bool:
    """Whether a slip is one of the key that was written."""
    return not written or WRITTEN not in words or words.endswith(WRITTEN + written)


def speed_slip(quotient: float, pole_pairs: int) -> str:
    """What a frequency over that of the stated speed points to, in words; empty where it is nothing known.

    quotient: measured over expected frequency, above 0 [-]; pole_pairs: p [-]. Derived here.

    >>> speed_slip(1 / 12, 12)
    'the frequency is that of the rotor, not of the wave'
    """
    known = [
        (1 / pole_pairs, "the frequency is that of the rotor, not of the wave"),
        (float(pole_pairs), "the speed is the electrical one, not that of the rotor"),
        (2.0, "a factor of 2: poles counted for pole pairs, or two pulses a turn"),
        (0.5, "a factor of 2: poles counted for pole pairs, or two pulses a turn"),
        (60.0, "turns per second taken for turns per minute"),
        (1 / 60, "turns per minute taken for turns per second"),
        (1000.0, THOUSAND),
        (0.001, THOUSAND),
    ]  # fmt: skip
    apart, words = min((abs(log(quotient / factor)), words) for factor, words in known if factor != 1.0)
    return words if apart < CLOSE else ""
