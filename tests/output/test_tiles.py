"""The folders of a ring in tiles, read back: copper, outline, holes, nets, counts."""

import json
from functools import cache
from math import pi

import numpy as np
import pytest
import shapely

import pcbstator
from pcbstator.copper.connections.tiles import lay_tiles
from pcbstator.copper.connections.via_transitions import with_teardrops
from pcbstator.copper.geometry.tracks import strip_outline
from pcbstator.output.fabrication.package import package_files
from tests.copper.stators import design_of
from tests.output.readback import net_shapes, pieces, read_holes, read_shapes

HOLES = [{"diameter_mm": 2.2, "circle_diameter_mm": 152.0, "count": 8}]


@cache
def package():
    design = design_of(
        winding__coils=24, winding__turns=2, rotor__poles=32, board__tiles=8, board__track_width_mm=0.3,
        board__copper_inner_diameter_mm=90.0, board__copper_outer_diameter_mm=146.0, board__outer_diameter_mm=160.0,
        board__jumper_drill_mm=0.8, board__jumper_pad_mm=1.3, board__holes=HOLES, board__panel_width_mm=100.0,
    )  # fmt: skip
    copper = pcbstator.lay_copper(design)
    return design, copper, package_files(design, copper, pcbstator.predict(design, copper))


def folders():
    manifest = json.loads(package()[2]["manifest.json"])
    return {name: json.loads(package()[2][f"{name}/manifest.json"]) for name in manifest["folders"]}


def test_every_tile_is_ordered_once():
    found = folders()
    assert list(found) == ["tile-1", "tile-2", "tile-8"]
    assert {name: entry["count"] for name, entry in found.items()} == {"tile-1": 1, "tile-2": 6, "tile-8": 1}
    assert sorted(tile["tile"] for entry in found.values() for tile in entry["tiles"]) == list(range(1, 9))
    names = {name for entry in found.values() for tile in entry["tiles"] for name in tile["terminals"].values()}
    assert names == {"A", "B", "C", "N"}
    top = {entry["name"] for entry in json.loads(package()[2]["manifest.json"])["files"]}
    assert not any(name.endswith((".gbr", ".drl", ".ipc", ".gbrjob")) for name in top)  # no files of the whole ring
    listed = {f"{name}/{file['name']}" for name, entry in found.items() for file in entry["files"]}
    assert {name for name in package()[2] if "/" in name and not name.endswith("manifest.json")} == listed


@pytest.mark.parametrize("layer", [1, 2, 4])
def test_copper_of_all_tiles_is_that_of_the_ring(layer):
    """gerbonara's areas, times the count, against the ring's own tracks and pads."""
    design, copper, files = package()
    total = 0.0
    for name, entry in folders().items():
        total += entry["count"] * shapely.union_all(read_shapes(files[f"{name}/copper-{layer}.gbr"])).area
    shapes = [shapely.LineString(1e3 * t.points).buffer(500 * t.width, quad_segs=64) for t in copper.tracks
              if t.layer == layer]  # fmt: skip
    teardrops = with_teardrops(copper, design.board.track_gap).teardrops
    shapes += [shapely.Polygon(1e3 * strip_outline(teardrop)) for teardrop in teardrops if teardrop.layer == layer]
    shapes += [shapely.Point(1e3 * h.x, 1e3 * h.y).buffer(500 * h.pad, quad_segs=64) for h in copper.holes]
    own = [h for h in copper.shape.drilled if h.plated]
    assert own == []
    assert total == pytest.approx(shapely.union_all(shapes).area, rel=1e-5)


def read_outline(text):
    """The one closed outline [mm] that gerbonara finds, each piece beginning where the last one ends."""
    from gerbonara import MM, GerberFile

    points, here = [], None
    for thing in GerberFile.from_string(text).objects:
        (part,) = thing.to_primitives(MM)
        start, end = complex(part.x1, part.y1), complex(part.x2, part.y2)
        assert here is None or abs(start - here) < 2e-6
        here = end
        if hasattr(part, "cx"):
            centre = complex(part.cx, part.cy)
            sweep = float(np.angle((end - centre) / (start - centre))) % (2 * pi)
            sweep -= 2 * pi if part.clockwise else 0.0
            points += [centre + (start - centre) * np.exp(1j * sweep * part_) for part_ in np.linspace(0, 1, 2001)]
        else:
            points += [start, end]
    assert abs(points[0] - points[-1]) < 2e-6
    return shapely.Polygon([(point.real, point.imag) for point in points])


