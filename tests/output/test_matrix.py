"""The fabrication files of a few hundred stators of every kind, read back by gerbonara and by a small reader of ours.

Some of them are read in every run, many of them in the slow one, where gerbv draws them too.
"""

from __future__ import annotations

import os
import random
import shutil
import subprocess
from collections.abc import Iterable, Sequence
from dataclasses import replace
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
import shapely
from scipy.spatial import cKDTree
from shapely.affinity import rotate

import pcbstator
from pcbstator.copper import Copper, Terminal, Track, Via, lay_copper
from pcbstator.copper.clearance import least_gap
from pcbstator.copper.connections.via_transitions import with_teardrops
from pcbstator.design import Design
from pcbstator.output.fabrication.job_file import BoardFacts
from pcbstator.output.fabrication.package import fabrication_set, package_files
from tests.output import matrix, readback

Hole = Via | Terminal
NAMES = list(matrix.cases())
# A draw that holds every choice and few of the dear waves; ``test_the_matrix_is_wide`` says so.
SAMPLE = [name for name in NAMES if name in set(random.Random(33354).sample(NAMES, 18))]
# The slow run reads a fifth of them back, and one in thirty of the waves, which are large; all with WHOLE_MATRIX set.
WHOLE = bool(os.environ.get("WHOLE_MATRIX"))
LONG = [name for number, name in enumerate(NAMES) if WHOLE or number % (30 if "wave" in name else 5) == 0]
EVERY = [
    name if name in SAMPLE[::2] and "wave" not in name else pytest.param(name, marks=pytest.mark.slow)
    for name in NAMES
    if name in SAMPLE or name in LONG
]
SHORT = 1e-6  # of the gap, where arcs are drawn as chords: half of what a chord may leave its arc [m]
ROUNDING = 2e-3  # of coordinates and of round ends drawn as polygons [mm]


def fabrication(design: Design, board: Copper) -> dict[str, str]:
    """Name and text of every file for the board manufacturer."""
    facts = BoardFacts(design.board.thickness, board.track_width, design.board.track_gap, design.board.finish)
    return {file.name: str(file.content) for file in fabrication_set(board, design.title, facts, ["matrix"])}


def covered(track: Track) -> shapely.Geometry:
    """What a track covers [mm]: a trapezium between two points, a mitre where two of them meet, round ends."""
    points, half = track.points * 1e3, track.point_widths * 500
    if track.widths is None:
        return shapely.LineString(points).buffer(half[0], quad_segs=64)
    way = np.diff(points, axis=0)
    normal = np.stack([-way[:, 1], way[:, 0]], axis=1) / np.hypot(*way.T)[:, None]
    start, end = half[:-1, None] * normal, half[1:, None] * normal
    corners = [points[:-1] + start, points[1:] + end, points[1:] - end, points[:-1] - start]
    shapes = list(shapely.polygons(np.stack(corners, axis=1)))
    mitre = (end[:-1] + start[1:]) / (1 + (normal[1:] * normal[:-1]).sum(axis=1))[:, None]
    for side in (1, -1):
        wedge = [end[:-1], mitre, start[1:]]
        wedge = [points[1:-1], *(points[1:-1] + side * corner for corner in wedge)]
        shapes += list(shapely.polygons(np.stack(wedge, axis=1)))
    shapes += [shapely.Point(points[index]).buffer(half[index], quad_segs=64) for index in (0, -1)]
    return shapely.union_all(shapes, grid_size=1e-6)


def laid_area(copper: Copper, number: int) -> float:
    """Area [mm2] of the tracks and pads of a layer, together; of turned copies one is measured and turned."""
    once: dict[tuple[int, int, float], shapely.Geometry] = {}
    shapes = []
    for track in (track.original for track in (*copper.tracks, *copper.teardrops) if track.layer == number):
        key = id(track.shape), id(track.widths), track.width
        if key not in once:
            once[key] = covered(replace(track, turn=0.0))
        placed = rotate(shapely.Point(track.shape[0]), track.turn, origin=(0, 0), use_radians=True)
        assert placed.distance(shapely.Point(track.points[0])) < 1e-12
        shapes.append(rotate(once[key], track.turn, origin=(0, 0), use_radians=True))
    shapes += [shapely.Point(hole.x * 1e3, hole.y * 1e3).buffer(hole.pad * 500, quad_segs=64) for hole in copper.holes]
    return float(shapely.union_all(shapes, grid_size=1e-6).area)


def assert_same_places(read: Iterable[Sequence[float]], meant: Iterable[Hole]) -> list[int]:
    """The same places [mm], each once, to what the files round; returns for every one read the number of its hole."""
    found, laid = np.array(list(read)), np.array([(hole.x * 1e3, hole.y * 1e3) for hole in meant])
    assert found.shape == laid.shape
    distance, number = cKDTree(laid).query(found)
    assert distance.max() < 1e-3 and len(set(number)) == len(laid)
    return [int(index) for index in number]


