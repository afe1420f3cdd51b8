"""Waves around the axis: printed values, a library's Bessel functions, one grid over everything, laws."""

import tomllib
from pathlib import Path

import numpy as np
import pytest
from scipy.special import jv

from pcbstator.errors import LawRangeError
from pcbstator.physics.inductance import rings as ring_inductance
from pcbstator.physics.inductance.rings import CoilRing, ring_cells, ring_inductance_matrix
from pcbstator.physics.inductance.strips import Strips, iron_images, joined_strips, strips_along
from pcbstator.physics.inductance.tracks import near_inductance_matrix, track_inductance_matrix

PUBLISHED = tomllib.loads((Path(__file__).parents[1] / "published" / "inductance.toml").read_text())
MM, NH = 1e-3, 1e-9


def circle(radius, z=0.0, width=0.3e-3, thickness=35e-6, sides=360):
    around = np.linspace(0, 2 * np.pi, sides + 1)
    radius = radius / np.sqrt(np.sin(2 * np.pi / sides) * sides / (2 * np.pi))  # the polygon has the circle's area
    return strips_along(radius * np.column_stack([np.cos(around), np.sin(around)]), z, width, thickness)


def turned(strips, angle):
    rotation = np.array([[np.cos(angle), np.sin(angle), 0], [-np.sin(angle), np.cos(angle), 0], [0, 0, 1]])
    return Strips(strips.starts @ rotation, strips.ends @ rotation, strips.width, strips.thickness)


def scaled(strips, factor):
    return Strips(*(factor * part for part in (strips.starts, strips.ends, strips.width, strips.thickness)))


def coil(levels=(0.0, -0.8e-3), radius=4e-3, centre=14e-3, turns=3, pitch=0.8e-3):
    around = np.linspace(0, 2 * np.pi * turns, 40 * turns + 1)
    out = radius - pitch * around / (2 * np.pi)
    points = np.column_stack([centre + out * np.cos(around), out * np.sin(around)])
    return joined_strips([strips_along(points, z, 0.5e-3, 35e-6) for z in levels])


def machine(count=9, phases=3, one=None, tilt=0.0):
    """Coils of three phases in turn, and a connection from the first coil of each phase a third of the way around."""
    one = one or coil()
    angles = tilt + 2 * np.pi * np.arange(count) / count
    ring = CoilRing(one, angles, np.equal.outer(np.arange(phases), np.arange(count) % phases).astype(float))
    arcs, currents = [], []
    for phase in range(phases):
        turn = angles[phase] + np.linspace(0.0, 2.0, 60)
        radius = 20e-3 + 1.5e-3 * phase
        arcs.append(strips_along(radius * np.column_stack([np.cos(turn), np.sin(turn)]), 0.0, 0.5e-3, 35e-6))
        currents.append(np.full(59, phase))
    return ring, joined_strips(arcs), np.equal.outer(np.arange(phases), np.concatenate(currents)).astype(float)


def on_one_grid(ring, interconnects, currents, cell, images=()):
    parts = [turned(ring.strips, angle) for angle in ring.angles]
    carried = np.repeat(ring.currents, len(ring.strips.width), axis=1)
    return track_inductance_matrix(
        joined_strips([*parts, interconnects]), np.concatenate([carried, currents], axis=1), cell, images
    )


# --- printed values and a library -----------------------------------------------------------------------------------


def test_tape_loop():
    printed = PUBLISHED["tape_loop"]
    tape = circle(printed["radius_mm"] * MM, 0.0, printed["width_mm"] * MM, 1e-9)
    got = ring_inductance_matrix([CoilRing(tape, np.zeros(1), np.ones((1, 1)))], None, np.zeros((1, 0)))
    assert got[0, 0] == pytest.approx(printed["inductance_nh"] * NH, rel=1e-3)


def printed_circles(case):
    return [
        circle(radius * MM, z * MM, width=1e-6)
        for radius, z in ((case["radius_a_mm"], 0.0), (case["radius_b_mm"], case["distance_mm"]))
    ]


@pytest.mark.parametrize("case", [case for case in PUBLISHED["coaxial_circles"]["cases"] if case["distance_mm"] > 0.5])
def test_coaxial_circles(case):
    """Two paths as two rings of one coil each; the last printed pair is nearer than the cell can tell."""
    one, other = printed_circles(case)
    rings = [CoilRing(one, np.zeros(1), np.eye(2)[:, :1]), CoilRing(other, np.zeros(1), np.eye(2)[:, 1:])]
    got = ring_inductance_matrix(rings, None, np.zeros((2, 0)))
    assert got[0, 1] == pytest.approx(case["mutual_nh"] * NH, rel=1e-3)


