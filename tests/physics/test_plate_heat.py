"""A ring-shaped plate against closed forms: logarithm, Bessel functions, and order of convergence."""

import numpy as np
import pytest
from scipy.special import i0, i1, k0, k1

from pcbstator.errors import LawRangeError
from pcbstator.physics.thermal.plate import buried_layer_rise, fin_efficiency, ring_areas, ring_conductances

INNER, MIDDLE, OUTER = 0.02, 0.03, 0.05


def solved(edges, sheet, source, sink):
    """Rise of every ring: source [W/m2], sink [W/(m2 K)], edges insulated."""
    area, g = ring_areas(edges), ring_conductances(edges, np.full(len(edges) - 1, sheet))
    matrix = np.diag(area * sink)
    for i, value in enumerate(g):
        matrix[i : i + 2, i : i + 2] += value * np.array([[1, -1], [-1, 1]])
    return np.linalg.solve(matrix, area * source)


def bessel(radius, sheet, sink, flux):
    """Heated with ``flux`` inside of MIDDLE only: K (T'' + T'/r) = sink T - flux, T and T' joined at MIDDLE."""
    m = (sink / sheet) ** 0.5

    def inside(r, order):  # slope nought at the inner edge
        ratio = i1(m * INNER) / k1(m * INNER)
        return i0(m * r) + ratio * k0(m * r) if order == 0 else m * (i1(m * r) - ratio * k1(m * r))

    def outside(r, order):
        ratio = i1(m * OUTER) / k1(m * OUTER)
        return i0(m * r) + ratio * k0(m * r) if order == 0 else m * (i1(m * r) - ratio * k1(m * r))

    system = np.array([[inside(MIDDLE, 0), -outside(MIDDLE, 0)], [inside(MIDDLE, 1), -outside(MIDDLE, 1)]])
    a, b = np.linalg.solve(system, [-flux / sink, 0.0])
    return np.where(radius < MIDDLE, flux / sink + a * inside(radius, 0), b * outside(radius, 0))


@pytest.mark.parametrize("sheet", [1.7e-3, 1e-2, 5e-2])
def test_ring_heated_inside_against_bessel_functions(sheet):
    sink, flux, errors = 20.0, 1500.0, []
    for rings in (12, 24, 48):  # MIDDLE is at a third of the width: always between two rings
        edges = np.linspace(INNER, OUTER, rings + 1)
        middle = (edges[1:] + edges[:-1]) / 2
        found = solved(edges, sheet, np.where(middle < MIDDLE, flux, 0.0), sink)
        errors.append(np.abs(found - bessel(middle, sheet, sink, flux)).max() / found.max())
    assert errors[1] < 3e-3 and errors[2] < 8e-4
    assert errors[0] / errors[1] > 3.2 and errors[1] / errors[2] > 3.2  # second order


def test_uniform_plate_is_a_lump():
    edges = np.linspace(INNER, OUTER, 25)
    assert solved(edges, 0.01, 1500.0, 20.0) == pytest.approx(np.full(24, 75.0), rel=1e-10)


def test_conductances_in_series_are_the_logarithm():
    edges = np.linspace(INNER, OUTER, 41)
    middle = (edges[1:] + edges[:-1]) / 2
    whole = 1 / (1 / ring_conductances(edges, np.full(40, 0.01))).sum()
    assert whole == pytest.approx(2 * np.pi * 0.01 / np.log(middle[-1] / middle[0]), rel=1e-12)
    assert ring_areas(edges).sum() == pytest.approx(np.pi * (OUTER**2 - INNER**2), rel=1e-12)


def test_step_in_conductance_is_in_series():
    edges, sheet = np.array([0.01, 0.02, 0.03]), np.array([0.01, 0.04])
    expected = 2 * np.pi / (np.log(0.02 / 0.015) / 0.01 + np.log(0.025 / 0.02) / 0.04)
    assert float(ring_conductances(edges, sheet)[0]) == pytest.approx(expected, rel=1e-12)


