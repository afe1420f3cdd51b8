"""The folder of ``outlines``, read back: JSON by shapely, DXF by ezdxf, SVG by a small reader, against the Gerber files
of the same board."""

from __future__ import annotations

import io
import json
from functools import cache
from itertools import combinations
from pathlib import Path
from xml.etree import ElementTree

import ezdxf
import numpy as np
import pytest
import shapely
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

import pcbstator
from pcbstator.copper.net_areas import net_areas
from pcbstator.errors import OutputError
from pcbstator.output.fabrication.gerber import copper_gerber
from pcbstator.output.fabrication.package import drawn_board
from pcbstator.output.outlines.drawn_board import DrawnBoard
from pcbstator.output.outlines.folder import board_files
from pcbstator.output.outlines.polygons_dxf import layer_dxf
from pcbstator.output.outlines.polygons_svg import layer_svg
from pcbstator.output.outlines.rings_json import rings_json
from tests.copper.stators import design_of
from tests.output import readback
from tests.output.svgread import NUMBER, SVG

DESIGNS = sorted(Path("designs").glob("*.toml"))
SMALL = "small"
EVERY = [SMALL, *(pytest.param(path, marks=pytest.mark.slow, id=path.stem) for path in DESIGNS)]
HOLES = [{"diameter_mm": 2.2, "circle_diameter_mm": 59.0, "count": 3, "first_angle_deg": 80.0}]
CHIP = {"circle_diameter_mm": 56.5, "angle_deg": 140.0, "size": "0402"}
TOLERANCE = 2e-3  # mm, as the folder says
READING = 0.5e-3  # mm that the reader of Gerber files leaves out of round ends


@cache
def folder(path):
    """Design, drawn board and files, the phases open so that there are nets to keep apart; of a large design only the
    files of its last layer."""
    if path == SMALL:
        design = design_of(
            winding__coils=3, winding__turns=3, winding__connection="open", rotor__poles=4, board__layers=2,
            board__copper_outer_diameter_mm=50.0, board__outer_diameter_mm=63.0, board__holes=HOLES,
            board__thermistor=CHIP,
        )  # fmt: skip
    else:
        design = pcbstator.load_design(path).with_values({"winding.connection": "open"})
    sized = pcbstator.project.size_design(design)
    board = drawn_board(sized, pcbstator.lay_copper(sized))
    if path == SMALL:
        return sized, board, pcbstator.project.outlines(design)
    drawn, last = DrawnBoard(design.title, board, net_areas(board), 1e-3 * TOLERANCE), f"copper-{len(board.layers)}"
    files = {f"{last}.svg": layer_svg(drawn, last), f"{last}.dxf": layer_dxf(drawn, last)}
    return sized, board, files | {"outlines.json": rings_json(drawn)}


def json_areas(text: str) -> dict[tuple[int, str], shapely.Geometry]:
    """The copper [mm] of every layer and net."""
    return {
        (layer["layer"], net["net"]): shapely.MultiPolygon([(p["outer"], p["holes"]) for p in net["pieces"]])
        for layer in json.loads(text)["layers"]
        for net in layer["nets"]
    }


def dxf_areas(text: str) -> dict[tuple[str, str], shapely.Geometry]:
    """What the closed polylines of every layer and net cover together [mm]."""
    document = ezdxf.read(io.StringIO(text))
    assert document.audit().errors == [] and document.units == ezdxf.units.MM
    found: dict[tuple[str, str], list[shapely.Geometry]] = {}
    for line in document.modelspace().query("LWPOLYLINE"):
        if line.dxf.layer.startswith("copper"):
            assert line.closed
            net = line.get_xdata("PCBSTATOR")[0].value.removeprefix("net=")
            found.setdefault((line.dxf.layer, net), []).append(shapely.Polygon(line.get_points("xy")))
    return {key: shapely.union_all(shapes) for key, shapes in found.items()}


