"""Iron and recoil against a planar finite-element solution of one pole pitch (scikit-fem, vector potential, Newton).

The rings are 2 m across with 283 pole pairs, so at their middle radius they are the straight array that the solver
sees: half a pole pitch wide, B_x = 0 at the middle of a magnet, B_z = 0 midway between two. Here the space between
magnets is air, and every point of the steel has its own permeability from the magnetisation curve.
"""

from dataclasses import dataclass, replace
from itertools import pairwise

import magpylib
import numpy as np
import pytest
from scipy.sparse.linalg import spsolve
from skfem import Basis, BilinearForm, ElementQuad2, LinearForm, MeshQuad, condense

from pcbstator.constants import MU_0
from pcbstator.errors import LawRangeError
from pcbstator.materials import MagnetisationCurve, mild_steel
from pcbstator.physics.magnetics.field_layers import MagnetLayers
from pcbstator.physics.magnetics.magnet_pattern import sector_footprint
from pcbstator.physics.magnetics.magnet_ring import ODD_ORDERS, ring_harmonics
from pcbstator.physics.magnetics.ring_modes import ring_source
from pcbstator.physics.magnetics.steel import saturated_iron
from pcbstator.physics.magnetics.steel_plate import relative_permeabilities

POLE_PAIRS, RADIUS, ARC = 283, 1.0, 0.8
PITCH = np.pi * RADIUS / POLE_PAIRS
RING = sector_footprint(0.96, 1.04, ARC * np.pi / (2 * POLE_PAIRS))
DISTANCE = 0.0012
STEEL = mild_steel()


@dataclass
class Solved:
    """What the solver found: fundamental of B_z at DISTANCE, mean B_x between the poles in both plates [T]."""

    fundamental: float
    back_iron: float
    plate: float


def graded(ends, finest=0.00008, growth=1.25):
    """Nodes from every end of a layer inwards, growing."""
    nodes = [ends[0]]
    for low, high in pairwise(ends):
        steps, size = [], finest
        while sum(steps) < (high - low) / 2:
            steps.append(size)
            size *= growth
        steps = np.array(steps) * (high - low) / 2 / sum(steps)
        inside = np.concatenate([low + np.cumsum(steps), (high - np.cumsum(steps))[::-1][1:], [high]])
        nodes.extend(inside)
    return np.array(nodes)


def reluctivity(square, curve):
    """nu and d nu/d(B²) of the steel, in 1/mu_0, by differences of its own table."""
    B = np.sqrt(square) + 1e-6
    step = 1e-5
    b, h = np.array(curve.flux_density), np.array(curve.field_strength)
    nu, more = (MU_0 * (np.interp(x, b, h) + np.maximum(x - b[-1], 0.0) / MU_0) / x for x in (B, B + step))
    return nu, (more - nu) / (2 * B * step)


