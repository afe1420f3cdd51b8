"""Gains of the three loops of a drive, and the margins of what a controller really computes, sample by sample.

The controller, every T seconds (angles and speeds of one shaft; i, v: current and voltage on the q axis and d axis):

    observer   e = measured − angle;  angle += T (speed + 2 f e);  speed += T (a_ref + f² e)
    position   s = v_ref + position_gain (angle_ref − angle) − speed
    speed      torque = J a_ref + friction sign(v_ref) + viscous v_ref + speed_gain s + S;  S += T speed_integral s
    current    d = i_ref − i;  v = Kp d + I + speed-dependent terms fed forward;  I += T Ki d

The voltage acts one sample later. ``simulation.py`` runs exactly this; the functions here say how it answers.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import e, exp, inf, pi, sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.linalg import expm
from scipy.optimize import brentq

from pcbstator.physics.conductors.resistance import require_positive

ComplexArray = NDArray[np.complex128]
FloatArray = NDArray[np.float64]

OBSERVER = 4.0  # bandwidth of the observer over that of the speed loop
POINTS = 4000  # of a frequency response


def current_gains(resistance: float, inductance: float, bandwidth: float) -> tuple[float, float]:
    """Gains of a current loop by pole-zero cancellation on 1/(L s + R).

    resistance: [ohm]; inductance: [H]; bandwidth: [Hz]. Returns Kp [V/A] and Ki [V/(A s)]. Source: textbook,
    Kp = L w, Ki = R w.

    >>> [float(f"{gain:.5g}") for gain in current_gains(0.3, 20e-6, 1000.0)]
    [0.12566, 1885.0]
    """
    require_positive(resistance=resistance, inductance=inductance, bandwidth=bandwidth)
    return inductance * 2 * pi * bandwidth, resistance * 2 * pi * bandwidth


def speed_gains(inertia: float, bandwidth: float) -> tuple[float, float]:
    """Gains of a speed loop on a rigid inertia.

    inertia: [kg m2]; bandwidth: [Hz]. Returns speed_gain J w [N m s/rad], and its integral [N m/rad], which acts from
    a fifth of the bandwidth on. Source: textbook for J w; a fifth is common practice, no source.

    >>> round(speed_gains(1e-3, 10.0)[0], 6)
    0.062832
    """
    require_positive(inertia=inertia, bandwidth=bandwidth)
    rate = 2 * pi * bandwidth
    return inertia * rate, inertia * rate**2 / 5


def speed_bandwidth_for_counts(torque: float, inertia: float, count: float) -> float:
    """Bandwidth of a speed loop at which one count of the sensor makes a jump of torque.

    torque: of that jump [N m]; inertia: [kg m2]; count: [rad]. Returns [Hz]. A step of one count moves the speed of a
    critically damped observer of bandwidth f up to count·f/e. Source: derived here.

    >>> round(speed_bandwidth_for_counts(0.01, 1e-3, 2 * pi / 16384), 1)
    21.2
    """
    require_positive(torque=torque, inertia=inertia, count=count)
    return sqrt(torque * e / (inertia * OBSERVER * count)) / (2 * pi)


def second_order_step(damping: float) -> tuple[float, float]:
    """Overshoot and settling of s² + 2 z w s + w² after a step.

    damping: z [-]. Returns overshoot over the step [-], and 2 % settling time times w [-]: by the usual envelope 4/z
    where under-damped, exact otherwise. Source: textbook: exp(−pi z/sqrt(1 − z²)), 4/z; derived here for two real
    poles.

    >>> round(second_order_step(0.5)[0], 4), round(second_order_step(1.0)[1], 3)
    (0.163, 5.834)
    """
    require_positive(damping=damping)
    if damping < 1:
        return exp(-pi * damping / sqrt(1 - damping**2)), 4 / damping
    apart = max(sqrt(damping**2 - 1), 1e-6)
    slow, fast = damping - apart, damping + apart

    def beyond(time: float) -> float:
        return (fast * exp(-slow * time) - slow * exp(-fast * time)) / (2 * apart) - 0.02

    return 0.0, float(brentq(beyond, 0.0, 20 / slow, rtol=1e-12))


@dataclass(frozen=True)
class Margins:
    """Of a loop: phase left where the gain is one [rad], factor left where the phase turns round, crossover [Hz]."""

    phase: float
    gain: float
    crossover: float


def margins(open_loop: ComplexArray, frequencies: FloatArray) -> Margins:
    """Margins of a loop from its open response.

    open_loop: (...) response [-]; frequencies: rising [Hz]. Returns the least phase [rad] of all crossovers, the least
    factor of gain [-] by which the loop may still rise, and the last crossover [Hz]. A negative phase or a factor
    below one means that the closed loop swings up. Source: Nyquist; textbook.

    >>> f = np.geomspace(1, 1e4, 4000)
    >>> found = margins(100 / (1j * f) * np.exp(-2j * pi * f * 1e-4), f)  # an integrator and a delay of 0.1 ms
    >>> round(float(np.degrees(found.phase)), 1), round(found.gain, 2), round(found.crossover, 1)
    (86.4, 25.0, 100.0)
    """
    size, phase = np.log(np.abs(open_loop)), np.unwrap(np.angle(open_loop))
    phase -= 2 * pi * np.round((phase[0] + pi / 2) / (2 * pi))  # it begins within half a turn of −90 degrees
    at_one = _crossings(size)
    left = [pi + _between(phase, *place) for place in at_one]
    turns = [place for level in (pi, 3 * pi) for place in _crossings(phase + level)]
    factors = [exp(-_between(size, *place)) for place in turns]
    above = [factor for factor in factors if factor > 1]
    unstable = bool(left) and min(left) < 0
    gain = max([factor for factor in factors if factor <= 1], default=0.0) if unstable else min(above, default=inf)
    crossover = _between(np.asarray(frequencies, dtype=float), *at_one[-1]) if at_one else 0.0
    return Margins(min(left, default=inf), gain, crossover)


def _crossings(values: FloatArray) -> list[tuple[int, float]]:
    """Places, as index and part of the way to the next, where values pass zero."""
    places = np.flatnonzero(np.sign(values[:-1]) * np.sign(values[1:]) < 0)
    return [(int(i), float(values[i] / (values[i] - values[i + 1]))) for i in places]


def _between(values: FloatArray, index: int, part: float) -> float:
    return float(values[index] + part * (values[index + 1] - values[index]))


def loop_frequencies(lowest: float, period: float) -> FloatArray:
    """Frequencies for margins, up to just below half the sampling rate.

    lowest: [Hz]; period: of sampling [s]. Returns (4000,) [Hz]. Source: derived here.

    >>> float(loop_frequencies(1.0, 1e-3)[0])
    1.0
    """
    return np.geomspace(lowest, 0.4999 / period, POINTS)


def current_open_loop(
    frequencies: ArrayLike, period: float, resistance: float, inductance: float, gains: tuple[float, float]
) -> ComplexArray:
    """Open current loop: sampled controller, one sample of delay, winding under a held voltage.

    frequencies: [Hz]; period: of sampling [s]; resistance: [ohm]; inductance: [H]; gains: Kp [V/A], Ki [V/(A s)].
    Returns (...) [-]. Source: derived here; the winding's answer to a held voltage is exact.

    >>> abs(current_open_loop([100.0], 1e-5, 0.3, 20e-6, current_gains(0.3, 20e-6, 1000.0))).round(2).tolist()
    [10.0]
    """
    z = np.exp(2j * pi * np.asarray(frequencies, dtype=float) * period)
    fade = exp(-resistance * period / inductance)
    winding = (1 - fade) / resistance / (z - fade)
    return np.asarray((gains[0] + gains[1] * period / (z - 1)) / z * winding)


def shaft_response(
    frequencies: ArrayLike, period: float, inertia: float, load_inertia: float = 0.0, stiffness: float = inf
) -> ComplexArray:
    """Angle of the motor per torque, held over each sample: one rigid body, or motor and load on a spring.

    frequencies: [Hz]; period: of sampling [s]; inertia: of the motor, or of all where rigid [kg m2]; load_inertia:
    [kg m2]; stiffness: [N m/rad], infinite where rigid. The spring has 2 % of critical damping. Returns (...)
    [rad/(N m)]. Source: textbook; derived here for the held torque.

    >>> (1e3 * abs(shaft_response([100.0], 1e-5, 1e-3))).round(3).tolist()  # 1/(J w²)
    [2.533]
    """
    z = np.exp(2j * pi * np.asarray(frequencies, dtype=float) * period)
    whole = inertia + (0.0 if stiffness == inf else load_inertia)
    response = period**2 / (2 * whole) * (z + 1) / (z - 1) ** 2
    if stiffness == inf or load_inertia == 0:
        return np.asarray(response)
    rate = sqrt(stiffness * whole / (inertia * load_inertia))
    share = load_inertia / (inertia * whole)
    system = np.array([[0, 1, 0], [-(rate**2), -0.04 * rate, share], [0, 0, 0]]) * period
    step = expm(system)
    a, b = step[:2, :2], step[:2, 2]
    determinant = (z - a[0, 0]) * (z - a[1, 1]) - a[0, 1] * a[1, 0]
    return np.asarray(response + ((z - a[1, 1]) * b[0] + a[0, 1] * b[1]) / determinant)


def motion_open_loops(
    frequencies: ArrayLike,
    period: float,
    shaft: ComplexArray,
    torque: ComplexArray,
    gains: tuple[float, float, float],
    observer: float,
    delay: float,
) -> tuple[ComplexArray, ComplexArray]:
    """Open speed loop, and open position loop around the closed speed loop.

    frequencies: (n,) [Hz]; period: of sampling [s]; shaft: angle per torque (n,) [rad/(N m)]; torque: torque per
    torque asked for, the closed current loop (n,) [-]; gains: speed_gain [N m s/rad], its integral [N m/rad] and
    position_gain [1/s]; observer: bandwidth [rad/s]; delay: age of the sensor's angle [s]. Returns two (n,) [-].
    Source: derived here.

    >>> f, one = np.array([2.0]), np.ones(1)
    >>> loops = motion_open_loops(f, 1e-5, shaft_response(f, 1e-5, 1e-3), one, (*speed_gains(1e-3, 10.0), 10.0), 1e4, 0)
    >>> abs(loops[0]).round(1).tolist()  # ten over two, and the integral
    [7.1]
    """
    f = np.asarray(frequencies, dtype=float)
    z = np.exp(2j * pi * f * period)
    step = z - 1
    late = np.exp(-2j * pi * f * delay)
    below = step**2 + 2 * observer * period * step + (observer * period) ** 2
    angle = (2 * observer * period * step + (observer * period) ** 2) / below * late
    speed = observer**2 * period * step / below * late
    forward = (gains[0] + gains[1] * period / step) * torque * shaft
    inner = forward * speed
    return np.asarray(inner), np.asarray(gains[2] * forward * angle / (1 + inner))