def test_coaxial_circles_as_links():
    """The same as inter-coil connections, of which no wave is left out."""
    case = PUBLISHED["coaxial_circles"]["cases"][0]
    interconnects = joined_strips(printed_circles(case))
    far = CoilRing(circle(1.2 * case["radius_a_mm"] * MM), np.zeros(1), np.zeros((2, 1)))
    got = ring_inductance_matrix([far], interconnects, np.repeat(np.eye(2), 360, axis=1))
    assert got[0, 1] == pytest.approx(case["mutual_nh"] * NH, rel=2e-3)


@pytest.mark.parametrize("repeats", [1, 4])
def test_bessel_functions_against_the_library(repeats):
    """Splines through them give the library's values on the rings and, for waves that are long enough, between."""
    total = 40
    orders, k, _, coefficients = ring_inductance._bessel_functions(total, repeats)
    assert np.all((orders - 1) % repeats == 0)
    inside = np.arange(10, total - 5)
    spots = inside + ring_inductance.BEYOND
    on_rings = (coefficients[:, spots - 1] + 4 * coefficients[:, spots] + coefficients[:, spots + 1]) / 6
    assert on_rings == pytest.approx(jv(orders[:, None, None], inside[:, None] * k), abs=2e-6)
    halfway = (
        coefficients[:, spots - 1]
        + 23 * coefficients[:, spots]
        + 23 * coefficients[:, spots + 1]
        + coefficients[:, spots + 2]
    ) / 48
    long = k < 0.5
    exact = jv(orders[:, None, None], (inside + 0.5)[:, None] * k)
    assert halfway[..., long] == pytest.approx(exact[..., long], abs=2e-4)


# --- one grid over everything ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("images", [(), iron_images([2e-3]), iron_images([3e-3, -4e-3])])
def test_against_one_grid(images):
    """Coils, inter-coil connections and iron: waves and what a finer grid adds for one coil, against the finer grid for
    all of it.
    """
    ring, interconnects, currents = machine()
    cell, wide = 0.2e-3, ring_cells([ring], interconnects)[0]
    near = near_inductance_matrix(ring.strips, np.ones((1, len(ring.strips.width))), cell, wide, images)[0, 0]
    got = ring_inductance_matrix([ring], interconnects, currents, images) + 3 * near * np.eye(3)
    exact = on_one_grid(ring, interconnects, currents, cell, images)
    # connections that end nowhere see far into the space between two irons
    assert got == pytest.approx(exact, abs=(4e-3 if len(images) > 1 else 2e-3) * exact[0, 0])
    assert np.array_equal(got, got.T)


def test_coils_of_two_boards_turned_against_each_other():
    """Two templates on levels of their own, the lower ones turned and with another current."""
    upper, lower = coil((0.0,)), coil((-2e-3,))
    angles = 2 * np.pi * np.arange(6) / 6
    currents = np.equal.outer(np.arange(2), np.arange(6) % 2).astype(float)
    rings = [CoilRing(upper, angles, currents), CoilRing(lower, angles + 0.2, 0.5 * currents)]
    got = ring_inductance_matrix(rings, None, np.zeros((2, 0)))
    parts = [turned(ring.strips, angle) for ring in rings for angle in ring.angles]
    carried = np.repeat(np.concatenate([currents, 0.5 * currents], axis=1), len(upper.width), axis=1)
    exact = track_inductance_matrix(joined_strips(parts), carried, ring_cells(rings)[0])
    assert got == pytest.approx(exact, abs=3e-3 * exact[0, 0])


def test_many_levels_are_merged():
    """Sixteen levels within a few cells."""
    levels = tuple(-0.1e-3 * np.arange(16))
    ring, interconnects, currents = machine(3, 3, coil(levels, turns=2))
    exact = on_one_grid(ring, interconnects, currents, ring_cells([ring], interconnects)[0])
    assert ring_inductance_matrix([ring], interconnects, currents) == pytest.approx(exact, abs=3e-3 * exact[0, 0])