def solve(layers, curve=None):
    """Vector potential A (B_x = −dA/dz, B_z = dA/dx): ∫ nu·grad A·grad v = ∫ nu·Br dv/dx in the magnet."""
    h, far = layers.magnet_thickness, 2.5 * PITCH
    below = -layers.mirror_distance if layers.mirror_distance is not None else -far
    ends = {below, -DISTANCE, 0.0, h, h + layers.back_iron, h + layers.back_iron + far}
    plate = (0.0, 0.0)
    if layers.plate_distance is not None:
        plate = (-layers.plate_distance - layers.plate_thickness, -layers.plate_distance)
        ends |= set(plate)
    edge = ARC * PITCH / 2
    xs = np.unique(np.round(np.concatenate([graded([0.0, edge]), graded([edge, PITCH / 2])]), 12))
    zs = np.unique(np.round(graded(sorted(ends)), 12))
    mesh = MeshQuad.init_tensor(xs, zs)
    basis = Basis(mesh, ElementQuad2(), intorder=4)
    x, z = np.array(basis.global_coordinates())
    magnet = (z > 0) & (z < h) & (x < edge)
    back, front = (z > h) & (z < h + layers.back_iron), (z > plate[0]) & (z < plate[1])
    tight = 1e-9
    ends_z = (zs[-1],) if layers.mirror_distance is not None else (zs[0], zs[-1])
    places = basis.doflocs
    fixed = np.flatnonzero((places[0] < tight) | np.any([np.abs(places[1] - end) < tight for end in ends_z], axis=0))

    def material(square):
        nu = np.where(magnet, 1 / layers.recoil_permeability, 1.0)
        slope = np.zeros_like(nu)
        for region, permeability in ((back, layers.back_iron_permeability), (front, layers.plate_permeability)):
            if curve is None:
                nu = np.where(region, 1 / min(permeability, 1e6), nu)
            else:
                own, own_slope = reluctivity(square, curve)
                nu, slope = np.where(region, own, nu), np.where(region, own_slope, slope)
        return nu, slope

    @BilinearForm
    def tangent(u, v, w):
        along_u = w.A.grad[0] * u.grad[0] + w.A.grad[1] * u.grad[1]
        along_v = w.A.grad[0] * v.grad[0] + w.A.grad[1] * v.grad[1]
        return w.nu * (u.grad[0] * v.grad[0] + u.grad[1] * v.grad[1]) + 2 * w.slope * along_u * along_v

    @LinearForm
    def residual(v, w):
        pull = np.where(magnet, layers.remanence / layers.recoil_permeability, 0.0)
        return w.nu * (w.A.grad[0] * v.grad[0] + w.A.grad[1] * v.grad[1]) - pull * v.grad[0]

    A = np.zeros(basis.N)
    for _ in range(40):
        state = basis.interpolate(A)
        nu, slope = material(state.grad[0] ** 2 + state.grad[1] ** 2)
        given = {"A": state, "nu": nu, "slope": slope}
        force = residual.assemble(basis, **given)
        step = np.zeros_like(A)
        matrix, right, _, free = condense(tangent.assemble(basis, **given), -force, D=fixed)
        step[free] = spsolve(matrix, right)
        A += step
        if np.abs(step).max() < 1e-7 * np.abs(A).max():
            break
    else:
        raise RuntimeError("Newton did not converge")

    points = np.linspace(0.0, PITCH / 2, 801)
    potential = basis.probes(np.stack([points, np.full_like(points, -DISTANCE)])) @ A
    # ∫ dA/dx cos(kx) dx over the half pitch, by parts
    k = np.pi / PITCH
    fundamental = 4 / PITCH * k * np.trapezoid(potential * np.sin(k * points), points)

    def between_poles(low, high):
        top, bottom = basis.probes(np.array([[PITCH / 2] * 2, [high, low]])) @ A
        return abs(bottom - top) / (high - low)

    iron = between_poles(h, h + layers.back_iron) if layers.back_iron else 0.0
    return Solved(fundamental, iron, between_poles(*plate) if plate[1] else 0.0)


def fundamental(layers, source=None):
    place = np.array([RADIUS]), np.array([DISTANCE]), np.array([1])
    return abs(float(ring_harmonics(RING, POLE_PAIRS, layers, *place, source=source)[0, 0, 0]))


def saturated(layers, curve):
    """The steel of the whole ring; its middle does not feel its ends."""
    place = np.array([0.96, 1.04]), np.array([DISTANCE]), np.array(ODD_ORDERS)
    return saturated_iron(RING, POLE_PAIRS, layers, curve, ring_source(RING, POLE_PAIRS, *place))


def straight(permeability):
    """A curve of one permeability."""
    return MagnetisationCurve((0.0, permeability * MU_0 * 1e7), (0.0, 1e7))


