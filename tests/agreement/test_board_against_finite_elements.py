"""The board's rings against finite elements in radius and angle: bare laminate, copper along the radius, the rims.

Finite elements see half a coil pitch with the copper of each ring as one covered strip, laminate as it is, and every
face giving off heat; the rings see means around the circle and bare laminate as a fin. Losses and coefficients agree.
"""

from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from skfem import Basis, BilinearForm, ElementQuad1, LinearForm, MeshQuad, solve

import pcbstator
from pcbstator.analysis.electrical.conductors import conductors_of
from pcbstator.analysis.thermal.ring_sources import SourceCase, ring_sources
from pcbstator.materials import laminate
from pcbstator.physics.thermal.plate import fin_efficiency, ring_areas, ring_conductances

DESIGNS = Path(__file__).parents[2] / "designs"
H = 22.0  # W/(m2 K), both faces together
LOSS = 1.0  # squared rms phase current


def rings(design, count):
    copper = pcbstator.lay_copper(design)
    edges = np.linspace(design.board.inner_diameter / 2, design.board.outer_diameter / 2, count + 1)
    return ring_sources([SourceCase(design, conductors_of(design, copper), edges)])[0]


def by_rings(design, sources):
    area, middle = ring_areas(sources.edges), (sources.edges[1:] + sources.edges[:-1]) / 2
    sheet = laminate().conductivity_in_plane * design.board.thickness
    bare = (1 - sources.covered) * 2 * np.pi * middle / design.winding.coils
    helping = sources.covered + (1 - sources.covered) * fin_efficiency(bare / 2, sheet, H)
    matrix = np.diag(H * area * helping)
    for i, g in enumerate(ring_conductances(sources.edges, sheet + sources.along)):
        matrix[i : i + 2, i : i + 2] += g * np.array([[1, -1], [-1, 1]])
    return np.linalg.solve(matrix, LOSS * sources.resistance)


def by_elements(design, sources, radial, angular):
    """Hottest place, and mean over the copper weighted with its loss."""
    edges, coils = sources.edges, design.winding.coils
    sheet = laminate().conductivity_in_plane * design.board.thickness
    half = np.pi / coils
    r = np.unique(np.concatenate([np.linspace(*pair, radial + 1) for pair in pairwise(edges)]))
    mesh = MeshQuad.init_tensor(r, np.linspace(0.0, half, angular + 1))
    basis = Basis(mesh, ElementQuad1(), intorder=4)
    area = ring_areas(edges)
    heat = LOSS * sources.resistance / (area * sources.covered)

    def fields(x):
        ring = np.clip(np.searchsorted(edges, x[0]) - 1, 0, len(area) - 1)
        inside = np.clip((sources.covered[ring] * half - x[1]) / (half / angular) + 0.5, 0.0, 1.0)
        return ring, inside  # a covered strip that ends within an element counts in part

    @BilinearForm
    def conduct(u, v, w):
        ring, inside = fields(w.x)
        radially = sheet + inside * sources.along[ring] / sources.covered[ring]
        return (radially * u.grad[0] * v.grad[0] + sheet * u.grad[1] * v.grad[1] / w.x[0] ** 2 + H * u * v) * w.x[0]

    @LinearForm
    def source(v, w):
        ring, inside = fields(w.x)
        return heat[ring] * inside * v * w.x[0]

    matrix, load = conduct.assemble(basis), source.assemble(basis)
    rise = solve(matrix, load)
    return float(rise.max()), float(load @ rise / load.sum()), float(load.sum()) * 2 * coils


@pytest.mark.parametrize("name", ["photogrammetry-stage", "filter-wheel", "small-fan", "sky-tracker"])
def test_rings_against_elements(name):
    """Hottest place within 4 % of its rise (found: -2.0 to +0.6 %, and -3.6 % for round coils with a wide bare rim;
    rings do not see how it varies around the circle, and the elements leave out the copper that evens it out), mean of
    the copper within 2.5 % (+0.6 to +2.0 %: the safe side).
    """
    design = pcbstator.load_design(DESIGNS / f"{name}.toml")
    sources = rings(design, 24)
    rise = by_rings(design, sources)
    hottest, mean, heat = by_elements(design, sources, 3, 60)
    assert heat == pytest.approx(LOSS * sources.resistance.sum(), rel=1e-3)
    weight = sources.resistance / sources.resistance.sum()
    assert rise.max() == pytest.approx(hottest, rel=0.04)
    assert (rise * weight).sum() == pytest.approx(mean, rel=0.025)
