"""Working point of the magnets against a general library inside the bodies, closed forms, and the knee."""

import magpylib
import numpy as np
import pytest

from pcbstator import materials
from pcbstator.constants import MU_0
from pcbstator.errors import LawRangeError
from pcbstator.physics.magnetics.field_layers import MagnetLayers
from pcbstator.physics.magnetics.magnet_pattern import disc_footprint, halbach_footprint, sector_footprint
from pcbstator.physics.magnetics.working_point import demagnetising_margin, working_point

P, BR, H, INNER, OUTER, GAP = 6, 1.3, 0.003, 0.020, 0.035, 0.002
HALF_ANGLE = 0.8 * np.pi / (2 * P)
RING = sector_footprint(INNER, OUTER, HALF_ANGLE)
STACKS = {  # layers, and (thickness, middle) of every ring of the library: iron behind doubles, a mirror repeats
    "single": (MagnetLayers(H, BR), [(H, H / 2)]),
    "single with iron": (MagnetLayers(H, BR, back_iron=0.001), [(2 * H, H)]),
    "double": (MagnetLayers(H, BR, mirror_distance=GAP), [(H, H / 2), (H, -2 * GAP - H / 2)]),
    "double with iron": (
        MagnetLayers(H, BR, back_iron=0.001, mirror_distance=GAP),
        [(2 * H, H + number * 2 * (H + GAP)) for number in range(-5, 5)],
    ),
}


@pytest.mark.parametrize("name", STACKS)
def test_lowest_flux_density_inside_a_magnet(name):
    layers, stack = STACKS[name]
    bodies = [
        magpylib.magnet.CylinderSegment(
            polarization=(0, 0, BR if number % 2 == 0 else -BR),
            dimension=(INNER, OUTER, thickness, *np.degrees(number * np.pi / P + np.array([-1, 1]) * HALF_ANGLE)),
            position=(0, 0, middle),
        )
        for thickness, middle in stack
        for number in range(2 * P)
    ]
    # far nearer to the face than to its edges, as the limit of a point on the face
    inset, depths = 2e-8, H * np.array([0.0, 0.25, 0.5, 0.75, 1.0])
    radii = np.linspace(INNER + 1e-5, OUTER - 1e-5, 19)
    angles = np.linspace(0.0, HALF_ANGLE * (1 - 1e-3), 5)
    r, a, z = np.meshgrid(radii, angles, np.clip(depths, inset, H - inset), indexing="ij")
    B = magpylib.getB(bodies, np.stack([r * np.cos(a), r * np.sin(a), z], axis=-1).reshape(-1, 3), sumup=True)
    lowest = np.min(B[:, 2])
    point = working_point(RING, P, layers)
    assert point.flux_density == pytest.approx(lowest, abs=0.005 * BR)
    deepest = z.ravel()[np.argmin(B[:, 2])]
    assert min(deepest, H - deepest) < 2 * inset  # on a face, where the law looks
    if name in ("single with iron", "double"):
        assert point.at_back == (deepest > H / 2)


def test_isolated_disc_has_the_closed_form_on_its_face():
    """Br/2·h/√(R² + h²) at the middle of a face (handbook); the neighbours on a wide circle are 0.02 % of it."""
    R, h = 0.005, 0.005
    point = working_point(disc_footprint(0.1, R), 6, MagnetLayers(h, BR))
    assert point.flux_density == pytest.approx(BR / 2 * h / np.hypot(R, h), rel=2e-3)
    assert point.radius == pytest.approx(0.1, rel=0.01)


def test_permeance_is_the_slope_of_the_load_line():
    """B = −permeance·mu_0·H meets the recoil line B = Br + mu_0·mu_r·H."""
    layers = MagnetLayers(H, BR, 1.05, 0.002)
    point = working_point(RING, P, layers)
    field = -point.flux_density / (point.permeance * MU_0)
    assert point.flux_density == pytest.approx(BR + MU_0 * 1.05 * field, rel=1e-9)


def test_iron_and_a_second_rotor_lift_the_working_point():
    single, backed, double = (
        working_point(RING, P, layers).flux_density
        for layers in (
            MagnetLayers(H, BR, 1.05),
            MagnetLayers(H, BR, 1.05, 0.002, 300.0),
            MagnetLayers(H, BR, 1.05, 0.002, 300.0, mirror_distance=GAP),
        )
    )
    assert single < backed < double


def test_margin_shrinks_with_heat():
    """N42 at 20 and 80 C: Br 1.30 and 1.22 T, knee 0.9·Hcj with Hcj 955 kA/m and −0.605 %/K (makers' tables)."""
    margins = []
    for temperature in (20.0, 80.0):
        remanence = materials.remanence("N42", temperature)
        knee = materials.knee_field_strength("N42", temperature)
        assert knee == pytest.approx(0.9 * 955e3 * (1 - 0.00605 * (temperature - 20)), rel=1e-9)
        point = working_point(RING, P, MagnetLayers(H, remanence, 1.05, 0.002))
        result = demagnetising_margin(point.flux_density, remanence, 1.05, knee)
        assert result.knee == pytest.approx(remanence - MU_0 * 1.05 * knee, rel=1e-12)
        margins.append(result.margin)
    assert margins[0] > margins[1]
    assert margins[0] > 0.2
    with pytest.raises(LawRangeError, match="not at 81 C"):
        materials.knee_field_strength("N42", 81.0)


def test_refusals():
    with pytest.raises(LawRangeError, match="Halbach"):
        working_point(halbach_footprint(INNER, OUTER, np.pi / 24, 2), P, MagnetLayers(H, BR))
    for bad in ((0.5, 0.0, 1.05, 5e5), (0.5, 1.2, 0.9, 5e5), (0.5, 1.2, 1.05, 0.0)):
        with pytest.raises(LawRangeError, match="a magnet needs"):
            demagnetising_margin(*bad)
