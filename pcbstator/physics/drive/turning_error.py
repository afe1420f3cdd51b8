"""What disturbs a steady slow turn, through the closed loops: error of the angle, and ripple of the speed."""

from __future__ import annotations

from dataclasses import dataclass
from math import pi

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pcbstator.physics.drive.coverage import SHARE, largest_swing, normal_half_width
from pcbstator.physics.drive.loop_response import Loops

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]

ORDERS = np.arange(1, 601)  # of the saw-tooth that counts make
FIRST_SHARP = 30.0  # order up to which the saw-tooth is sharp, to begin with
PASSED = 6.0  # bandwidths of the observer, beyond which nothing passes
TIMES = 0.618034 * np.arange(256)  # s, at which beats are looked at


@dataclass(frozen=True)
class Unevenness:
    """Largest error to either side [rad], 95 % of it where it goes by chance; half of peak to peak speed [rad/s]."""

    angle: float
    speed: float


def mean_over(rates: ArrayLike, period: float, window: float) -> ComplexArray:
    """Mean speed over a window per swing of the angle, as sampled.

    rates: of the swing [rad/s]; period: of sampling [s]; window: [s]. Returns (...) [1/s]. Source: derived here; at
    rates above half of sampling's the swing shows as its alias.

    >>> abs(mean_over([0.01], 1e-4, 0.02)).round(6).tolist()
    [0.01]
    """
    turned = np.asarray(rates, dtype=float) * period
    alias = np.mod(turned + pi, 2 * pi) - pi
    return np.asarray((1 - np.exp(-1j * alias / period * window)) / window)


def of_orders(loops: Loops, speed: float, orders: ArrayLike, window: float, **sizes: ArrayLike) -> Unevenness:
    """What swings once or several times per turn does to the turn; the peaks of several orders meet somewhere.

    loops: closed [SI]; speed: of the turn [rad/s]; orders: swings per turn (n,) [-]; window: over which speed is a mean
    [s]; sizes: peaks of disturbances by their names in INPUTS (n,) [SI]. Returns [rad], [rad/s]. Source: derived here.

    >>> from pcbstator.physics.drive.loop_response import LoopValues, closed_loops
    >>> loops = closed_loops(LoopValues(1e-4, 1.0, 1e-3, 0.04, 0.06, 1e-4, (0.6, 600.0), 0.02, 0.8, 20.0, 800.0))
    >>> round(of_orders(loops, 0.1, 1, 0.02, reading=0.01).angle, 4)  # the load follows the sensor
    0.01
    """
    rates = np.abs(np.asarray(orders, dtype=float) * speed)
    swings = sum((np.asarray(size) * loops.answer(rates, name) for name, size in sizes.items()), np.zeros(rates.shape))
    speeds = swings * mean_over(rates, loops.values.period, window)
    return Unevenness(float(np.abs(swings).sum()), float(np.abs(speeds).sum()))


def of_places(loops: Loops, speed: float, window: float, order: float = 1.0, **torques: FloatArray) -> Unevenness:
    """What disturbances do that depend on the place, over many turns.

    loops: closed [SI]; speed: of the turn [rad/s]; window: over which speed is a mean [s]; order: how often the places
    come in a turn [-]; torques: disturbances by their names in INPUTS, at even angles (n,) [SI]. Returns [rad],
    [rad/s]. Source: derived here, by the orders of the disturbances.

    >>> from pcbstator.physics.drive.loop_response import LoopValues, closed_loops
    >>> loops = closed_loops(LoopValues(1e-4, 1.0, 1e-3, 0.04, 0.06, 1e-4, (0.6, 600.0), 0.02, 0.8, 20.0, 800.0))
    >>> turn = np.arange(360) * 2 * pi / 360
    >>> one = of_orders(loops, 0.5, 3, 0.02, torque=1e-3).angle
    >>> round(of_places(loops, 0.5, 0.02, torque=1e-3 * np.cos(3 * turn)).angle / one, 4)
    1.0
    """
    (angle,), (unrest,) = of_many_places(
        loops, speed, window, order, **{name: values[None] for name, values in torques.items()}
    )
    return Unevenness(float(angle), float(unrest))


