"""Current in copper as it is drawn, against closed forms; more of them are in tests/agreement/test_sheet.py."""

from __future__ import annotations

from math import acosh, log, pi

import numpy as np
import pytest
import shapely

from pcbstator.verify.conduction.board import Build, board_network
from pcbstator.verify.conduction.heat import hot_places, layer_losses
from pcbstator.verify.conduction.mesh import meshed
from pcbstator.verify.conduction.network import Wire, joined_networks
from pcbstator.verify.records import WrittenBoard, WrittenHole, WrittenLayer

RHO, T = 1.7241e-8, 35e-6
SQUARE = RHO / T
CORNER = 0.559  # squares in a right-angle bend; Hall, Thin Solid Films 1 (1968) 277, from memory


def hole(x, y, diameter=0.3):
    return WrittenHole(np.array([[float(x), float(y)]]), diameter, True, 1, 2)


def board_of(sheets, holes, terminals, masks=None):
    """A board of sheets [mm]; terminals: place by name."""
    layers = tuple(WrittenLayer(number, "", sheet) for number, sheet in enumerate(sheets, 1))
    return WrittenBoard("", layers, tuple(holes), terminals=terminals, masks=masks or {})


def solved(board, size=None, depth=-1.5e-3, **more):
    layers = len(board.layers)
    return board_network(board, Build((T,) * layers, (0.0, depth)[:layers], 20e-6, RHO), size, **more)


def between(sheet, start, end, **more):
    """Squares between two parts that lie at one voltage."""
    contacts = {"A": (1, start), "B": (1, end)}
    return solved(board_of([sheet], [], {}), contacts=contacts, **more).resistances()["A", "B"] / SQUARE


def test_sector_of_a_ring():
    """Between its straight edges: the angle over ln(b/a). The field is that of a whole ring, 1/r."""
    a, b, angle = 20.0, 24.0, 1.1
    arc = np.linspace(0.0, angle, 400)
    edge = [np.stack([r * np.cos(arc), r * np.sin(arc)], axis=1) for r in (a, b)]
    ring = shapely.Polygon(np.vstack([edge[0], edge[1][::-1]]))
    outside = shapely.box(a - 1, -1, b + 1, 0)
    turned = shapely.affinity.rotate(shapely.box(a - 1, 0, b + 1, 1), angle, origin=(0, 0), use_radians=True)
    whole = shapely.union_all([ring, outside, turned])
    assert between(whole, outside, turned) == pytest.approx(angle / log(b / a), rel=2e-4)


def test_bend():
    """An L between two ends far off: length over width, and the bend. From below, ever more slowly, with the order 4/3
    of a re-entrant right angle to where it leads.
    """
    sheet = shapely.union_all([shapely.box(0, 0, 1, 9), shapely.box(0, 0, 9, 1)])
    ends = shapely.box(0, 8, 1, 9), shapely.box(8, 0, 9, 1)
    found = np.array([between(sheet, *ends, halvings=halvings) for halvings in range(3)]) - 14
    first, second = np.diff(found)
    assert 0.5 < found[0] < CORNER and 0 < second < first / 2
    assert found[-1] + second / (2 ** (4 / 3) - 1) == pytest.approx(CORNER, rel=2e-3)


def test_between_two_holes_of_a_wide_sheet():
    """arcosh(D/d)/pi of a square between circles of diameter d at D in an endless sheet, the conductance of two
    parallel cylinders (Smythe, Static and Dynamic Electricity, 4.14, from memory). The sheet ends at 15 D.
    """
    apart, diameter = 4.0, 0.6
    sheet = shapely.Point(0, 0).buffer(15 * apart, quad_segs=16)
    board = board_of([sheet], [hole(-apart / 2, 0, diameter), hole(apart / 2, 0, diameter)], {})
    board = WrittenBoard("", board.layers, board.holes, terminals={"A": (-apart / 2, 0.0), "B": (apart / 2, 0.0)})
    found = solved(board).resistances()["A", "B"] / SQUARE
    assert found == pytest.approx(acosh(apart / diameter) / pi, rel=5e-3)


