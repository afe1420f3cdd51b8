"""Readings as they are written: what is taken, and the clear word for what is not."""

import numpy as np
import pytest

from pcbstator.bench.load import bench_from_tables, load_bench
from pcbstator.errors import DesignError
from tests.command import toml_text

RESISTANCE = {"between": ["A", "B"], "ohm": 3.2, "copper_c": 22.0}


def refused(tables, folder=None):
    with pytest.raises(DesignError) as told:
        bench_from_tables(tables, folder)
    return [str(complaint) for complaint in told.value.complaints]


def wave(folder, text, **more):
    (folder / "wave.csv").write_text(text, encoding="utf-8")
    return bench_from_tables({"emf": [{"between": ["A", "B"], "table_csv": "wave.csv", **more}]}, folder)


def rows(times, values, separator=",", mark="."):
    return "".join(f"{t:.9f}{separator}{v:.9f}\n".replace(".", mark) for t, v in zip(times, values, strict=True))


@pytest.mark.parametrize(("change", "place", "words"), [
    ({"copper_c": None}, "resistance[1].copper_c", "is required; got nothing; add copper_c = 22.0, in C"),
    ({"ohm": -3.2}, "resistance[1].ohm", "a resistance is above 0: short the leads"),
    ({"ohm": float("nan")}, "resistance[1].ohm", "this is no number"),
    ({"leads_ohm": 4.0}, "resistance[1].leads_ohm", "must be less than the reading"),
    ({"ohms": 3.0}, "resistance[1].ohms", "did you mean ohm?"),
    ({"between": ["A", "A"]}, "resistance[1].between", "must be two different terminals"),
    ({"uncertainty_percent": -1.0}, "resistance[1].uncertainty_percent", "must be a number from 0.001 to 100 %"),
])  # fmt: skip
def test_each_bad_reading_is_told_in_one_line(change, place, words):
    table = {name: value for name, value in (RESISTANCE | change).items() if value is not None}
    (told,) = refused({"resistance": [table]})
    assert told.startswith(f"{place}: ")
    assert words in told


def test_all_complaints_come_at_once():
    told = refused({
        "resistance": [RESISTANCE | {"ohm": -1.0}],
        "emf": [{"between": ["A", "B"], "peak_v": 1.0, "rms_v": 1.0, "frequency_hz": 10.0}, {"between": ["A", "B"]}],
        "inductanse": [],
    })  # fmt: skip
    assert len(told) == 4
    assert any(
        "must have one of peak_v, peak_to_peak_v, rms_v, table_csv; got peak_v and rms_v" in line for line in told
    )
    assert any("did you mean inductance?" in line for line in told)


def test_an_empty_bench_is_told():
    assert "at least one reading is needed" in refused({})[0]


def test_peak_peak_to_peak_and_rms_are_three_keys():
    sizes = {"peak_v": 1.0, "peak_to_peak_v": 2.0, "rms_v": 2**-0.5}  # of one sine wave
    bench = bench_from_tables({"emf": [{"between": ["A", "B"], k: v, "speed_rpm": 100.0} for k, v in sizes.items()]})
    assert [reading.value / reading.over_peak for reading in bench.emf] == pytest.approx([1.0, 1.0, 1.0])


def test_grams_at_a_lever_are_newton_metres():
    """100 g at 100 mm: standard gravity 9.80665 m/s2 (CGPM 1901)."""
    table = {"between": ["A", "B"], "current_a": 1.0, "lever_mm": 100.0, "grams": 120.0, "free_grams": 20.0}
    assert bench_from_tables({"static_torque": [table]}).static_torque[0].value == pytest.approx(0.0980665)


@pytest.mark.parametrize(("text", "words"), [
    ("", "an empty file"),
    ("time_s,voltage_v\n", "0 rows"),
    ("time_s,volts\n0,1\n", "must have the columns time_s or time_ms or time_us and voltage_v"),
    ("time_s,voltage_v\n0,1\n1,two\n2,3\n", "2 of them whole"),
    ("time_s,voltage_v\n" + "nan,nan\n" * 1_000_000, "1000000 rows, 0 of them whole"),
])  # fmt: skip
def test_a_file_without_numbers_is_told(tmp_path, text, words):
    with pytest.raises(DesignError) as told:
        wave(tmp_path, text)
    assert words in str(told.value)