def of_many_places(
    loops: Loops, speed: float, window: float, order: float = 1.0, **torques: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """As ``of_places`` for many motors at once, each with disturbances of its own.

    loops: closed [SI]; speed: of the turn [rad/s]; window: over which speed is a mean [s]; order: how often the places
    come in a turn [-]; torques: disturbances by their names in INPUTS, at even angles (motors, n) [SI]. Returns largest
    errors (motors,) [rad] and halves of peak to peak speeds (motors,) [rad/s]. Source: as of_places.

    >>> from pcbstator.physics.drive.loop_response import LoopValues, closed_loops
    >>> loops = closed_loops(LoopValues(1e-4, 1.0, 1e-3, 0.04, 0.06, 1e-4, (0.6, 600.0), 0.02, 0.8, 20.0, 800.0))
    >>> wave = 1e-3 * np.cos(3 * np.arange(360) * 2 * pi / 360)
    >>> angles, _ = of_many_places(loops, 0.5, 0.02, torque=np.stack([wave, 2 * wave]))
    >>> round(float(angles[1] / angles[0]), 9)
    2.0
    """
    shape = next(iter(torques.values())).shape
    count = shape[-1]
    inner = slice(1, count // 2)
    rates = np.arange(count // 2 + 1)[inner] * abs(order * speed)
    swings = np.zeros((*shape[:-1], count // 2 + 1), dtype=complex)
    for name, values in torques.items():
        swings[..., inner] += np.fft.rfft(values)[..., inner] * loops.answer(rates, name)
    angle = np.fft.irfft(swings, count)
    swings[..., inner] *= mean_over(rates, loops.values.period, window)
    return np.abs(angle).max(axis=-1), np.ptp(np.fft.irfft(swings, count), axis=-1) / 2


def of_counts(loops: Loops, speed: float, count: float, window: float) -> Unevenness:
    """What the steps of a sensor do: a saw-tooth of one count, as often as counts go by, looked at once a sample.

    loops: closed [SI]; speed: of the turn [rad/s]; count: [rad]; window: over which speed is a mean [s]. Returns [rad],
    95 % of the time, and [rad/s]. Orders above half of the sampling's rate come out lower, as beats of counts with
    samples; those that the load's own unrest blurs by a radian or more count as noise. Beats change with the speed in
    its fifth digit. Source: textbook series of the saw-tooth, count/(pi n); derived here.

    >>> from pcbstator.physics.drive.loop_response import LoopValues, closed_loops
    >>> loops = closed_loops(LoopValues(1e-4, 1.0, 1e-3, 0.04, 0.06, 1e-4, (0.6, 600.0), 0.02, 0.8, 20.0, 800.0))
    >>> of_counts(loops, 0.37, 1e-3, 0.02).angle < of_counts(loops, 0.001, 1e-3, 0.02).angle < 1e-3
    True
    """
    period, lowest = loops.values.period, 2 * pi * abs(speed) / count
    alias = np.abs(np.mod(ORDERS * lowest * period + pi, 2 * pi) - pi)
    passed = ORDERS[alias < PASSED * loops.values.observer * period]
    swings = count / (pi * passed) * loops.answer(passed * lowest, "reading")
    passes, powers = loops.noise("reading"), np.abs(swings) ** 2 / 2
    sharp, blurred = FIRST_SHARP, 0.0
    for _ in range(2):
        # Orders beyond both are beats all over the band; their power is that of 1/n² summed.
        blurred = count / (pi * np.sqrt(2 * max(sharp, pi / period / lowest)))
        unrest = np.hypot(np.sqrt(powers[passed <= sharp].sum()), blurred * passes)
        sharp = float(np.clip(count / (2 * pi * unrest), FIRST_SHARP / 3, len(ORDERS)))
    orders, swings = passed[passed <= sharp], swings[passed <= sharp]
    turned = np.exp(1j * (TIMES * lowest)[:, None] * orders)
    angle = (turned @ swings).imag
    even = (turned @ (swings * mean_over(orders * lowest, period, window))).imag
    swings_in_a_turn = loops.swings_of_speed("reading", window) * 2 * pi / abs(speed)
    unsteady = largest_swing(blurred * loops.noise_of_speed("reading", window), swings_in_a_turn)
    return Unevenness(
        float(np.hypot(np.quantile(np.abs(angle), SHARE), normal_half_width(blurred * passes))),
        float(np.hypot(np.ptp(even) / 2, unsteady)),
    )


def of_noise(loops: Loops, speed: float, noise: float, window: float) -> Unevenness:
    """What noise of the sensor does, drawn anew in every sample; the speed is looked at over a turn.

    loops: closed [SI]; speed: of the turn [rad/s]; noise: rms [rad]; window: over which speed is a mean [s]. Returns
    [rad], [rad/s]. Source: derived here; the largest of all swings of a turn, whose number is Rice's.

    >>> from pcbstator.physics.drive.loop_response import LoopValues, closed_loops
    >>> loops = closed_loops(LoopValues(1e-4, 1.0, 1e-3, 0.04, 0.06, 1e-4, (0.6, 600.0), 0.02, 0.8, 20.0, 800.0))
    >>> of_noise(loops, 0.1, 1e-4, 0.02).angle < 1e-4
    True
    """
    swings = loops.swings_of_speed("reading", window) * 2 * pi / abs(speed)
    deviation = noise * loops.noise_of_speed("reading", window)
    return Unevenness(normal_half_width(noise * loops.noise("reading")), largest_swing(deviation, swings))