LINEAR = {
    "air": MagnetLayers(0.003, 1.3),
    "recoil": MagnetLayers(0.003, 1.3, 1.05),
    "ideal iron": MagnetLayers(0.003, 1.3, 1.05, 0.002),
    "two rotors": MagnetLayers(0.003, 1.3, 1.05, 0.002, mirror_distance=0.0016),
    "poor iron": MagnetLayers(0.003, 1.3, 1.05, 0.001, 50.0),
    "two with poor iron": MagnetLayers(0.003, 1.3, 1.05, 0.001, 20.0, mirror_distance=0.0016),
    "iron and plate": MagnetLayers(0.003, 1.3, 1.05, 0.002, 100.0, None, 0.003, 0.001, 100.0),
}


@pytest.mark.parametrize("name", LINEAR)
def test_iron_of_one_permeability(name):
    """With mu_r = 1 both solve the same; 1.05 in the gaps between the magnets, too, costs the layers 0.1 to 0.3 %."""
    layers = LINEAR[name]
    solved = solve(layers)
    same = layers.recoil_permeability == 1.0
    assert fundamental(layers) == pytest.approx(solved.fundamental, rel=1e-5 if same else 4e-3)
    if layers.back_iron:
        own = saturated(layers, straight(min(layers.back_iron_permeability, 1e6)))
        assert own.layers.back_iron_permeability == pytest.approx(min(layers.back_iron_permeability, 1e6), rel=1e-6)
        assert fundamental(own.layers, own.source) == pytest.approx(fundamental(layers), rel=2e-3)
        assert own.back_iron.mean == pytest.approx(solved.back_iron, rel=0.05)
        if layers.plate_thickness:
            assert own.plate.mean == pytest.approx(solved.plate, rel=0.05)


@pytest.mark.parametrize("arrangement", ["single", "double", "plate"])
@pytest.mark.parametrize(
    "thickness", [0.001, *(pytest.param(value, marks=pytest.mark.slow) for value in (0.0015, 0.002)), 0.003]
)
def test_steel_that_saturates(thickness, arrangement):
    """Every point of both steels on the curve."""
    layers = MagnetLayers(0.003, 1.3, 1.05, thickness)
    if arrangement == "double":
        layers = replace(layers, mirror_distance=0.0016)
    if arrangement == "plate":
        layers = replace(layers, plate_distance=0.003, plate_thickness=0.001)
    solved, steel = solve(layers, STEEL), saturated(layers, STEEL)
    # at the knee, where a plate is a seventh of the pole pitch thick, flux crowds at its face more than the law lets it
    assert fundamental(steel.layers, steel.source) == pytest.approx(
        solved.fundamental, rel=0.02 if thickness == 0.0015 else 0.008
    )
    assert steel.back_iron.mean == pytest.approx(solved.back_iron, rel=0.05)
    if arrangement == "plate":
        assert steel.plate.mean == pytest.approx(solved.plate, rel=0.05)


@pytest.mark.parametrize(("mirror", "least", "most"), [(None, 0.0005, 0.004), (0.0016, 0.005, 0.017)])
def test_two_millimetres_of_steel_lose_what_the_3d_study_found(mirror, least, most):
    """A 3D finite-element study of rings with 2 mm steel: saturation takes 0.15 % (single) to 1.6 % (double)."""
    ring = sector_footprint(0.034, 0.051, 0.8 * np.pi / 24)
    layers = MagnetLayers(0.003, 1.3, 1.05, 0.002, mirror_distance=mirror)
    place = np.array([0.0425]), np.array([DISTANCE])
    source = ring_source(ring, 12, np.array([0.034, 0.051]), place[1], np.array(ODD_ORDERS))
    ideal, real = (saturated_iron(ring, 12, layers, curve, source) for curve in (straight(1e6), STEEL))
    ideal, real = (
        ring_harmonics(ring, 12, each.layers, *place, np.array([1]), source=each.source)[0, 0, 0]
        for each in (ideal, real)
    )
    assert least < 1 - real / ideal < most