def test_half_a_period_is_told(tmp_path):
    times = np.linspace(0.0, 0.01, 500)
    with pytest.raises(DesignError, match="must hold at least 2 whole periods of the wave"):
        wave(tmp_path, "time_s,voltage_v\n" + rows(times, np.sin(2 * np.pi * 50 * times)))


def test_a_file_outside_the_folder_is_not_read(tmp_path):
    with pytest.raises(DesignError, match="must name a file that lies beside the bench file"):
        bench_from_tables({"coast_down": [{"table_csv": "../log.csv"}]}, tmp_path)


@pytest.mark.parametrize(("head", "separator", "mark"), [
    ("time_s,voltage_v\n", ",", "."),
    ("# scope 7, channel 1\n# time_s;voltage_v\n", ";", ","),
    ("recorded on a Tuesday\ntime_s\tvoltage_v\n", "\t", ","),
    ("time_s voltage_v\n", " ", "."),
])  # fmt: skip
def test_separator_and_decimal_mark_are_told_apart(tmp_path, head, separator, mark):
    """A sine with 5 % of the third harmonic, opposed: its crest is 1.05 times the fundamental, in closed form."""
    times = np.linspace(0.0, 0.1, 4001)
    values = 2.0 * (np.sin(2 * np.pi * 61 * times) - 0.05 * np.sin(6 * np.pi * 61 * times))
    (found,) = wave(tmp_path, head + rows(times, values, separator, mark)).emf
    assert found.measured_frequency == pytest.approx(61, rel=1e-4)
    assert found.value == pytest.approx(2.1, rel=1e-4)


def test_noise_does_not_raise_the_crest(tmp_path):
    times = np.linspace(0.0, 0.2, 8001)
    noise = 0.1 * np.random.default_rng(3).standard_normal(len(times))
    (found,) = wave(tmp_path, "time_s,voltage_v\n" + rows(times, 2 * np.sin(2 * np.pi * 61 * times) + noise)).emf
    assert found.value == pytest.approx(2.0, rel=0.01)  # the largest sample is at 2.3
    assert found.measured_frequency == pytest.approx(61, rel=1e-3)


def test_gaps_and_outliers_are_left_out_and_said(tmp_path):
    times = np.delete(np.arange(0.0, 2.0, 0.01), np.s_[100:120])
    speeds = 600.0 - 100.0 * times
    lines = rows(times, speeds).splitlines()
    lines[30], lines[50] = "0.300000000,", "0.500000000,9999"
    (tmp_path / "log.csv").write_text("time_s,speed_rpm\n" + "\n".join(lines), encoding="utf-8")
    (found,) = bench_from_tables({"coast_down": [{"table_csv": "log.csv"}]}, tmp_path).coast_down
    assert len(found.table.columns["time"]) == len(times) - 2
    slope = np.polyfit(found.table.columns["time"], found.table.columns["speed"], 1)[0]
    assert slope == pytest.approx(-100 * np.pi / 30, rel=1e-6)
    told = " / ".join(found.table.remarks)
    assert "1 of 180 rows hold no number" in told
    assert "1 outliers of speed" in told
    assert "1 gaps in time" in told


def test_other_units_of_a_column_become_si(tmp_path):
    (tmp_path / "log.csv").write_text("time_ms,angle_deg\n0,0\n500,90\n1000,180\n", encoding="utf-8")
    table = bench_from_tables({"slow_turn": [{"table_csv": "log.csv"}]}, tmp_path).slow_turn[0].table
    assert table.columns["time"].tolist() == [0.0, 0.5, 1.0]
    assert table.columns["angle"] == pytest.approx([0.0, np.pi / 2, np.pi])


def test_readings_have_names_and_serial_numbers(tmp_path):
    named = RESISTANCE | {"board": "07", "name": "first try"}
    (tmp_path / "bench.toml").write_text(toml_text({"resistance": [RESISTANCE, named]}), encoding="utf-8")
    one, other = load_bench(tmp_path / "bench.toml").readings
    assert (one.name, one.board, one.uncertainty) == ("resistance AB #1", "1", 0.01)
    assert (other.name, other.board) == ("first try", "07")
