"""One set of radial modes for iron, field and forces: as each with its own, and refused where it does not fit."""

import numpy as np
import pytest

from pcbstator.errors import LawRangeError
from pcbstator.materials import mild_steel
from pcbstator.physics.magnetics import ring_modes
from pcbstator.physics.magnetics.field_layers import MagnetLayers
from pcbstator.physics.magnetics.magnet_pattern import (
    block_footprint,
    disc_footprint,
    halbach_footprint,
    sector_footprint,
)
from pcbstator.physics.magnetics.magnet_ring import ODD_ORDERS, ring_field, ring_harmonics
from pcbstator.physics.magnetics.radial_modes import RadialModes
from pcbstator.physics.magnetics.ring_modes import ring_source
from pcbstator.physics.magnetics.steel import saturated_iron
from pcbstator.physics.magnetics.working_point import thinnest_layer, working_point
from pcbstator.physics.mechanics.magnet_force import FORCE_ORDERS, axial_force

P, RADII, DISTANCES = 12, np.linspace(0.0315, 0.0535, 90), np.array([0.0008, 0.0024])
SHAPES = {
    "sector": sector_footprint(0.034, 0.051, 0.8 * np.pi / 24),
    "disc": disc_footprint(0.0425, 0.005),
    "block": block_footprint(0.0425, 0.017, 0.008),
    "halbach": halbach_footprint(0.034, 0.051, np.pi / 48, 2),
}
LAYERS = {
    "single": MagnetLayers(0.003, 1.3, 1.05, 0.002),
    "thin steel": MagnetLayers(0.003, 1.3, 1.05, 0.0006),
    "double": MagnetLayers(0.003, 1.3, 1.05, 0.002, mirror_distance=0.0025),
    "plate": MagnetLayers(0.003, 1.3, 1.05, 0.002, plate_distance=0.0035, plate_thickness=0.001),
}


def shared(footprint, layers, orders=FORCE_ORDERS):
    distances = np.append(DISTANCES, thinnest_layer(layers))
    return ring_source(footprint, P, RADII, distances, np.array(orders))


@pytest.mark.parametrize("name", LAYERS)
@pytest.mark.parametrize("shape", SHAPES)
def test_shared_modes_give_what_own_modes_give(shape, name):
    """Finer elements move a law within its accuracy: 0.2 % of flux, 0.1 % of axial force, 2e-4 of the field."""
    footprint, layers = SHAPES[shape], LAYERS[name]
    source = shared(footprint, layers)
    one, own = (saturated_iron(footprint, P, layers, mild_steel(), each) for each in (source, None))
    # behind a Halbach ring the flux is what two sources leave of each other
    assert one.back_iron.mean == pytest.approx(own.back_iron.mean, rel=2e-3, abs=8e-3 if shape == "halbach" else 0.0)
    assert one.layers.back_iron_permeability == pytest.approx(own.layers.back_iron_permeability, rel=5e-3)
    # the copper's own modes and the steel in them, and finer ones that serve thin layers, too
    plain = ring_source(footprint, P, RADII, DISTANCES, np.array(ODD_ORDERS))
    alone = saturated_iron(footprint, P, layers, mild_steel(), plain)
    B, apart = (ring_harmonics(footprint, P, each.layers, RADII, DISTANCES, np.array(ODD_ORDERS), source=each.source)
                for each in (one, alone))  # fmt: skip
    assert np.abs(B - apart).max() < 2e-4 * np.abs(apart).max()
    if footprint.segments_per_pole == 1:
        point, apart = (working_point(footprint, P, one.layers, each) for each in (source, None))
        assert point.flux_density == pytest.approx(apart.flux_density, abs=2e-3 * 1.3)
    if layers.facing_distance < 1.0:
        force, apart = (axial_force(footprint, P, one.layers, source=each) for each in (source, None))
        assert force == pytest.approx(apart, rel=1e-3)


@pytest.mark.parametrize("shape", SHAPES)
def test_modes_left_out_far_from_the_magnets_do_not_matter(shape, monkeypatch):
    """High orders on the whole annulus against those on the part that they reach: 1e-5 of the peak."""
    arguments = SHAPES[shape], P, LAYERS["single"], RADII, DISTANCES, np.array(ODD_ORDERS)
    short = ring_harmonics(*arguments)
    eigen = RadialModes.eigen
    monkeypatch.setattr(RadialModes, "eigen", lambda self, m, source=None: eigen(self, m))
    monkeypatch.setattr(ring_modes, "_modes_for", ring_modes._modes_for.__wrapped__)  # none that were kept
    whole = ring_harmonics(*arguments)
    assert 0.0 < np.abs(short - whole).max() < 1e-5 * np.abs(whole).max()


def test_far_from_the_magnets_the_fundamental_is_weak_but_there():
    """Copper at twice the radius: as on the annulus before anything is left out, (r/R)^-13 of it and less."""
    far, near = np.linspace(0.1, 0.12, 5), np.array([0.001])
    B = ring_harmonics(SHAPES["sector"], P, LAYERS["single"], far, near, np.array(ODD_ORDERS))[:, 0]
    peak = np.abs(ring_harmonics(SHAPES["sector"], P, LAYERS["single"], RADII, near, np.array([1]))).max()
    assert np.all(B[0] != 0.0) and np.all(np.abs(B) < (0.1 / 0.051) ** -13 * peak)


def test_some_orders_are_as_among_all():
    arguments = SHAPES["sector"], P, LAYERS["double"], RADII, DISTANCES
    everything = ring_harmonics(*arguments, np.array(ODD_ORDERS))
    assert ring_harmonics(*arguments, np.array([1])) == pytest.approx(everything[:1], rel=1e-9, abs=1e-12)
    some = ring_harmonics(*arguments, np.array([1, 5]), source=shared(SHAPES["sector"], LAYERS["double"]))
    assert np.abs(some - everything[[0, 2]]).max() < 1e-4 * np.abs(everything).max()


def test_a_source_that_does_not_fit_is_refused():
    ring, layers = SHAPES["sector"], LAYERS["single"]
    source = shared(ring, layers, (1, 3))
    for other in (
        lambda: ring_field(ring, P, layers, 0.032, 0.053, np.array([0.0004]), (1,), source),  # nearer
        lambda: ring_field(ring, P, layers, 0.030, 0.053, DISTANCES, (1,), source),  # further in
        lambda: ring_field(ring, P, layers, 0.032, 0.060, DISTANCES, (1,), source),  # further out
        lambda: ring_field(ring, P, layers, 0.032, 0.053, DISTANCES, (1, 5), source),  # more orders
        lambda: ring_field(ring, P - 1, layers, 0.032, 0.053, DISTANCES, (1,), source),  # other poles
        lambda: ring_field(SHAPES["disc"], P, layers, 0.032, 0.053, DISTANCES, (1,), source),  # other magnets
        lambda: saturated_iron(ring, P, layers, mild_steel(), source),
    ):
        with pytest.raises(LawRangeError, match="another ring"):
            other()
    assert ring_field(ring, P, layers, 0.032, 0.053, DISTANCES, (1,), source).orders.tolist() == [1]