@pytest.mark.parametrize("arc_ratio", [0.5, 0.7])
def test_recoil_with_wide_gaps_between_the_magnets(arc_ratio, monkeypatch):
    """The layers let the gaps have mu_r, too: the rarer the magnets, the less loss they show; still within 1 %."""
    monkeypatch.setitem(solve.__globals__, "ARC", arc_ratio)
    layers = MagnetLayers(0.003, 1.3, 1.05, 0.002)
    ring = sector_footprint(0.96, 1.04, arc_ratio * np.pi / (2 * POLE_PAIRS))
    place = np.array([RADIUS]), np.array([DISTANCE]), np.array([1])
    ours = abs(ring_harmonics(ring, POLE_PAIRS, layers, *place)[0, 0, 0])
    assert ours == pytest.approx(solve(layers).fundamental, rel=0.01)


def test_no_iron_has_no_flux_density():
    bare = saturated_iron(RING, POLE_PAIRS, MagnetLayers(0.003, 1.3), STEEL)
    assert (bare.back_iron, bare.plate) == (None, None)


def test_steel_without_width_is_refused():
    with pytest.raises(LawRangeError, match="needs a width"):
        saturated_iron(RING, POLE_PAIRS, MagnetLayers(0.003, 1.3, back_iron=0.002), STEEL, ends=(1.04, 1.04))


def test_permeabilities_are_those_of_the_table():
    B, H = np.array(STEEL.flux_density), np.array(STEEL.field_strength)
    field = np.concatenate([(H[1:] + H[:-1]) / 2, [H[-1] + 1e5]])
    mu, slope = relative_permeabilities(MU_0 * field, STEEL)
    assert mu * MU_0 * field == pytest.approx(np.append((B[1:] + B[:-1]) / 2, B[-1] + MU_0 * 1e5), rel=1e-9)
    assert slope * MU_0 == pytest.approx(np.append(np.diff(B) / np.diff(H), MU_0), rel=1e-9)
    assert np.all(np.diff(H) > 0) and np.all(np.diff(B) > 0)


def test_half_pole_flux_is_the_field_over_half_a_pole():
    """Ideal iron, no recoil: B at the back is that at the middle of a magnet twice as thick (images, magpylib).

    The steel's orders up to 5 leave 1 % of the sum, whose terms fall as 1/n².
    """
    p, inner, outer, h = 6, 0.020, 0.035, 0.003
    half = 0.8 * np.pi / (2 * p)
    layers, wide = MagnetLayers(h, 1.3, back_iron=0.002), (0.004, 0.12)
    iron = saturated_iron(sector_footprint(inner, outer, half), p, layers, straight(1e6), ends=wide).back_iron
    bodies = [
        magpylib.magnet.CylinderSegment(
            polarization=(0, 0, 1.3 if number % 2 == 0 else -1.3),
            dimension=(inner, outer, 2 * h, *np.degrees(number * np.pi / p + np.array([-half, half]))),
        )
        for number in range(2 * p)
    ]
    x, w = np.polynomial.legendre.leggauss(14)
    flux = 0.0
    for r0, r1 in pairwise([1e-4, 0.012, inner, outer, 0.045, 0.09]):
        for a0, a1 in ((0.0, half), (half, np.pi / (2 * p))):
            r, a = r0 + (x + 1) / 2 * (r1 - r0), a0 + (x + 1) / 2 * (a1 - a0)
            points = np.stack(
                [np.multiply.outer(r, np.cos(a)), np.multiply.outer(r, np.sin(a)), np.zeros((14, 14))], axis=-1
            )
            B = magpylib.getB(bodies, points.reshape(-1, 3), sumup=True)[:, 2].reshape(14, 14)
            flux += float((w * r) @ B @ w) * (r1 - r0) * (a1 - a0) / 4
    assert iron.wanted == pytest.approx(flux / (0.002 * (wide[1] - wide[0])), rel=0.012)
