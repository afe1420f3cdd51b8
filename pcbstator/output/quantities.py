"""Results as people read them: the unit that a key ends in, an SI prefix, and as many digits as mean something.

JSON stays in the units of the keys; terminal and pages take their words from here.
"""

from __future__ import annotations

import re
from typing import Any

from pcbstator.output.words import figures, measure
from pcbstator.study.keys import unit_of

# What is typed into a drive (V/A, N·m·s/rad, 1/s) stays in the plain unit; so do units of a workshop (mm, g, rpm, °C).
PREFIXED = {
    "N·m/√W", "N·m/A", "V·s/rad", "N·m", "Ω", "A", "H", "Wb", "T", "V", "W", "J", "N", "Hz",
}  # fmt: skip
MOST_DIGITS = 9
DIGITS = 3  # of a result: a built motor differs from its prediction by some percent anyway
# Dotted keys whose values want other digits: more where they are typed in, measured or set by the design, fewer where
# they are judgements. The first pattern that fits counts.
FIGURES = (
    (r"^drive\.(current_k|speed_k|position_k|bare_rotor_.*_k|feedforward_)", 4),
    (r"(_diameter_mm|_pitch_deg|_span\w*_deg|_turns_deg|_rpm|_khz|resistances?_ohm)$", 4),
    (r"^thermal\.ipc", 3),
    (r"^thermal\.\w+(_a|_w|_s|_n_m|_per_w)$", 2),  # a heat balance is 10 to 20 % off
    (r"^magnetic\.\w*(ripple|thd)\w*$|_loss_ratio$", 2),
)


def shown(key: str, value: Any, digits: int = 0) -> str:
    """A result as people read it; ``key`` is dotted, the value in the unit that it ends in; digits: 0 for those that
    mean something.

    >>> shown("electrical.synchronous_inductance_h", 0.00021425), shown("motion.required_peak_torque_n_m", 0.012345)
    ('214 µH', '12.3 mN·m')
    >>> shown("thermal.board_temperature_c", 102.51), shown("winding.coils", 18), shown("motion.limited_by", "heat")
    ('103 °C', '18', 'heat')
    """
    if isinstance(value, bool) or not isinstance(value, int | float):
        return str(value)
    key = re.sub(r"\.([A-Z][A-Z0-9]*|median|p95)$", "", key)  # a pair of terminals, a part of a spread
    unit = unit_of(key)
    if unit == "°C":
        return f"{figures(value, digits) if digits else f'{value:.0f}'} °C"
    digits = digits or digits_of(key)
    if unit == "kg·m²" and not key.startswith("drive."):
        return f"{figures(1e6 * value, digits)} kg·mm²"  # the size of small rotors; drives are told kg·m²
    if unit in PREFIXED or (unit == "s" and 0 < abs(value) < 1):
        return measure(value, unit, digits)
    number = str(value) if isinstance(value, int) else figures(value, digits)
    return number + (unit if unit.startswith("°") or not unit else f" {unit}")


def told_apart(key: str, one: Any, other: Any) -> tuple[str, str]:
    """Two values of a result in words, with more digits where they would read alike and are not.

    >>> told_apart("winding.factor", 0.86603, 0.86612), told_apart("thermal.board_temperature_c", 80.2, 80.4)
    (('0.866', '0.8661'), ('80.2 °C', '80.4 °C'))
    """
    words = [shown(key, one), shown(key, other)]
    for digits in range(digits_of(key), MOST_DIGITS + 1):
        if words[0] != words[1] or one == other:
            break
        words = [shown(key, one, digits), shown(key, other, digits)]
    return words[0], words[1]


def digits_of(key: str) -> int:
    """How many digits of a result mean something.

    >>> digits_of("thermal.continuous_phase_current_rms_a"), digits_of("drive.speed_kp_n_m_s_per_rad")
    (2, 4)
    """
    return next((digits for pattern, digits in FIGURES if re.search(pattern, key)), DIGITS)