def svg_groups(text: str) -> dict[str, list[shapely.Geometry]]:
    """Closed paths of every group that has a net, or is the marks, by its id, y up [mm]; the page is at true scale."""
    root = ElementTree.fromstring(text)
    box = [float(value) for value in root.get("viewBox").split()]
    assert [root.get("width"), root.get("height")] == [f"{side:.4f}mm" for side in box[2:]]
    found = {}
    for group in root.iter(f"{SVG}g"):
        shapes = []
        for path in group.findall(f"{SVG}path"):
            rings = [np.array(NUMBER.findall(part), dtype=float).reshape(-1, 2) * (1, -1)
                     for part in path.get("d").split("M")[1:] if "A" not in part]  # fmt: skip
            shape = shapely.Polygon()
            for ring in rings:
                shape = shape.symmetric_difference(shapely.Polygon(ring))  # the even-odd rule
            shapes.append(shape)
        if group.get("data-net") or group.get("id") == "registration":
            found[group.get("id")] = shapes
    return found


def joined(shapes: list[shapely.Geometry]) -> shapely.Geometry:
    """The shapes as one; those that hang together are joined by themselves, which is quicker."""
    pairs = shapely.STRtree(shapes).query(shapes, predicate="intersects")
    _, label = connected_components(coo_array((np.ones(pairs.shape[1]), pairs), shape=(len(shapes),) * 2), False)
    whole = [shapely.union_all(np.array(shapes)[label == number]) for number in range(label.max() + 1)]
    return shapely.multipolygons(shapely.get_parts(whole))


@pytest.mark.parametrize("path", EVERY)
def test_copper_is_that_of_the_gerber_files(path):
    """Area of every net within 0.1 %, edges within the tolerance that is stated."""
    _, board, files = folder(path)
    areas = json_areas(files["outlines.json"])
    stated = {(layer["layer"], net["net"]): net["area_mm2"]
              for layer in json.loads(files["outlines.json"])["layers"] for net in layer["nets"]}  # fmt: skip
    seen = set()
    layers = board.layers if path == SMALL else board.layers[-1:]
    for layer in layers:
        for net, shapes in readback.net_shapes(copper_gerber(board, layer.number, "t")).items():
            read, found = joined(shapes), areas[layer.number, net]
            seen.add((layer.number, net))
            assert found.is_valid
            assert found.area == pytest.approx(read.area, rel=1e-3)
            assert stated[layer.number, net] == pytest.approx(found.area, rel=1e-6)
            if path == SMALL:
                assert found.difference(read.buffer(TOLERANCE + READING)).is_empty
                assert read.difference(found.buffer(TOLERANCE + READING)).is_empty
    assert seen == {key for key in areas if key[0] in {layer.number for layer in layers}}


@pytest.mark.parametrize("path", EVERY)
def test_nets_never_touch(path):
    """No nearer than the design's gap, less what chords and tolerance may take on either side."""
    design, _, files = folder(path)
    areas, least = json_areas(files["outlines.json"]), 1e3 * design.board.track_gap - 2 * TOLERANCE
    for (layer, one), (other_layer, other) in combinations(areas, 2):
        if layer == other_layer:
            near = shapely.STRtree(areas[layer, one].geoms).query(areas[layer, other].geoms, "dwithin", distance=least)
            assert not near.size, (layer, one, other)


@pytest.mark.parametrize("path", EVERY)
def test_dxf_and_svg_have_the_same_copper(path):
    """All layers together and one by one; a piece with holes is several closed polylines in DXF."""
    _, _, files = folder(path)
    areas = json_areas(files["outlines.json"])
    if path == SMALL:
        whole, drawn = dxf_areas(files["outlines.dxf"]), svg_groups(files["outlines.svg"])
        assert set(whole) == {(f"copper-{layer}", net) for layer, net in areas}
    last = max(layer for layer, _ in areas)
    single, alone = dxf_areas(files[f"copper-{last}.dxf"]), svg_groups(files[f"copper-{last}.svg"])
    assert set(single) == {(f"copper-{layer}", net) for layer, net in areas if layer == last}
    for (layer, net), area in areas.items():
        name, found = f"copper-{layer}", []
        if layer == last:
            found += [single[name, net], shapely.union_all(alone[f"{name}-{net}"])]
        if path == SMALL:
            found += [whole[name, net], shapely.union_all(drawn[f"{name}-{net}"])]
        for read in found:
            assert read.area == pytest.approx(area.area, rel=1e-4)
            assert read.symmetric_difference(area).area < 1e-3 * area.area


