"""Units, SI prefixes and digits of results in words."""

from __future__ import annotations

import re

import pytest

from pcbstator.output.quantities import PREFIXED, shown, told_apart
from pcbstator.output.terminal import PLAIN, writable
from pcbstator.output.words import PREFIXES, measure
from pcbstator.study.keys import result_keys, unit_of
from tests.command import DESIGNS
from tests.shipped import shipped

# BIPM, The International System of Units (SI Brochure), 9th edition, Table 7: power of ten and symbol (from memory).
SI_PREFIXES = {12: "T", 9: "G", 6: "M", 3: "k", -3: "m", -6: "µ", -9: "n", -12: "p"}


@pytest.mark.parametrize("power, symbol", SI_PREFIXES.items())
def test_prefixes_are_those_of_the_si(power, symbol):
    """Every prefix in use has the value of the table, and a value of that power is shown with it."""
    used = {prefix: scale for scale, prefix in PREFIXES if prefix}
    if symbol in used:
        assert used[symbol] == float(f"1e{power}")
        assert measure(float(f"4.7e{power}"), "H") == f"4.7 {symbol}H"
    else:
        assert power == 12  # nothing here is that large


@pytest.mark.parametrize("value", [9.994e-4, 9.996e-4, 0.9996, 999.4, 999.6, 1.0, 2.5e-7, -3.3e-5, 47000.0])
def test_number_and_prefix_make_the_value_again(value):
    """Rounding to three digits is all that is lost, also where it carries into the next prefix."""
    number, prefix = re.fullmatch(r"(-?[\d.]+) ([GMkmµnp]?)V", measure(value, "V")).groups()
    exponent = {symbol: power for power, symbol in SI_PREFIXES.items()}.get(prefix, 0)
    assert float(number) * 10.0**exponent == pytest.approx(float(f"{value:.3g}"), rel=1e-12)
    assert 1 <= abs(float(number)) < 1000


@pytest.mark.parametrize(
    "key, value, words",
    [
        ("electrical.synchronous_inductance_h", 0.00021425, "214 µH"),
        ("motion.required_peak_torque_n_m", 0.0123, "12.3 mN·m"),
        ("thermal.board_temperature_c", 28.4, "28 °C"),
        ("thermal.continuous_phase_current_rms_a", 0.3438, "340 mA"),  # a heat balance tells two digits
        ("electrical.line_resistances_ohm.AB", 36.6103, "36.61 Ω"),
        ("drive.speed_kp_n_m_s_per_rad", 0.2295142, "0.2295 N·m·s/rad"),  # typed in: no prefix
        ("mechanical.rotor_inertia_kg_m2", 2.8755e-4, "288 kg·mm²"),
        ("winding.turns_per_coil_and_layer", 12, "12"),
        ("motion.limited_by", "heat", "heat"),
        ("motion.move_time_s", 0.0471, "47.1 ms"),
        ("motion.move_time_s", 90.0, "90 s"),
        ("copper.mass_g", 0.77189, "0.772 g"),
    ],
)
def test_values_in_words(key, value, words):
    assert shown(key, value) == words


def test_every_number_of_every_design_reads_short_and_is_the_value():
    """No result is shown in powers of ten or with more than four digits that count, none is off by over 5 %."""
    scale = {symbol: 10.0**power for power, symbol in SI_PREFIXES.items()}
    for path in DESIGNS:
        for name, section in shipped(path.stem)[2].sections():
            for key, value in vars_of(section):
                if not isinstance(value, float) or value == 0:
                    continue
                dotted = f"{name}.{key}"
                words = shown(dotted, value)
                number, unit = re.fullmatch(r"(-?[\d.]+)\s*(.*)", words).groups()
                assert len(number.replace(".", "").strip("-0")) <= 4, (dotted, words)
                plain = unit_of(dotted)
                prefix = unit.removesuffix(plain) if plain in PREFIXED | {"s"} else ""
                factor = 1e-6 if unit == "kg·mm²" else scale.get(prefix, 1.0)
                assert unit in (prefix + plain, "kg·mm²")
                slack = {"abs": 0.5} if plain == "°C" else {"rel": 0.05}
                assert float(number) * factor == pytest.approx(value, **slack), (dotted, words)


def vars_of(section):
    from pcbstator.analysis.fields import rows

    return [(key, value) for key, _, value in rows(section)]


def test_units_are_known_for_every_key_that_ends_in_one():
    """A key without a unit is a count, a ratio, a factor or a word."""
    bare = {key.rpartition(".")[2] for key in result_keys() if not unit_of(key)}
    ending = re.compile(r"_(v|n_m|a|ohm|h|t|wb|w|s|hz|khz|deg|c|k|g|m|mm|j|n|rpm|percent|mpa)$")
    assert [key for key in bare if ending.search(key)] == []


def test_values_that_differ_read_differently():
    assert told_apart("electrical.phase_resistance_ohm", 18.2951, 18.2953) == ("18.2951 Ω", "18.2953 Ω")
    assert told_apart("winding.coils", 18, 18) == ("18", "18")


def test_signs_that_a_terminal_lacks_are_spelt():
    """With nothing but ASCII every sign of the table is written in letters; where it can be shown it stays."""
    assert writable("699 µH, 18 Ω, 12 mN·m, ≤ 0.1°", "ascii") == "699 uH, 18 ohm, 12 mN.m, <= 0.1 deg "
    signs = "".join(PLAIN)
    assert writable(signs, "ascii").isascii() and writable(signs, "utf-8") == signs
    assert writable("µ ≤", "latin-1") == "µ <="