def test_two_paths_side_by_side():
    """Two strips of 0.4 and 0.8 mm between the same bars share the current as their widths."""
    bars = [shapely.box(-1, 0, 0, 3), shapely.box(20, 0, 21, 3)]
    narrow, wide = shapely.box(0, 0, 20, 0.4), shapely.box(0, 1, 20, 1.8)
    found = between(shapely.union_all([*bars, narrow, wide]), *bars)
    assert found == pytest.approx(20 / 1.2, rel=1e-6)


def test_strips_on_two_layers_joined_by_a_barrel():
    """Down a barrel of pi·(d − t)·t and back: squares of both strips, less what the holes take of their ends, which two
    boards of other lengths tell apart; and the current and loss of all of it.
    """
    found = {}
    for length in (10.0, 20.0):
        strip = shapely.box(-0.5, -0.5, length + 0.5, 0.5)
        pads = [shapely.Point(0, 0).buffer(0.8), shapely.Point(0, 4).buffer(0.8)]
        back = shapely.LineString([(length, 0), (length, 4), (0, 4)]).buffer(0.5, cap_style="square")
        holes = [hole(0, 0), hole(length, 0), hole(0, 4)]
        board = board_of([shapely.union_all([strip, pads[1]]), shapely.union_all([back, pads[0]])], holes,
                         {"A": (0.0, 0.0), "B": (0.0, 4.0)})  # fmt: skip
        network = solved(board)
        found[length] = network.resistances()["A", "B"]
        voltages = network.network.driven([{"A": 1.0, "B": -1.0}])
        currents = np.abs(network.barrel_currents(voltages)[:, 0])
        assert currents[1] == pytest.approx(1.0, rel=1e-6)
        losses = layer_losses(network, voltages, np.array([1.0 + 0j]))
        areas = [1e-6 * sheet.elements.mesh.areas for sheet in network.sheets]
        power = sum(float(loss.density @ area) for loss, area in zip(losses, areas, strict=True))
        barrel = RHO * 1.5e-3 / (pi * 0.28e-3 * 20e-6)
        assert power + barrel == pytest.approx(found[length], rel=1e-6), "what is lost is what the terminals see"
        assert network.barrel_conductances[1] == pytest.approx(1 / barrel, rel=1e-12)
    assert found[20.0] - found[10.0] == pytest.approx(20 * SQUARE, rel=3e-4)


def test_narrowest_place():
    """A neck of 0.2 mm in a strip of 1 mm is the hottest place, with its width, and all of the current in it."""
    strip = shapely.union_all([shapely.box(0, 0, 10, 1), shapely.box(10, 0.4, 13, 0.6), shapely.box(13, 0, 23, 1)])
    contacts = {"A": (1, shapely.box(0, 0, 0.5, 1)), "B": (1, shapely.box(22.5, 0, 23, 1))}
    network = solved(board_of([strip], [], {}), contacts=contacts)
    voltages = network.network.driven([{"A": 1.0, "B": -1.0}])
    hottest = hot_places(network, layer_losses(network, voltages, np.array([1.0 + 0j])), 20.0)[0]
    assert 10 < hottest.x < 13 and hottest.layer == 1
    assert hottest.width == pytest.approx(0.2e-3, rel=1e-4) and hottest.current == pytest.approx(1.0, rel=1e-6)
    assert hottest.loss_density == pytest.approx(RHO / T / 0.2e-3**2, rel=0.05)


def test_land_is_touched_where_the_mask_is_open():
    """A land without a hole lies at one voltage over the opening of the solder mask."""
    strip = shapely.box(0, 0, 12, 1)
    openings = shapely.MultiPolygon([shapely.box(-0.1, -0.1, 1, 1.1), shapely.box(11, -0.1, 12.1, 1.1)])
    board = board_of([strip], [], {"A": (0.5, 0.5), "B": (11.5, 0.5)}, {1: openings})
    assert solved(board).resistances()["A", "B"] == pytest.approx(10 * SQUARE, rel=1e-6)