def test_fin_against_finite_differences():
    """A straight fin at unit temperature at its foot, cells of equal size."""
    length, sheet, h, n = 8e-3, 1.7e-3, 22.0, 800
    step = length / n
    matrix = np.diag(np.full(n, h * step))
    for i in range(n - 1):
        matrix[i : i + 2, i : i + 2] += sheet / step * np.array([[1, -1], [-1, 1]])
    matrix[0, 0] += 2 * sheet / step
    right = np.zeros(n)
    right[0] = 2 * sheet / step
    mean = np.linalg.solve(matrix, right).mean()
    assert float(fin_efficiency(length, sheet, h)) == pytest.approx(mean, rel=1e-5)
    assert float(fin_efficiency(0.0, sheet, h)) == pytest.approx(1.0, rel=1e-9)


@pytest.mark.parametrize(("share", "depths"), [
    ([0.5, 0.5], [0.0, 1.6e-3]),
    ([0.25] * 4, [0.0, 0.5e-3, 1.1e-3, 1.6e-3]),
    ([0.1, 0.4, 0.4, 0.1], [0.0, 0.2e-3, 1.4e-3, 1.6e-3]),
    ([0.7, 0.3], [0.0, 1.2e-3]),  # bare laminate below the last layer
])  # fmt: skip
def test_buried_layers_against_finite_differences(share, depths):
    """All warms alike: the conduction of every cell takes its source less an even part of the whole."""
    k, thickness, n, flux = 0.343, 1.6e-3, 1600, 1e4
    step = thickness / n
    volume = np.full(n + 1, step)
    volume[[0, -1]] /= 2
    source = np.zeros(n + 1)
    source[np.rint(np.array(depths) / step).astype(int)] = np.array(share) * flux
    through = np.cumsum(source - flux * volume / thickness)[:-1]
    shape = np.concatenate([[0.0], np.cumsum(-through * step / k)])
    hottest = (shape.max() - (shape * volume).sum() / thickness) / flux
    assert buried_layer_rise(share, depths, thickness, k) == pytest.approx(hottest, rel=1e-5)


def test_copper_leads_by_less_at_first():
    """Crank-Nicolson over time from an even slab: the excess grows towards the law's value and does not exceed it."""
    k, capacity, thickness, n, flux = 0.343, 1.665e6, 1.6e-3, 160, 2e5
    step = thickness / n
    volume = np.full(n + 1, step)
    volume[[0, -1]] /= 2
    source = np.zeros(n + 1)
    source[[0, -1]] = flux / 2
    matrix = np.zeros((n + 1, n + 1))
    for i in range(n):
        matrix[i : i + 2, i : i + 2] += k / step * np.array([[1, -1], [-1, 1]])
    time, state, leads = 5e-3, np.zeros(n + 1), []
    left = np.diag(capacity * volume / time) + matrix / 2
    right = np.diag(capacity * volume / time) - matrix / 2
    for _ in range(600):
        state = np.linalg.solve(left, right @ state + source)
        leads.append((state.max() - (state * volume).sum() / thickness) / flux)
    law = buried_layer_rise([0.5, 0.5], [0.0, thickness], thickness, k)
    assert max(leads) <= law * (1 + 1e-3)
    assert leads[-1] == pytest.approx(law, rel=1e-3) and leads[20] < 0.8 * law


@pytest.mark.parametrize("call", [
    lambda: ring_areas([0.02, 0.01]),
    lambda: ring_areas([-0.01, 0.01]),
    lambda: ring_conductances([0.01, 0.02, 0.03], [0.01, 0.0]),
    lambda: fin_efficiency(-1e-3, 1e-3, 20.0),
    lambda: buried_layer_rise([0.5, 0.5], [1e-3, 0.0], 1.6e-3, 0.3),
])  # fmt: skip
def test_outside_the_range(call):
    with pytest.raises(LawRangeError):
        call()
