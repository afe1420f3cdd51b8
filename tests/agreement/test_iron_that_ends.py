"""Iron that ends with the magnets, against a finite-element solution of one harmonic in the plane of radius and axis.

With phi(r, z)·cos(m·theta) the whole ring in space is a problem of two variables, whatever ends at some radius:
∫ mu·(grad phi·grad v + m²/r²·phi·v) r dr dz = ∫ M_n·dv/dz r dr dz (scikit-fem, scalar potential, quadratic elements).
"""

from itertools import pairwise

import numpy as np
import pytest
from scipy.sparse.linalg import spsolve
from skfem import Basis, BilinearForm, ElementQuad2, LinearForm, MeshQuad, condense

from pcbstator.constants import MU_0
from pcbstator.materials import MagnetisationCurve
from pcbstator.physics.magnetics.field_layers import MagnetLayers
from pcbstator.physics.magnetics.magnet_pattern import sector_footprint
from pcbstator.physics.magnetics.magnet_ring import ODD_ORDERS, ring_harmonics
from pcbstator.physics.magnetics.ring_modes import ring_source
from pcbstator.physics.magnetics.steel import saturated_iron

P, INNER, OUTER, DISTANCE, IRON = 12, 0.034, 0.051, 0.0012, 0.002
HALF_ANGLE = 0.8 * np.pi / (2 * P)
RING = sector_footprint(INNER, OUTER, HALF_ANGLE)
RADII = np.linspace(0.032, 0.053, 43)


def lines(ends, finest, largest=0.004, growth=1.35):
    """Grid lines through ``ends``, finest there."""
    nodes = [ends[0]]
    for low, high in pairwise(ends):
        steps, size = [], finest
        while sum(steps) < (high - low) / 2:
            steps.append(size)
            size = min(size * growth, largest)
        inside = np.cumsum(steps) * (high - low) / 2 / sum(steps)
        nodes.extend([*(low + inside), *(high - inside[-2::-1]), high])
    return np.array(nodes)


def solve(layers, iron_inner, iron_outer):
    """B_1 at DISTANCE and RADII [T]."""
    h, t = layers.magnet_thickness, layers.back_iron
    bottom = -layers.mirror_distance if layers.mirror_distance is not None else -0.05
    rs = lines(sorted({0.012, iron_inner, INNER, OUTER, iron_outer, 0.11}), 0.0003)
    zs = lines(sorted({bottom, -DISTANCE, 0.0, h, h + t, 0.06}), 0.00025)
    basis = Basis(MeshQuad.init_tensor(rs, zs), ElementQuad2(), intorder=4)
    r, z = np.array(basis.global_coordinates())
    magnet = (z > 0) & (z < h) & (r > INNER) & (r < OUTER)
    steel = (z > h) & (z < h + t) & (r > iron_inner) & (r < iron_outer)
    mu = np.where(magnet, layers.recoil_permeability, np.where(steel, layers.back_iron_permeability, 1.0))
    source = np.where(magnet, layers.remanence * 4 / np.pi * np.sin(P * HALF_ANGLE), 0.0)

    @BilinearForm
    def stiffness(u, v, w):
        r = w.x[0]
        return w.mu * (r * (u.grad[0] * v.grad[0] + u.grad[1] * v.grad[1]) + P**2 / r * u * v)

    @LinearForm
    def drive(v, w):
        return w.source * v.grad[1] * w.x[0]

    places = basis.doflocs
    outside = np.any([np.abs(places[0] - end) < 1e-9 for end in rs[[0, -1]]], axis=0)
    outside |= np.any([np.abs(places[1] - end) < 1e-9 for end in zs[[0, -1]]], axis=0)  # the mirror, too
    matrix, right, _, free = condense(
        stiffness.assemble(basis, mu=mu), drive.assemble(basis, source=source), D=np.flatnonzero(outside)
    )
    phi = np.zeros(basis.N)
    phi[free] = spsolve(matrix, right)
    step = 1e-4
    above, below = (
        basis.probes(np.stack([RADII, np.full_like(RADII, -DISTANCE + move)])) @ phi for move in (step, -step)
    )
    return -(above - below) / (2 * step)


CASES = {
    "single": MagnetLayers(0.003, 1.3, 1.05, IRON, 500.0),
    "double": MagnetLayers(0.003, 1.3, 1.05, IRON, 500.0, mirror_distance=0.0016),
}


def ours(layers):
    return -ring_harmonics(RING, P, layers, RADII, np.array([DISTANCE]), np.array([1]))[0, 0]


@pytest.mark.parametrize("name", CASES)
def test_endless_iron(name):
    """Without recoil the layers are exact; with it they let the space around have mu_r: 0.7 % at an edge."""
    layers = CASES[name]
    for mu_r, tolerance in ((1.0, 0.001), (1.05, 0.008)):
        each = MagnetLayers(0.003, 1.3, mu_r, IRON, 500.0, layers.mirror_distance)
        solved = solve(each, 0.0121, 0.1099)
        assert np.abs(ours(each) - solved).max() < tolerance * solved.max()


@pytest.mark.parametrize(("inner", "outer"), [(INNER, OUTER), (0.031, 0.0525), (0.036, 0.049)])
@pytest.mark.parametrize("name", CASES)
def test_iron_that_ends(name, inner, outer):
    """With the magnets, beyond them and before them: 1.1 % of the peak everywhere, 0.5 % of what a winding links."""
    mu = CASES[name].back_iron_permeability
    straight = MagnetisationCurve((0.0, mu * MU_0 * 1e7), (0.0, 1e7))
    solved = solve(CASES[name], inner, outer)
    source = ring_source(RING, P, RADII, np.array([DISTANCE]), np.array(ODD_ORDERS), edges=(inner, outer))
    steel = saturated_iron(RING, P, CASES[name], straight, source, (inner, outer))
    got = -ring_harmonics(RING, P, steel.layers, RADII, np.array([DISTANCE]), np.array([1]), source=steel.source)[0, 0]
    assert np.abs(got - solved).max() < 0.011 * solved.max()
    linked, expected = (np.trapezoid(B * RADII, RADII) for B in (got, solved))
    assert linked == pytest.approx(expected, rel=0.005)
    endless = ours(CASES[name])
    if outer <= OUTER:  # what the ends do is seen
        assert np.abs(endless - solved).max() > 1.5 * np.abs(got - solved).max()