def test_boards_joined_by_wires():
    """Two strips of twenty squares in series by a wire; another wire makes the far ends one."""
    strip = shapely.box(0, 0, 12, 0.5)
    contacts = {"A": (1, shapely.box(0, 0, 1, 0.5)), "B": (1, shapely.box(11, 0, 12, 0.5))}
    one = solved(board_of([strip], [], {}), contacts=contacts).network
    names = [{"A": "A", "B": "X"}, {"A": "Y", "B": "B"}]
    whole, _ = joined_networks([one, one], names, [Wire("X", "Y", 1e-3), Wire("nowhere", "Y", 1.0)])
    assert whole.resistances(["A", "B"])["A", "B"] == pytest.approx(40 * SQUARE + 1e-3, rel=1e-6)
    ring, _ = joined_networks([one, one], names, [Wire("X", "Y", 0.0), Wire("A", "B", 0.0)])
    assert ring.resistances(["A", "X"])["A", "X"] == pytest.approx(10 * SQUARE, rel=1e-6)


def test_what_nothing_joins():
    sheets = [shapely.union_all([shapely.box(0, 0, 5, 1), shapely.box(0, 2, 5, 3)])]
    board = board_of(sheets, [hole(0.5, 0.5), hole(4.5, 0.5), hole(0.5, 2.5)],
                     {"A": (0.5, 0.5), "B": (4.5, 0.5), "C": (0.5, 2.5)})  # fmt: skip
    found = solved(board).resistances()
    assert found["A", "B"] > 3 * SQUARE and np.isnan(found["A", "C"]) and np.isnan(found["B", "C"])


def test_triangles_fill_what_is_drawn():
    """Sharp corners, slits, holes in holes, parts that touch in a point: area and outline kept at any size."""
    sharp = shapely.Polygon([(0, 0), (10, 0.3), (10, -0.3)])
    slit = shapely.box(20, 0, 30, 5) - shapely.box(21, 2.4999, 29, 2.5001)
    nest = shapely.Point(40, 0).buffer(4) - (shapely.Point(40, 0).buffer(3) - shapely.Point(40, 0).buffer(1))
    touching = shapely.MultiPolygon([shapely.box(50, 0, 51, 1), shapely.box(51, 1, 52, 2)])
    for shape in (sharp, slit, nest, touching, shapely.union_all([sharp, slit, nest, touching])):
        for size in (0.2, 0.7, 5.0):
            mesh = meshed(shape, size)
            assert mesh.areas.min() > 0 and mesh.areas.sum() == pytest.approx(shape.area, rel=2e-6)
            middles = shapely.points(mesh.points[mesh.corners].mean(axis=1))
            assert shapely.distance(middles, shape).max() < 1e-5


def test_cost_of_a_vertex_does_not_grow():
    """Eight times the turns: the factors have at most nine times the entries, so that time and memory grow alike."""
    from scipy.sparse.linalg import splu

    from pcbstator.verify.conduction.elements import elements_of
    from pcbstator.verify.conduction.sheet import _assembled

    counts = []
    for turns in (2, 16):
        along = np.linspace(0, 2 * pi * turns, 60 * turns)
        radius = 3 + 0.4 * along / (2 * pi)
        coil = shapely.LineString(np.stack([radius * np.cos(along), radius * np.sin(along)], axis=1)).buffer(0.1)
        mesh = meshed(coil)
        elements, matrices = elements_of(mesh, np.zeros(len(mesh.points), bool))
        matrix = _assembled(elements, matrices)[1:, 1:].tocsc()
        factor = splu(matrix, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True})
        counts.append((factor.L.nnz + factor.U.nnz) / matrix.shape[0])
    assert counts[1] < 9 / 8 * counts[0]
