"""The sheet's numbers, read back from its page, against the prediction converted by hand."""

from __future__ import annotations

import html
import re
from dataclasses import replace
from functools import cache
from math import pi, sqrt

import numpy as np
import pytest

import pcbstator
from pcbstator.bench.sheet import bench_sheet
from pcbstator.output.bench_report.pages import sheet_pages, sheet_pdf
from pcbstator.output.bench_report.sheet_files import sheet_html
from pcbstator.output.bench_report.wiring import _SKETCHES, sketch_svg
from pcbstator.output.canvas.page import page_svg
from pcbstator.physics.thermal.balance import current_at_temperature, steady_temperatures
from tests.output.svgread import read
from tests.output.test_drawing import assert_tidy
from tests.shipped import shipped

NAMES = ("filter-wheel", "photogrammetry-stage", "sky-tracker", "small-fan")
DELTA = {"winding.connection": "delta"}
VARIANTS = {name: (name, {}) for name in NAMES} | {
    "delta": ("photogrammetry-stage", DELTA),
    "tolerance": ("small-fan", {"tolerance.remanence_percent": 5.0, "tolerance.air_gap_mm": 0.2}),
}
# Remanence falls by 0.1075 % of that at 20 C a kelvin (makers' tables, mean):
# N42H that the fan counts with at 50 C, N42 of the tracker at 10 C.
COLD = dict.fromkeys(NAMES, 1.0) | {"small-fan": 1 / (1 - 0.001075 * 30), "sky-tracker": 1 / (1 + 0.001075 * 10)}
PREFIX = {"M": 1e6, "k": 1e3, "": 1.0, "m": 1e-3, "µ": 1e-6, "n": 1e-9}


@cache
def made(name: str):
    """The sheet, its prediction as plain data, its rows {name: (value, band)} by the titles of their tests."""
    stem, changes = VARIANTS[name]
    design, _, prediction = shipped(stem)
    prediction = pcbstator.predict(design.with_values(changes)) if changes else prediction
    sheet = bench_sheet(prediction)
    tests = {}
    for section in sheet_html(sheet).split("<section>")[1:]:
        title = html.unescape(re.search(r"<h3>\d+\. (.*?)</h3>", section)[1])
        rows = re.findall(r'<th scope="row">(.*?)</th><td class="value"[^>]*>(.*?)</td><td[^>]*>(.*?)</td>', section)
        tests[title] = {html.unescape(a): (html.unescape(b), html.unescape(c)) for a, b, c in rows}
    return sheet, prediction.to_dict(), tests


def si(words: str, unit: str) -> float:
    """A value in words [SI]."""
    number, prefix = re.fullmatch(rf"(-?[\d.]+) ([MkmµnG]?){unit}", words).groups()
    return float(number) * PREFIX[prefix]


def band(words: str, unit: str) -> tuple[float, float]:
    low, high, prefix = re.fullmatch(rf"([\d.]+) … ([\d.]+) ([MkmµnG]?){unit}", words).groups()
    return float(low) * PREFIX[prefix], float(high) * PREFIX[prefix]


def section_of(tests: dict, start: str) -> dict:
    return next(rows for title, rows in tests.items() if title.startswith(start))


@pytest.mark.parametrize("name", NAMES)
def test_a_star_shows_two_phases_to_the_meter(name):
    _, data, tests = made(name)
    rows, electrical = section_of(tests, "Resistance"), data["electrical"]
    for pair, ohm in electrical["line_resistances_ohm"].items():
        value, _ = rows[f"{pair[0]} and {pair[1]}, at 20 °C"]
        assert si(value, "Ω") == pytest.approx(ohm, rel=5e-4)
        assert si(value, "Ω") == pytest.approx(2 * electrical["phase_resistance_ohm"], rel=5e-3)
    matrix, rows = np.array(electrical["inductance_matrix_h"]), section_of(tests, "Inductance")
    for pair in ("AB", "AC", "BC"):
        i, j = (ord(letter) - 65 for letter in pair)
        assert si(rows[f"{pair[0]} and {pair[1]}"][0], "H") == pytest.approx(
            matrix[i, i] + matrix[j, j] - 2 * matrix[i, j], rel=5e-3
        )
    alike = 2 * (electrical["phase_inductance_h"] - electrical["mutual_inductance_h"])
    assert si(rows["A and B"][0], "H") == pytest.approx(alike, rel=1e-2)


