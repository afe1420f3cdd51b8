"""The layers across a magnet plate against a finite-element solution of the same line, closed forms and limits."""

import itertools
from math import inf

import numpy as np
import pytest
from scipy.linalg import solveh_banded

from pcbstator.errors import LawRangeError
from pcbstator.physics.magnetics.field_layers import MagnetLayers, layer_response, plate_reflectance

THICKNESS = 0.003


def finite_element_response(k, s, layers, cells_per_decay=4000):
    """B at distance s by linear elements on ∫ mu(phi' v' + k² phi v) = ∫ M v' (weak form of div B = 0)."""
    h, far = layers.magnet_thickness, 14.0 / k
    regions = [(h, h + layers.back_iron, layers.back_iron_permeability)]
    if layers.plate_distance is not None:
        top = -layers.plate_distance
        regions.append((top - layers.plate_thickness, top, layers.plate_permeability))
    below = -layers.mirror_distance if layers.mirror_distance is not None else -far
    ends = {below, 0.0, h, h + layers.back_iron, h + layers.back_iron + far, -s}
    ends |= {edge for low, high, _ in regions for edge in (low, high)}
    pieces = [
        np.linspace(a, b, max(400, round((b - a) * k * cells_per_decay / 14)), endpoint=False)
        for a, b in itertools.pairwise(sorted(ends))
    ]
    z = np.append(np.concatenate(pieces), max(ends))
    width, middle = np.diff(z), (z[1:] + z[:-1]) / 2.0
    magnet = (middle > 0.0) & (middle < h)
    mu = np.where(magnet, layers.recoil_permeability, 1.0)
    for low, high, permeability in regions:
        mu[(middle > low) & (middle < high)] = permeability
    matrix, load = np.zeros((2, len(z))), np.zeros(len(z))
    own, coupling = mu * (1.0 / width + k**2 * width / 3.0), mu * (-1.0 / width + k**2 * width / 6.0)
    matrix[0, :-1] += own
    matrix[0, 1:] += own
    matrix[1, :-1] = coupling
    load[1:] += magnet
    load[:-1] -= magnet
    potential = solveh_banded(matrix[:, 1:-1], load[1:-1], lower=True)
    potential = np.concatenate([[0.0], potential, [0.0]])
    slope = np.diff(potential) / width
    above = np.searchsorted(z, -s)  # cells above are equal: extrapolate from their middles to their end
    return -(1.5 * slope[above] - 0.5 * slope[above + 1])


@pytest.mark.parametrize("k", [60.0, 300.0, 1500.0])
@pytest.mark.parametrize(
    "layers",
    [
        MagnetLayers(THICKNESS, 1.0),
        MagnetLayers(THICKNESS, 1.0, 1.05),
        MagnetLayers(THICKNESS, 1.0, 1.4, mirror_distance=0.002),
        MagnetLayers(THICKNESS, 1.0, 1.05, back_iron=0.002, back_iron_permeability=50.0),
        MagnetLayers(THICKNESS, 1.0, 1.2, 0.001, 20.0, mirror_distance=0.0015),
        MagnetLayers(THICKNESS, 1.0, 1.1, 0.001, 30.0, None, 0.002, 0.0015, 40.0),
        MagnetLayers(THICKNESS, 1.0, 1.0, plate_distance=0.002, plate_thickness=0.001, plate_permeability=100.0),
    ],
    ids=["air", "recoil", "mirror", "iron", "iron and mirror", "iron and plate", "plate"],
)
def test_agrees_with_finite_elements_along_the_axis(k, layers):
    s = 0.0008
    expected = finite_element_response(k, s, layers)
    got = layer_response(np.array([k]), np.array([s]), layers)[0, 0]
    assert got == pytest.approx(expected, rel=2e-4)


def test_air_on_both_sides_is_the_sheet_pair():
    """Two sheets of charge: (e^−ks − e^−k(s+h))/2 (handbook)."""
    k, s = np.array([20.0, 200.0, 2000.0]), np.array([0.0005, 0.002])
    expected = (np.exp(-k * s[:, None]) - np.exp(-k * (s[:, None] + THICKNESS))) / 2.0
    assert layer_response(k, s, MagnetLayers(THICKNESS, 1.3)) == pytest.approx(expected, rel=1e-12)


