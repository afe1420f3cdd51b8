"""The command line as its user meets it: exit codes, outputs, files."""

import itertools
import json
import os
import subprocess
import sys

import pytest

from tests.command import DESIGNS, run

STAGE, FAN = DESIGNS[1], DESIGNS[3]


@pytest.fixture
def broken(tmp_path):
    """Two mistakes in one file."""
    file = tmp_path / "broken.toml"
    file.write_text(STAGE.read_text().replace("poles = 24", "poels = 24").replace("turns = 12", 'turns = "12"'))
    return file


@pytest.fixture
def unbuildable(tmp_path):
    """A design with an error finding."""
    file = tmp_path / "unbuildable.toml"
    file.write_text(STAGE.read_text().replace("height_mm = 12.0", "height_mm = 5.0"))
    return file


@pytest.mark.parametrize(
    "command",
    [
        "",
        *[
            "start",
            "predict",
            "check",
            "windings",
            "centrelines",
            "draw",
            "make",
            "outlines",
            "report",
            "simulate",
            "verify",
        ],
    ],
)
def test_help(command):
    shown = run(*command.split(), "--help")
    assert shown.code == 0 and "Usage" in shown.out


@pytest.mark.usefixtures("predicted_once")
@pytest.mark.parametrize("design", DESIGNS, ids=lambda path: path.stem)
def test_predict_as_json_and_as_text(design):
    shown = run("predict", design, "--json")
    result = json.loads(shown.out)
    assert (shown.code, shown.err) == (0, "")
    assert list(result)[:3] == ["title", "design_file", "version"]
    groups = {"winding", "copper", "electrical", "magnetic", "thermal", "mechanical", "findings"}
    assert groups <= set(result)
    assert result["design_file"] == design.name
    text = run("predict", design)
    assert text.code == 0 and result["title"] in text.out and "torque_constant_n_m_per_a" in text.out


def test_a_mistake_names_every_key_and_ends_with_2(broken):
    for command in (["predict"], ["predict", "--json"], ["check"], ["make", "-o", "folder"]):
        shown = run(command[0], broken, *command[1:])
        assert (shown.code, shown.out) == (2, "")
        assert "rotor.poels" in shown.err and "rotor.poles" in shown.err and "winding.turns" in shown.err


def test_what_does_not_fit_names_the_number_that_would(tmp_path):
    file = tmp_path / "full.toml"
    file.write_text(STAGE.read_text().replace("turns = 12", "turns = 13"))
    shown = run("predict", file)
    assert shown.code == 2 and "at most 12 turns" in shown.err


@pytest.mark.usefixtures("predicted_once")
def test_error_findings_end_with_1_and_results_are_shown(unbuildable):
    shown = run("predict", unbuildable, "--json")
    assert shown.code == 1
    result = json.loads(shown.out)
    assert result["electrical"]["phase_resistance_ohm"] > 0
    assert [finding["code"] for finding in result["findings"] if finding["severity"] == "error"] == ["envelope.height"]
    assert run("check", unbuildable).code == 1
    assert run("check", STAGE).code == 0
    listed = json.loads(run("check", unbuildable, "--json").out)
    assert {"code", "severity", "message", "value", "limit"} <= set(listed["findings"][0])


@pytest.mark.usefixtures("predicted_once")
def test_make_is_all_or_nothing(unbuildable, tmp_path):
    shown = run("make", "--no-verify", unbuildable, "-o", tmp_path / "out")
    assert shown.code == 1 and "envelope.height" in shown.err
    assert sorted(path.name for path in tmp_path.iterdir()) == ["unbuildable.toml"]


def test_make_writes_what_its_manifest_says_and_the_same_bytes_again(tmp_path):
    folder = tmp_path / "out"
    assert run("make", "--no-verify", STAGE, "-o", folder).code == 0
    manifest = json.loads((folder / "manifest.json").read_text())
    assert set(manifest) == {"title", "version", "design_sha256", "files", "terminals"}
    names = {entry["name"] for entry in manifest["files"]}
    assert names | {"manifest.json"} == {path.name for path in folder.iterdir()}
    roles = {entry["role"] for entry in manifest["files"]}
    needed = "copper mask legend profile drill-plated drill-unplated netlist job drawing report prediction"
    assert set(needed.split()) <= roles
    assert [entry["layer"] for entry in manifest["files"] if entry["role"] == "copper"] == [1, 2, 3, 4]
    assert set(manifest["terminals"]) == {"A", "B", "C", "N"}
    assert json.loads((folder / "prediction.json").read_text()) == json.loads(run("predict", STAGE, "--json").out)
    first = {path.name: path.read_bytes() for path in folder.iterdir()}
    assert run("make", "--no-verify", STAGE, "-o", folder).code == 0  # its own folder is replaced
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == first
    assert sorted(path.name for path in tmp_path.iterdir()) == ["out"]


