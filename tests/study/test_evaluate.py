"""What becomes of designs: cheap tests first, and each design by itself."""

from __future__ import annotations

import itertools

import pytest

from pcbstator.analysis import stages as quick
from pcbstator.check import checked_prediction
from pcbstator.design import load_design
from pcbstator.design.file_text import document_text
from pcbstator.study import evaluate as stages
from pcbstator.study.evaluate import bench, evaluate, needed_stages
from pcbstator.study.keys import UNMET, WORST, flat_results, result_keys, unit_of
from pcbstator.study.load import study_from_tables
from pcbstator.study.sample import every_point, filling_points
from tests.study.studies import COST, GAP, KM, TURNS, WHEEL, WIDTH, wheel_study


@pytest.mark.parametrize(
    ("keys", "stages"),
    [
        (["occupied.height_mm"], ("envelope",)),
        (["cost.magnets"], ("envelope",)),
        (["cost.total"], ("envelope", "copper")),
        (["copper.mass_g"], ("envelope", "copper")),
        (["magnetic.torque_constant_n_m_per_a"], ("envelope", "copper", "magnetics")),
        (["thermal.board_phase_current_rms_a"], ("envelope", "copper", "magnetics", "heat")),
        (["electrical.synchronous_inductance_h"], ("envelope", "copper", "magnetics", "inductance")),
        (
            ["motion.move_time_s", "thermal.board_phase_current_rms_a"],
            ("envelope", "copper", "magnetics", "heat", "job"),
        ),
        (["drive.speed_bandwidth_hz"], ("envelope", "copper", "magnetics", "heat", "job")),
        (["slip_ring.rings", "motion.move_time_s"], ("envelope", "copper", "magnetics", "heat", "job", "whole")),
        (["findings.errors"], ("envelope", "copper", "magnetics", "whole")),
        ([], ("envelope", "copper", "magnetics", "heat")),
    ],
)
def test_no_stage_that_nothing_needs(keys, stages):
    assert needed_stages(wheel_study(variables=[TURNS], columns=keys)) == stages


def test_a_design_that_failed_costs_no_more(monkeypatch):
    """Too high by the envelope, or too dear: no copper is laid for it."""
    laid = []
    monkeypatch.setattr(quick, "lay_copper", lambda *_: laid.append(1))
    gap = {"key": "rotor.air_gap_mm", "values": [8.0, 9.0]}
    study = wheel_study(variables=[gap], constraints=[{"key": "thermal.board_phase_current_rms_a", "least": 0.1}])
    outcomes = evaluate(study, list(every_point(study)))
    assert [outcome.ruled_out for outcome in outcomes] == ["occupied.height_mm at most 12"] * 2
    dear = wheel_study(variables=[TURNS], constraints=[{"key": "cost.magnets", "most": 0.5}])
    assert {o.ruled_out for o in evaluate(dear, list(every_point(dear)))} == {"cost.magnets at most 0.5"}
    assert not laid


def test_the_further_a_design_comes_the_less_it_lacks():
    study = wheel_study(
        variables=[TURNS, WIDTH, {"key": "rotor.air_gap_mm", "values": [1.0, 9.0]}],
        constraints=[{"key": "electrical.phase_resistance_ohm", "most": 2.0},
                     {"key": "magnetic.torque_constant_n_m_per_a", "least": 1.0}],
    )  # fmt: skip
    outcomes = evaluate(study, list(every_point(study)))
    steps = ["winding.turns", "occupied.height", "electrical.phase", "magnetic.torque"]
    lacks = [[o.shortage for o in outcomes if o.ruled_out.startswith(step)] for step in steps]
    assert all(lacks)
    height, resistance, torque = lacks[1:]
    assert min(height) > max(resistance) > 0 and min(resistance) > max(torque) > 0
    assert min(lacks[0]) > max(resistance)


def test_neighbours_have_no_say():
    """Alone, in pairs, the other way round, before or after others: the same bits."""
    study = wheel_study(variables=[TURNS, WIDTH, GAP], objectives=[KM, COST], columns=["thermal.rotor_temperature_c"])
    points = list(itertools.islice(filling_points(study), 16))
    together = evaluate(study, points)
    assert evaluate(study, points[::-1])[::-1] == together
    bench.cache_clear()
    assert [evaluate(study, [point])[0] for point in points] == together