def test_coils_that_repeat_but_for_their_ends():
    """Told how often they repeat, or with every wave found from their angles: the same."""
    around = np.linspace(0.05, 2 * np.pi - 0.05, 400)
    radius = 14e-3 + 4e-3 * np.sin(6 * around)
    wave = strips_along(radius[:, None] * np.column_stack([np.cos(around), np.sin(around)]), 0.0, 0.5e-3, 35e-6)
    ring = CoilRing(wave, np.arange(3) * 2 * np.pi / 18, np.eye(3))
    all_waves = ring_inductance_matrix([ring], None, np.zeros((3, 0)))
    few = ring_inductance_matrix([ring], None, np.zeros((3, 0)), repeats=6)
    assert few == pytest.approx(all_waves, abs=4e-3 * all_waves[0, 0])


# --- laws that must hold --------------------------------------------------------------------------------------------


def test_turning_the_machine_changes_nothing():
    one, other = (
        ring_inductance_matrix([ring], None, np.zeros((3, 0)))
        for ring in (
            machine()[0],
            machine(tilt=0.123)[0],
        )
    )
    assert other == pytest.approx(one, abs=1e-4 * one[0, 0])


def test_scale_and_energy():
    ring, interconnects, currents = machine()
    base = ring_inductance_matrix([ring], interconnects, currents)
    assert np.linalg.eigvalsh(base)[0] > 0
    larger = CoilRing(scaled(ring.strips, 2.5), ring.angles, 3 * ring.currents)
    assert ring_inductance_matrix([larger], scaled(interconnects, 2.5), 3 * currents) == pytest.approx(
        2.5 * 9 * base, rel=1e-5
    )


@pytest.mark.parametrize("turn", [0.0, 0.7, 2.5])
@pytest.mark.parametrize(
    ("start", "end", "least", "most"),
    [
        ((10.0, -6.0), (10.0, 5.0), 10.0, 136**0.5),  # the foot of the perpendicular lies on the piece
        ((10.0, 5.0), (10.0, 3.0), 109**0.5, 125**0.5),  # beyond its end
        ((10.0, 2.0), (8.0, 2.0), 68**0.5, 104**0.5),  # nearest at the end
        ((-6.0, 8.0), (6.0, 8.0), 8.0, 10.0),
    ],
)
def test_least_and_largest_radius_of_a_straight_piece(start, end, least, most, turn):
    """The distance from the axis to a segment; half the width comes off and on."""
    spots = [np.array([[*spot, 0.0]]) * MM for spot in (start, end)]
    piece = turned(Strips(*spots, np.array([0.4e-3]), np.array([35e-6])), turn)
    ring = CoilRing(circle(9e-3, width=0.1e-3), np.zeros(1), np.ones((1, 1)))  # lies between
    found = ring_inductance._radii([CoilRing(piece, np.zeros(1), np.ones((1, 1)))], None)
    assert found == pytest.approx((least * MM - 0.2e-3, most * MM + 0.2e-3), rel=1e-12)
    both = ring_inductance._radii([ring], piece)
    assert both == pytest.approx((min(least - 0.2, 8.95) * MM, max(most + 0.2, 9.05) * MM), rel=1e-3)


def test_how_often_coils_repeat_is_found():
    def repeats(currents, count=12):
        ring = CoilRing(coil(), 2 * np.pi * np.arange(count) / count, np.atleast_2d(np.asarray(currents, float)))
        return ring_inductance._repeats([ring], ring_inductance._rings(10e-3, 20e-3, 40))

    assert repeats(np.ones(12)) == 12
    assert repeats(np.tile([1, 0, 0], 4)) == 4
    assert repeats(np.tile([1, -1, 0], 4)) == 4
    assert repeats(np.append(np.ones(6), np.zeros(6))) == 1


def test_copper_over_the_axis():
    """A coil that covers the axis, on which the rings have no place."""
    ring = CoilRing(coil(centre=0.5e-3), np.array([0.0]), np.ones((1, 1)))
    exact = track_inductance_matrix(ring.strips, np.ones((1, len(ring.strips.width))), ring_cells([ring])[0])
    assert ring_inductance_matrix([ring], None, np.zeros((1, 0))) == pytest.approx(exact, rel=5e-3)


def test_vias_are_refused():
    tilted = Strips(np.array([[5e-3, 0, 0]]), np.array([[6e-3, 0, 1e-3]]), np.array([1e-4]), np.array([1e-5]))
    with pytest.raises(LawRangeError):
        ring_inductance_matrix([CoilRing(tilted, np.zeros(1), np.ones((1, 1)))], None, np.zeros((1, 0)))
