"""The network against closed forms of one and two nodes, its own balance, and runaway."""

import numpy as np
import pytest
from scipy.optimize import brentq

from pcbstator.errors import LawRangeError
from pcbstator.physics.thermal.balance import current_at_temperature, steady_temperature
from pcbstator.physics.thermal.convection import air_conductivity
from pcbstator.physics.thermal.network import Gap, HeatNetwork, heat_outflow

ALPHA, SIGMA = 0.00393, 5.670374419e-8


def lump(conductance=0.5, resistance=2.0, ambient=25.0, eddy=0.0, capacity=100.0, copper_to_node=0.0):
    one = np.ones(1)
    return HeatNetwork(
        ambient, np.array([[conductance]]), resistance * one, eddy * one, capacity * one, copper_to_node * one,
        np.zeros((1, 1)), np.zeros((1, 2)), 400.0,
    )  # fmt: skip


def plate(cells=6, eddy=0.0, ambient=25.0):
    """A board of several rings with a face in air, a mount at the last, and a plate over a gap."""
    n = cells + 1
    conduction = np.zeros((n, n))
    for i in range(cells - 1):
        conduction[i : i + 2, i : i + 2] += 0.08 * np.array([[1, -1], [-1, 1]])
    conduction[cells - 1, cells - 1] += 0.02
    area = np.full(cells, 9e-4)
    knots = np.linspace(0.0, 300.0, 601)
    face = np.zeros((n, 2))
    face[:cells, 0], face[cells, 1] = area, 5e-3
    flux = np.array([4.0 * knots**1.25, 6.0 * knots])
    cover = np.arange(1, cells)
    gaps = (Gap(cover, cells, area[cover], np.full(cells - 1, 800.0), 0.2, 2.3e-3),)
    resistance = np.append(np.linspace(1.0, 3.0, cells), 0.0)
    capacity = np.append(np.full(cells, 2.0), 80.0)
    copper_to_node = np.append(np.full(cells, 0.2), 0.0)
    own = np.append(np.full(cells, eddy / cells), 0.0)
    return HeatNetwork(ambient, conduction, resistance, own, capacity, copper_to_node, face, flux, 0.5, gaps)


@pytest.mark.parametrize("target", [30.0, 60.0, 105.0, 300.0])
@pytest.mark.parametrize("eddy", [0.0, 1.2])
def test_one_node_is_the_closed_form(target, eddy):
    """I^2 R (1 + alpha (T - 20)) + E / (1 + alpha (T - 20)) = G (T - ambient)."""
    factor = 1 + ALPHA * (target - 20.0)
    expected = (0.5 * (target - 25.0) - eddy / factor) / (2.0 * factor)
    found = current_at_temperature(lump(eddy=eddy), ([0],), [target])
    assert float(found.squared_current[0]) == pytest.approx(expected, rel=1e-12)
    assert float(found.heat[0]) == pytest.approx(0.5 * (target - 25.0), rel=1e-12)
    if expected > 0:
        back = steady_temperature(lump(eddy=eddy), [0], expected**0.5)
        assert float(back.temperature_c[0, 0]) == pytest.approx(target, rel=1e-9)
        closed = (0.5 * 25.0 + 2.0 * expected * (1 - 20 * ALPHA)) / (0.5 - 2.0 * expected * ALPHA)
        assert eddy or closed == pytest.approx(target, rel=1e-9)


def test_runaway_is_found_not_iterated_for_ever():
    """With a fixed conductance no temperature holds from I^2 = G / (alpha R) on; at 300 C the current is below that."""
    edge = (0.5 / (ALPHA * 2.0)) ** 0.5
    at_end = float(current_at_temperature(lump(), ([0],), [300.0]).current[0])
    assert at_end == pytest.approx((0.5 * 275.0 / (2.0 * (1 + ALPHA * 280.0))) ** 0.5, rel=1e-12)
    assert at_end < edge
    assert steady_temperature(lump(), [0], at_end * 1.0001) is None
    assert steady_temperature(lump(), [0], 100.0 * edge) is None
    assert float(steady_temperature(lump(), [0], at_end * 0.9999).temperature_c[0, 0]) < 300.0


