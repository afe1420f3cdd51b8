"""Masses, inertia and forces of the rotor."""

from math import pi

import numpy as np
import pytest
import shapely

import pcbstator

SHAPES = {
    "sector": {},
    "disc": {"rotor.magnet": {"shape": "disc", "diameter_mm": 13.0, "circle_diameter_mm": 44.0}},
    "block": {"rotor.magnet": {"shape": "block", "length_mm": 14.0, "width_mm": 8.0, "circle_diameter_mm": 44.0}},
}


def outline(magnet, poles):
    """One magnet as a polygon [m], centred on +x."""
    if magnet.shape == "disc":
        return shapely.Point(magnet.circle_diameter / 2, 0).buffer(magnet.diameter / 2, 256)
    if magnet.shape == "block":
        x, y = magnet.circle_diameter / 2, magnet.width / 2
        return shapely.box(x - magnet.length / 2, -y, x + magnet.length / 2, y)
    half = np.linspace(-1, 1, 400) * magnet.arc_ratio * pi / poles
    circle = np.stack([np.cos(half), np.sin(half)], axis=1)
    return shapely.Polygon(
        np.concatenate([magnet.outer_diameter / 2 * circle, magnet.inner_diameter / 2 * circle[::-1]])
    )


@pytest.mark.parametrize("shape", SHAPES)
def test_mass_inertia_and_throw_by_quadrature(small, shape):
    """A fine grid of points inside the drawn outline of a magnet; density from the makers' tables."""
    changes = {
        key: value | {"thickness_mm": 3.0, "remanence_t": 1.3} for key, value in SHAPES[shape].items()
    } | {"operation": {"speeds_rpm": [3000.0], "phase_currents_peak_a": [0.0]}}  # fmt: skip
    design = small.with_values(changes)
    found = pcbstator.predict(design).mechanical
    shape_, magnet = outline(design.rotor.magnet, design.rotor.poles), design.rotor.magnet
    step = 4e-5
    x0, y0, x1, y1 = shape_.bounds
    x, y = np.meshgrid(np.arange(x0, x1, step) + step / 2, np.arange(y0, y1, step) + step / 2)
    inside = shapely.contains_xy(shape_, x, y)
    mass = inside.sum() * step**2 * magnet.thickness * 7500.0
    assert found.magnet_mass == pytest.approx(8 * mass, rel=2e-3)
    assert found.rotor_inertia == pytest.approx(8 * mass * (x**2 + y**2)[inside].mean(), rel=2e-3)
    assert found.centrifugal_force == pytest.approx(mass * x[inside].mean() * (100 * pi) ** 2, rel=2e-3)
    assert found.glue_stress == pytest.approx(found.centrifugal_force / shape_.area, rel=2e-3)


def test_steel_ring(small):
    """Annulus of the stated size: m = rho·pi·(R² − r²)·t, J = m·(R² + r²)/2."""
    steel = {"rotor.back_iron_mm": 2.0, "rotor.iron_inner_diameter_mm": 28.0, "rotor.iron_outer_diameter_mm": 60.0}
    bare, found = (pcbstator.predict(small.with_values(keys)).mechanical for keys in ({}, steel))
    mass = 7860 * pi * (0.030**2 - 0.014**2) * 2e-3
    assert found.rotor_mass - bare.rotor_mass == pytest.approx(mass, rel=1e-9)
    assert found.rotor_inertia - bare.rotor_inertia == pytest.approx(mass * (0.030**2 + 0.014**2) / 2, rel=1e-9)


def test_no_axial_force_without_iron_or_second_rotor(small):
    found = pcbstator.predict(small).mechanical
    assert found.axial_force is None and found.axial_stiffness is None and found.back_iron_flux is None


@pytest.mark.parametrize(
    "rotor", [{"rotor.arrangement": "double"}, {"rotor.stator_iron_mm": 1.0, "rotor.stator_iron_gap_mm": 0.3}]
)
def test_axial_force_grows_as_the_gap_closes_by_the_stiffness(small, rotor):
    """The slope against a difference of two predictions; a double rotor's gap changes on both sides at once."""
    design = small.with_values(rotor)
    near, here, far = (
        pcbstator.predict(design.with_values({"rotor.air_gap_mm": gap})).mechanical for gap in (0.98, 1.0, 1.02)
    )
    sides = 2 if design.rotor.arrangement == "double" else 1
    slope = (near.axial_force - far.axial_force) / (sides * 0.04e-3)
    assert near.axial_force > here.axial_force > far.axial_force > 0
    assert here.axial_stiffness == pytest.approx(slope, rel=2e-2)


def test_half_pole_flux_through_the_steel(small):
    """The contract of the figure: flux of half a pole over thickness times radial length, here from the field itself.

    With ideal iron behind thin magnets nearly all flux of a pole passes the board side, so the flux that leaves the
    magnets towards the board, half a pole of it, runs in the steel; leakage between neighbours adds to it.
    """
    design = small.with_values({"rotor.back_iron_mm": 4.0, "rotor.arrangement": "double", "rotor.air_gap_mm": 0.3})
    found = pcbstator.predict(design)
    radial = (0.056 - 0.030) / 2
    from pcbstator.analysis.magnetic.rotor_field import rotor_field

    field = rotor_field(design)
    radii = np.linspace(0.0151, 0.0279, 200)
    at_board = np.abs((field.at(radii, 0) * np.sin(field.orders * pi / 2)[:, None] / field.orders[:, None]).sum(axis=0))
    flux = np.trapezoid(at_board * radii / field.pole_pairs, radii)
    in_steel = found.mechanical.back_iron_flux * 4e-3 * radial
    assert flux < in_steel < 1.35 * flux