def test_a_fault_costs_one_design(monkeypatch):
    study = wheel_study(variables=[TURNS], columns=["copper.mass_g"])
    points = list(every_point(study))
    sound = evaluate(study, points)
    true_sizes = stages._occupied

    def faulty(design):
        if design.winding.turns == 6:
            raise ZeroDivisionError("by hand")
        return true_sizes(design)

    monkeypatch.setattr(stages, "_occupied", faulty)
    outcomes = evaluate(study, points)
    (hit,) = [n for n, (one, other) in enumerate(zip(outcomes, sound, strict=True)) if one != other]
    assert points[hit] == (2,)
    assert outcomes[hit].ruled_out.startswith("a fault of the program") and outcomes[hit].detail == "by hand"


def test_values_that_the_door_refuses():
    study = wheel_study(variables=[{"key": "board.thickness_mm", "values": [1.6, 900.0]}], columns=["copper.mass_g"])
    sound, refused = evaluate(study, [(0,), (1,)])
    assert sound.feasible and refused.ruled_out.startswith("board.thickness_mm: must be a number from")


def test_every_point_and_even_filling():
    study = wheel_study(variables=[TURNS, WIDTH])
    points = list(every_point(study))
    assert len(set(points)) == 60 == study.combinations
    drawn = list(itertools.islice(filling_points(study), 960))
    counts = {point: drawn.count(point) for point in points}
    assert min(counts.values()) >= 8 and max(counts.values()) <= 24  # 16 each if perfectly even
    assert drawn == list(itertools.islice(filling_points(study), 960))


def test_units_of_all_results():
    counts = ("winding.", "findings.", "cost.", "slip_ring.", "copper.", "drive.current_sense_bits",
              "slip_ring_balls.balls_", "drive.sensor_counts", "requirement.unmet", "requirement.price")  # fmt: skip
    for key in result_keys():
        plain = key.endswith(("_ratio", "_factor")) or key.startswith(counts)
        assert unit_of(key) or plain, key
    assert unit_of("mechanical.rim_speed_m_per_s") == "m/s" and unit_of("drive.position_kp_per_s") == "1/s"


def test_the_verdict_of_a_study_is_that_of_a_prediction():
    """Requirements as results: the same values, counts and margins as in the whole prediction, and as limits."""
    asked = {"torque_reserve_percent": 25.0, "move_time_s": 0.4, "slow_speed_rpm": 1.0, "position_error_deg": 0.3}
    design = load_design(WHEEL).with_values({"requirement": asked})
    keys = [f"requirement.{name}" for name in asked]
    tables = {"title": "wheel", "variables": [TURNS], "columns": [*keys, WORST]}
    study = study_from_tables(tables, design, document_text(design.document), "wheel.toml")
    assert needed_stages(study)[-1] == "verdict"
    points = list(every_point(study))[::4]
    for point, outcome in zip(points, evaluate(study, points), strict=True):
        whole = flat_results(checked_prediction(design.with_values(study.settings(point)), ways_out=False))
        for key in (*keys, WORST, UNMET):
            assert (key in whole) == (key in outcome.results), key
            over = 0.1 if key.endswith("reserve_percent") else 1e-3  # 0.1 % of the torque
            assert outcome.results.get(key, 0.0) == pytest.approx(whole.get(key, 0.0), rel=1e-3, abs=over), key
    limited = study_from_tables(tables | {"constraints": [{"key": UNMET, "most": 0}]}, design, study.design_text)
    for outcome in evaluate(limited, points):
        assert outcome.feasible == (outcome.results[UNMET] == 0)


@pytest.mark.parametrize("columns", [[], ["requirement.speed_ripple_percent"]])
def test_the_verdict_on_even_turning_is_that_of_motors_as_built(columns):
    """Magnets far out of place: with perfect ones every design would do, as they are built none does."""
    asked = {"slow_speed_rpm": 6.0, "speed_ripple_percent": 2.0}
    out_of_place = {"magnet_angle_deg": 3.0, "draws": 100}
    found = []
    for build in (out_of_place, out_of_place | {"magnet_angle_deg": 0.0}):
        design = load_design(WHEEL).with_values({"requirement": asked, "build": build})
        tables = {"title": "wheel", "variables": [TURNS], "columns": [UNMET, *columns]}
        study = study_from_tables(tables, design, document_text(design.document), "wheel.toml")
        points = list(every_point(study))[4::5]
        for point, outcome in zip(points, evaluate(study, points), strict=True):
            full = flat_results(checked_prediction(design.with_values(study.settings(point)), ways_out=False))
            assert {key: outcome.results[key] for key in columns} == {
                key: pytest.approx(full[key], rel=1e-4) for key in columns
            }
            assert outcome.results[UNMET] == full[UNMET]
            found.append(full[UNMET])
    assert found == [1, 1, 0, 0]
