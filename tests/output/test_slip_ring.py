"""The folder of the slip-ring board: files read back by gerbonara, pygerber and gerbv, nets, areas, masks, manifest."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
from itertools import pairwise
from math import pi

import numpy as np
import pytest
import shapely

import pcbstator
from pcbstator.design import Design, design_from_document
from pcbstator.output.fabrication.package import SLIP_RING_FOLDER, ordered_files
from tests.check.test_findings import SLIP_RING, SOUND
from tests.output import readback
from tests.output.test_gerber import strictly_parsed

RING = {"inner_diameter_mm": 40.0, "width_mm": 2.0, "spacing_mm": 1.0}
CASES = {
    "four": {},
    "inner": {"lead_edge": "inner", "inner_diameter_mm": 60.0},
    "one": {"rings": 1, "vias": 1},
    "strong": {"rings": 3, "current_rms_a": 7.0, "copper_um": 70.0, "width_mm": 5.0, "spacing_mm": 2.0},
    "many": {"rings": 12, "inner_diameter_mm": 30.0, "current_rms_a": 0.5, "width_mm": 1.5},
}


def asked(**values: object) -> Design:
    return design_from_document(SOUND | {"slip_ring": SLIP_RING | RING | values}, "rings.toml")


@pytest.fixture(scope="module", params=CASES, ids=str)
def made(request):  # type: ignore[no-untyped-def]
    """The section, and the files of the folder by name."""
    design = asked(**CASES[request.param])
    _, folders = ordered_files(design, pcbstator.lay_copper(design))
    return design.slip_ring, folders[SLIP_RING_FOLDER]


def ring(section, index: int, grown: float = 0.0):  # type: ignore[no-untyped-def]
    """The true ring [mm], as fine polygons."""
    inner = 1e3 * (section.inner_diameter / 2 + index * (section.width + section.spacing))
    centre = shapely.Point(0, 0)
    outer = inner + 1e3 * section.width
    return centre.buffer(outer + grown, quad_segs=2000).difference(centre.buffer(inner - grown, quad_segs=2000))


def test_manifest_names_the_files(made) -> None:  # type: ignore[no-untyped-def]
    section, files = made
    manifest = json.loads(files["manifest.json"])
    assert {entry["name"] for entry in manifest["files"]} | {"manifest.json"} == set(files)
    roles = sorted(entry["role"] for entry in manifest["files"])
    assert roles == sorted(
        ["copper"] * 2 + ["mask"] * 2 + ["legend"] * 2
        + ["profile", "drill-plated", "drill-unplated", "netlist", "job", "drawing", "upload"]
    )  # fmt: skip
    assert list(manifest["terminals"]) == [f"R{number}" for number in range(1, section.rings + 1)]
    assert len({round(np.hypot(t["x_mm"], t["y_mm"]), 4) for t in manifest["terminals"].values()}) == 1
    job = json.loads(files["board.gbrjob"])
    assert job["GeneralSpecs"]["Finish"] == "hard gold" and job["GeneralSpecs"]["LayerNumber"] == 2
    assert job["GeneralSpecs"]["BoardThickness"] == pytest.approx(1e3 * section.thickness, abs=1e-6)
    drawn = re.findall(r"%ADD\d+C,([\d.]+)", files["copper-1.gbr"] + files["copper-2.gbr"])  # round apertures [mm]
    narrowest = job["DesignRules"][0]["MinLineWidth"]
    assert narrowest <= 1e3 * section.width and any(abs(float(width) - narrowest) < 1e-4 for width in drawn)
    assert {entry["Path"] for entry in job["FilesAttributes"]} == {n for n in files if n.endswith((".gbr", ".drl"))}


@pytest.mark.slow
def test_strict_grammar(made) -> None:  # type: ignore[no-untyped-def]
    for name, text in made[1].items():
        if name.endswith(".gbr"):
            assert text.isascii() and strictly_parsed(text) > 15, name


def test_rings_read_back_have_the_area_of_rings(made) -> None:  # type: ignore[no-untyped-def]
    """pi (R² - r²) each, and the pads of the terminals."""
    section, files = made
    read = shapely.union_all(readback.read_shapes(files["copper-1.gbr"]))
    meant = sum(ring(section, index).area for index in range(section.rings))
    pads = section.rings * pi * (500 * section.terminal_pad) ** 2
    assert read.area == pytest.approx(meant + pads, rel=1e-4)
    for index in range(section.rings):
        whole = ring(section, index)  # the sides of the drawn polygon lie within 2 um of the circles
        assert whole.difference(read).area < 2e-3 * whole.length


def test_nets_are_one_piece_each_and_never_touch(made) -> None:  # type: ignore[no-untyped-def]
    section, files = made
    layers = [readback.net_shapes(files[f"copper-{number}.gbr"]) for number in (1, 2)]
    holes = [hole[:3] for hole in readback.read_holes(files["drill-plated.drl"])]
    names = [{f"R{number}"} for number in range(1, section.rings + 1)]
    assert sorted(readback.pieces(layers, holes), key=sorted) == sorted(names, key=sorted)
    without = readback.pieces(layers, [(900.0, 900.0, 0.1)])  # and without its holes a ring is cut off from its lead
    assert len(without) > 2 * section.rings - 1


def test_least_distance_of_nets_in_the_files(made) -> None:  # type: ignore[no-untyped-def]
    section, files = made
    if section.rings == 1:
        return
    nets = readback.net_shapes(files["copper-1.gbr"])
    areas = [shapely.union_all(nets[f"R{number}"]) for number in range(1, section.rings + 1)]
    least = min(a.distance(b) for a, b in pairwise(areas))
    assert least == pytest.approx(1e3 * section.spacing, abs=0.01)  # its round ends have 64 pieces: 5e-3 mm


def test_masks_open_the_rings_on_their_side_only(made) -> None:  # type: ignore[no-untyped-def]
    section, files = made
    top, bottom = (
        shapely.union_all(readback.read_shapes(files[f"mask-{side}.gbr"])) for side in ("top", "bottom")
    )  # fmt: skip
    openings = section.rings * pi * (500 * section.terminal_pad + 0.05) ** 2
    assert bottom.area == pytest.approx(openings, rel=1e-3)
    grown = sum(ring(section, index, 0.05).area for index in range(section.rings))
    assert top.area == pytest.approx(grown + openings, rel=1e-3)
    for index in range(section.rings):
        whole = ring(section, index)
        assert whole.difference(top).area < 1e-4 * whole.area
        if index:  # the laminate between stays under the mask
            outer = 1e3 * (section.inner_diameter / 2 + index * (section.width + section.spacing))
            assert not shapely.Point(0, 0).buffer(outer - 500 * section.spacing).exterior.intersects(top)


def test_netlist_tells_which_side_is_open(made) -> None:  # type: ignore[no-untyped-def]
    """Vias lie in the bare rings: mask on the secondary side only; terminals have none."""
    from gerbonara.ipc356 import Netlist

    section, files = made
    netlist = Netlist.from_string(files["netlist.ipc"], "rings.ipc")
    vias = [record for record in netlist.test_records if record.is_via]
    terminals = [record for record in netlist.test_records if not record.is_via]
    assert {record.solder_mask.name for record in vias} == {"SECONDARY"}
    assert {record.solder_mask.name for record in terminals} == {"NONE"}
    assert netlist.net_names() == {f"R{number}" for number in range(1, section.rings + 1)}
    assert len(vias) + len(terminals) == len(readback.read_holes(files["drill-plated.drl"]))
    assert len(terminals) == section.rings
    assert readback.read_holes(files["drill-unplated.drl"]) == []


def test_legend_stays_off_rings_terminals_and_vias(made) -> None:  # type: ignore[no-untyped-def]
    files = made[1]
    for side in ("top", "bottom"):
        ink = shapely.union_all(readback.read_shapes(files[f"legend-{side}.gbr"]))
        opening = shapely.union_all(readback.read_shapes(files[f"mask-{side}.gbr"]))
        assert ink.area > 0.5
        assert ink.distance(opening) > 0.15


def test_everything_lies_on_the_board(made) -> None:  # type: ignore[no-untyped-def]
    """The copper keeps 0.5 mm from the circles of the profile, both read from the files."""
    files = made[1]
    radii = sorted({abs(int(line[1:].split("Y")[0])) / 1e6 for line in files["profile.gbr"].splitlines()
                    if line.startswith("X")})  # fmt: skip
    bore, edge = radii[0], radii[-1]
    for number in (1, 2):
        copper = shapely.union_all(readback.read_shapes(files[f"copper-{number}.gbr"]))
        reach = np.hypot(*shapely.get_coordinates(copper).T)
        assert copper.distance(shapely.Point(0, 0)) >= bore + 0.5 - 2e-3
        assert reach.max() <= edge - 0.5 + 2e-3


@pytest.mark.skipif(shutil.which("gerbv") is None, reason="gerbv draws the picture")
def test_gerbv_draws_every_file_without_a_warning(made, tmp_path) -> None:  # type: ignore[no-untyped-def]
    """It knows no X2 attributes (%TA, %TD and the like) and says so; nothing else may be said. Ring areas in pixels."""
    from PIL import Image

    section, files = made
    for name in files:
        if not name.endswith((".gbr", ".drl")) or name == "drill-unplated.drl":
            continue  # that one has no holes, which gerbv does not take for a drill file
        source, picture = tmp_path / name, tmp_path / "file.png"
        source.write_text(files[name])
        command = ["gerbv", "-x", "png", "-D", "1270", "-b", "#ffffff", "-f", "#000000ff", "-o", picture, source]
        done = subprocess.run(command, check=True, capture_output=True, text=True)
        said = [line for line in (done.stdout + done.stderr).splitlines() if line.strip()]
        assert [line for line in said if "Unknown RS-274X extension found %T" not in line] == [], name
        if name == "copper-1.gbr":
            dark = 1 - np.asarray(Image.open(picture).convert("L"), dtype=float) / 255
            meant = sum(ring(section, index).area for index in range(section.rings))
            meant += section.rings * pi * (500 * section.terminal_pad) ** 2
            assert dark.sum() * 0.02**2 == pytest.approx(meant, rel=0.01)  # it rounds widths to pixels of 0.02 mm


def test_same_bytes_twice() -> None:
    design = asked(**CASES["strong"])
    copper = pcbstator.lay_copper(design)
    assert ordered_files(design, copper) == ordered_files(design, copper)
