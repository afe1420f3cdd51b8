"""The design as built: it predicts what the motor does that gave the readings, and says how surely."""

import re
import tomllib
from dataclasses import replace

import numpy as np
import pytest

import pcbstator
from pcbstator.analysis.tolerance import tolerance_results
from pcbstator.bench.built.estimate import parts_of, result_columns
from pcbstator.bench.built.motor import built_motors, required_with_table
from pcbstator.bench.built.remaining import result_spreads
from pcbstator.bench.built.result import BuiltMotor
from pcbstator.bench.causes.allowances import scaled
from pcbstator.bench.causes.evidence import model_of
from pcbstator.bench.causes.search import Basis, judgements, with_judgements
from pcbstator.bench.comparison import compared
from pcbstator.bench.load import bench_from_tables
from pcbstator.bench.logs.result import CorrectionTable
from pcbstator.bench.machine_state import machine_state
from pcbstator.bench.predicted import quantities
from pcbstator.check.side_by_side import side_by_side
from pcbstator.design.file_text import changed_text, design_file
from tests.bench.machines_with_faults import turned_round
from tests.bench.written_wrong import PAIRS
from tests.command import DESIGNS

STAGE = next(path for path in DESIGNS if path.stem == "photogrammetry-stage")
MACHINES, DRAWS = 50, 20


def bench_of(machine, noise=None, more=()):
    """Readings of a machine, each times one more than its part of ``noise``."""
    tables = {
        "resistance": [{"between": pair, "ohm": 1.0, "copper_c": 20.0} for pair in PAIRS],
        "emf": [{"between": pair, "peak_v": 1.0, "frequency_hz": 24.0} for pair in PAIRS],
        "inductance": [{"between": pair, "henry": 1e-4, "frequency_khz": 10.0} for pair in PAIRS],
        "gap": [{"mm": 1.0}],
        "finished_copper": [{"layer": layer, "um": 35.0} for layer in (1, 2)],
        "thickness": [{"of": part, "mm": 2.0} for part in ("board", "magnet")],
    }
    values = quantities(machine, bench_from_tables(tables).readings)
    values = values * (1 + (np.zeros(len(values)) if noise is None else noise))
    keys = {"resistance": ("ohm", 1.0), "emf": ("peak_v", 1.0), "inductance": ("henry", 1.0), "gap": ("mm", 1e3),
            "finished_copper": ("um", 1e6), "thickness": ("mm", 1e3)}  # fmt: skip
    order = [reading.kind for reading in bench_from_tables(tables).readings]
    for kind, (key, scale) in keys.items():
        own = [float(value) for value, name in zip(values, order, strict=True) if name == kind]
        for table, value in zip(tables[kind], own, strict=True):
            table[key] = scale * value
    return bench_from_tables(tables | dict(more))


def built_of(design, bench, faults=()):
    """faults: that are looked for beside what varies; None: all."""
    state = machine_state(design)
    found = compared(design, bench, "bench.toml", state)
    judged = judgements(found, bench, state, faults)
    return built_motors(design, with_judgements(found, judged), judged, bench, state)[0]


@pytest.fixture(scope="module")
def design():
    return pcbstator.load_design(STAGE).with_values({"build": None})


@pytest.fixture(scope="module")
def other(design):
    """A machine with weaker magnets, thinner copper and another gap; it misses a requirement that the design meets."""
    keys = {"rotor.magnet.remanence_t": 1.19, "board.outer_copper_um": 30.0, "board.inner_copper_um": 31.0,
            "rotor.air_gap_mm": 1.0}  # fmt: skip
    return design.with_values(keys)


@pytest.fixture(scope="module")
def strict():
    return pcbstator.load_design(STAGE).with_values({"build": None, "requirement.torque_reserve_percent": 240.0})


@pytest.fixture(scope="module")
def built(strict, other):
    return built_of(strict, bench_of(machine_state(other)))


def test_the_design_as_built_predicts_the_machine(built, other):
    """Within 1 %: its readings were exact, so that only what the readings leave open, and their weights, remain."""
    mine, true = built.found.other, pcbstator.predict(other)
    assert mine.magnetic.torque_constant == pytest.approx(true.magnetic.torque_constant, rel=0.01)
    assert mine.electrical.phase_resistance == pytest.approx(true.electrical.phase_resistance, rel=0.01)
    assert built.found.design.magnetic.torque_constant > 1.1 * true.magnetic.torque_constant  # it was far off before


