"""Folders as board editors write them, and folders that would do harm."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest

from pcbstator.errors import FilesError
from pcbstator.verify.reading import read_boards
from pcbstator.verify.reading.board import read_board
from pcbstator.verify.reading.limits import MOST_BYTES
from pcbstator.verify.reading.map_file import MapFile
from pcbstator.verify.reading.roles import DRILL, GERBER, name_role
from tests.verify.gerber_texts import drill, flash, gerber, line

COPPER = gerber(f"%ADD10C,1*%D10*{line((0, 0), (9, 0))}")
PROFILE = gerber("%ADD10C,0.1*%D10*" + line((-5, -5), (15, -5), (15, 5), (-5, 5), (-5, -5)))
DRILLED = drill("T01\nX0.0Y0.0\nX9.0Y0.0")


def folder(path: Path, files: dict[str, str | bytes]) -> Path:
    for name, content in files.items():
        (path / name).parent.mkdir(parents=True, exist_ok=True)
        (path / name).write_bytes(content if isinstance(content, bytes) else content.encode())
    return path


@pytest.mark.parametrize(
    "names",
    [
        ("b-F_Cu.gbr", "b-In1_Cu.gbr", "b-In2_Cu.gbr", "b-B_Cu.gbr", "b-Edge_Cuts.gbr", "b-PTH.drl"),
        ("b-F_Cu.gtl", "b-In1_Cu.g1", "b-In2_Cu.g2", "b-B_Cu.gbl", "b-Edge_Cuts.gm1", "b-PTH.drl"),
        ("b.GTL", "b.G1", "b.G2", "b.GBL", "b.GKO", "b-Plated.TXT"),
        ("copper_top.gbr", "copper_inner1.gbr", "copper_inner2.gbr", "copper_bottom.gbr", "profile.gbr", "pth.xln"),
        ("b.cmp", "b.ly2", "b.ly3", "b.sol", "b.dim", "b.pth.drd"),
        ("Top.gbr", "Inner1.gbr", "Inner2.gbr", "Bottom.gbr", "Outline.gbr", "Plated.exc"),
        ("layer1.art", "layer2.art", "layer3.art", "layer4.art", "board_outline.art", "plated.nc"),
        ("copper-1.gbr", "copper-2.gbr", "copper-3.gbr", "copper-4.gbr", "profile.gbr", "drill-plated.drl"),
    ],
)  # fmt: skip
def test_names_of_board_editors(tmp_path: Path, names: tuple[str, ...]) -> None:
    """Common practice of board editors, no source."""
    (board,) = read_boards(folder(tmp_path, dict(zip(names, [COPPER] * 4 + [PROFILE, DRILLED], strict=True))))
    assert [layer.file for layer in board.layers] == list(names[:4])
    assert [hole.plated for hole in board.holes] == [True, True]
    assert board.edge is not None
    assert board.edge.area == pytest.approx(200)


@pytest.mark.parametrize(
    ("name", "kind", "expected"),
    [
        ("b-F_Mask.gbr", GERBER, ("mask", "top")),
        ("b-B_Mask.gbr", GERBER, ("mask", "bottom")),
        ("soldermask_bottom.gbr", GERBER, ("mask", "bottom")),
        ("b.gts", GERBER, ("mask", "top")),
        ("b-F_Silkscreen.gbr", GERBER, ("ignore", "")),
        ("b-F_Paste.gbr", GERBER, ("ignore", "")),
        ("legend-top.gbr", GERBER, ("ignore", "")),
        ("b-NPTH-drl_map.gbr", GERBER, ("ignore", "")),
        ("readme.gbr", GERBER, None),
        ("b-NPTH.drl", DRILL, ("drill", "")),
    ],
)
def test_names_of_other_files(name: str, kind: str, expected: tuple[str, str] | None) -> None:
    role = name_role(name, kind)
    assert (None if role is None else (role.kind, role.side)) == expected


def test_attributes_outweigh_the_job_file_and_both_outweigh_names(tmp_path: Path) -> None:
    top = COPPER.replace("%FSLA", "%TF.FileFunction,Copper,L1,Top*%\n%FSLA")
    bottom = COPPER.replace("%FSLA", "%TF.FileFunction,Copper,L2,Bot*%\n%FSLA")
    job = {
        "GeneralSpecs": {"LayerNumber": 2},
        "FilesAttributes": [
            {"Path": "x.gbr", "FileFunction": "Copper,L2,Bot"},
            {"Path": "y.gbr", "FileFunction": "Copper,L1,Top"},
        ],
    }
    files: dict[str, str | bytes] = {"x.gbr": top, "y.gbr": bottom, "a.gbrjob": json.dumps(job)}
    (board,) = read_boards(folder(tmp_path, files))
    assert [layer.file for layer in board.layers] == ["x.gbr", "y.gbr"]
    assert [finding.code for finding in board.findings] == ["verify.layer", "verify.layer"]
    plain: dict[str, str | bytes] = {"x.gbr": COPPER, "y.gbr": COPPER, "a.gbrjob": json.dumps(job)}
    other = tmp_path / "other"
    other.mkdir()
    (board,) = read_boards(folder(other, plain))
    assert [layer.file for layer in board.layers] == ["y.gbr", "x.gbr"]


def test_a_map_file_says_what_files_are(tmp_path: Path) -> None:
    files: dict[str, str | bytes] = {
        "one": COPPER, "two": COPPER, "sub/h.txt": drill("T1\nX10Y10", "METRIC\nT1C0.3\n"), "o": PROFILE,
    }  # fmt: skip
    told = tmp_path / "map.toml"
    told.write_text(
        '[files]\n"one" = "copper 2"\n"two" = "copper 1"\n"sub/h.txt" = "plated"\n"o" = "profile"\n'
        '[drill]\nunit = "inch"\ndigits = [2, 4]\nzeros_left_out = "leading"\n[terminals]\nA = [1.0, 2.0]\n'
    )
    (board,) = read_boards(folder(tmp_path / "b", files), told)
    assert [layer.file for layer in board.layers] == ["two", "one"]
    assert board.holes[0].path[0] == pytest.approx([0.0254, 0.0254])
    assert board.terminals == {"A": (1.0, 2.0)}


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ('[files]\n"a" = "copper 0"\n', 'files."a": must be one of'),
        ('[files]\n"a" = 3\n', 'files."a": must be one of'),
        ('[files]\n"gone" = "copper 1"\n', "not in the folder"),
        ("[file]\n", "is no table"),
        ("files = 3\n", "must be a table"),
        ('[drill]\nunit = "mil"\n', "drill.unit"),
        ("[drill]\ndigits = [2]\n", "drill.digits"),
        ('[drill]\nzeros = "x"\n', "is no key"),
        ("[terminals]\nA = [1]\n", "terminals.A"),
        ("[terminals]\nA = [1, inf]\n", "terminals.A"),
        ("not toml", "must be TOML"),
    ],
)
def test_map_files_are_strict(tmp_path: Path, text: str, says: str) -> None:
    (tmp_path / "m.toml").write_text(text)
    with pytest.raises(FilesError) as told:
        read_boards(folder(tmp_path / "b", {"a": COPPER}), tmp_path / "m.toml")
    assert says in str(told.value)


@pytest.mark.parametrize(
    ("files", "says"),
    [
        ({}, "at least one copper layer"),
        ({"a.gbr": b"\0\xff" * 5000}, "at least one copper layer"),
        ({"note.txt": "hello"}, "at least one copper layer"),
        ({"top.gbr": COPPER, "copper_top.gbr": COPPER}, "same copper layer"),
        ({"top.gbr": COPPER, "outline.gbr": PROFILE, "profile.gbr": PROFILE}, "second profile"),
        ({"layer1.gbr": COPPER, "layer3.gbr": COPPER}, "layer 2 has no file"),
        ({"top.gbr": COPPER, "a.gbrjob": "{}", "b.gbrjob": "{}"}, "second job file"),
        ({"top.gbr": COPPER, "a.gbrjob": "[1"}, "is no Gerber job file"),
        ({"top.gbr": COPPER, "a.gbrjob": '{"GeneralSpecs": {"LayerNumber": 4}}'}, "says 4 copper layers"),
        ({"top.gbr": COPPER[: len(COPPER) // 2]}, "ends with M02"),
        ({"top.gbr": COPPER, "manifest.json": '{"terminals": {"A": 3}}'}, "manifest.json: must name terminals"),
        ({"top.gbr": COPPER, "manifest.json": '{"terminals": {"A": {"x_mm": 1e99, "y_mm": 0}}}'}, "10000 mm"),
        ({"top.gbr": COPPER, "n.ipc": "P  UNITS CUST 1\n317A"}, "n.ipc: line 2 is no record"),
        ({"top.gbr": COPPER, "n.ipc": "317A\nP  UNITS CUST 1\n999"}, "must state its unit"),
        ({"top.gbr": COPPER, "a.drl": "M48\nMETRIC\nT1C0.3\n%\nT1\nX0.Y0.\n"}, "ends with M30"),
        ({"top.gbr": COPPER, "bad.gtl": "%FSLAX46Y46*%hello*M02*"}, "same copper layer"),
    ],
)
def test_what_is_wrong_with_a_folder_is_said(tmp_path: Path, files: dict[str, str | bytes], says: str) -> None:
    with pytest.raises(FilesError) as told:
        read_boards(folder(tmp_path, files))
    assert says in str(told.value)


def test_every_complaint_comes_at_once(tmp_path: Path) -> None:
    files: dict[str, str | bytes] = {"top.gbr": COPPER.replace("M02*", ""), "a.drl": DRILLED.replace("M30", "")}
    with pytest.raises(FilesError) as told:
        read_boards(folder(tmp_path, files))
    assert {complaint.key for complaint in told.value.complaints} == {"a.drl", "top.gbr"}


def test_a_file_or_nothing_instead_of_a_folder(tmp_path: Path) -> None:
    (tmp_path / "a.zip").write_bytes(b"PK")
    with pytest.raises(FilesError, match="unpack it"):
        read_boards(tmp_path / "a.zip")
    with pytest.raises(FilesError, match="is not there"):
        read_boards(tmp_path / "gone")


def test_links_out_of_the_folder_are_refused(tmp_path: Path) -> None:
    (tmp_path / "secret.gbr").write_text(COPPER)
    inside = folder(tmp_path / "b", {"top.gbr": COPPER, "deep/x.txt": "y"})
    (inside / "bottom.gbr").symlink_to(tmp_path / "secret.gbr")
    with pytest.raises(FilesError, match="no link out of it"):
        read_boards(inside)
    (inside / "bottom.gbr").unlink()
    (inside / "up").symlink_to(tmp_path)
    with pytest.raises(FilesError, match="no link out of it"):
        read_boards(inside)


def test_pipes_and_huge_files_are_refused_without_being_read(tmp_path: Path) -> None:
    inside = folder(tmp_path / "b", {"top.gbr": COPPER})
    if hasattr(os, "mkfifo"):
        os.mkfifo(inside / "pipe.gbr")
    with (inside / "huge.gbr").open("wb") as file:
        file.truncate(MOST_BYTES + 1)  # sparse: takes no room
    with pytest.raises(FilesError) as told:
        read_boards(inside)
    words = str(told.value)
    assert "huge.gbr: must have at most 64 MB" in words
    assert "pipe.gbr: must be a plain file" in words or not hasattr(os, "mkfifo")


def test_names_in_a_job_file_open_nothing(tmp_path: Path) -> None:
    (tmp_path / "secret.gbr").write_text(COPPER)
    job = {"FilesAttributes": [{"Path": "../secret.gbr", "FileFunction": "Copper,L2,Bot"}]}
    files: dict[str, str | bytes] = {"top.gbr": COPPER, "a.gbrjob": json.dumps(job)}
    (board,) = read_boards(folder(tmp_path / "b", files))
    assert [layer.file for layer in board.layers] == ["top.gbr"]


def test_a_negative_layer_is_the_board_without_what_is_drawn() -> None:
    negative = gerber(f"%TF.FileFunction,Copper,L1,Top*%%TF.FilePolarity,Negative*%%ADD10R,2X2*%D10*{flash(0, 0)}")
    board = read_board("", {"a.gbr": negative, "outline.gbr": PROFILE}, MapFile())
    assert board is not None
    assert board.layers[0].copper.area == pytest.approx(200 - 4)
    with pytest.raises(FilesError, match="outline must be known"):
        read_board("", {"a.gbr": negative}, MapFile())
