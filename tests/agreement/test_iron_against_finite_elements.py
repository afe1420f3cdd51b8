"""Iron and recoil against a planar finite-element solution of one pole pitch (scikit-fem, vector potential, Newton).

The rings are 2 m wide with 283 pole pairs, so at their middle radius they are the straight array that the solver sees:
half a pole pitch wide, B_x = 0 at the middle of a magnet, B_z = 0 midway between two. Here the space between magnets is
air, and every point of the steel has its own permeability from the magnetisation curve.
"""

import itertools
from dataclasses import dataclass

import numpy as np
from scipy.sparse.linalg import spsolve
from skfem import Basis, BilinearForm, ElementQuad2, LinearForm, MeshQuad, condense

from pcbstator.constants import MU_0
from pcbstator.materials import mild_steel
from pcbstator.physics.iron import curve_field_strength
from pcbstator.physics.magnet_ring import ring_harmonics, sector_footprint

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
    for low, high in itertools.pairwise(ends):
        steps, size = [], finest
        while sum(steps) < (high - low) / 2:
            steps.append(size)
            size *= growth
        steps = np.array(steps) * (high - low) / 2 / sum(steps)
        inside = np.concatenate([low + np.cumsum(steps), high - np.cumsum(steps[::-1])[-2::-1] * 0])
        inside = np.concatenate([low + np.cumsum(steps), (high - np.cumsum(steps))[::-1][1:], [high]])
        nodes.extend(inside)
    return np.array(nodes)


def reluctivity(square, curve):
    """nu and d nu/d(B²) of the steel, in 1/mu_0, by differences of its own table."""
    B = np.sqrt(square) + 1e-6
    step = 1e-5
    nu, more = (MU_0 * curve_field_strength(b, curve) / b for b in (B, B + step))
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
    fixed = mesh.nodes_satisfying(lambda p: np.zeros_like(p[0], bool)) if False else None
    tight = 1e-9
    ends_z = (zs[-1],) if layers.mirror_distance is not None else (zs[0], zs[-1])
    places = basis.doflocs
    fixed = np.flatnonzero(
        (places[0] < tight) | np.any([np.abs(places[1] - end) < tight for end in ends_z], axis=0)
    )

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


def fundamental(layers):
    place = np.array([RADIUS]), np.array([DISTANCE]), np.array([1])
    return abs(float(ring_harmonics(RING, POLE_PAIRS, layers, *place)[0, 0, 0]))


def at_middle(iron):
    return float(iron.pattern[-1, len(iron.radii) // 2])