def test_its_prediction_lies_on_the_readings(built, other):
    """Each within what 95 % of readings are: what was known before weighs as well."""
    bench = bench_of(machine_state(other))
    for row in compared(built.design, bench).rows:
        assert abs(row.measured - row.predicted) < 1.96 * row.reading_sigma, row.name


def test_the_verdict_is_that_of_the_machine(built, other):
    true = pcbstator.predict(other.with_values({"requirement.torque_reserve_percent": 240.0}))
    design, mine, machine = (
        {one.name: one.verdict for one in prediction.requirement}
        for prediction in (built.found.design, built.found.other, true)
    )
    assert mine == machine
    assert design["torque_reserve_percent"] == "met" and machine["torque_reserve_percent"] == "not met"
    assert built.decision.startswith("No-go: as built it does not meet") and "torque_reserve_percent" in built.decision


def test_every_comment_of_the_base_stays_and_changed_keys_say_why(built, strict):
    comments = re.findall(r"#.*", design_file(strict).decode())
    assert len(comments) > 15
    for comment in comments:
        assert comment.lstrip("# ") in built.text
    tables = tomllib.loads(built.text)
    for setting in built.settings:
        value = tables
        for step in setting.key.split("."):
            value = value[step]
        assert value == setting.value
        line = next(line for line in built.text.splitlines() if line.startswith(setting.key.split(".")[-1] + " ")
                    and str(setting.value) in line)  # fmt: skip
        assert "as built" in line and setting.reason in line


def test_its_file_loads(built, tmp_path):
    (tmp_path / "built.toml").write_text(built.text, encoding="utf-8")
    again = pcbstator.load_design(tmp_path / "built.toml")
    assert again.document == built.design.document


def test_its_tolerances_lead_to_the_spread_that_is_stated(built):
    """By the law that draws motors from [tolerance], within a twentieth: two thousandths of the value itself."""
    work = machine_state(built.design).work
    told = tolerance_results(work.design, work.conductors.copper, work.magnetic, 1e-4)
    for outcome in built.outcomes:
        if outcome.key in ("torque_constant_n_m_per_a", "phase_resistance_ohm"):
            spread = told[outcome.key]
            sigma = (spread["high_95_percent"] - spread["low_5_percent"]) / (2 * 1.645 * spread["nominal"])
            assert sigma == pytest.approx(outcome.spread, rel=0.05)


@pytest.mark.slow
def test_what_was_not_measured_is_left_alone(design):
    bench = bench_from_tables({"resistance": [{"between": pair, "ohm": 38.5, "copper_c": 20.0} for pair in PAIRS]})
    changed = {each.key for each in built_of(design, bench).settings if not each.key.startswith("tolerance.")}
    assert changed and not any(key.startswith("rotor") for key in changed)


@pytest.mark.slow
def test_a_fault_is_repaired_and_not_written(design):
    copper = pcbstator.lay_copper(design)
    turned = turned_round(copper.coil_phases.index("A"))(copper)
    found = built_of(design, bench_of(machine_state(design, turned)), faults=None)
    assert found.text == ""
    assert found.decision.startswith("No-go: repair it first") and "coil" in found.decision


@pytest.mark.slow
def test_a_property_is_written(design):
    """Half the copper weight stays as it is: the motor is one with that copper."""
    thin = design.with_values({"board.outer_copper_um": 17.5, "board.inner_copper_um": 17.5})
    found = built_of(design, bench_of(machine_state(thin)), faults=None)
    keys = {each.key: each.value for each in found.settings}
    assert keys["board.outer_copper_um"] == pytest.approx(17.5, rel=0.03)
    assert found.found.other.electrical.phase_resistance == pytest.approx(
        pcbstator.predict(thin).electrical.phase_resistance, rel=0.01
    )


def drawn(design, draw):
    """A machine with values within the tolerances, all normal with 90 % inside, by its own whole prediction."""
    normal = draw.standard_normal(6) / 1.6449
    rotor, board = design.rotor, design.board
    wide = 20e-3 * normal[5]
    keys = {
        "rotor.air_gap_mm": 1e3 * rotor.air_gap + 0.1 * normal[0],
        "board.outer_copper_um": 1e6 * board.outer_copper * np.exp(0.05 * 1.6449 * normal[1]),
        "board.inner_copper_um": 1e6 * board.inner_copper * np.exp(0.05 * 1.6449 * normal[2]),
        "rotor.magnet.thickness_mm": 1e3 * rotor.magnet.thickness + 0.05 * normal[3],
        "board.thickness_mm": 1e3 * board.thickness * (1 + 0.1 * normal[4]),
        "board.track_width_mm": 1e3 * board.track_width + wide,
        "board.track_gap_mm": 1e3 * board.track_gap - wide,
    }
    found = machine_state(design.with_values(keys))
    return replace(found, linkages=found.linkages * (1 + 0.02 * draw.standard_normal() / 1.6449))


