"""Rings in tiles: cuts between coils, distances, wires, likeness, panels; and what is refused."""

from dataclasses import replace
from math import asin, cos, hypot, pi, radians, sin

import numpy as np
import pytest
import shapely

import pcbstator
from pcbstator.analysis.electrical.conductors import Conductors
from pcbstator.copper import CoilVisit, Pin, TileJumper, Track
from pcbstator.copper.connections.terminals import spread_in_tiles
from pcbstator.copper.connections.tiles import is_jumper_hole, lay_tiles, least_panel
from pcbstator.copper.geometry.contour import Arc
from pcbstator.copper.no_room import NoRoomError
from pcbstator.errors import DesignError
from tests.copper.stators import design_of

RING = {
    "winding__coils": 12, "winding__turns": 4, "rotor__poles": 10, "board__track_width_mm": 0.3,
    "board__copper_inner_diameter_mm": 70.0, "board__copper_outer_diameter_mm": 130.0,
    "board__jumper_drill_mm": 0.8, "board__jumper_pad_mm": 1.3,
}  # fmt: skip
LIKE_COILS = {"winding__coils": 12, "rotor__poles": 16}  # a period of 3 coils and 4 poles
KINDS = [
    {"board__tiles": 2},
    {"board__tiles": 3, "winding__connection": "delta"},
    {"board__tiles": 4, "winding__connection": "open"},
    {"board__tiles": 6, "winding__outline": "round"},
    {"board__tiles": 12, "winding__turns": 3, "board__rules": "2oz-standard", "board__via_pad_mm": 0.7},
    {"board__tiles": 4, "board__track_profile": "tapered", "winding__turns": 3},
    {"board__tiles": 4, "winding__outline": "parallel", "winding__connection_ring": "inner"},
    {"board__tiles": 4, "board__layers": 2, "winding__parallel_paths": 2},
    {"board__tiles": 4, **LIKE_COILS},
    {"board__tiles": 3, "board__layers": 6, "board__coil_layers": [1, 2, 5, 6]},
]
LONG = KINDS[5]
every_kind = pytest.mark.parametrize(
    "values", [pytest.param(kind, marks=pytest.mark.slow if kind is LONG else ()) for kind in KINDS],
    ids=lambda v: "-".join(str(value) for value in v.values()),
)  # fmt: skip


def ring_of(values):
    design = design_of(**RING | values)
    return design, pcbstator.lay_copper(design)


def areas(board, layer=None):
    """The copper of a board as polygons [m]."""
    tracks = [t for t in board.tracks if layer is None or t.layer == layer]
    shapes = [shapely.LineString(t.points).buffer(t.width / 2, quad_segs=32) for t in tracks if t.widths is None]
    for t in tracks:
        if t.widths is not None:
            ends = zip(t.points[:-1], t.points[1:], t.widths[:-1], t.widths[1:], strict=True)
            shapes += [
                shapely.union_all([shapely.Point(a).buffer(u / 2), shapely.Point(b).buffer(w / 2)]).convex_hull
                for a, b, u, w in ends
            ]
    holes = [*board.vias, *board.terminals, *getattr(board, "jumper_holes", ())]
    return shapes + [shapely.Point(h.x, h.y).buffer(h.pad / 2, quad_segs=32) for h in holes]


def turned(board, angle):
    """A tile at its place in the ring."""

    def moved(hole):
        place = complex(hole.x, hole.y) * complex(cos(angle), sin(angle))
        return replace(hole, x=place.real, y=place.imag)

    tracks = tuple(track.turned(angle) for track in board.tracks)
    vias, terminals = tuple(map(moved, board.vias)), tuple(map(moved, board.terminals))
    return replace(board, tracks=tracks, vias=vias, terminals=terminals)


@every_kind
def test_copper_keeps_the_edge_from_every_cut(values):
    """By polygons: nothing lies within the rule set's edge of the strip that the saw takes away."""
    design, copper = ring_of(values)
    board, coils = design.board, design.winding.coils
    shapes = areas(copper)
    for number in range(board.tiles):
        angle = -pi / coils + 2 * pi / board.tiles * number
        ray = shapely.LineString([(0.0, 0.0), (cos(angle), sin(angle))])
        nearest = min(shape.distance(ray) for shape in shapes)
        assert nearest - board.tile_gap / 2 >= board.rules.edge - 2e-7  # the polygons' chords
    codes = {f.code for f in pcbstator.predict(design, copper).findings if f.severity == "error"}
    assert codes == set()


