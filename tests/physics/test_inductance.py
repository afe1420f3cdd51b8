"""Elementary inductances against printed values (tests/published/inductance.toml) and quadrature."""

import tomllib
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import quad

from pcbstator.constants import MU_0
from pcbstator.errors import LawRangeError
from pcbstator.physics.inductance.closed_forms import (
    bar_geometric_mean_distance,
    bar_self_inductance,
    circle_mutual_inductance,
    filament_mutual_inductance,
    spiral_sheet_inductance,
    tape_self_inductance,
)

PUBLISHED = tomllib.loads((Path(__file__).parents[1] / "published" / "inductance.toml").read_text())
MM, NH, UH = 1e-3, 1e-9, 1e-6


@pytest.mark.parametrize("case", PUBLISHED["coaxial_circles"]["cases"])
def test_coaxial_circles(case):
    got = circle_mutual_inductance(case["radius_a_mm"] * MM, case["radius_b_mm"] * MM, case["distance_mm"] * MM)
    assert got == pytest.approx(case["mutual_nh"] * NH, rel=3e-6)  # six digits printed


@pytest.mark.parametrize("case", PUBLISHED["bars"]["cases"])
def test_bars(case):
    got = bar_self_inductance(case["length_mm"] * MM, case["width_mm"] * MM, case["thickness_mm"] * MM)
    assert got == pytest.approx(case["inductance_nh"] * NH, rel=7e-6)  # five to six digits printed


def test_parallel_filaments():
    printed = PUBLISHED["parallel_filaments"]
    l, d = printed["length_mm"] * MM, printed["distance_mm"] * MM  # noqa: E741
    got = filament_mutual_inductance([0, 0, 0], [l, 0, 0], [0, d, 0], [l, d, 0])
    assert got == pytest.approx(printed["mutual_nh"] * NH, rel=2e-6)


@pytest.mark.parametrize("shape", ["circle", "octagon", "square"])
def test_current_sheet(shape):
    printed = PUBLISHED["mohan"]
    got = spiral_sheet_inductance(printed["turns"], printed["outer_mm"] * MM, printed["inner_mm"] * MM, shape)
    assert got == pytest.approx(printed["current_sheet_uh"][shape] * UH, rel=3e-5)


def test_geometric_mean_distance():
    printed = PUBLISHED["geometric_mean_distance"]
    assert bar_geometric_mean_distance(2.0, 2.0) == pytest.approx(2 * printed["square_over_side"], rel=1e-5)
    assert bar_geometric_mean_distance(1.0, 0.0) == pytest.approx(np.exp(printed["thin_tape_logarithm"]), rel=1e-8)
    thickness = np.array([0.02, 0.1, 0.5, 1.0])
    rule = printed["rectangle_over_sum_of_sides"] * (1 + thickness)
    assert bar_geometric_mean_distance(1.0, thickness) == pytest.approx(rule, rel=2e-3)  # the rule is good to 0.2 %
    assert bar_geometric_mean_distance(0.3, 1.0) == pytest.approx(bar_geometric_mean_distance(1.0, 0.3), rel=1e-12)


def by_quadrature(A, A2, B, B2):
    """Neumann's integral with the potential of one filament in closed form and quadrature along the other."""
    A, A2, B, B2 = (np.array(point, dtype=float) for point in (A, A2, B, B2))
    m = np.linalg.norm(B2 - B)

    def potential(s):
        P = A + (A2 - A) * s
        return 2 * np.arctanh(m / (np.linalg.norm(P - B) + np.linalg.norm(P - B2)))

    return MU_0 / (4 * np.pi) * (A2 - A) @ (B2 - B) / m * quad(potential, 0, 1, epsabs=0, epsrel=1e-11, limit=400)[0]


def test_skew_filaments_against_quadrature():
    pairs = np.random.default_rng(7).normal(size=(12, 4, 3))
    got = filament_mutual_inductance(*pairs.swapaxes(0, 1))
    assert got == pytest.approx([by_quadrature(*pair) for pair in pairs], rel=1e-9)


@pytest.mark.parametrize("angle", [1.0, 1e-2, 1e-4, 1e-6, 2e-7, 5e-8, 1e-9, 0.0])
def test_nearly_parallel_filaments(angle):
    turned = 0.7 * np.array([np.cos(angle), np.sin(angle), 0.0])
    for start in ([0.2, 0.1, 0.05], [0.2, 0.1, 0.0], [-0.8, 0.01, 0.0]):
        pair = ([0, 0, 0], [1, 0, 0], start, start + turned)
        assert filament_mutual_inductance(*pair) == pytest.approx(by_quadrature(*pair), rel=5e-7)


@pytest.mark.parametrize("end", [[2.0, 0, 0], [1.6, 0.8, 0], [1.0, 0.3, 0.9], [0.5, 0.5, 0.1]])
def test_filaments_that_meet(end):
    pair = ([0, 0, 0], [1, 0, 0], [1, 0, 0], end)
    assert filament_mutual_inductance(*pair) == pytest.approx(by_quadrature(*pair), rel=1e-8, abs=1e-22)


