"""Motion logs of a bench: what each gives, beside what was assumed, and the clear word where it gives nothing."""

import json

import numpy as np
import pytest

import pcbstator
from pcbstator.bench.comparison import compared
from pcbstator.bench.load import bench_from_tables
from pcbstator.bench.machine_state import machine_state
from pcbstator.errors import DesignError
from pcbstator.output.bench_report.files import comparison_files
from pcbstator.output.bench_report.words import comparison_text
from pcbstator.physics.drive.friction import spot_friction
from tests.command import DESIGNS, run, toml_text

STAGE = next(path for path in DESIGNS if path.stem == "photogrammetry-stage")
TURN = 2 * np.pi
SPOT = (np.radians(130.0), np.radians(14.0), 0.004)


@pytest.fixture(scope="module")
def stage():
    return machine_state(pcbstator.load_design(STAGE))


@pytest.fixture(scope="module")
def torque_constant(stage):
    return stage.work.drive.machine.torque_constant


def csv(folder, name, **columns):
    rows = np.column_stack(list(columns.values()))
    lines = [",".join(f"{value:.7g}" for value in row) for row in rows]
    (folder / name).write_text("\n".join([",".join(columns), *lines]) + "\n", encoding="utf-8")
    return {"table_csv": name}


def found(stage, folder, **tables):
    bench = bench_from_tables({kind: [table] for kind, table in tables.items()}, folder)
    return compared(stage.design, bench, state=stage)


def row(comparison, key):
    return next(each for each in comparison.logs.rows if each.key == key)


def told(comparison):
    return " ".join((*comparison.logs.remarks, *comparison.remarks))


def slow_turn(constant, turns=2.2, spot=SPOT, level=0.012, noise=2e-5, rows=6000, both=True, ring=0.0):
    """A turn at 3 rpm, there and back, with friction in its current and a sensor off centre."""
    speed, random = np.pi / 10, np.random.default_rng(2)
    times = np.linspace(0.0, 2 * turns * TURN / speed, rows)
    sense = np.where(times < times[-1] / 2, 1.0, -1.0)
    angle = np.where(sense > 0, speed * times, speed * (times[-1] - times))
    torque = sense * (level + spot_friction(angle, [spot]))
    kept = slice(None) if both else sense > 0
    seen = angle + ring * np.sin(angle - 0.5) + noise * random.standard_normal(rows)
    return {"time_s": times[kept], "angle_deg": np.degrees(seen)[kept], "terminal_peak_a": (torque / constant)[kept]}


def test_a_slow_turn_as_assumed_is_told_so(stage, torque_constant, tmp_path):
    comparison = found(stage, tmp_path, slow_turn=csv(tmp_path, "a.csv", **slow_turn(torque_constant)))
    level, spot = row(comparison, "running_friction"), row(comparison, "friction_spot")
    assert level.value == pytest.approx(0.012, rel=0.01)
    assert spot.value == pytest.approx(0.004, rel=0.05)
    assert "130." in spot.about
    assert not comparison.logs.far
    assert "show nothing that was not assumed" in comparison.verdict
    assert "no single predicted value" not in told(comparison)


def test_a_spot_that_was_not_assumed_is_at_its_place_with_advice(stage, torque_constant, tmp_path):
    turn = slow_turn(torque_constant, spot=(np.radians(300.0), np.radians(20.0), 0.008))
    comparison = found(stage, tmp_path, slow_turn=csv(tmp_path, "a.csv", **turn))
    spot = row(comparison, "friction_spot")
    assert spot.far
    assert "at 300." in spot.about
    assert spot.value == pytest.approx(0.008, rel=0.05)
    assert "assumed friction spot at 130 degrees" in told(comparison)
    assert any(each.about == "ring bearing" and "replace it" in each.words for each in comparison.logs.advice)


def test_friction_of_another_bearing_is_written_down_though_it_may_be_so(stage, torque_constant, tmp_path):
    """60 % more is within what is usual, and yet known to a few percent."""
    turn = slow_turn(torque_constant, level=1.6 * 0.012)
    comparison = found(stage, tmp_path, slow_turn=csv(tmp_path, "a.csv", **turn))
    assert not comparison.logs.far
    assert "standard deviations above" in comparison_text(comparison)
    assert [each.about for each in comparison.logs.advice] == ["friction"]
    assert "bearing.friction_n_m" in comparison.logs.advice[0].words


