"""A real magnet under a Hall sensor: strength and height by least squares with the law of one magnet.

Source: Magpylib documentation, tutorial "Modeling a real magnet", data file scan0 (BSD-2 licensed): disc of 8 mm by
2 mm, 61 steps of 0.5 mm, its centre nominally 7 mm above the sensor. Their fit: mean polarisation 1126.0 mT, sensor
off by 0.7209 mm along the scan. tests/published/magnet_scan.csv has the same numbers.
"""

from pathlib import Path

import numpy as np
import pytest

from pcbstator.bench.causes.estimate import estimate
from pcbstator.physics.magnetics.field_layers import MagnetLayers
from pcbstator.physics.magnetics.magnet_pattern import disc_footprint
from pcbstator.physics.magnetics.one_magnet import one_magnet_field

SCAN = np.genfromtxt(
    Path(__file__).parents[1] / "published" / "magnet_scan.csv", delimiter=",", names=True, skip_header=2
)
RING = 0.060  # m: of a ring so large that one magnet on it is by itself
ORDERS = np.arange(1, 121)
THICK, WIDE = 0.002, 0.008
NOISE = 0.05e-3  # T: what the published fit leaves
STEP = 1e-5


def field_of(along, face):
    """Field [T] of a disc of 1 T across its face, at places along a line [m] so far below the face [m]."""
    layers = MagnetLayers(THICK, 1.0, recoil_permeability=1.0, back_iron=0.0)
    radii, angle = np.hypot(RING, along), np.arctan2(along, RING)
    table = one_magnet_field(
        disc_footprint(RING, WIDE / 2), layers, RING - 1e-3, radii.max() + 1e-3, np.array([face]), ORDERS
    ).itself
    each = table.at(radii, 0)
    far = each * np.cos(np.pi * ORDERS)[:, None]  # on the other side of the ring hardly anything is left
    return -((each * np.cos(np.outer(ORDERS, angle))).sum(axis=0) - far.sum(axis=0))


def fitted():
    """Polarisation [T], face above the sensor [m], offset [m], a small turn of the sensor [rad]."""
    x = 1e-3 * SCAN["x_mm"]
    bx, bz = (1e-3 * SCAN[name] for name in ("bx_mt", "bz_mt"))
    measured = bz * np.sign(bz[np.argmax(np.abs(bz))])

    def predicted(v):
        return v[0] * field_of(x - v[2], v[1]) + v[3] * bx

    def sensitivity(v):
        steps = np.array([1e-3, STEP, STEP, 1e-3])
        now = predicted(v)
        return np.stack(
            [(predicted(v + step * row) - now) / step for step, row in zip(steps, np.eye(4), strict=True)], 1
        )

    start = np.array([1.2, 6e-3, 0.0, 0.0])
    covariance = NOISE**2 * np.eye(len(measured))
    return estimate(predicted, sensitivity, measured, covariance, start, np.zeros((4, 4)), most_steps=12)


def correlation(found):
    return found.covariance[0, 1] / np.sqrt(found.covariance[0, 0] * found.covariance[1, 1])


def test_polarisation_of_the_scan_and_its_doubt():
    found = fitted()
    assert found.values[0] == pytest.approx(1.126, rel=0.01)
    assert found.values[1] + THICK / 2 == pytest.approx(7e-3 - 0.3692e-3, abs=0.05e-3)
    assert found.values[2] == pytest.approx(0.7209e-3, abs=0.02e-3)
    assert correlation(found) == pytest.approx(0.966, abs=0.01)  # its sign: here the height is that of the magnet


def test_one_distance_leaves_strength_open_and_a_second_tells_it():
    """Peaks alone: strength and height make up for each other; a second peak, 3 mm nearer, tells them apart."""
    whole = fitted()
    peaks = np.array([whole.values[0] * field_of(np.zeros(1), whole.values[1] - near)[0] for near in (0.0, 3e-3)])

    def found(count):
        def predicted(v):
            return np.array([v[0] * field_of(np.zeros(1), v[1] - near)[0] for near in (0.0, 3e-3)[:count]])

        def sensitivity(v):
            steps, now = (1e-3, STEP), predicted(v)
            lines = [(predicted(v + step * row) - now) / step for step, row in zip(steps, np.eye(2), strict=True)]
            return np.stack(lines, axis=1)

        before = np.diag(np.array([0.3, 1e-3]) ** -2.0)  # roughly known: 0.3 T, 1 mm
        noise = NOISE**2 * np.eye(count)
        return estimate(predicted, sensitivity, peaks[:count], noise, np.array([1.2, 6e-3]), before)

    one, two = found(1), found(2)
    spread = [float(np.sqrt(each.covariance[0, 0])) for each in (one, two)]
    assert correlation(one) > 0.999
    assert spread[0] > 0.2
    assert spread[1] < spread[0] / 10
    assert two.values[0] == pytest.approx(whole.values[0], rel=0.005)