def test_marks_and_page_are_the_same_in_every_file():
    _, board, files = folder(SMALL)
    drawings = [text for name, text in files.items() if name.endswith(".svg") and name != "free-room.svg"]
    boxes = {ElementTree.fromstring(text).get("viewBox") for text in drawings}
    assert len(drawings) == len(board.layers) + 2 and len(boxes) == 1
    places = json.loads(files["outlines.json"])["registration_mm"]
    assert places[0] == [0.0, 0.0]
    metal = shapely.union_all([piece for area in json_areas(files["outlines.json"]).values() for piece in area.geoms])
    for text in drawings:
        marks = svg_groups(text)["registration"]
        assert [list(mark.centroid.coords[0]) for mark in marks] == [pytest.approx(place, abs=1e-3) for place in places]
        assert all(metal.distance(mark) > 1.0 for mark in marks)
    for name in ("copper-1.dxf", "outlines.dxf", "profile.dxf"):
        lines = ezdxf.read(io.StringIO(files[name])).modelspace().query('LWPOLYLINE[layer=="registration"]')
        middles = [shapely.Polygon(line.get_points("xy")).centroid.coords[0] for line in lines]
        assert np.array(middles) == pytest.approx(np.array(places), abs=1e-3)


def test_pads_holes_and_edge():
    """Against the records of the board, by ezdxf and from the JSON."""
    design, board, files = folder(SMALL)
    data = json.loads(files["outlines.json"])
    plated = [hole for hole in board.shape.drilled if hole.plated]
    meant = sorted((round(1e3 * h.x, 6), round(1e3 * h.y, 6), round(1e3 * h.pad, 6))
                   for h in (*board.vias, *board.terminals, *plated))  # fmt: skip
    pads = [pad for pad in data["pads"] if "drill_mm" in pad]
    assert sorted((pad["x_mm"], pad["y_mm"], pad["diameter_mm"]) for pad in pads) == meant
    assert len(data["pads"]) - len(pads) == len(board.non_winding.lands)
    assert sum(hole["plated"] for hole in data["holes"]) == len(meant)
    assert sum(not hole["plated"] for hole in data["holes"]) == sum(not h.plated for h in board.shape.drilled)
    assert set(data["terminals"]) == {terminal.name for terminal in board.terminals}
    edge = shapely.Polygon(data["edge"]["outline"], data["edge"]["cutouts"])
    ring = np.pi / 4 * 1e6 * (design.board.outer_diameter**2 - design.board.inner_diameter**2)
    assert edge.area == pytest.approx(ring, rel=1e-4)
    space = ezdxf.read(io.StringIO(files["outlines.dxf"])).modelspace()
    circles = {layer: len(space.query(f'CIRCLE[layer=="{layer}"]')) for layer in ("pads", "drill-plated", "profile")}
    assert circles["drill-plated"] == len(meant) and circles["profile"] == 2
    assert circles["pads"] == len(meant) + sum(land.is_round for land in board.non_winding.lands)


def test_manifest_and_the_same_bytes():
    design, _, files = folder(SMALL)
    manifest = json.loads(files["manifest.json"])
    assert {entry["name"] for entry in manifest["files"]} | {"manifest.json"} == set(files)
    assert manifest["tolerance_mm"] == TOLERANCE
    assert pcbstator.project.outlines(design.asked) == files


def test_a_coarser_tolerance_makes_smaller_files_and_one_too_coarse_is_refused():
    design = folder(SMALL)[0].asked
    files = pcbstator.project.outlines(design, tolerance_mm=0.015)
    fine = folder(SMALL)[2]
    assert len(files["copper-1.svg"]) < 0.7 * len(fine["copper-1.svg"])
    assert json.loads(files["outlines.json"])["tolerance_mm"] == 0.015
    for wrong in (0.05, 0.0, -1.0, float("nan")):
        with pytest.raises(OutputError, match="tolerance: must be"):
            pcbstator.project.outlines(design, tolerance_mm=wrong)


