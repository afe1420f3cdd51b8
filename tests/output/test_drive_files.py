"""Drive parameters: the header compiles and says the same as the JSON, the JSON the same as the prediction."""

from __future__ import annotations

import json
import re
import shutil
import subprocess

import pytest

from pcbstator.analysis.drive.parameters import drive_parameters
from pcbstator.output.report.drive_files import drive_header, drive_json
from tests.command import DESIGNS, run
from tests.shipped import shipped

STAGE = next(path for path in DESIGNS if path.stem == "photogrammetry-stage")
UNITS = (
    "ohm", "h", "wb", "a", "v", "hz", "s", "rad", "kg_m2", "n_m", "rpm_per_line_peak_v", "n_m_per_peak_a", "per_turn",
    "n_m_s_per_rad", "n_m_per_rad", "v_per_a", "v_per_a_s", "rad_per_s", "per_s", "per_sample",
)  # fmt: skip
COUNTS = {"phases", "pole_pairs", "gear_ratio", "per_unit_current_kp", "per_unit_speed_kp", "per_unit_position_kp"}


@pytest.fixture(scope="module")
def stage():
    design, _, prediction = shipped(STAGE.stem)
    return design, prediction


def test_parameters_are_those_of_the_prediction(stage):
    design, prediction = stage
    found = drive_parameters(design, prediction)
    result = prediction.to_dict()
    assert found["pole_pairs"] == 12
    assert found["phase_resistance_20c_ohm"] == result["electrical"]["phase_resistance_ohm"]
    choke = design.document["drive"]["choke_uh"] * 1e-6  # in each wire: the current loop has it before it as well
    assert choke > 0
    assert found["phase_inductance_h"] == pytest.approx(
        result["electrical"]["synchronous_inductance_h"] + choke, rel=1e-12
    )
    assert found["flux_linkage_peak_wb"] == pytest.approx(result["magnetic"]["flux_linkage_peak_wb"], rel=1e-3)
    assert found["speed_constant_rpm_per_line_peak_v"] == result["magnetic"]["speed_constant_rpm_per_v"]
    for name in ("current_kp_v_per_a", "current_ki_v_per_a_s", "speed_kp_n_m_s_per_rad", "position_kp_per_s"):
        assert found[name] == result["drive"][name]
    for name in found:
        assert name in COUNTS or name.endswith(UNITS), name


def test_header_says_what_the_json_says(stage):
    design, prediction = stage
    found = drive_parameters(design, prediction)
    told = json.loads(drive_json(found, "T", "1"))
    text = drive_header(found, 'A "title" */ with é', "1")
    assert text.isascii() and text.count("*/") == 1
    lines = dict(re.findall(r"^#define DRIVE_(\w+) (\S+)$", text, re.MULTILINE))
    assert {name.lower() for name in lines} == set(found)
    for name, value in lines.items():
        assert float(value.removesuffix("f")) == pytest.approx(told[name.lower()], rel=1e-8)


@pytest.mark.skipif(shutil.which("gcc") is None, reason="no C compiler here")
def test_header_compiles_without_a_warning(stage, tmp_path):
    design, prediction = stage
    (tmp_path / "drive.h").write_text(drive_header(drive_parameters(design, prediction), design.title, "1"))
    (tmp_path / "main.c").write_text(
        '#include "drive.h"\n#include "drive.h"\n#include <stdio.h>\n'
        "int main(void) { const float gain = DRIVE_CURRENT_KP_V_PER_A;\n"
        '  printf("%d %.9g\\n", DRIVE_POLE_PAIRS, (double)gain); return 0; }\n'
    )
    command = ["gcc", "-std=c99", "-Wall", "-Wextra", "-Wpedantic", "-Werror", "main.c", "-o", "main"]
    subprocess.run(command, cwd=tmp_path, check=True)
    said = subprocess.run([tmp_path / "main"], capture_output=True, text=True, check=True).stdout.split()
    assert int(said[0]) == 12 and float(said[1]) == pytest.approx(prediction.drive.current_kp, rel=1e-6)


def test_a_design_without_a_drive_has_the_machine_only():
    design, _, prediction = shipped("small-fan")
    found = drive_parameters(design, prediction)
    assert "pole_pairs" in found and "current_kp_v_per_a" not in found


def test_simulate_writes_its_folder_and_replaces_it(tmp_path):
    for _ in range(2):
        done = run("simulate", STAGE, "--scenario", "hold,moves", "-o", tmp_path / "out")
        assert (done.code, done.err) == (0, "")
    assert "9 files written" in done.out.splitlines()[0]
    assert done.out.split("\n", 1)[1] == run("simulate", STAGE, "--scenario", "hold,moves").out
    names = sorted(path.name for path in (tmp_path / "out").iterdir())
    assert names == sorted(
        ["simulation.html", "simulation.json", "hold.svg", "hold.csv", "moves.svg", "moves.csv", "drive.json",
         "drive.h", "manifest.json"]
    )  # fmt: skip
    manifest = json.loads((tmp_path / "out" / "manifest.json").read_text())
    assert {entry["name"] for entry in manifest["files"]} | {"manifest.json"} == set(names)
    page = (tmp_path / "out" / "simulation.html").read_text(encoding="utf-8")
    assert page.count("<svg") == 2 and "http" not in re.sub(r'xmlns(:\w+)?="[^"]*"', "", page)
    assert "energy" not in page and "the sensor believes" in page
    table = (tmp_path / "out" / "moves.csv").read_text().splitlines()
    assert table[0].startswith("time_s,wanted_deg,load_deg,believed_deg") and len(table) > 1000
    assert all(line.count(",") == table[0].count(",") for line in table)


def test_simulate_as_json_and_its_mistakes(tmp_path):
    shown = run("simulate", STAGE, "--scenario", "hold", "--json")
    result = json.loads(shown.out)
    assert shown.code == 0 and set(result["scenarios"]) == {"hold"}
    assert result["scenarios"]["hold"]["largest_deflection_deg"] > 0 and result["error_budget"]
    unknown = run("simulate", STAGE, "--scenario", "wobble")
    assert unknown.code == 2 and "moves, slow, approach, steps, hold" in unknown.err
    fan = next(path for path in DESIGNS if path.stem == "small-fan")
    lacking = run("simulate", fan)
    assert lacking.code == 2 and "drive: this section is required" in lacking.err and lacking.out == ""
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "keep.txt").write_text("mine")
    assert run("simulate", STAGE, "--scenario", "hold", "-o", tmp_path / "mine").code == 2
    assert (tmp_path / "mine" / "keep.txt").read_text() == "mine"


def test_simulate_leaves_with_1_where_the_design_has_errors(tmp_path):
    bad = tmp_path / "bad.toml"
    bad.write_text(STAGE.read_text().replace("height_mm = 12.0", "height_mm = 5.0"))
    assert run("simulate", bad, "--scenario", "hold").code == 1