@pytest.mark.usefixtures("unrendered", "predicted_once")
def test_make_leaves_foreign_folders_alone(tmp_path):
    folder = tmp_path / "mine"
    folder.mkdir()
    (folder / "thesis.txt").write_text("years of work")
    shown = run("make", "--no-verify", FAN, "-o", folder)
    assert shown.code == 2 and "left alone" in shown.err
    assert [path.name for path in folder.iterdir()] == ["thesis.txt"]
    assert run("make", "--no-verify", FAN, "-o", tmp_path / "made").code == 0
    (tmp_path / "made" / "notes.txt").write_text("mine")
    shown = run("make", "--no-verify", FAN, "-o", tmp_path / "made")
    assert shown.code == 2 and "notes.txt" in shown.err


@pytest.mark.usefixtures("unrendered", "predicted_once")
def test_make_fills_the_empty_folder_it_runs_in_and_makes_those_that_are_missing(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert run("make", "--no-verify", FAN, "-o", ".").code == 0
    names = {path.name for path in tmp_path.iterdir()}
    assert run("make", "--no-verify", FAN, "-o", ".").code == 0
    assert {path.name for path in tmp_path.iterdir()} == names and "manifest.json" in names
    assert run("make", "--no-verify", FAN, "-o", tmp_path.with_name(tmp_path.name + "-new") / "such").code == 0
    assert {path.name for path in (tmp_path.with_name(tmp_path.name + "-new") / "such").iterdir()} == names


def test_start_never_overwrites(tmp_path):
    file = tmp_path / "motor.toml"
    assert run("start", file).code == 0
    assert run("predict", file).code in (0, 1)
    file.write_text("mine")
    shown = run("start", file)
    assert shown.code == 2 and file.read_text() == "mine"


@pytest.mark.usefixtures("predicted_once")
@pytest.mark.parametrize(("command", "name"), [("draw", "a.svg"), ("report", "a.html"), ("centrelines", "a.json")])
def test_single_files_and_their_endings(command, name, tmp_path):
    assert run(command, STAGE, "-o", tmp_path / name).code == 0
    assert (tmp_path / name).stat().st_size > 1000
    shown = run(command, STAGE, "-o", tmp_path / "design.toml")
    assert shown.code == 2 and "must end in" in shown.err
    assert [path.name for path in tmp_path.iterdir()] == [name]
    assert run(command, STAGE, "-o", tmp_path / "none" / name).code == 2


def test_centrelines_are_continuous_paths():
    result = json.loads(run("centrelines", STAGE).out)
    assert [phase["name"] for phase in result["phases"]] == ["A", "B", "C"]
    for phase in result["phases"]:
        for path in phase["paths"]:
            tracks = path["tracks"]
            assert tracks[0]["points_mm"][0] == [phase["terminal"]["x_mm"], phase["terminal"]["y_mm"]]
            assert tracks[-1]["points_mm"][-1] == [phase["end"]["x_mm"], phase["end"]["y_mm"]]
            for here, there in itertools.pairwise(tracks):
                assert here["points_mm"][-1] == pytest.approx(there["points_mm"][0], abs=2e-6)
    places = {(via["x_mm"], via["y_mm"]) for via in result["vias"]}
    assert len(places) == len(result["vias"]) == 90
    assert set(result["vias"][0]) == {"x_mm", "y_mm", "drill_mm", "from_layer", "to_layer", "net"}


def test_windings():
    shown = run("windings", "--coils", "9:12", "--poles", "8:10")
    assert shown.code == 0 and "0.9452" in shown.out
    rows = json.loads(run("windings", "--coils", "12", "--json").out)["windings"]
    assert rows[0]["factor"] == pytest.approx(0.9330, abs=5e-5)
    for wrong in ("a:b", "9:3", "0:4", "3:100000"):
        assert run("windings", "--coils", wrong).code == 2


@pytest.mark.usefixtures("unrendered", "predicted_once")
def test_a_title_cannot_steer_the_terminal(tmp_path):
    file = tmp_path / "odd.toml"
    file.write_text(STAGE.read_text().replace('"Photogrammetry stage"', '"<b>*%\\u00e9\\"&"'))
    shown = run("predict", file)
    assert shown.code == 0 and '<b>*%é"&' in shown.out
    assert run("make", "--no-verify", file, "-o", tmp_path / "odd").code == 0


def test_entry_point_in_a_process_of_its_own(broken):
    environment = os.environ | {"PYTHONWARNINGS": "error"}
    command = [sys.executable, "-m", "pcbstator", "predict"]
    done = subprocess.run([*command, str(broken)], capture_output=True, text=True, env=environment, check=False)
    assert done.returncode == 2 and "Traceback" not in done.stderr and "rotor.poels" in done.stderr


def test_the_bytes_do_not_depend_on_threads():
    """Sums that several threads share end in other last digits; told apart on machines with more than one core."""
    told = {run("predict", STAGE, "--json").out.encode()}  # with one
    for threads in ("2", "nonsense"):
        environment = os.environ | {"OPENBLAS_NUM_THREADS": threads, "OMP_NUM_THREADS": threads}
        command = [sys.executable, "-m", "pcbstator", "predict", str(STAGE), "--json"]
        told.add(subprocess.run(command, capture_output=True, env=environment, check=True).stdout)
    assert len(told) == 1


def test_nothing_loads_linear_algebra_before_its_threads_are_set():
    """They are read when numpy is loaded, and never again."""
    code = "import sys, pcbstator.cli.commands; sys.exit('numpy' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
