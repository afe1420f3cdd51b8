"""Steel that saturates and ends, against non-linear finite elements in space (scikit-fem, scalar potential, Newton).

Half a pole in angle, radius and axis: phi is even about a magnet's middle and zero midway between two, and zero at the
mid-plane of a double rotor. With H = −grad phi and B = mu(H)·H, plus Br in the magnet, ∫ B·grad v = 0. Every point of
the steel has the curve of the program's own table, the space between magnets is air, and the steel ends with the
magnets.
"""

from dataclasses import replace
from functools import lru_cache
from itertools import pairwise

import numpy as np
import pytest
from scipy.interpolate import CubicSpline
from scipy.sparse.linalg import LinearOperator, cg, splu
from skfem import Basis, BilinearForm, ElementHex1, LinearForm, MeshHex

from pcbstator.constants import MU_0
from pcbstator.materials import mild_steel
from pcbstator.physics.magnetics.field_layers import MagnetLayers
from pcbstator.physics.magnetics.magnet_pattern import sector_footprint
from pcbstator.physics.magnetics.magnet_ring import ring_harmonics
from pcbstator.physics.magnetics.ring_modes import ring_source
from pcbstator.physics.magnetics.steel import saturated_iron
from pcbstator.physics.mechanics.magnet_force import FORCE_ORDERS, axial_force

INNER, OUTER, ARC, DISTANCE, LAYER = 0.020, 0.040, 0.8, 0.0012, 0.0001
STEEL = mild_steel()
DOUBLE, SINGLE = MagnetLayers(0.004, 1.3, 1.05, mirror_distance=0.002), MagnetLayers(0.004, 1.3, 1.05)
FACED = MagnetLayers(0.004, 1.3, 1.05, 0.003, plate_distance=0.004)


def between(ends, finest, largest, growth=1.4):
    """Grid lines through ``ends``, finest there."""
    nodes = [ends[0]]
    for low, high in pairwise(ends):
        steps, size = [], min(finest, (high - low) / 2)
        while sum(steps) < (high - low) / 2 * (1 - 1e-9):
            steps.append(size)
            size = min(size * growth, largest)
        inside = np.cumsum(steps) * (high - low) / 2 / sum(steps)
        nodes.extend([*(low + inside), *(high - inside[-2::-1]), high])
    return np.array(nodes)


def beyond(start, end, size, growth):
    """Grid lines from ``start`` to ``end``, growing, without the first."""
    steps = size * growth ** np.arange(60)
    count = int(np.searchsorted(np.cumsum(steps), abs(end - start))) + 1
    return start + np.cumsum(steps[:count]) * (end - start) / steps[:count].sum()


def steel_permeability(H):
    """B/(mu_0·H) and dB/(mu_0·dH) from the table, by differences."""
    b, h = np.array(STEEL.flux_density), np.array(STEEL.field_strength)

    def B(h_):
        return np.interp(h_, h, b) + np.maximum(h_ - h[-1], 0.0) * MU_0

    H = H + 1e-2
    return B(H) / H / MU_0, (B(H * 1.0001) - B(H * 0.9999)) / (2e-4 * H) / MU_0


@BilinearForm
def tangent(u, v, w):
    r = w.x[0]
    du, dv = (u.grad[0], u.grad[1] / r, u.grad[2]), (v.grad[0], v.grad[1] / r, v.grad[2])
    along_u, along_v = (w.x0 * d[0] + w.x1 * d[1] + w.x2 * d[2] for d in (du, dv))
    return r * (w.mu * (du[0] * dv[0] + du[1] * dv[1] + du[2] * dv[2]) + w.more * along_u * along_v)


@LinearForm
def flux(v, w):
    return w.x[0] * (w.b0 * v.grad[0] + w.b1 * v.grad[1] / w.x[0] + w.b2 * v.grad[2])


