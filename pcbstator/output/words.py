"""Values in the words of a workshop."""

from __future__ import annotations

import re
from dataclasses import dataclass, field

import numpy as np

OUNCE = 35e-6  # m of copper, as board manufacturers count
_UNIT = re.compile(r"(?<=\d) (?=(?:[kmuµ]?(?:m|Ω|A|V|W|H|T|N|J|g|s|Hz|Wb|N·m)|mm|rpm|°?C|K|MPa|kg|%)(?![\w]))")
# SI prefixes by steps of a thousand (BIPM, The International System of Units, 9th edition, Table 7).
PREFIXES = ((1e9, "G"), (1e6, "M"), (1e3, "k"), (1.0, ""), (1e-3, "m"), (1e-6, "µ"), (1e-9, "n"), (1e-12, "p"))


@dataclass(frozen=True)
class Row:
    """A line of a table: what it is, its value in words, what it means; key: of the result, where it is one."""

    name: str
    value: str
    meaning: str = ""
    key: str = field(default="", compare=False)


def figures(value: float, digits: int = 4) -> str:
    """``value`` with so many figures, never in powers of ten.

    >>> figures(0.0256663), figures(1234.5), figures(3.0), figures(20.0, 3)
    ('0.02567', '1234', '3', '20')
    """
    rounded = float(f"{value:.{digits}g}")
    return np.format_float_positional(rounded, trim="-")


def measure(value: float, unit: str, digits: int = 3) -> str:
    """A value [SI] with the prefix that suits it.

    >>> measure(0.0256663, "N·m/√W"), measure(18.338, "Ω", 4), measure(0.0, "Wb"), measure(0.00021425, "H")
    ('25.7 mN·m/√W', '18.34 Ω', '0 Wb', '214 µH')
    """
    size = abs(float(f"{value:.{digits}g}"))
    scale, prefix = next(((s, p) for s, p in PREFIXES if size >= s), PREFIXES[-1] if size else (1.0, ""))
    return f"{figures(value / scale, digits)} {prefix}{unit}"


def millimetres(value: float) -> str:
    """A length [m] in mm.

    >>> millimetres(1.6e-3), millimetres(0.107)
    ('1.6 mm', '107 mm')
    """
    return f"{figures(1e3 * value)} mm"


def unbroken(words: str) -> str:
    """The words with a number and its unit on one line.

    >>> unbroken("a gap of 0.8 mm at 80 °C, 12 turns").split(" ")
    ['a', 'gap', 'of', '0.8\\xa0mm', 'at', '80\\xa0°C,', '12', 'turns']
    """
    return _UNIT.sub("\u00a0", words)


def copper_weight(thickness: float) -> str:
    """A thickness of copper [m] in um and ounces.

    >>> copper_weight(70e-6)
    '70 µm (2 oz)'
    """
    return f"{figures(1e6 * thickness)} µm ({figures(thickness / OUNCE, 2)} oz)"
