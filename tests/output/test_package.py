"""The folder of ``make``: what the manifest promises is there, for every design."""

from __future__ import annotations

import hashlib
import json
import tomllib

import pytest

import pcbstator
from pcbstator.design import design_from_document
from pcbstator.design.file_text import design_file
from pcbstator.errors import OutputError
from pcbstator.output.fabrication.package import package_files
from tests.command import DESIGNS, no_rendering
from tests.shipped import shipped

ROLES = {
    "copper", "mask", "legend", "profile", "drill-plated", "drill-unplated", "netlist", "job", "drawing", "report",
    "prediction", "design", "upload", "parts",
}  # fmt: skip


@pytest.fixture(scope="module", params=DESIGNS, ids=lambda path: path.stem)
def package(request):
    """Design, prediction, copper, files and manifest."""
    design, copper, prediction = shipped(request.param.stem)
    with no_rendering():
        files = package_files(design, copper, prediction)
    return request.param, design, copper, prediction, files, json.loads(files["manifest.json"])


def test_no_design_here_has_an_error(package):
    prediction = package[3]
    assert [finding.code for finding in prediction.findings if finding.severity == "error"] == []


def test_manifest_head(package):
    path, design, _, prediction, _, manifest = package
    folders = {"folders"} if design.slip_ring else set()
    assert set(manifest) == {"title", "version", "design_sha256", "files", "terminals"} | folders
    assert (manifest["title"], manifest["version"]) == (design.title, prediction.version)
    assert manifest["design_sha256"] == hashlib.sha256(path.read_bytes()).hexdigest()


def test_manifest_names_every_file_and_no_other(package):
    *_, files, manifest = package
    names = [entry["name"] for entry in manifest["files"]]
    assert len(set(names)) == len(names)
    assert {*names, "manifest.json"} == {name for name in files if "/" not in name}
    assert sorted(manifest.get("folders", [])) == sorted({name.split("/")[0] for name in files if "/" in name})
    assert all(len(content) > 50 for content in files.values())
    assert all("/" not in name and name == name.strip() for name in names)


def test_manifest_roles_and_layers(package):
    _, design, _, _, _, manifest = package
    roles = [entry["role"] for entry in manifest["files"]]
    assert set(roles) == ROLES
    assert [roles.count(role) for role in ("mask", "legend", "profile", "job", "report")] == [2, 2, 1, 1, 1]
    layers = [entry["layer"] for entry in manifest["files"] if entry["role"] == "copper"]
    assert layers == list(range(1, design.board.layers + 1))
    assert all(("layer" in entry) == (entry["role"] == "copper") for entry in manifest["files"])


def test_manifest_terminals_are_the_copper_s(package):
    _, _, copper, _, _, manifest = package
    assert set(manifest["terminals"]) == {"A", "B", "C", "N"}
    for terminal in copper.terminals:
        given = manifest["terminals"][terminal.name]
        assert set(given) == {"x_mm", "y_mm", "layer"}
        assert (given["x_mm"], given["y_mm"]) == pytest.approx((1e3 * terminal.x, 1e3 * terminal.y), abs=1e-6)
        assert given["layer"] == terminal.layer


def test_job_file_lists_the_files_of_the_board_manufacturer(package):
    *_, files, manifest = package
    listed = {entry["Path"]: entry["FileFunction"] for entry in json.loads(files["board.gbrjob"])["FilesAttributes"]}
    made = {entry["name"] for entry in manifest["files"] if entry["name"].endswith((".gbr", ".drl"))}
    assert set(listed) >= {name for name in made if name.endswith(".gbr")}
    assert set(listed) <= made
    for entry in manifest["files"]:
        if entry["role"] == "copper":
            assert listed[entry["name"]].startswith(f"Copper,L{entry['layer']},")


def test_prediction_file_is_the_prediction(package):
    _, _, _, prediction, files, _ = package
    assert json.loads(files["prediction.json"]) == prediction.to_dict()


@pytest.mark.slow
@pytest.mark.parametrize("path", [path for path in DESIGNS if path.stem != "photogrammetry-stage"])
def test_the_same_design_gives_the_same_bytes(path):
    """The design left out is made twice by the command itself: tests/test_cli.py."""
    design = pcbstator.load_design(path)
    copper = pcbstator.lay_copper(design)
    files = package_files(design, copper, pcbstator.predict(design, copper))
    assert package_files(*shipped(path.stem)) == files


def test_the_folder_holds_the_design_it_was_made_from(package):
    """The file to the byte, so that its sum is the manifest's."""
    path, *_, files, manifest = package
    assert files["design.toml"] == path.read_bytes()
    assert hashlib.sha256(files["design.toml"]).hexdigest() == manifest["design_sha256"]


def test_a_design_without_a_file_is_written_from_its_tables():
    """Whatever the order of its keys; what is read again is the same design."""
    tables = tomllib.loads((DESIGNS[0].parent / "filter-wheel.toml").read_text(encoding="utf-8"))
    turned = {name: dict(reversed(v.items())) if isinstance(v, dict) else v for name, v in reversed(tables.items())}
    written = design_file(design_from_document(tables))
    assert design_file(design_from_document(turned)) == written
    assert tomllib.loads(written.decode()) == tables
    changed = pcbstator.load_design(DESIGNS[0].parent / "filter-wheel.toml").with_values({"winding.turns": 3})
    assert tomllib.loads(design_file(changed).decode())["winding"]["turns"] == 3


@pytest.mark.parametrize("name", ["wheel.csv", "Report.html"])
def test_a_recorded_motion_goes_with_the_design(name, tmp_path):
    """Unless it has the name of another file of the folder."""
    tables = tomllib.loads((DESIGNS[0].parent / "filter-wheel.toml").read_text(encoding="utf-8"))
    tables["motion"] = {"table_csv": name}
    recording = b"time_s,angle_deg\r\n0,0\r\n0.2,10\r\n0.4,30\r\n0.6,40\r\n"
    (tmp_path / name).write_bytes(recording)
    design = design_from_document(tables, "wheel.toml", tmp_path)
    copper = pcbstator.lay_copper(design)
    prediction = pcbstator.predict(design, copper)
    if name == "Report.html":
        with pytest.raises(OutputError, match="rename the recording"):
            package_files(design, copper, prediction)
        return
    files = package_files(design, copper, prediction)
    roles = {entry["name"]: entry["role"] for entry in json.loads(files["manifest.json"])["files"]}
    assert files[name] == recording and roles[name] == "motion"
