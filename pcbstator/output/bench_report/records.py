"""A test of the bench sheet in words."""

from __future__ import annotations

from dataclasses import dataclass

from pcbstator.bench.expected import Band
from pcbstator.output.words import PREFIXES, figures


@dataclass(frozen=True)
class Expected:
    """A line to fill in: what is read, what it should be, the band of 5 to 95 % of the motors."""

    name: str
    value: str
    band: str = ""


@dataclass(frozen=True)
class Test:
    """A test: ``fills`` is the list of bench.toml that takes its readings, ``sketch`` the name of its wiring."""

    title: str
    sketch: str
    instrument: str
    limits: str
    steps: tuple[str, ...]
    rows: tuple[Expected, ...]
    alarms: tuple[str, ...]
    cautions: tuple[str, ...] = ()
    fills: str = ""


@dataclass(frozen=True)
class Part:
    """Tests that belong together, with what holds for all of them."""

    title: str
    words: str
    tests: tuple[Test, ...]


def expected(name: str, band: Band, unit: str, digits: int = 3) -> Expected:
    """A line with a value and its band in one prefixed unit.

    >>> expected("A to B", Band(0.0366, 0.0326, 0.0429), "Ω")
    Expected(name='A to B', value='36.6 mΩ', band='32.6 … 42.9 mΩ')
    """
    size = abs(float(f"{band.value:.{digits}g}"))
    scale, prefix = next(((s, p) for s, p in PREFIXES if size >= s), PREFIXES[-1])
    return plain(name, band.times(1 / scale), f"{prefix}{unit}", digits)


def plain(name: str, band: Band, unit: str, digits: int = 3) -> Expected:
    """A line with a value and its band in a unit as it stands.

    >>> plain("force", Band(48.21, 46.4, 50.0), "g")
    Expected(name='force', value='48.2 g', band='46.4 … 50 g')
    """
    low, high = figures(band.low, digits), figures(band.high, digits)
    return Expected(name, f"{figures(band.value, digits)} {unit}", f"{low} … {high} {unit}")