def test_long_wave_between_ideal_plates_is_the_magnetic_circuit():
    """B = Br·h/(h + mu_r·gap) (handbook), the limit of a pole much wider than the gap."""
    layers = MagnetLayers(THICKNESS, 1.0, 1.05, back_iron=1.0, mirror_distance=0.002)
    got = layer_response(np.array([1e-2]), np.array([0.0, 0.001, 0.002]), layers)
    assert got == pytest.approx(np.full((3, 1), THICKNESS / (THICKNESS + 1.05 * 0.002)), rel=1e-8)


def test_ideal_iron_doubles_the_thickness_and_mirror_adds_the_image():
    """Images: iron behind is a magnet of twice the thickness; zero potential at D is the same magnet at 2D."""
    k, s = np.array([50.0, 500.0]), np.array([0.0005, 0.0015])
    iron = layer_response(k, s, MagnetLayers(THICKNESS, 1.3, back_iron=0.001))
    assert iron == pytest.approx(layer_response(k, s, MagnetLayers(2 * THICKNESS, 1.3)), rel=1e-12)
    D = 0.002
    mirrored = layer_response(k, s, MagnetLayers(THICKNESS, 1.3, mirror_distance=D))
    alone = MagnetLayers(THICKNESS, 1.3)
    assert mirrored == pytest.approx(layer_response(k, s, alone) + layer_response(k, 2 * D - s, alone), rel=1e-12)


def test_iron_tends_to_the_ideal_plane_and_to_air():
    k, s = np.array([50.0, 500.0]), np.array([0.001])
    for name, thickness in (("back_iron", 0.002), ("plate_thickness", 0.002)):
        common = {"magnet_thickness": THICKNESS, "remanence": 1.3, "recoil_permeability": 1.05, name: thickness}
        common |= {"plate_distance": 0.003} if name == "plate_thickness" else {}
        mu = "back_iron_permeability" if name == "back_iron" else "plate_permeability"
        ideal = layer_response(k, s, MagnetLayers(**common))
        strong = layer_response(k, s, MagnetLayers(**common, **{mu: 1e6}))
        air = layer_response(k, s, MagnetLayers(**common, **{mu: 1.0}))
        bare = layer_response(k, s, MagnetLayers(THICKNESS, 1.3, 1.05))
        assert strong == pytest.approx(ideal, rel=1e-4)
        assert air == pytest.approx(bare, rel=1e-12)
        assert np.all(ideal > bare * 1.02)
    as_mirror = layer_response(k, s, MagnetLayers(THICKNESS, 1.3, 1.05, mirror_distance=0.003))
    assert ideal == pytest.approx(as_mirror, rel=1e-12)


def test_large_wave_numbers_do_not_overflow():
    layers = MagnetLayers(THICKNESS, 1.3, 1.05, 0.002, 1000.0, mirror_distance=0.002)
    got = layer_response(np.array([1e3, 1e6, 1e9]), np.array([0.0, 0.001]), layers)
    assert np.all(np.isfinite(got))
    assert np.all(got >= 0.0)


def test_reflectance_of_a_thick_plate_is_the_half_space():
    """(mu − 1)/(mu + 1) for a half space (handbook)."""
    assert plate_reflectance(np.array([1e5]), 0.01, 7.0) == pytest.approx(6.0 / 8.0, rel=1e-12)


@pytest.mark.parametrize(
    "change",
    [
        {"magnet_thickness": 0.0},
        {"magnet_thickness": inf},
        {"recoil_permeability": 0.9},
        {"recoil_permeability": inf},
        {"back_iron": -0.001},
        {"mirror_distance": 0.0},
        {"mirror_distance": 0.002, "plate_distance": 0.002},
        {"remanence": float("nan")},
    ],
)
def test_refuses_what_is_no_layer(change):
    with pytest.raises(LawRangeError):
        MagnetLayers(**({"magnet_thickness": THICKNESS, "remanence": 1.3} | change))


def test_refuses_a_point_beyond_the_mirror():
    with pytest.raises(LawRangeError, match="must lie within"):
        layer_response(np.array([100.0]), np.array([0.003]), MagnetLayers(THICKNESS, 1.3, mirror_distance=0.002))