@lru_cache
def solve(p, layers):
    """Radii [m], B_1 there at DISTANCE [T], pull between rotors [N], mean B_theta midway in the back iron [T]."""
    h, t, half = layers.magnet_thickness, layers.back_iron, np.pi / (2 * p)
    edge, far = ARC * half, min(4.5 * OUTER / p, 3.75 * OUTER)
    mirror = layers.mirror_distance
    rs = between([INNER, OUTER], 0.0003, 0.0035)
    rs = np.concatenate([beyond(INNER, max(INNER * 10 ** (-3 / (p + 1)), 0.0015), 0.0003, 1.6)[::-1], rs,
                         beyond(OUTER, OUTER + far, 0.0003, 1.6)])  # fmt: skip
    ends, front = {0.0, h, h + t, -DISTANCE - LAYER, -DISTANCE + LAYER}, (0.0, 0.0)
    if layers.plate_distance is not None:
        front = -layers.plate_distance - layers.plate_thickness, -layers.plate_distance
        ends |= set(front)
    inside = between(sorted(ends | ({-mirror} if mirror else set())), 0.0003, 0.002)
    zs = np.concatenate([inside, beyond(inside[-1], inside[-1] + far, 0.0005, 1.7)])
    zs = zs if mirror else np.concatenate([beyond(zs[0], zs[0] - far, 0.0005, 1.7)[::-1], zs])
    angles = np.concatenate([edge * (1 - (1 - np.linspace(0, 1, 10)) ** 1.3), np.linspace(edge, half, 6)[1:]])
    basis = Basis(MeshHex.init_tensor(rs, angles, zs), ElementHex1(), intorder=2)
    r, a, z = np.array(basis.global_coordinates())
    over = (r > INNER) & (r < OUTER)
    magnet = over & (z > 0) & (z < h) & (a < edge)
    back, plate = over & (z > h) & (z < h + t), over & (z > front[0]) & (z < front[1])
    own = Basis(basis.mesh, ElementHex1(), intorder=2, elements=np.flatnonzero((back | plate).any(axis=1)))
    places, ro, nothing = basis.doflocs, np.array(own.global_coordinates())[0], np.zeros_like(r)
    fixed = np.abs(places[1] - half) < 1e-9
    for axis, each in ((0, rs), (2, zs)):
        fixed |= np.any([np.abs(places[axis] - end) < 1e-10 for end in each[[0, -1]]], axis=0)
    free = np.flatnonzero(~fixed)
    air = np.where(back | plate, 0.0, np.where(magnet, layers.recoil_permeability, 1.0))
    linear = tangent.assemble(basis, mu=air, more=nothing, x0=nothing, x1=nothing, x2=nothing).tocsr()
    drive = flux.assemble(basis, b0=nothing, b1=nothing, b2=np.where(magnet, layers.remanence / MU_0, 0.0))

    def steel(phi, first=False):
        grad = own.interpolate(phi).grad
        H = -grad[0], -grad[1] / ro, -grad[2]
        size = np.sqrt(H[0] ** 2 + H[1] ** 2 + H[2] ** 2) + 1e-9
        mu, slope = (np.full_like(size, 300.0),) * 2 if first else steel_permeability(size)
        force = drive - linear @ phi + flux.assemble(own, b0=mu * H[0], b1=mu * H[1], b2=mu * H[2])
        return H, size, mu, slope, force[free]

    phi, factors, scale = np.zeros(basis.N), None, 0.0
    for step in range(60):
        H, size, mu, slope, force = steel(phi, step == 0)
        scale = scale or np.linalg.norm(force)
        if step > 1 and np.linalg.norm(force) < 1e-5 * scale:
            break
        parts = {name: part / size for name, part in zip(("x0", "x1", "x2"), H, strict=True)}
        matrix = linear + tangent.assemble(own, mu=mu, more=slope - mu, **parts)
        matrix = matrix.tocsr()[free][:, free].tocsc()
        if factors is not None:
            move, failed = cg(matrix, force, rtol=1e-3, maxiter=25, M=LinearOperator(matrix.shape, factors.solve))
        if factors is None or failed:
            factors = splu(matrix, permc_spec="MMD_AT_PLUS_A", options={"SymmetricMode": True}, diag_pivot_thresh=0.0)
            move = factors.solve(force)
        part = 1.0
        while step > 0 and part > 0.05:
            ahead = phi.copy()
            ahead[free] += part * move
            if abs(steel(ahead)[-1] @ move) < 0.9 * abs(force @ move):
                break
            part /= 2
        phi = phi.copy()
        phi[free] += part * move
    else:
        raise RuntimeError("Newton did not converge")

    grid = np.empty((len(rs), len(angles), len(zs)))
    grid[tuple(np.searchsorted(each, where - 1e-9) for each, where in zip((rs, angles, zs), places, strict=True))] = phi
    fine = np.linspace(0.0, half, 400)

    def axial(low, high):
        low, high = (int(np.argmin(np.abs(zs - place))) for place in (low, high))
        B = -MU_0 * (grid[:, :, high] - grid[:, :, low]) / (zs[high] - zs[low])
        return CubicSpline(angles, B, axis=1, bc_type=((1, np.zeros(len(rs))), "not-a-knot"))(fine)

    B1 = 4 * p / np.pi * np.trapezoid(axial(-DISTANCE - LAYER, -DISTANCE + LAYER) * np.cos(p * fine), fine, axis=1)
    stress = np.trapezoid(axial(zs[0], zs[1]) ** 2, fine, axis=1) * 4 * p / (2 * MU_0)
    last = np.isin(own.tind, np.flatnonzero((back & (a > angles[-2])).all(axis=1)))
    mean = MU_0 * np.sum((mu * H[1] * own.dx)[last]) / np.sum(own.dx[last]) if t else 0.0
    return rs, B1, float(np.trapezoid(stress * rs, rs)), abs(float(mean))


