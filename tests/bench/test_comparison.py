"""Readings beside their prediction: closed forms, contradictions, slips."""

from dataclasses import replace
from math import pi, sqrt
from pathlib import Path

import numpy as np
import pytest

import pcbstator
from pcbstator.bench.comparison import compared
from pcbstator.bench.load import bench_from_tables
from pcbstator.bench.machine_state import machine_state
from pcbstator.bench.predicted import quantities, terminal_impedance, terminal_wave
from pcbstator.errors import DesignError
from tests.shipped import shipped

DESIGNS = sorted((Path(__file__).parents[2] / "designs").glob("*.toml"))
PAIRS = (["A", "B"], ["B", "C"], ["C", "A"])
KINDS = ("resistance", "inductance", "emf", "static_torque")


@pytest.fixture(scope="module")
def stage():
    design = pcbstator.load_design(next(path for path in DESIGNS if path.stem == "photogrammetry-stage"))
    return design, machine_state(design)


def tables(ohm=1.0, henry=1.0, volts=1.0, grams=1.0):
    """One reading of each kind between each pair; the values are factors until ``measured`` makes them readings."""
    return {
        "resistance": [{"between": pair, "ohm": ohm, "copper_c": 25.0} for pair in PAIRS],
        "inductance": [{"between": pair, "henry": henry, "frequency_khz": 1.0} for pair in PAIRS],
        "emf": [{"between": pair, "peak_to_peak_v": volts, "frequency_hz": 120.0} for pair in PAIRS],
        "static_torque": [{"between": PAIRS[0], "current_a": 0.5, "lever_mm": 100.0, "grams": grams}],
    }


def measured(state, draw=None, **factors):
    """Tables whose readings are those of the state, with noise at their uncertainty, times factors by kind."""
    found = tables()
    bench = bench_from_tables(found)
    keys = {"resistance": "ohm", "inductance": "henry", "emf": "peak_to_peak_v", "static_torque": "grams"}
    for kind, key in keys.items():
        readings = getattr(bench, kind)
        for at, (table, value) in enumerate(zip(found[kind], quantities(state, readings), strict=True)):
            noise = 1.0 if draw is None else 1 + readings[at].uncertainty * draw.standard_normal()
            factor = np.broadcast_to(factors.get(kind, 1.0), len(readings))[at]
            in_unit = value / readings[at].value * table[key] if kind == "static_torque" else value
            table[key] = float(in_unit * noise * factor)
    return found


def told(stage, found):
    design, state = stage
    return compared(design, bench_from_tables(found), "bench.toml", state)


def test_star_against_closed_forms(stage):
    """sqrt(3) p psi omega, 2 (L - M) and 2 R (1 + 0.00393 (T - 20)) of bench practice; the coils differ by 0.2 %."""
    _, state = stage
    _, _, prediction = shipped("photogrammetry-stage")
    bench = bench_from_tables({
        "resistance": [{"between": ["A", "B"], "ohm": 1.0, "copper_c": 70.0}],
        "inductance": [{"between": ["A", "B"], "henry": 1.0, "frequency_khz": 1.0}],
        "emf": [{"between": ["A", "B"], "rms_v": 1.0, "speed_rpm": 300.0}],
        "static_torque": [{"between": ["A", "B"], "current_a": 2.0, "lever_mm": 100.0, "grams": 1.0}],
    })  # fmt: skip
    resistance, inductance, rms, torque = quantities(state, bench.readings)
    psi, pole_pairs, speed = prediction.magnetic.flux_linkage_peak, 12, 10 * pi
    line = sqrt(3) * pole_pairs * psi
    assert resistance == pytest.approx(2 * prediction.electrical.phase_resistance * (1 + 0.00393 * 50), rel=3e-3)
    assert inductance == pytest.approx(2 * prediction.electrical.synchronous_inductance, rel=5e-3)
    assert rms == pytest.approx(line * speed / sqrt(2), rel=5e-3)
    assert torque == pytest.approx(2.0 * line, rel=5e-3)
    assert torque / 2 == pytest.approx(2 / sqrt(3) * prediction.magnetic.torque_constant, rel=5e-3)


def test_all_pairs_are_those_of_the_prediction(stage):
    _, state = stage
    for pair, ohm in state.work.resistances.line_resistances.items():
        assert terminal_impedance(state, tuple(pair), 0.0).real == pytest.approx(ohm, rel=1e-12)