def test_direction_gives_the_sign_and_square_filaments_do_not_couple():
    pair = np.array([[0, 0, 0], [1, 0, 0], [0.3, 0.2, 0.1], [1.1, 0.5, 0.1]], dtype=float)
    forward = filament_mutual_inductance(*pair)
    assert forward > 0
    assert filament_mutual_inductance(*pair[[1, 0, 2, 3]]) == pytest.approx(-forward, rel=1e-12)
    assert filament_mutual_inductance(*pair[[2, 3, 0, 1]]) == pytest.approx(forward, rel=1e-12)
    back = filament_mutual_inductance([0, 0, 0], [1, 0, 0], [0.9, 0.1, 0], [0.2, 0.1, 0])
    assert back == pytest.approx(by_quadrature([0, 0, 0], [1, 0, 0], [0.9, 0.1, 0], [0.2, 0.1, 0]), rel=1e-10)
    across = filament_mutual_inductance([0, 0, 0], [1, 0, 0], [0.3, 0.2, 0], [0.3, 0.7, 0])
    assert abs(across) < 1e-12 * forward


def test_polygon_of_filaments_tends_to_the_circles():
    """Second method for circles: chords of two circles summed pair by pair, error of second order."""
    exact = circle_mutual_inductance(10e-3, 5e-3, 5e-3)
    errors = []
    for sides in (24, 48):
        around = np.linspace(0, 2 * np.pi, sides + 1)
        ring = np.column_stack([np.cos(around), np.sin(around), 0 * around])
        large, small = 10e-3 * ring, 5e-3 * ring + [0, 0, 5e-3]
        pairs = filament_mutual_inductance(large[:-1, None], large[1:, None], small[None, :-1], small[None, 1:])
        errors.append(pairs.sum() / exact - 1)
    assert abs(errors[1]) < 5e-3
    assert errors[0] / errors[1] == pytest.approx(4.0, rel=0.02)


@pytest.mark.parametrize("thickness", [0.035, 0.3, 0.001])
def test_bar_forms_agree_where_they_meet(thickness):
    """Just below 40 (w + t) the exact form, just above the series: the inductance per ln(length) is smooth."""
    switch = 40 * (0.3 + thickness)
    below, above = (bar_self_inductance(switch * k, 0.3, thickness) for k in (1 - 1e-7, 1 + 1e-7))
    slope = MU_0 / (2 * np.pi) * switch * 2e-7 * np.log(2 * switch / bar_geometric_mean_distance(0.3, thickness))
    assert above - below == pytest.approx(slope, rel=0.05, abs=2e-6 * float(above))


def test_bar_in_two_halves_adds_up():
    """L of the whole = 2 L of a half + 2 M, M from filaments spread over the section (Gauss)."""
    w, t, half = 1.0, 0.2, 6.0
    nodes, weights = np.polynomial.legendre.leggauss(12)
    y, z = (grid.ravel() for grid in np.meshgrid(nodes * w / 2, nodes * t / 2))
    share = np.outer(weights, weights).ravel() / 4
    here = np.column_stack([0 * y, y, z])
    pairs = filament_mutual_inductance(
        here[:, None], here[:, None] + [half, 0, 0], here[None] + [half, 0, 0], here[None] + [2 * half, 0, 0]
    )
    whole, part = bar_self_inductance(2 * half, w, t), bar_self_inductance(half, w, t)
    assert whole == pytest.approx(2 * part + 2 * share @ pairs @ share, rel=2e-5)


@pytest.mark.parametrize("length", [0.5, 5.0, 30.0, 1000.0])
def test_thin_bar_tends_to_the_tape(length):
    """The missing part falls off with the thickness."""
    tape = tape_self_inductance(length, 1.0)
    missing = [1 - float(bar_self_inductance(length, 1.0, thickness) / tape) for thickness in (4e-3, 2e-3)]
    assert 0 < missing[1] < 3e-3
    assert missing[0] / missing[1] == pytest.approx(2.0, rel=0.05)


@pytest.mark.parametrize(
    "call",
    [
        lambda: circle_mutual_inductance(1.0, 1.0, 0.0),
        lambda: circle_mutual_inductance(-1.0, 1.0, 0.5),
        lambda: bar_self_inductance(1.0, 0.0, 1.0),
        lambda: tape_self_inductance(0.0, 1.0),
        lambda: bar_geometric_mean_distance(0.0, 1.0),
        lambda: filament_mutual_inductance([0, 0, 0], [0, 0, 0], [1, 0, 0], [2, 0, 0]),
        lambda: spiral_sheet_inductance(10, 10e-3, 20e-3, "circle"),
    ],
)
def test_outside_the_range(call):
    with pytest.raises(LawRangeError):
        call()