@every_kind
def test_tiles_are_the_ring(values):
    """Tiles turned back to their places hold all copper of the ring once; every tile holds its own copper whole."""
    design, copper = ring_of(values)
    kinds = lay_tiles(design, copper)
    assert sorted(tile for kind in kinds for tile in kind.tiles) == list(range(1, copper.tiles + 1))
    for layer in (1, len(copper.layers)):
        whole = shapely.union_all(areas(copper, layer))
        placed = []
        for kind in kinds:
            assert shapely.union_all(areas(kind.board, layer)).difference(kind.board.shape.outer.polygon).area == 0
            for number in kind.tiles:
                middle = -pi / design.winding.coils + pi / copper.tiles * (2 * number - 1)
                placed.append(shapely.union_all(areas(turned(kind.board, middle - pi / 2), layer)))
        assert shapely.union_all(placed).symmetric_difference(whole).area < 1e-6 * whole.area
        assert sum(tile.area for tile in placed) == pytest.approx(whole.area, rel=1e-6)
    assert sum(len(k.board.vias) * len(k.tiles) for k in kinds) == len(copper.vias)
    assert sum(len(k.board.terminals) * len(k.tiles) for k in kinds) == len(copper.terminals) + len(copper.jumper_holes)


@every_kind
def test_outline_of_a_tile_is_the_closed_form(values):
    """Area between two arcs and two straight sides that keep half a cut from the radius: a sector of the ring less
    two strips, each with a rounded end of known size (plane geometry)."""
    design, copper = ring_of(values)
    half, tiles = design.board.tile_gap / 2, copper.tiles

    def cut_sector(radius):  # area of a disc's sector beyond two lines at distance half from its sides
        beside = (radius**2 * asin(half / radius) + half * (radius**2 - half**2) ** 0.5) / 2
        return pi * radius**2 / tiles - 2 * beside

    inner, outer = copper.board_inner_radius, copper.board_outer_radius
    for kind in lay_tiles(design, copper):
        outline = kind.board.shape.outer
        # The lines meet before the centre, at the same place for both radii, so what they cut off there cancels.
        assert outline.area == pytest.approx(cut_sector(outer) - cut_sector(inner), rel=1e-9)
        assert outline.segments[-1].end == pytest.approx(outline.start, abs=1e-12)
        assert sum(isinstance(segment, Arc) for segment in outline.segments) == 2