def test_equal_tiles_are_one_board_with_a_count():
    """Copper of all tiles, by their count, is that of the ring; a stack's boards are one board too."""
    design = design_of(
        winding__coils=12, winding__turns=1, rotor__poles=16, board__tiles=4, board__track_width_mm=0.3,
        board__layers=2, board__copper_inner_diameter_mm=90.0, board__copper_outer_diameter_mm=146.0,
    )  # fmt: skip
    files = pcbstator.project.outlines(design)
    manifest = json.loads(files["manifest.json"])
    assert manifest["folders"] == ["tile-1", "tile-2", "tile-4"]
    assert {entry["name"] for entry in manifest["files"]} == {"free-room.svg", "free-room.dxf"}
    copper, total = pcbstator.lay_copper(design), 0.0
    for name in manifest["folders"]:
        count = json.loads(files[f"{name}/manifest.json"])["count"]
        total += count * sum(
            a.area for (layer, _), a in json_areas(files[f"{name}/outlines.json"]).items() if layer == 2
        )
    strokes = [shapely.LineString(1e3 * t.points).buffer(500 * t.width) for t in copper.tracks if t.layer == 2]
    strokes += [shapely.Point(1e3 * h.x, 1e3 * h.y).buffer(500 * h.pad) for h in copper.holes]
    ring = shapely.union_all([*strokes, *readback.read_shapes(copper_gerber(drawn_board(design, copper), 2, "t"), 8)])
    assert total == pytest.approx(ring.area, rel=1e-3)


def test_boards_of_a_stack_are_one_with_count_and_turns():
    board = design_of(winding__coils=3, winding__turns=1, rotor__poles=4, board__layers=2)
    design = board.with_values({"stack.boards": 2, "stack.connection": "series"})
    manifest = json.loads(pcbstator.project.outlines(design)["manifest.json"])
    turns = [np.degrees(turn) for turn in pcbstator.lay_copper(design).board_turns]
    assert manifest["count"] == 2 and manifest["turns_deg"] == pytest.approx(turns) and turns[1] != 0


def test_a_slip_ring_board_keeps_its_bore():
    """A closed ring has a hole; in DXF it is cut into pieces that leave the middle free."""
    board = pcbstator.project.lay_slip_ring(pcbstator.load_design("designs/sky-tracker.toml"))
    files = {file.name: str(file.content) for file in board_files("slip rings", board, 1e-3 * TOLERANCE)}
    areas, whole = json_areas(files["outlines.json"]), dxf_areas(files["outlines.dxf"])
    assert sum(len(piece.interiors) for area in areas.values() for piece in area.geoms) > 0
    for (layer, net), area in areas.items():
        found = whole[f"copper-{layer}", net]
        assert not found.contains(shapely.Point(0, 0)) and found.area == pytest.approx(area.area, rel=1e-4)


def test_centrelines_as_dxf():
    """Lengths and widths of every track as the plain data have them."""
    design = folder(SMALL)[0].asked
    lines = pcbstator.project.centrelines(design)
    document = ezdxf.read(io.StringIO(pcbstator.project.centrelines_dxf(design)))
    assert document.audit().errors == []
    tracks = [
        (phase["name"], track) for phase in lines["phases"] for path in phase["paths"] for track in path["tracks"]
    ]
    drawn = list(document.modelspace().query("LWPOLYLINE"))
    assert len(drawn) == len(tracks)
    for (phase, track), line in zip(tracks, drawn, strict=True):
        points = np.array(line.get_points("xyseb"))
        assert points[:, :2] == pytest.approx(np.array(track["points_mm"]))
        assert set(points[:, 2]) == {track["width_mm"]} and not line.closed
        assert line.dxf.layer == f"copper-{track['layer']}" and line.dxf.elevation == track["z_mm"]
        assert line.get_xdata("PCBSTATOR")[0].value == f"phase={phase}"
    assert len(document.modelspace().query("CIRCLE")) == len(lines["vias"])
