"""The command ``compare`` as it is typed."""

import json

from tests.command import DESIGNS, run, toml_text

STAGE = next(path for path in DESIGNS if path.stem == "photogrammetry-stage")
GOOD = {"between": ["A", "B"], "ohm": 36.9, "copper_c": 22.0}


def bench(folder, **tables):
    (folder / "bench.toml").write_text(toml_text(tables), encoding="utf-8")
    return folder / "bench.toml"


def test_a_healthy_motor_leaves_with_0(tmp_path):
    told = run("compare", STAGE, bench(tmp_path, resistance=[GOOD]))
    assert told.code == 0, told.err
    assert "within what its tolerances allow" in told.out


def test_a_slip_leaves_with_1_and_is_named(tmp_path):
    told = run("compare", STAGE, bench(tmp_path, resistance=[GOOD | {"ohm": 0.0369}]), "--json")
    assert told.code == 1
    assert "units off by 1000" in json.loads(told.out)["readings"][0]["likely_slip"]


def test_a_mistake_leaves_with_2_and_one_line_each(tmp_path):
    told = run("compare", STAGE, bench(tmp_path, resistance=[GOOD | {"ohm": -1.0}, {"ohm": 3.0}]))
    assert (told.code, told.out) == (2, "")
    assert len(told.err.splitlines()) == 3


def test_the_folder_holds_picture_text_and_data(tmp_path):
    told = run("compare", STAGE, bench(tmp_path, resistance=[GOOD]), "-o", tmp_path / "found")
    assert told.code == 0, told.err
    assert {path.name for path in (tmp_path / "found").iterdir()} >= {"comparison.svg", "comparison.txt"}


def test_a_folder_may_be_written_again_but_never_over_readings(tmp_path):
    """One compares again and again; the folder of the sheet holds what was measured."""
    readings = bench(tmp_path, resistance=[GOOD])
    for _ in range(2):
        assert run("compare", STAGE, readings, "-o", tmp_path / "found").code == 0
    assert run("bench", STAGE, "-o", tmp_path / "sheet").code == 0
    filled = tmp_path / "sheet" / "bench.toml"
    filled.write_text(readings.read_text(encoding="utf-8"), encoding="utf-8")
    told = run("compare", STAGE, filled, "-o", tmp_path / "sheet")
    assert told.code == 2
    assert "holds readings" in told.err
    assert filled.read_text(encoding="utf-8") == readings.read_text(encoding="utf-8")