def test_profile_is_one_closed_outline_around_the_copper():
    design, copper, files = package()
    for name in folders():
        outline = read_outline(files[f"{name}/profile.gbr"])
        metal = shapely.union_all(read_shapes(files[f"{name}/copper-1.gbr"]))
        assert outline.is_valid and outline.contains(metal)
        assert outline.exterior.distance(metal) >= 1e3 * design.rules.edge - 1e-3
        # A ring less eight straight cuts, 0.2 mm wide; their ends are round, by less than 1e-6 of the area.
        whole = pi * 1e6 * (copper.board_outer_radius**2 - copper.board_inner_radius**2)
        sides = 8 * 0.2 * 1e3 * (copper.board_outer_radius - copper.board_inner_radius)
        assert outline.area == pytest.approx((whole - sides) / 8, rel=1e-5)


def test_holes_are_those_of_the_ring():
    _, copper, files = package()
    plated = unplated = 0
    for name, entry in folders().items():
        holes = read_holes(files[f"{name}/drill-plated.drl"])
        plated += entry["count"] * len(holes)
        bare = read_holes(files[f"{name}/drill-unplated.drl"])
        unplated += entry["count"] * len(bare)
        assert [round(hole[2], 3) for hole in bare] == [2.2]
        jumper_holes = [hole for hole in holes if round(hole[2], 3) == 0.8]
        assert len(jumper_holes) == sum(name[0] in "XY" for name in entry["terminals"])
    assert plated == len(copper.vias) + len(copper.terminals) + len(copper.jumper_holes)
    assert unplated == 8


def test_each_net_of_a_tile_is_one_piece_and_in_the_netlist():
    for name in folders():
        files = package()[2]
        layers = [net_shapes(files[f"{name}/copper-{layer}.gbr"]) for layer in range(1, 5)]
        found = pieces(layers, [hole[:3] for hole in read_holes(files[f"{name}/drill-plated.drl"])])
        assert all(len(piece) == 1 for piece in found)
        names = sorted(net for piece in found for net in piece)
        assert names == sorted(set(names))
        assert len(names) == (1 if name == "tile-8" else 3)  # one piece where the phases meet in the star point
        listed = {line[3:17].strip() for line in files[f"{name}/netlist.ipc"].splitlines() if line.startswith("317")}
        assert listed == set(names)


def test_kinds_do_not_depend_on_a_turn_of_the_whole_ring():
    """Tile 2 turned by a tile's angle is tile 3: the copper of the ring itself, by position of its holes."""
    design, copper, _ = package()
    kind = next(kind for kind in lay_tiles(design, copper) if 2 in kind.tiles)
    mine = np.array(sorted((v.x, v.y) for v in kind.board.vias))
    each = 2 * pi / 8
    for number in kind.tiles:
        middle = -pi / 24 + each * (number - 0.5)
        around = [(complex(v.x, v.y) * np.exp(1j * (pi / 2 - middle))) for v in copper.vias]
        own = np.array(sorted((z.real, z.imag) for z in around if abs(np.angle(z / 1j)) < each / 2))
        distance = np.abs(mine[:, None] - own[None]).max(axis=2).min(axis=1)
        assert len(own) == len(mine) and distance.max() < 1e-9


def test_report_says_what_to_order_and_how_to_join():
    text = package()[2]["report.html"]
    for words in ("8 of 45°", "Folder tile-2", "order 6", "tiles 2, 3, 4, 5, 6, 7 of the ring", "X1 is joined to Y1",
                  "copper wire of 0.7 mm"):  # fmt: skip
        assert words in text