def test_delta_against_closed_forms(stage):
    """2 R / 3 and 2 (L - M) / 3 between terminals of three equal phases; a third harmonic drives its current around
    and is not seen outside."""
    _, state = stage
    alike = replace(
        state, connection="delta", resistance=6.0 * np.eye(3), inductance=1e-3 * (1.2 * np.eye(3) - 0.2),
        orders=np.array([12, 36]),
        linkages=0.01 * np.stack([np.exp(2j * pi * np.arange(3) / 3), 0.2 * np.ones(3)], axis=1),
    )  # fmt: skip
    impedance = terminal_impedance(alike, ("A", "C"), 500.0)
    assert impedance.real == pytest.approx(4.0)
    assert impedance.imag / 500.0 == pytest.approx(2 / 3 * 1.2e-3)
    wave = terminal_wave(alike, ("A", "B"), 10.0)
    assert np.ptp(wave) / 2 == pytest.approx(12 * 0.01, rel=1e-4)
    star = terminal_wave(replace(alike, connection="star"), ("A", "B"), 10.0)
    assert np.ptp(star) / 2 == pytest.approx(sqrt(3) * 12 * 0.01, rel=1e-4)


@pytest.mark.parametrize("path", DESIGNS, ids=lambda path: path.stem)
def test_a_healthy_motor_is_within_its_tolerances(path):
    design = pcbstator.load_design(path)
    state = machine_state(design)
    found = compared(design, bench_from_tables(measured(state, np.random.default_rng(1))), "bench.toml", state)
    assert found.verdict == "The motor is within what its tolerances allow."
    assert found.doubtful == ()


def test_few_false_alarms_on_healthy_motors(stage):
    """200 draws of noise alone: less than 5 % with a contradiction, a slip or a far reading."""
    draw = np.random.default_rng(7)
    alarms = sum(told(stage, measured(stage[1], draw)).verdict[:9] != "The motor" for _ in range(200))
    assert alarms < 10


@pytest.mark.parametrize(("kind", "factor", "words"), [
    ("resistance", 1000.0, "units off by 1000"),
    ("inductance", 0.001, "units off by 1000"),
    ("emf", 0.5, "peak, written as peak to peak"),
    ("emf", sqrt(0.125), "rms, written as peak to peak"),
    ("emf", sqrt(3), "a star that was taken for a delta"),
    ("emf", 12.0, "12 pole pairs: turns per second of the rotor"),
    ("static_torque", sqrt(2), "a peak current, written as rms"),
    ("resistance", 0.5, "to the star point"),
])  # fmt: skip
def test_the_likely_slip_is_named(stage, kind, factor, words):
    draw = np.random.default_rng(11)
    found = told(stage, measured(stage[1], draw, **{kind: factor}))
    own = [row for row in found.rows if row.kind == kind]
    assert all(words in row.slip for row in own)
    assert not any(row.slip for row in found.rows if row.kind != kind)
    assert words in found.verdict


def test_what_other_readings_bear_out_is_no_slip(stage):
    """Half the volts and half the torque: half the flux, not a slip of the pen."""
    found = told(stage, measured(stage[1], emf=0.5, static_torque=0.5))
    assert not any(row.slip for row in found.rows)
    assert "more than 3 standard deviations" in found.verdict


def test_drill_speed_against_frequency(stage):
    """The rotor's own turns per second written as the frequency: told before anything about the motor."""
    found = measured(stage[1])
    found["emf"][0] |= {"speed_rpm": 600.0, "frequency_hz": 10.0}
    result = told(stage, found)
    assert result.contradictions[0].about == "speed and frequency"
    assert "the frequency is that of the rotor" in result.verdict
    found["emf"][0] |= {"speed_rpm": 600.0, "frequency_hz": 120.0}
    assert not told(stage, found).contradictions


def test_published_terminal_constants_contradict_each_other(stage):
    """298 rpm/V and 32 mN·m/A are one number (60 / (2 pi 0.032) = 298.4), but 9.48 V peak at 3000 rpm is 6 % away.

    Source: terminal constants of a small board motor, arXiv 2509.23561 (2025). Of a data sheet: 1 % each.
    """
    assert 60 / (2 * pi * 0.032) == pytest.approx(298, abs=0.5)
    sheet = {"between": ["A", "B"], "uncertainty_percent": 1.0}
    found = told(stage, {
        "emf": [sheet | {"peak_v": 9.48, "speed_rpm": 3000.0}],
        "static_torque": [sheet | {"current_a": 1.0, "lever_mm": 100.0, "newton": 0.32}],
    })  # fmt: skip
    (agreement,) = [each for each in found.agreements if each.about == "speed constant and torque constant"]
    assert agreement.percent == pytest.approx(100 * (0.032 / (9.48 / (100 * pi)) - 1), abs=0.5)
    assert round(agreement.percent) == 6
    assert agreement.contradiction
    assert set(found.doubtful) >= {"emf AB #1", "static torque AB #1"}
    assert found.verdict.startswith("Readings contradict each other")