def test_an_order_beyond_its_prediction_is_named(stage, torque_constant, tmp_path):
    turn = slow_turn(torque_constant, ring=0.006)
    comparison = found(stage, tmp_path, slow_turn=csv(tmp_path, "a.csv", **turn))
    once = row(comparison, "sensor_once_per_turn")
    assert once.far
    assert once.value == pytest.approx(np.degrees(0.006), rel=0.01)
    assert comparison.verdict.startswith("By the motion logs one value is not as assumed: 1 per turn")


@pytest.mark.parametrize(("change", "words"), [
    ({"turns": 0.5}, "whole turn; got 0.5"),
    ({"turns": 0.05}, "too little for a slow turn"),
    ({"turns": 1.2}, "one whole turn only"),
    ({"both": False}, "one way only"),
    ({"rows": 120}, "32 rows in a turn"),
])  # fmt: skip
def test_a_turn_that_says_less_is_told_in_words(stage, torque_constant, tmp_path, change, words):
    turn = slow_turn(torque_constant, **change)
    assert words in told(found(stage, tmp_path, slow_turn=csv(tmp_path, "a.csv", **turn)))


def test_half_a_turn_still_tells_the_friction(stage, torque_constant, tmp_path):
    turn = slow_turn(torque_constant, turns=0.5)
    comparison = found(stage, tmp_path, slow_turn=csv(tmp_path, "a.csv", **turn))
    assert row(comparison, "running_friction").value == pytest.approx(0.012, rel=0.01)


def test_a_turn_without_current_or_with_its_sign_reversed(stage, torque_constant, tmp_path):
    turn = slow_turn(torque_constant)
    wrong = found(
        stage, tmp_path, slow_turn=csv(tmp_path, "a.csv", **turn | {"terminal_peak_a": -turn["terminal_peak_a"]})
    )
    assert "reverse the sign of the current" in told(wrong)
    del turn["terminal_peak_a"]
    assert "no column terminal_peak_a" in told(found(stage, tmp_path, slow_turn=csv(tmp_path, "b.csv", **turn)))


def test_gaps_outliers_and_missing_values_change_little(stage, torque_constant, tmp_path):
    turn = slow_turn(torque_constant, rows=12_000)
    random = np.random.default_rng(3)
    kept = np.ones(12_000, dtype=bool)
    kept[4000:4100] = False
    turn = {name: values[kept] for name, values in turn.items()}
    turn["angle_deg"][random.integers(100, 11_000, 5)] = 5000.0
    turn["terminal_peak_a"][random.integers(100, 11_000, 50)] = np.nan
    comparison = found(stage, tmp_path, slow_turn=csv(tmp_path, "a.csv", **turn))
    assert row(comparison, "running_friction").value == pytest.approx(0.012, rel=0.01)
    assert row(comparison, "friction_spot").value == pytest.approx(0.004, rel=0.05)
    assert all(words in told(comparison) for words in ("hold no number", "outliers", "gaps in time"))


def test_wrapped_angles_are_the_same_log(stage, torque_constant, tmp_path):
    turn = slow_turn(torque_constant)
    plain = found(stage, tmp_path, slow_turn=csv(tmp_path, "a.csv", **turn))
    turn["angle_deg"] = np.mod(turn["angle_deg"], 360.0)
    wrapped = found(stage, tmp_path, slow_turn=csv(tmp_path, "b.csv", **turn))
    assert row(wrapped, "friction_spot").about == row(plain, "friction_spot").about


@pytest.mark.parametrize("inertia", [0.00502, 0.0080])
def test_a_move_gives_inertia_and_gains(stage, torque_constant, tmp_path, inertia):
    times = np.linspace(0.0, 6.0, 3000)
    angle = 0.5 * (1 - np.cos(TURN * times / 2))
    speed, acceleration = 0.5 * np.pi * np.sin(np.pi * times), 0.5 * np.pi**2 * np.cos(np.pi * times)
    current = (inertia * acceleration + 0.012 * np.sign(speed)) / torque_constant
    comparison = found(stage, tmp_path, move=csv(tmp_path, "m.csv", time_s=times, angle_deg=np.degrees(angle),
                                                 terminal_peak_a=current))  # fmt: skip
    assert row(comparison, "inertia").value == pytest.approx(inertia, rel=0.01)
    assert row(comparison, "running_friction").value == pytest.approx(0.012, rel=0.02)
    gains = [each for each in comparison.logs.advice if each.about == "gains"]
    assert bool(gains) == (inertia > 0.006) == bool(comparison.logs.far)


