"""Torque and EMF by force on the current, and eddies, against closed forms."""

from __future__ import annotations

from math import pi

import numpy as np
import pytest
import shapely

from pcbstator.physics.conductors.eddy import strip_eddy_loss_density
from pcbstator.physics.conductors.sheet_drag import disc_eddy_loss
from pcbstator.physics.magnetics.magnet_ring import RingField
from pcbstator.verify.conduction.board import Build, board_network
from pcbstator.verify.conduction.mesh import meshed
from pcbstator.verify.eddies import eddy_losses
from pcbstator.verify.records import WrittenBoard, WrittenHole, WrittenLayer
from pcbstator.verify.torque import linkages_by_sheet

PAIRS, B, A, OUTER = 5, 0.4, 20.0, 32.0
T, RHO = 35e-6, 1.7241e-8


def even_field(pole_pairs=PAIRS, orders=(1,), peak=B, depths=1):
    """A field of the same amplitude at all radii: B·cos(n·p·(theta − alpha)) of each order."""
    values = np.full((len(orders), depths, 50), peak)
    return RingField(pole_pairs, np.array(orders), np.arange(1, depths + 1) * 1e-3, 1e-3, 0.3, values)


def turn(start, sense=1):
    """One turn of a pole pitch from ``start`` [rad], its leads side by side at its first edge, where the field is none
    when the turn links most.
    """
    arc = np.linspace(start, start + pi / PAIRS, 300)
    inner, outer = (np.stack([r * np.cos(arc), r * np.sin(arc)], axis=1) for r in (A, OUTER))
    radial, aside = outer[0] / OUTER, np.array([-outer[0][1], outer[0][0]]) / OUTER
    # Counter-clockwise: in beside the edge, along the outer arc, back along the inner one, out along the edge.
    ends = [outer[0] + 4 * radial + 1.0 * aside, outer[0] + 4 * radial - 0.7 * aside]
    bends = [outer[0] + 4 * radial + 0.3 * aside, outer[0] + 0.3 * aside, outer[0] + 4 * radial]
    line = np.vstack([ends[0], *bends[:2], outer[8:], inner[::-1], bends[2], ends[1]])
    copper = shapely.LineString(line).buffer(0.05, join_style="mitre")
    copper = shapely.union_all([copper, *(shapely.Point(end).buffer(0.3) for end in ends)])
    holes = tuple(WrittenHole(np.array([end]), 0.3, True, 1, 1) for end in ends)
    terminals = dict(zip("AN"[::sense], map(tuple, ends), strict=True))
    board = WrittenBoard("", (WrittenLayer(1, "", copper),), holes, terminals=terminals)
    return board_network(board, Build((T,), (0.0,), 20e-6, RHO))


def linkage(network, field, angle=0.0):
    voltages = network.network.driven([{"A": 1.0, "N": -1.0}])
    return sum(sheet.each[:, 0].sum(axis=0) for sheet in linkages_by_sheet(network, voltages, field, 0, angle))


def test_one_turn_in_an_even_harmonic_field():
    """psi = B·(b² − a²)/2·(2/p)·sin(p·span/2), span a pole pitch, the turn's middle at its peak; of order 3 a third
    with the other sign. The torque per ampere is p·psi where the current meets the peak of the field.
    """
    field = even_field(orders=(1, 3))
    wanted = B * 1e-6 * (OUTER**2 - A**2) / 2 * 2 / PAIRS
    network = turn(-pi / PAIRS / 2)
    found = linkage(network, field)
    assert found.real == pytest.approx([wanted, -wanted / 3], rel=2e-3)
    assert abs(found[0].imag) < 0.01 * wanted, "of the slit between the leads alone"
    aside = linkage(turn(-pi / PAIRS / 2 + 0.1), field)
    assert aside[0] / found[0] == pytest.approx(np.exp(1j * PAIRS * 0.1), rel=1e-4)
    assert linkage(network, field, 0.1) == pytest.approx(np.array([1, 1]) * aside, rel=1e-4), "a board that is turned"
    assert linkage(turn(-pi / PAIRS / 2, sense=-1), field)[0] == pytest.approx(-found[0], rel=1e-9)


def test_field_is_taken_at_the_height_of_the_layer():
    field = even_field(depths=2)
    halved = RingField(PAIRS, field.orders, field.distances, field.inner, field.outer, field.values * [[[1.0], [0.5]]])
    network = turn(-pi / PAIRS / 2)
    voltages = network.network.driven([{"A": 1.0, "N": -1.0}])
    top, below = (linkages_by_sheet(network, voltages, halved, level, 0.0)[0].each.sum() for level in (0, 1))
    assert below == pytest.approx(top / 2, rel=1e-12)


def eddies(shape, field, index=0):
    mesh = meshed(shape)
    return float(eddy_losses(mesh, np.zeros(len(mesh.corners), int), np.array([True]), T / RHO, field, index)[0])


@pytest.mark.parametrize("inner", [0.0, 1.0])
def test_eddies_of_a_disc_and_a_ring(inner):
    """pi·sigma·t·(w·B)²·a⁴/16, of a ring less its middle; 100 mm from the axis of a field of one pole pair, which is
    all but even over 3 mm.
    """
    field, w = even_field(1), 1.0
    disc = shapely.Point(100, 0).buffer(3, quad_segs=32)
    shape = disc - shapely.Point(100, 0).buffer(inner, quad_segs=32) if inner else disc
    wanted = float(disc_eddy_loss(np.array(w / 2 / pi), np.array(B), 1e-3 * inner, 3e-3, T, RHO))
    assert eddies(shape, field) == pytest.approx(wanted, rel=2e-3)


def test_eddies_of_a_strip():
    """(pi·f·B·w)²/(6·rho) of a long strip, less 0.63 of its width at its ends (Saint-Venant's torsion: the same
    equation; Timoshenko, from memory: 1 − 0.63·w/l).
    """
    field = even_field(1)
    width, length = 0.3, 20.0
    wanted = float(strip_eddy_loss_density(1 / 2 / pi, B, 1e-3 * width, RHO)) * 1e-6 * width * length * T
    shape = shapely.box(100 - width / 2, -length / 2, 100 + width / 2, length / 2)
    # Over the strip's length the field turns by 0.2 rad, which the law does not know: 1 in 300.
    assert eddies(shape, field) == pytest.approx(wanted * (1 - 0.63 * width / length), rel=1e-2)


def test_eddies_of_orders_add_up():
    """Each order goes with the square of its frequency."""
    shape = shapely.Point(100, 0).buffer(2)
    one, three, both = (eddies(shape, even_field(1, orders)) for orders in ((1,), (3,), (1, 3)))
    assert both == pytest.approx(one + three, rel=1e-9) and three == pytest.approx(9 * one, rel=5e-3)