def test_current_grows_with_the_temperature_it_holds():
    targets = np.linspace(26.0, 300.0, 40)
    found = current_at_temperature(plate(eddy=0.3), (range(6),) * 40, targets)
    assert np.all(np.diff(found.squared_current) > 0)


def test_balance_closes():
    """Heat in the copper equals what leaves to air and mount, worked out again from the temperatures alone: 1e-6 asked,
    1e-9 held; and every node for itself."""
    network = plate(eddy=0.4)
    found = current_at_temperature(network, (range(6), [6], range(6)), [105.0, 80.0, 300.0])
    rise = found.temperature_c - 25.0
    faces = 9e-4 * np.interp(rise[:, :6], 0.5 * np.arange(601), network.face_flux[0]).sum(axis=1)
    back = 5e-3 * np.interp(rise[:, 6], 0.5 * np.arange(601), network.face_flux[1])
    assert found.heat == pytest.approx(faces + back + 0.02 * rise[:, 5], rel=1e-9)
    flow, _ = heat_outflow(network, rise)
    factor = 1 + ALPHA * (found.temperature_c - 20.0)
    lost = found.squared_current[:, None] * network.resistance * factor + network.eddy / factor
    assert flow == pytest.approx(lost, rel=1e-7, abs=1e-8)
    assert np.abs(flow - lost).max() < 1e-6 * found.heat.min()
    for case, (nodes, target) in enumerate(((range(6), 105.0), ([6], 80.0), (range(6), 300.0))):
        assert found.temperature_c[case, list(nodes)].max() == pytest.approx(target, rel=1e-9)


def test_slopes_are_those_of_the_flows():
    network, rise, step = plate(), np.array([[30.3, 40.1, 55.2, 61.3, 70.1, 80.2, 33.3]]), 1e-4
    _, slope = heat_outflow(network, rise)
    for node in range(7):
        moved = np.zeros((1, 7))
        moved[0, node] = step
        change = (heat_outflow(network, rise + moved)[0] - heat_outflow(network, rise - moved)[0]) / (2 * step)
        assert slope[0, :, node] == pytest.approx(change[0], rel=1e-5, abs=1e-9)


def test_two_nodes_over_a_gap_by_a_root_search():
    """Laminate, air and radiation in a row, then the plate to air: solved by another method."""
    area, reach, eps, laminate, h = 4e-3, 1250.0, 0.2, 2.3e-3, 9.0
    network = HeatNetwork(
        20.0, np.zeros((2, 2)), np.array([1.0, 0.0]), np.zeros(2), np.ones(2), np.zeros(2),
        np.array([[0.0], [area]]), np.array([[0.0, h * 100.0, h * 200.0, h * 300.0]]), 100.0,
        (Gap(np.array([0]), 1, np.array([area]), np.array([reach]), eps, laminate),),
    )  # fmt: skip
    found = current_at_temperature(network, ([0],), [90.0])

    def unbalanced(rotor):
        a, b = 90.0 + 273.15, rotor + 273.15
        air = float(air_conductivity((90.0 + rotor) / 2)) * reach
        glow = SIGMA * eps * (a**4 - b**4) / (a - b)
        return (90.0 - rotor) / (laminate + 1 / (air + glow)) - h * (rotor - 20.0)

    rotor = brentq(unbalanced, 20.0, 89.999, xtol=1e-12)
    assert float(found.temperature_c[0, 1]) == pytest.approx(rotor, rel=1e-10)
    assert float(found.squared_current[0]) == pytest.approx(area * h * (rotor - 20.0) / (1 + ALPHA * 70.0), rel=1e-10)


@pytest.mark.parametrize("call", [
    lambda: current_at_temperature(lump(), ([0],), [25.0]),
    lambda: current_at_temperature(lump(), ([0],), [301.0]),
    lambda: current_at_temperature(lump(), ([0],), [float("nan")]),
    lambda: current_at_temperature(lump(conductance=0.0, resistance=0.0), ([0],), [60.0]),
])  # fmt: skip
def test_outside_the_range(call):
    with pytest.raises(LawRangeError):
        call()