def test_torque_constant_of_the_bench_is_used(stage, torque_constant, tmp_path):
    """A motor with 10 % more torque per ampere, whose EMF says so: the same current is 10 % more friction."""
    turn = csv(tmp_path, "a.csv", **slow_turn(torque_constant))
    emf = {"between": ["A", "B"], "peak_v": 1.0, "frequency_hz": 240.0}
    plain = compared(stage.design, bench_from_tables({"emf": [emf]}), state=stage).rows[0].predicted
    comparison = found(stage, tmp_path, slow_turn=turn, emf=emf | {"peak_v": 1.1 * plain})
    assert row(comparison, "running_friction").value == pytest.approx(1.1 * 0.012, rel=0.01)


def test_coast_downs_with_and_without_a_body(stage, tmp_path):
    inertia, times, random = stage.inertia, np.linspace(0.0, 0.5, 500), np.random.default_rng(4)
    tables = [
        csv(tmp_path, name, time_s=times,
            speed_rpm=(20.0 - 0.012 / (inertia + added) * times) * 30 / np.pi + 0.3 * random.standard_normal(500))
        | ({"added_inertia_kg_m2": added} if added else {})
        for name, added in (("a.csv", 0.0), ("b.csv", 2e-4))
    ]  # fmt: skip
    comparison = compared(stage.design, bench_from_tables({"coast_down": tables}, tmp_path), state=stage)
    assert row(comparison, "inertia").value == pytest.approx(inertia, rel=0.03)
    assert row(comparison, "coast_friction").value == pytest.approx(0.012, rel=0.03)
    alone = compared(stage.design, bench_from_tables({"coast_down": tables[:1]}, tmp_path), state=stage)
    assert "One more with a body of known inertia tells both" in told(alone)


def test_sensor_gets_a_table_that_takes_its_error_out(stage, tmp_path):
    true = np.arange(0.0, 360.0, 5.0)
    offset = np.degrees(0.3e-3 / 30e-3)
    sensor = np.mod(true + 12.0 + offset * np.sin(np.radians(true - 40.0)), 360.0)
    comparison = found(stage, tmp_path, sensor=csv(tmp_path, "s.csv", reference_deg=true, sensor_deg=sensor))
    once = row(comparison, "sensor_once_per_turn")
    assert once.far
    assert "0.3 ±" in once.words
    assert "where the sensor reads 52 degrees" in once.words
    (table,) = comparison.logs.tables
    assert table.rms_after < 0.01 * table.rms_before
    corrected = sensor - np.interp(sensor, np.arange(len(table.values) + 1) * 360 / len(table.values),
                                   np.append(table.values, table.values[0]))  # fmt: skip
    assert np.ptp(np.mod(corrected - true + 180, 360)) < 0.01 * 2 * offset
    assert comparison.logs.advice[0].about == "table"


def test_stops_split_into_play_friction_and_sensor(stage, tmp_path):
    stops = {"target_deg": 90.0, "from_below_deg": [89.50, 89.51, 89.49], "from_above_deg": [90.51, 90.50, 90.49]}
    both = found(stage, tmp_path, approach=stops)
    assert row(both, "play_and_friction").value == pytest.approx(1.0)
    assert "sensor_below_deg" in told(both)
    seen = {"sensor_below_deg": [89.97] * 3, "sensor_above_deg": [90.03] * 3}
    split = found(stage, tmp_path, approach=stops | seen)
    assert row(split, "play").value == pytest.approx(0.94)
    assert row(split, "friction_dead_band").value == pytest.approx(0.06)
    assert row(split, "sensor_at_target").value == pytest.approx(0.0, abs=1e-9)
    assert row(split, "play").far
    assert any(each.about == "preload" for each in split.logs.advice)


def test_one_sided_sensor_readings_are_refused():
    stops = {"target_deg": 90.0, "from_below_deg": [89.5], "from_above_deg": [90.5], "sensor_below_deg": [89.9]}
    with pytest.raises(DesignError, match="sensor_above_deg"):
        bench_from_tables({"approach": [stops]})


def test_small_steps_give_what_is_lost(stage, tmp_path):
    steps = {"step_deg": 0.5, "up_deg": [0.1, 0.5, 0.5, 0.501], "down_deg": [-0.08, -0.5, -0.499, -0.5]}
    comparison = found(stage, tmp_path, small_steps=steps)
    assert row(comparison, "lost_motion").value == pytest.approx(0.41, abs=0.003)
    assert row(comparison, "usual_step").value == pytest.approx(0.5, rel=0.002)