@pytest.mark.parametrize("name", EVERY)
def test_files_of_a_stator(name: str) -> None:
    """Nets whole and apart, gaps kept, areas, holes, netlist, masks and profile as laid."""
    from gerbonara.ipc356 import Netlist

    design = matrix.design_of(name)
    copper = lay_copper(design)
    gap = design.board.track_gap
    board = with_teardrops(copper.board, gap)
    files = fabrication(design, board)
    assert least_gap(copper, gap - SHORT) is None, "no two tracks nearer than asked, of one net or of two"

    layers = [readback.net_shapes(files[f"copper-{layer.number}.gbr"]) for layer in board.layers]
    drilled = readback.read_holes(files["drill-plated.drl"])
    nets = {track.net for track in board.tracks}
    assert nets == expected_nets(design)
    found = sorted(readback.pieces(layers, [hole[:3] for hole in drilled]), key=sorted)
    assert found == sorted(({net} for net in nets), key=sorted), "one piece of copper per net"
    for number, layer in enumerate(layers, 1):
        for one, other in combinations(layer, 2):
            near = shapely.STRtree(layer[other]).query(layer[one], "dwithin", distance=gap * 1e3 - ROUNDING)
            assert not near.size, (number, one, other)

    for layer in (board.layers[0], board.layers[-1]):
        read = shapely.union_all(readback.read_shapes(files[f"copper-{layer.number}.gbr"], line_segments=16))
        assert read.area == pytest.approx(laid_area(board, layer.number), rel=2e-4)

    assert_same_places((hole[:2] for hole in drilled), board.holes)
    assert readback.read_holes(files["drill-unplated.drl"]) == []
    records = Netlist.from_string(files["netlist.ipc"], "netlist.ipc").test_records
    numbers = assert_same_places(((r.x, r.y) for r in records), board.holes)
    assert [r.net_name for r in records] == [board.holes[number].net for number in numbers]
    for side in ("top", "bottom"):
        openings = readback.read_shapes(files[f"mask-{side}.gbr"])
        assert_same_places(((o.centroid.x, o.centroid.y) for o in openings), board.terminals)
    assert profile_radii(files["profile.gbr"]) == pytest.approx(
        [design.board.inner_diameter * 500, design.board.outer_diameter * 500], rel=1e-6
    )


def expected_nets(design: Design) -> set[str]:
    """The nets that the choice of connection makes: phases in series boards stay open."""
    names = "ABCDE"[: design.winding.phases]
    return {"open": set(names), "star": {"STAR"}, "delta": {"DELTA"}}[design.board_connection]


def profile_radii(text: str) -> list[float]:
    """The radii [mm] of a profile that consists of closed circles about the middle; each arc begins where one ends."""
    from gerbonara import GerberFile

    arcs = GerberFile.from_string(text).objects
    assert {(arc.x1, arc.y1) for arc in arcs} == {(arc.x2, arc.y2) for arc in arcs}
    assert len({(arc.x1, arc.y1) for arc in arcs}) == len(arcs)
    assert all(np.hypot(arc.x1 + arc.cx, arc.y1 + arc.cy) < 1e-6 for arc in arcs)
    return sorted({round(float(np.hypot(arc.x1, arc.y1)), 6) for arc in arcs})


def test_the_checks_can_fail() -> None:
    """A track moved by a tenth of a millimetre, a hole left out and a wider region are seen."""
    name = next(name for name in NAMES if name.startswith("fan-4") and "-one-open" in name)
    copper = lay_copper(matrix.design_of(name))
    files = fabrication(matrix.design_of(name), copper)
    layers = [readback.net_shapes(files[f"copper-{layer.number}.gbr"]) for layer in copper.layers]
    holes = [hole[:3] for hole in readback.read_holes(files["drill-plated.drl"])]
    assert len(readback.pieces(layers, holes[1:])) > len(readback.pieces(layers, holes))
    read = shapely.union_all(readback.read_shapes(files["copper-1.gbr"]))
    assert read.buffer(1e-3).area > laid_area(copper, 1) * (1 + 2e-4)


def test_the_matrix_is_wide() -> None:
    """At least 200 designs, and every choice in the sample that runs each time."""
    assert len(NAMES) >= 200
    chosen = [matrix.cases()[name] for name in SAMPLE]
    for key in ("winding.connection", "winding.phases", "board.layers", "winding.connection_ring", "winding.skew_deg"):
        assert {values[key] for values in chosen} == {values[key] for values in matrix.cases().values()}, key
    assert {kind for kind in matrix.KINDS if any(name.startswith(f"{kind}-") for name in SAMPLE)} == set(matrix.KINDS)
    assert {str(values["stack"]) for values in chosen} == {str(stack) for stack in matrix.STACKS.values()}


@pytest.mark.slow
@pytest.mark.parametrize("name", SAMPLE if WHOLE else SAMPLE[::3])
def test_whole_folder(name: str) -> None:
    """The folder of ``make``, drawings and report included; its board files are those read back above."""
    design = matrix.design_of(name)
    copper = lay_copper(design)
    files = package_files(design, copper, pcbstator.predict(design, copper))
    assert {"stator.svg", "report.html", "manifest.json", "netlist.ipc", "board.gbrjob"} <= set(files)
    for file, text in fabrication(design, with_teardrops(copper.board, design.board.track_gap)).items():
        if file.startswith(("copper", "mask", "drill", "profile", "netlist")):
            assert files[file] == text


@pytest.mark.slow
@pytest.mark.skipif(shutil.which("gerbv") is None, reason="gerbv draws the picture")
@pytest.mark.parametrize("name", NAMES if WHOLE else NAMES[::8])
def test_gerbv_draws_every_file_without_a_warning(name: str, tmp_path: Path) -> None:
    """It knows no X2 attributes (%TA, %TD and the like) and says so; nothing else may be said."""
    design = matrix.design_of(name)
    sources = []
    for file, text in fabrication(design, lay_copper(design).board).items():
        if file.endswith((".gbr", ".drl")) and file != "drill-unplated.drl":  # which has no holes: no drill file to it
            (tmp_path / file).write_text(text)
            sources.append(tmp_path / file)
    command = ["gerbv", "-x", "png", "-D", "200", "-o", tmp_path / "board.png", *sources]
    done = subprocess.run(command, check=True, capture_output=True, text=True)
    said = [line for line in (done.stdout + done.stderr).splitlines() if line.strip()]
    assert [line for line in said if "Unknown RS-274X extension found %T" not in line] == []
    assert (tmp_path / "board.png").stat().st_size > 1000