@every_kind
def test_current_walks_from_hole_to_hole(values):
    """Every step of a path begins where the last one ended; tracks stay on their tile and only wires leave it."""
    design, copper = ring_of(values)
    each = 2 * pi / copper.tiles
    ends = {(round(1e9 * jumper_hole.x), round(1e9 * jumper_hole.y)) for jumper_hole in copper.jumper_holes}
    used = set()

    def tile_of(points):
        angles = (np.arctan2(points[:, 1], points[:, 0]) + pi / design.winding.coils) % (2 * pi)
        numbers = set((angles // each).astype(int).tolist())
        assert len(numbers) == 1
        return numbers.pop()

    for phase in copper.phases:
        for path in phase.paths:
            here = None
            for step in path.steps:
                assert not isinstance(step, Pin)
                if isinstance(step, CoilVisit):
                    tracks = copper.placed_coil(step.coil, step.forward)
                    points = np.concatenate([track.points for track in tracks])
                elif isinstance(step, Track):
                    points = step.points
                else:
                    points = np.array([step.start, step.end])
                    assert {tuple(np.rint(1e9 * point)) for point in points} <= ends
                    used.add(frozenset(map(tuple, np.rint(1e9 * points).tolist())))
                    assert step.diameter == pytest.approx(design.board.jumper_drill - 0.1e-3)
                if here is not None:
                    assert np.hypot(*(points[0] - here)) < 1e-8
                if not isinstance(step, TileJumper):
                    tile_of(points)
                here = points[-1]
    assert 2 * len(used) <= len(copper.jumper_holes)  # a wire to terminal N may lie beyond the star point


def without_wires(phase):
    """The phase with wires of no length."""

    def step(part):
        return replace(part, end=part.start) if isinstance(part, TileJumper) else part

    return replace(phase, paths=tuple(replace(path, steps=tuple(map(step, path.steps))) for path in phase.paths))


@every_kind
def test_resistance_counts_the_wires(values):
    """The same path with wires of no resistance is what is left of the sum when they are taken away: ρ·l/A at 20 °C,
    1.7241e-8 Ω·m (IEC 60028), in series in the one path of a phase."""
    design, copper = ring_of(values)
    if design.winding.parallel_paths > 1:
        pytest.skip("wires that several paths share are no plain sum")
    conductors = Conductors(copper, design.board.via_drill, design.board.via_plating)
    diameter = design.board.jumper_drill - 0.1e-3
    short = replace(copper, phases=tuple(map(without_wires, copper.phases)))
    without = Conductors(short, design.board.via_drill, design.board.via_plating).phase_resistances
    for phase, whole, bare in zip(copper.phases, conductors.phase_resistances, without, strict=True):
        wires = [step for step in phase.paths[0].steps if isinstance(step, TileJumper)]
        length = sum(hypot(wire.end[0] - wire.start[0], wire.end[1] - wire.start[1]) for wire in wires)
        wanted = bare + 1.7241e-8 * length / (pi * diameter**2 / 4)
        assert whole == pytest.approx(wanted, rel=1e-9)
        assert wires


@every_kind
def test_nets_of_a_tile_are_its_pieces(values):
    """Copper of one net is one piece, pieces of different nets do not touch: by polygons and plated holes."""
    design, copper = ring_of(values)
    for kind in lay_tiles(design, copper):
        board = kind.board
        nets = {track.net for track in board.tracks}
        assert {hole.net for hole in (*board.vias, *board.terminals)} == nets
        for net in nets:
            layers = [shapely.union_all([s for s in areas_of_net(board, net, layer.number)]) for layer in board.layers]
            pieces = [part for shape in layers for part in getattr(shape, "geoms", [shape])]
            barrels = [
                shapely.Point(h.x, h.y).buffer(h.drill / 2) for h in (*board.vias, *board.terminals) if h.net == net
            ]
            joined = {0}
            while True:
                more = {
                    j for b in barrels if any(pieces[i].intersects(b) for i in joined)
                    for j in range(len(pieces)) if pieces[j].intersects(b)
                } - joined  # fmt: skip
                if not more:
                    break
                joined |= more
            assert joined == set(range(len(pieces)))
        for layer in board.layers:
            shapes = [shapely.union_all(areas_of_net(board, net, layer.number)) for net in sorted(nets)]
            for i, one in enumerate(shapes):
                for other in shapes[i + 1 :]:
                    assert one.distance(other) >= 0.25e-3 - 1e-6  # the asked gap, less the chords of arcs


def areas_of_net(board, net, layer):
    def own(things):
        return tuple(thing for thing in things if thing.net == net)

    return areas(replace(board, **{name: own(getattr(board, name)) for name in ("tracks", "vias", "terminals")}), layer)


def test_tiles_between_the_ends_are_one_kind():
    """Where a tile is a whole period of the winding, tiles differ by terminals and the ends of interconnects only."""
    design, copper = ring_of({"winding__coils": 24, "rotor__poles": 32, "board__tiles": 8, "winding__turns": 2,
                              "board__copper_outer_diameter_mm": 150.0})  # fmt: skip
    kinds = lay_tiles(design, copper)
    assert (2, 3, 4, 5, 6, 7) in [kind.tiles for kind in kinds]
    assert len(kinds) == 3
    results = pcbstator.predict(design, copper).to_dict()["copper"]
    assert results["tiles"] == 8
    assert [entry["count"] for entry in results["tile_kinds"]] == [1, 6, 1]
    assert results["tile_jumpers"] == len(copper.jumper_holes) / 2 > 0


def test_pads_across_a_cut_face_each_other():
    """X and Y of one number are mirror images in the cut, so that the shortest wire joins them."""
    copper = ring_of({"board__tiles": 4})[1]
    for before, after in zip(copper.jumper_holes[::2], copper.jumper_holes[1::2], strict=True):
        assert (before.name[0], after.name[0]) == ("X", "Y") and before.name[1:] == after.name[1:]
        angle = np.angle(complex(before.x, before.y) + complex(after.x, after.y))
        assert ((angle + pi / 12) / (pi / 2)) == pytest.approx(round((angle + pi / 12) / (pi / 2)), abs=1e-9)
        assert hypot(before.x, before.y) == pytest.approx(hypot(after.x, after.y), rel=1e-12)
    assert all(is_jumper_hole(jumper_hole) for jumper_hole in copper.jumper_holes)
    assert not any(is_jumper_hole(terminal) for terminal in copper.terminals)


def test_tiles_of_one_kind_with_other_terminals_have_numbers():
    """Three coils on three tiles, open: all copper is alike, only the phases differ."""
    design, copper = ring_of({"winding__coils": 3, "rotor__poles": 2, "board__tiles": 3, "winding__connection": "open"})
    (kind,) = lay_tiles(design, copper)
    assert kind.tiles == (1, 2, 3)
    assert sorted(terminal.name for terminal in kind.board.terminals) == ["1", "2"]
    for tile, names in zip(kind.tiles, kind.names, strict=True):
        phase = copper.coil_phases[tile - 1]
        assert sorted(names.values()) == [phase, f"{phase}2"]
        for printed, name in names.items():
            own = next(terminal for terminal in kind.board.terminals if terminal.name == printed)
            real = next(terminal for terminal in copper.terminals if terminal.name == name)
            middle = 2 * pi / 3 * (tile - 1)
            turned_back = complex(own.x, own.y) * complex(cos(middle - pi / 2), sin(middle - pi / 2))
            assert abs(turned_back - complex(real.x, real.y)) < 1e-9


def test_what_shares_the_board_goes_to_its_tile():
    """A thermistor, mounting tabs and slots: each on the tile whose angle it has, with its nets, once."""
    tabs = [{"width_mm": 8.0, "reach_mm": 6.0, "count": 4, "first_angle_deg": 30.0, "hole_mm": 3.2}]
    slots = [{"width_mm": 1.0, "length_mm": 3.0, "circle_diameter_mm": 62.0, "direction": "tangential", "count": 4,
              "first_angle_deg": 10.0}]  # fmt: skip
    chip = {"size": "0603", "circle_diameter_mm": 98.0, "angle_deg": 120.0}
    design, copper = ring_of({"board__tiles": 4, "board__tabs": tabs, "board__slots": slots, "board__thermistor": chip,
                              "board__inner_diameter_mm": 54.0, "board__outer_diameter_mm": 134.0})  # fmt: skip
    kinds = lay_tiles(design, copper)
    boards = {tile: kind.board for kind in kinds for tile in kind.tiles}
    assert [len(boards[tile].non_winding.lands) > 0 for tile in (1, 2, 3, 4)] == [False, True, False, False]
    assert {land.net for land in boards[2].non_winding.lands} == {"T1", "T2"}
    for board in boards.values():
        assert [slot.name for slot in board.shape.slots] == ["S1"]
        assert [hole.name for hole in board.shape.drilled if not hole.plated] == ["H1"]
        polygon = board.shape.outer.polygon
        assert all(polygon.contains(shapely.Point(hole.x, hole.y)) for hole in board.shape.drilled)
        assert all(polygon.contains(shapely.Point(land.x, land.y)) for land in board.non_winding.lands)
        ring = copper.shape.outer.area - pi * copper.board_inner_radius**2  # with its mounting tabs, exact
        cut = 0.2e-3 * (copper.board_outer_radius - copper.board_inner_radius)
        assert board.shape.outer.area == pytest.approx(ring / 4 - cut, rel=1e-7)


def test_least_panel_of_a_half_ring_and_of_a_turned_square():
    """Half a disc fits 2r x r (plane geometry); a square on its corner fits its own side, to a quarter of a degree."""
    angles = np.linspace(0, pi, 2001)
    half = 50e-3 * np.stack([np.cos(angles + 0.4), np.sin(angles + 0.4)], axis=1)
    assert least_panel(half, 100.4e-3, 50.4e-3)[0] and least_panel(half, 50.4e-3, 100.4e-3)[0]
    assert not least_panel(half, 99.5e-3, 99.5e-3 / 2)[0]
    corner = radians(45) * np.array([1, 3, 5, 7]) + 0.3
    square = 10e-3 * np.stack([np.cos(corner), np.sin(corner)], axis=1)
    side = 10e-3 * 2**0.5
    fits, across, up = least_panel(square, side * 1.005, side * 1.005)
    assert fits and across == pytest.approx(side, rel=4.5e-3) and up == pytest.approx(side, rel=4.5e-3)


@pytest.mark.parametrize(("values", "words"), [
    ({"board__tiles": 5}, r"board\.tiles.*equal tiles.*use one of 2, 3, 4, 6, 12"),
    ({"board__tiles": 3, "winding__kind": "wave"}, r'board\.tiles.*kind = "wave"'),
    ({"board__tiles": 3, "winding__skew_deg": 3.0}, r"board\.tiles.*skew_deg = 3"),
    ({"board__tiles": 3, "board__jumper_pad_mm": 0.7}, r"board\.jumper_pad_mm.*larger than the hole"),
    # Tiles of 120 degrees are 113.4 x 48.3 mm, of 90 degrees 92.6 x 41.1 mm: chord, and outer edge to inner corner.
    ({"board__tiles": 2, "board__panel_width_mm": 115.0, "board__panel_height_mm": 60.0}, r"a tile .*use tiles = 3"),
    ({"board__tiles": 2, "board__panel_width_mm": 60.0, "board__panel_height_mm": 100.0}, r"a tile .*use tiles = 4"),
    ({"board__panel_width_mm": 120.0, "board__panel_height_mm": 140.0}, r"the board must fit the panel of 120 x 140"),
    ({"board__tiles": 4, "board__tabs": [{"width_mm": 8.0, "reach_mm": 6.0, "count": 4, "first_angle_deg": -15.0}]},
     r"must not cut through board\.tabs\[1\].*a cut at 345 degrees"),
    ({"board__tiles": 12, "board__jumper_pad_mm": 10.0}, r"board\.(tiles|copper_(outer|inner)_diameter_mm)"),
])  # fmt: skip
def test_what_cannot_be_cut_is_refused(values, words):
    with pytest.raises(DesignError, match=words):
        ring_of(values)


def test_a_tile_too_short_for_its_terminals_is_refused():
    with pytest.raises(NoRoomError, match="3 terminals on one of 6 tiles"):
        spread_in_tiles({"A": 0.1, "B": 0.2, "C": 0.3}, 0.4, 0.1, 6, 0.2)


def test_a_stack_of_tiles_is_refused():
    from pcbstator.design import design_from_document

    document = design_of(**RING, board__tiles=3).document | {"stack": {"boards": 2}}
    with pytest.raises(DesignError, match=r"board\.tiles.*stack\.boards = 2"):
        design_from_document(document)


def test_a_hole_on_a_cut_is_an_error_with_its_name():
    holes = [{"diameter_mm": 3.2, "circle_diameter_mm": 126.0, "count": 4, "first_angle_deg": -15.0}]
    design, copper = ring_of({"board__tiles": 4, "board__holes": holes, "board__copper_outer_diameter_mm": 120.0,
                              "board__copper_inner_diameter_mm": 60.0, "board__outer_diameter_mm": 134.0})  # fmt: skip
    found = [f for f in pcbstator.predict(design, copper).findings if f.severity == "error"]
    assert any(f.code in ("board.outline", "board.hole_web") and "H" in (f.where or "") for f in found)
    moved = [holes[0] | {"first_angle_deg": 0.0}]
    design, copper = ring_of({"board__tiles": 4, "board__holes": moved, "board__copper_outer_diameter_mm": 120.0,
                              "board__copper_inner_diameter_mm": 60.0, "board__outer_diameter_mm": 134.0})  # fmt: skip
    assert [f for f in pcbstator.predict(design, copper).findings if f.severity == "error"] == []
    for kind in lay_tiles(design, copper):
        assert [hole.name for hole in kind.board.shape.drilled] == ["H1"]