@pytest.mark.parametrize(("kind", "table", "words"), [
    ("sensor", {"reference_deg": np.arange(0, 180.0, 5), "sensor_deg": np.arange(0, 180.0, 5)}, "185 degrees"),
    ("sensor", {"reference_deg": np.arange(0, 360.0, 90), "sensor_deg": np.arange(0, 360.0, 90)}, "needs 8 places"),
    ("coast_down", {"time_s": np.arange(50.0), "speed_rpm": np.full(50, 100.0)}, "hardly falls"),
    ("move", {"time_s": np.arange(99.0), "angle_deg": np.full(99, 3.0), "terminal_peak_a": np.ones(99)}, "nothing mov"),
    ("move", {"time_s": np.arange(9.0), "angle_deg": np.arange(9.0), "terminal_peak_a": np.ones(9)}, "needs 64 rows"),
    ("slow_turn", {"time_s": np.arange(50.0), "angle_deg": np.full(50, 3.0)}, "too little for a slow turn"),
])  # fmt: skip
def test_logs_that_say_nothing_are_told_in_words(stage, tmp_path, kind, table, words):
    comparison = found(stage, tmp_path, **{kind: csv(tmp_path, "a.csv", **table)})
    assert comparison.logs.rows == ()
    assert words in told(comparison)


@pytest.mark.parametrize("design", [path for path in DESIGNS if path != STAGE], ids=lambda path: path.stem)
def test_every_design_takes_every_log(design, tmp_path):
    state = machine_state(pcbstator.load_design(design))
    turn = slow_turn(1.0)
    tables = {
        "slow_turn": csv(tmp_path, "a.csv", **turn),
        "move": csv(tmp_path, "m.csv", **slow_turn(1.0, turns=1.2)),
        "sensor": csv(tmp_path, "s.csv", reference_deg=turn["angle_deg"], sensor_deg=turn["angle_deg"] + 1.0),
        "coast_down": csv(tmp_path, "c.csv", time_s=np.arange(50.0), speed_rpm=100.0 - np.arange(50.0)),
        "approach": {"target_deg": 90.0, "from_below_deg": [89.9, 89.91], "from_above_deg": [90.1, 90.11]},
        "small_steps": {"step_deg": 0.5, "up_deg": [0.1, 0.5, 0.5], "down_deg": [-0.1, -0.5, -0.5]},
    }
    comparison = found(state, tmp_path, **tables)
    names = {each.log for each in comparison.logs.rows}
    assert names >= {"slow turn #1", "approach #1", "small steps #1", "coast down #1"}
    assert comparison_text(comparison)


def test_files_hold_page_pictures_and_table(stage, torque_constant, tmp_path):
    true = np.arange(0.0, 360.0, 5.0)
    sensor = true + 0.5 * np.sin(np.radians(true))
    turn = csv(tmp_path, "a.csv", **slow_turn(torque_constant)) | {"name": "a<b"}
    curve = csv(tmp_path, "s.csv", reference_deg=true, sensor_deg=sensor)
    comparison = found(stage, tmp_path, slow_turn=turn, sensor=curve)
    files = comparison_files(comparison)
    page = files["comparison.html"]
    assert page.count("<svg") == 4
    assert "a&lt;b" in page
    assert "a<b" not in page
    lines = files["sensor-table-1.csv"].splitlines()
    assert lines[1] == "reading_deg,subtract_deg"
    assert len(lines) == 2 + len(comparison.logs.tables[0].values)
    assert set(json.loads(files["manifest.json"])["files"][0]) == {"name", "role"}


def test_command_prints_logs_and_leaves_with_1_where_one_is_off(torque_constant, tmp_path):
    turn = csv(tmp_path, "a.csv", **slow_turn(torque_constant, ring=0.006))
    (tmp_path / "bench.toml").write_text(toml_text({"slow_turn": [turn]}), encoding="utf-8")
    out = run("compare", STAGE, tmp_path / "bench.toml", "--json")
    assert out.code == 1
    logs = json.loads(out.out)["logs"]
    once = next(each for each in logs["rows"] if each["name"] == "sensor_once_per_turn")
    assert once["far"]
    assert once["unit"] == "deg"
    assert {"advice", "correction_tables", "remarks"} <= set(logs)