def test_one_odd_pair_is_a_doubtful_reading_but_a_phase_is_not(stage):
    """In a star the pairs are sums of two phases: more resistance in A shows in AB and CA, and leaves BC low."""
    found = told(stage, measured(stage[1], resistance=np.array([1.1, 1.0, 1.0])))
    assert found.doubtful == ("resistance AB #1",)
    assert "phase C has less resistance" in found.contradictions[0].words
    joint = np.array([1.1, 1.0, 1.1])  # A has 20 % more
    assert not told(stage, measured(stage[1], resistance=joint)).contradictions
    weak = np.array([1.0, 0.9, 0.9])  # C has fewer turns at work
    assert not told(stage, measured(stage[1], emf=weak)).contradictions
    assert not told(stage, measured(stage[1], emf=weak, resistance=weak)).contradictions  # a short
    assert told(stage, measured(stage[1], resistance=weak)).contradictions  # EMF says that C is whole
    assert told(stage, measured(stage[1], emf=joint)).doubtful == ("emf BC #2",)


def test_the_same_read_twice_must_agree(stage):
    found = measured(stage[1])
    found["resistance"].append(found["resistance"][0] | {"ohm": 1.08 * found["resistance"][0]["ohm"]})
    assert any(each.about == "the same read twice" for each in told(stage, found).contradictions)
    found["resistance"][-1] |= {"board": "2"}
    assert not told(stage, found).contradictions


def test_field_of_a_lone_rotor_against_another_program(stage):
    """magpylib sums the closed forms of 24 magnets; without steel and with a recoil permeability of 1, as it has."""
    import magpylib

    design = stage[0].with_values({"rotor.back_iron_mm": 0.0, "rotor.magnet.recoil_permeability": 1.0})
    places = [(2.0, 42.0), (5.0, 38.0)]  # mm from the face, mm from the axis
    readings = [{"peak_mt": 1.0, "distance_mm": z, "radius_mm": r} for z, r in places]
    found = quantities(machine_state(design), bench_from_tables({"field": readings}).readings)
    ring = magpylib.Collection([
        magpylib.magnet.CylinderSegment(
            polarization=(0, 0, (-1) ** pole * 1.3), dimension=(0.034, 0.051, 0.003, -6.0, 6.0)
        ).rotate_from_angax(15.0 * pole, "z", anchor=0)
        for pole in range(24)
    ])  # fmt: skip
    expected = [ring.getB((1e-3 * r, 0, -1.5e-3 - 1e-3 * z))[2] for z, r in places]
    assert found == pytest.approx(np.abs(expected), rel=2e-3)


def test_current_at_no_load_carries_the_friction(stage):
    """Torque constant times peak current is the bearing's friction with its spot spread over the turn, and the drag."""
    design, state = stage
    bench = bench_from_tables({"no_load": [{"speed_rpm": 60.0, "terminal_peak_a": 0.1}]})
    friction = 0.012 + 0.004 * 14 / 360 / 2  # a raised cosine holds half of its width
    torque = friction + state.drag * 2 * pi + state.hysteresis
    constant = pcbstator.predict(design).magnetic.torque_constant
    assert quantities(state, bench.readings)[0] == pytest.approx(torque / constant, rel=2e-3)


def test_current_at_no_load_is_not_judged_without_a_known_friction():
    design = pcbstator.load_design(next(path for path in DESIGNS if path.stem == "small-fan"))
    assert design.bearing is None or design.bearing.friction == 0
    bench = bench_from_tables({"no_load": [{"speed_rpm": 1000.0, "terminal_rms_a": 0.01}]})
    found = compared(design, bench)
    assert found.rows == ()
    assert found.verdict.startswith("No reading has a predicted value")
    assert "no single predicted value" in found.remarks[0]


def test_terminals_that_the_design_lacks_are_told(stage):
    with pytest.raises(DesignError, match=r"must be terminals of this design \(star\)"):
        told(stage, {"resistance": [{"between": ["A", "D"], "ohm": 1.0, "copper_c": 20.0}]})


def test_plain_data_has_what_the_contract_says(stage):
    plain = told(stage, measured(stage[1])).to_dict()
    assert {"readings", "causes", "verdict"} <= set(plain)
    assert {"name", "predicted", "measured", "unit", "deviation_sigma"} <= set(plain["readings"][0])
