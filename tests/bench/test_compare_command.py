"""The command ``compare`` as it is typed."""

import json

import pytest

import pcbstator
from pcbstator.bench.built.choice import chosen_motor
from pcbstator.bench.built.result import BuiltMotor
from pcbstator.errors import OutputError
from pcbstator.project import save_design
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


@pytest.mark.usefixtures("unrendered", "predicted_once")
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


@pytest.mark.usefixtures("unrendered")
def test_the_motor_as_built_is_written_once_and_its_drive_beside_the_page(tmp_path):
    """Of two boards in one file; their scatter is told."""
    test = {"board": "b", "sensor_deg": [12.4, 22.4, 32.4], "sense": "rises", "pole_pairs": 12}
    pairs = [GOOD | {"board": name, "ohm": 36.0 + k} for k, name in enumerate("ab")]
    readings, design = bench(tmp_path, resistance=pairs, commissioning=[test]), tmp_path / "stage.toml"
    save_design(pcbstator.load_design(STAGE).with_values({"build": None}), design)
    built, folder = tmp_path / "built.toml", tmp_path / "found"
    told = run("compare", design, readings, "--built", built, "--board", "b", "-o", folder, "--json")
    assert told.code == 0, told.err
    assert json.loads(told.out)["scatter"][0]["count"] == 2
    header = (folder / "drive-2.h").read_text(encoding="utf-8")
    assert '#define DRIVE_PHASE_ORDER "ABC"' in header and "electrical angle = pole_pairs angle" in header
    assert json.loads((folder / "drive-2.json").read_text(encoding="utf-8"))["sensor_sense"] == 1
    text = built.read_text(encoding="utf-8")
    assert "board b" in text and pcbstator.load_design(built).document["board"] != {}
    again = run("compare", design, readings, "--built", built)
    assert again.code == 2 and "never overwritten" in again.err
    assert built.read_text(encoding="utf-8") == text


@pytest.mark.parametrize(
    ("board", "words"),
    [(None, "readings of 2 motors; name one"), ("c", "no such motor"), ("b", "no design is written of board b")],
)
def test_a_motor_that_is_not_told_or_must_be_repaired_is_not_written(board, words):
    motors = [BuiltMotor("a", "1", text="x"), BuiltMotor("b", "1", refused="repair it first")]
    with pytest.raises(OutputError, match=words):
        chosen_motor(motors, board, None)
    assert chosen_motor(motors, "a", "1").text == "x"
