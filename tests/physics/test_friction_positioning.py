"""Friction curves and sensor errors against geometry drawn out, another library's field, and the printed play."""

from math import pi

import numpy as np
import pytest

from pcbstator.errors import LawRangeError
from pcbstator.physics.drive.friction import friction_error, spot_friction, stribeck_friction
from pcbstator.physics.drive.positioning import (
    magnet_eccentricity_error,
    magnet_eccentricity_peak,
    play_angle,
    ring_eccentricity_error,
    ring_eccentricity_peak,
)


def test_play_at_a_radius():
    """Printed: 1 mm at 60 mm is 0.95 degree; a bearing that shifts so shows nearly a degree (common practice)."""
    assert np.degrees(play_angle(1e-3, 60e-3)) == pytest.approx(0.95, abs=0.005)


def test_ring_eccentricity_by_drawing_it():
    """A ring of radial lines, its centre off the axis, turned past a head: the line that passes the head is read."""
    offset, radius = 0.4e-3, 18e-3
    marks = np.arange(360_000) * 2 * pi / 360_000
    for angle in np.linspace(0, 2 * pi, 13):
        turned = marks + angle  # numbered clockwise round the ring, so that the head reads rising numbers
        centre = offset * np.exp(1j * angle)
        seen = np.exp(-1j * turned) * (radius - centre)  # the head from the ring's centre, along each line
        under = int(np.argmin(np.where(seen.real > 0, abs(seen.imag), 1.0)))
        read = np.mod(-marks[under] + pi, 2 * pi) - pi
        error = np.mod(read - angle + pi, 2 * pi) - pi
        assert error == pytest.approx(float(ring_eccentricity_error(angle, offset, radius)), abs=3e-5)
    angles = np.linspace(0, 2 * pi, 100_001)
    errors = ring_eccentricity_error(angles, offset, radius)
    assert errors.max() == pytest.approx(ring_eccentricity_peak(offset, radius), rel=1e-6)
    assert errors.max() == pytest.approx(offset / radius, rel=1e-3)  # the textbook's e/r


@pytest.mark.parametrize("offset", [0.1e-3, 0.5e-3])
def test_magnet_eccentricity_against_a_librarys_dipole(offset):
    """The field of a dipole that turns above the axis, at a chip beside it; and a real disc magnet errs less."""
    import magpylib

    distance = 3e-3
    angles = np.linspace(0, 2 * pi, 73)
    dipole = magpylib.misc.Dipole(moment=(1, 0, 0), position=(0, 0, distance))
    disc = magpylib.magnet.Cylinder(polarization=(1, 0, 0), dimension=(6e-3, 2.5e-3), position=(0, 0, distance))
    found = {}
    for name, source in (("dipole", dipole), ("disc", disc)):
        source.rotate_from_angax(np.degrees(angles[1:]), "z", anchor=(0, 0, 0), start=1, degrees=True)
        field = source.getB((offset, 0, 0))
        direction = np.arctan2(-field[:, 1], -field[:, 0])
        found[name] = np.mod(direction - angles + pi, 2 * pi) - pi
    assert found["dipole"] == pytest.approx(magnet_eccentricity_error(angles, offset, distance), abs=1e-9)
    peak = magnet_eccentricity_peak(offset, distance)
    assert abs(found["dipole"]).max() == pytest.approx(peak, rel=5e-3)
    assert abs(found["disc"]).max() < peak


def test_spots_add_their_area():
    spots = [(0.1, 0.3, 0.004), (6.2, 0.5, 0.002)]
    angles = np.linspace(0, 2 * pi, 200_001)[:-1]
    assert spot_friction(angles, spots).mean() == pytest.approx((0.3 * 0.004 + 0.5 * 0.002) / (4 * pi), rel=1e-6)
    assert spot_friction([0.1], spots)[0] == pytest.approx(0.004 + spot_friction([0.1], spots[1:])[0], rel=1e-12)


def test_friction_falls_from_standstill_to_running():
    curve = stribeck_friction(np.linspace(0, 5, 50), 0.01, 0.015, 1.0)
    assert curve[0] == 0.015 and np.all(np.diff(curve) <= 0) and curve[-1] == pytest.approx(0.01, rel=1e-9)


def test_nonsense_is_refused():
    for call in (lambda: ring_eccentricity_peak(2e-3, 1e-3), lambda: magnet_eccentricity_peak(3e-3, 3e-3),
                 lambda: friction_error(1.0, 0.0, 1.0), lambda: play_angle(1e-3, 0.0)):  # fmt: skip
        with pytest.raises(LawRangeError):
            call()