@pytest.mark.slow
def test_the_stated_spread_holds(design):
    """95 % intervals of torque constant, EMF and resistance hold 93 to 97 % of 1000 draws of motors and readings."""
    draw, state = np.random.default_rng(8), machine_state(design)
    readings = [each for each in bench_of(state).readings if each.kind in ("resistance", "emf", "gap")]
    values, every = quantities(state, readings), np.ones(len(readings), bool)
    model = model_of(state, readings, values, (), len(readings))
    sigma = np.array([each.uncertainty for each in readings])
    kinds, inside = [each.kind for each in readings], {"resistance": [], "emf": []}
    repeats = np.where(np.array(kinds) == "gap", 1.0, 0.5)  # of it; the rest an instrument is off alike in all readings
    own = np.hypot(repeats * sigma, [0.002 if kind == "emf" else 0.0 for kind in kinds])
    alike = np.array([[kind == name for name in inside] for kind in kinds]) * (sigma * np.sqrt(1 - repeats**2))[:, None]
    warm = np.array([0.00393 if each.kind == "resistance" else 0.0 for each in readings])
    for _ in range(MACHINES):
        exact = scaled(readings, quantities(drawn(design, draw), readings), values)
        for _ in range(DRAWS):
            noise = own * draw.standard_normal(len(sigma)) + alike @ draw.standard_normal(len(inside))
            noise += warm * 2.0 * draw.standard_normal()
            basis = Basis(model, exact + noise, every, model.hypotheses[0], True)
            parts = parts_of(basis)
            columns, spreads = result_columns(basis), result_spreads(basis, parts)
            for kind, key in (("resistance", "phase_resistance_ohm"), ("emf", "torque_constant_n_m_per_a")):
                true = exact[[k for k, name in enumerate(kinds) if name == kind]].mean()
                off = columns[key] @ parts.values - true
                inside[kind].append(abs(off) < 1.96 * spreads[key])
    for kind, held in inside.items():
        assert 0.93 < np.mean(held) < 0.97, kind


def test_a_table_of_the_sensor_may_turn_the_decision(design):
    """An offset of 0.3 mm on a ring of 30 mm is 0.57 degrees of error beside the play; the table takes it out."""
    ring = design.with_values({"drive.sensor_offset_mm": 0.3})
    table = CorrectionTable("s", np.zeros(64), 0.0, 0.4, 0.004, 0.573, 0.01, ())
    both = side_by_side(design, ring)
    told = BuiltMotor("1", "1", design=ring, found=both, table=table)
    assert told.decision.startswith("No-go") and "position_error_deg" in told.decision
    told = replace(told, with_table=required_with_table(told, ring, both))
    assert told.decision.startswith("Go with the sensor's table")


def test_the_line_of_a_key_that_is_taken_away_stays_as_a_comment():
    text = changed_text(
        'grade = "N42"  # as ordered\nx = 1\n', {"remanence_t": 1.2, "grade": None}, {"remanence_t": "emf"}
    )
    assert '# grade = "N42"  # as ordered' in text.splitlines()[0]
    assert tomllib.loads(text) == {"remanence_t": 1.2, "x": 1}


@pytest.mark.slow
def test_magnets_of_a_grade_get_the_remanence_that_was_measured():
    wheel = pcbstator.load_design(next(path for path in DESIGNS if path.stem == "filter-wheel"))
    state = machine_state(wheel)
    found = built_of(wheel, bench_of(replace(state, linkages=0.85 * state.linkages)))
    magnet = found.design.rotor.magnet
    assert magnet.grade is None
    assert magnet.remanence < 0.9 * wheel.rotor.magnet.remanence
    assert "# grade = " in found.text
    assert found.found.other.magnetic.torque_constant == pytest.approx(
        0.85 * found.found.design.magnetic.torque_constant, rel=0.01
    )