def ours(p, layers, radii):
    ring = sector_footprint(INNER, OUTER, ARC * np.pi / (2 * p))
    near = np.array([DISTANCE, min(layers.magnet_thickness, layers.facing_distance)])
    source = ring_source(ring, p, radii, near, np.array(FORCE_ORDERS), edges=(INNER, OUTER))
    steel = saturated_iron(ring, p, layers, STEEL, source)
    field = ring_harmonics(ring, p, steel.layers, radii, near[:1], np.array([1]), source=steel.source)
    pull = axial_force(ring, p, steel.layers, source=steel.source) if layers.facing_distance < 1.0 else None
    return steel, -field[0, 0], pull


THICKNESSES = {2: (0.0015, 0.002, 0.003), 4: (0.001, 0.0015, 0.0025), 8: (0.0006, 0.001, 0.0015)}
CASES = [  # every thickness once, one rotor and two in turn
    (2 * p, t, name)
    for p, each in THICKNESSES.items()
    for t, name in zip(each, ("single", "double", "single"), strict=True)
]


@pytest.mark.slow
@pytest.mark.parametrize(("poles", "thickness", "rotors"), CASES)
def test_field_with_steel(poles, thickness, rotors):
    """Steel that would carry 2.4 to 11 T, were it ideal: what a winding over the magnets links comes within 1.2 %."""
    p, layers = poles // 2, replace(DOUBLE if rotors == "double" else SINGLE, back_iron=thickness)
    radii, solved, pull, mean = solve(p, layers)
    over = (radii > INNER - 1e-9) & (radii < OUTER + 1e-9)
    near = (radii > INNER - 0.002) & (radii < OUTER + 0.002)
    steel, B, pulled = ours(p, layers, radii[near])
    assert steel.back_iron.wanted > 2.3
    linked, expected = (np.trapezoid(b[over[near]] * radii[over], radii[over]) for b in (B, solved[near]))
    assert linked == pytest.approx(expected, rel=0.012)
    assert np.abs(B - solved[near]).max() < 0.022 * solved.max()
    assert steel.back_iron.mean == pytest.approx(mean, rel=0.07)  # the flattening of B is cut off after order 5
    if rotors == "double":
        assert pulled == pytest.approx(pull, rel=0.025)


@pytest.mark.slow
@pytest.mark.parametrize(("poles", "thickness"), [(4, 0.0015), (16, 0.001)])
def test_field_with_a_plate_beyond_the_board(poles, thickness):
    """Both plates of steel, that beyond the board saturated; it ends with the magnets, too."""
    p, layers = poles // 2, replace(FACED, plate_thickness=thickness)
    radii, solved, _, _ = solve(p, layers)
    near = (radii > INNER - 1e-9) & (radii < OUTER + 1e-9)
    _, B, _ = ours(p, layers, radii[near])
    linked, expected = (np.trapezoid(b * radii[near], radii[near]) for b in (B, solved[near]))
    assert linked == pytest.approx(expected, rel=0.015)