@pytest.mark.parametrize("name", NAMES)
def test_peak_to_peak_and_frequency_at_drill_speed(name):
    _, data, tests = made(name)
    rows, pairs = section_of(tests, "EMF"), data["winding"]["poles"] / 2
    told = [int(words.split(" ")[0]) for words in rows if words.endswith("peak to peak")]
    for rpm in told:
        speed, psi = rpm * pi / 30, COLD[name] * data["magnetic"]["flux_linkage_peak_wb"]
        volts = 2 * sqrt(3) * pairs * psi * speed
        assert si(rows[f"{rpm} rpm, peak to peak"][0], "V") == pytest.approx(volts, rel=5e-3)
        assert si(rows[f"{rpm} rpm, frequency"][0], "Hz") == pytest.approx(pairs * rpm / 60, rel=5e-3)
        if f"{rpm} rpm, rms by a meter" in rows:
            assert si(rows[f"{rpm} rpm, rms by a meter"][0], "V") == pytest.approx(volts / (2 * sqrt(2)), rel=5e-3)
    assert 60 in told


@pytest.mark.parametrize("name", NAMES)
def test_grams_at_the_lever(name):
    _, data, tests = made(name)
    rows = section_of(tests, "Torque at rest")
    words = next(iter(rows))
    current, lever = re.fullmatch(r"largest, at (\S+ \S+) and (\d+) mm", words).groups()
    constant = sqrt(3) * data["winding"]["poles"] / 2 * data["magnetic"]["flux_linkage_peak_wb"]
    torque = COLD[name] * constant * si(current, "A")
    assert constant == pytest.approx(2 / sqrt(3) * data["magnetic"]["torque_constant_n_m_per_a"], rel=1e-12)
    assert si(rows["the same as torque"][0], "N·m") == pytest.approx(torque, rel=5e-3)
    assert float(rows[words][0].removesuffix(" g")) == pytest.approx(
        1e3 * torque / (float(lever) * 1e-3) / 9.80665, rel=6e-3
    )
    assert rows["cycles in a turn"][0] == str(data["winding"]["poles"] // 2)


def test_a_delta_shows_two_thirds_and_a_phase():
    _, data, tests = made("delta")
    electrical, magnetic = data["electrical"], data["magnetic"]
    resistance = si(section_of(tests, "Resistance")["A and B, at 20 °C"][0], "Ω")
    assert resistance == pytest.approx(2 / 3 * electrical["phase_resistance_ohm"], rel=5e-3)
    inductance = si(section_of(tests, "Inductance")["A and B"][0], "H")
    alike = 2 / 3 * (electrical["phase_inductance_h"] - electrical["mutual_inductance_h"])
    assert inductance == pytest.approx(alike, rel=1e-2)
    volts = 2 * data["winding"]["poles"] / 2 * magnetic["flux_linkage_peak_wb"] * 60 * pi / 30
    assert si(section_of(tests, "EMF")["60 rpm, peak to peak"][0], "V") == pytest.approx(volts, rel=5e-3)


def test_bands_are_those_of_the_stated_tolerance():
    sheet, data, tests = made("tolerance")
    assert sheet.stated_tolerance
    spread = data["tolerance"]["phase_resistance_ohm"]
    low, high = band(section_of(tests, "Resistance")["A and B, at 20 °C"][1], "Ω")
    line = data["electrical"]["line_resistances_ohm"]["AB"]
    assert low == pytest.approx(line * spread["low_5_percent"] / spread["nominal"], rel=5e-4)
    assert high == pytest.approx(line * spread["high_95_percent"] / spread["nominal"], rel=5e-4)
    spread, volts = (
        data["tolerance"]["flux_linkage_peak_wb"],
        COLD["small-fan"] * 2 * sqrt(3) * data["winding"]["poles"] / 2 * 2 * pi,
    )
    low, high = band(section_of(tests, "EMF")["60 rpm, peak to peak"][1], "V")
    assert low == pytest.approx(volts * spread["low_5_percent"], rel=5e-3)
    assert high == pytest.approx(volts * spread["high_95_percent"], rel=5e-3)
    gap = section_of(tests, "Air gap")["gap, mean of four places"]
    assert gap == ("1.2 mm", "1 … 1.4 mm")


@pytest.mark.parametrize("name", [*NAMES, "delta"])
def test_the_first_phase_comes_first_by_a_sixth(name):
    """As a scope with both clips at C shows it, from the sampled waves over a positive turn."""
    _, data, tests = made(name)
    angle = np.radians(data["waves"]["electrical_angle_deg"][:-1])
    phases = np.array(data["waves"]["phase_emf_v_s_per_rad"])[:, : len(angle)]
    # In a delta each phase runs from its own terminal to the next: A to C is against the third.
    delta, star = (-phases[2], phases[1]), (phases[0] - phases[2], phases[1] - phases[2])
    channels = delta if name == "delta" else star
    one, two = (np.angle(np.sum(wave * np.exp(-1j * angle))) for wave in channels)
    lead = np.degrees((one - two) % (2 * pi))
    assert lead == pytest.approx(60.0, abs=0.5)
    assert section_of(tests, "Order")["A comes before B by"][0] == "60° of a period"


@pytest.mark.parametrize("name", NAMES)
def test_the_held_current_keeps_the_board_below_thirty_kelvin(name):
    """The steady state, a root search, against the course in time that the sheet takes."""
    sheet, data, _ = made(name)
    held, state = sheet.held, sheet.prediction.thermal.heat
    line = data["electrical"]["line_resistances_ohm"]["AB"]
    assert held.heat == pytest.approx(held.current * held.warm_voltage, rel=1e-12)
    assert held.cold_voltage == pytest.approx(held.current * line * (1 + 0.00393 * (held.ambient_c - 20)), rel=1e-9)
    assert held.rise.value <= 30.0
    assert held.resistance_ratio.value == pytest.approx(
        (1 + 0.00393 * (held.ambient_c + held.rise.value - 20)) / (1 + 0.00393 * (held.ambient_c - 20)), rel=1e-9
    )
    still = replace(state.heat.network, eddy=np.zeros_like(state.heat.network.eddy))
    phases, resistance = data["winding"]["phases"], data["electrical"]["phase_resistance_ohm"]
    alike = held.current * sqrt(line / (phases * resistance))  # the rms sine current of as much heat
    start = current_at_temperature(still, (state.heat.board,), [held.ambient_c + 31.0])
    (settled,) = steady_temperatures([still], [alike], [start])
    rises = settled.temperature_c[0] - held.ambient_c
    mean = float(rises @ still.resistance / still.resistance.sum())
    assert rises[state.heat.board].max() < 30.01
    assert 0.85 * mean < held.rise.value < mean * 1.001  # the rotor is still warming when the test ends
    assert held.reached.value < held.time / 2


@pytest.mark.parametrize("name", [*(pytest.param(n, marks=pytest.mark.slow) for n in NAMES), "delta"])
def test_pages_are_tidy_and_stay_on_their_paper(name):
    sheet, _, _ = made(name)
    pages = sheet_pages(sheet)
    assert 4 <= len(pages) <= 8
    for page in pages:
        assert (page.width, page.height) == (210.0, 297.0)
        assert_tidy(*read(page_svg(page)))
    pdf = sheet_pdf(sheet)
    assert len(re.findall(rb"/Type /Page\b", pdf)) == len(pages)
    if name == "delta":
        assert pdf == sheet_pdf(sheet)


@pytest.mark.parametrize("terminals", [("A", "B", "C"), ("A", "A2", "B", "B2", "C", "C2"), ("A", "B"), tuple("ABCDE")])
def test_sketches_are_tidy(terminals):
    for name in _SKETCHES:
        if name != "order" or len(terminals) > 2:
            assert_tidy(*read(sketch_svg(name, terminals, "a sketch")))


@pytest.mark.usefixtures("unrendered")
@pytest.mark.parametrize("changes", [
    pytest.param({"winding.connection": "open"}, marks=pytest.mark.slow),
    {"winding.phases": 2, "winding.coils": 16, "winding.connection": "open"},
    pytest.param(
        {"winding.phases": 5, "winding.coils": 20, "winding.turns": 6, "rotor.poles": 22}, marks=pytest.mark.slow
    ),
    {"drive": None, "motion": None, "load": None, "bearing": None},
    pytest.param({"winding.parallel_paths": 2, "winding.turns": 8}, marks=pytest.mark.slow),
])  # fmt: skip
def test_every_kind_of_winding_has_its_sheet(changes):
    design = pcbstator.load_design("designs/photogrammetry-stage.toml").with_values({"requirement": None, **changes})
    sheet = bench_sheet(pcbstator.predict(design))
    assert "None" not in sheet_html(sheet)
    assert sheet_pdf(sheet).startswith(b"%PDF")
    if changes.get("winding.connection") == "open":
        assert next(iter(sheet.resistances)) == "AA2" and list(sheet.line_emf_constants) == list(sheet.resistances)
        assert list(sheet.inductances) == list(sheet.resistances)
