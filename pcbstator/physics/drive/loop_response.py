"""How the closed loops of ``control.py`` answer, sample by sample: exact, linear, in modes.

Angles are those of the load, in departures from what is asked for. Five things disturb: a torque from outside, a wrong
reading of the angle, a wrong reading of the current, a voltage in the winding, and the acceleration asked for, which
the loops follow late. One body turns: motor and load on a coupling count as rigid, as the loops stay below its swing.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from math import exp, pi

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pcbstator.errors import LawRangeError

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]

INPUTS = ("torque", "reading", "current", "voltage", "acceleration", "jerk")
ANGLE, SPEED, CURRENT, VOLTAGE, CURRENT_SUM, SEEN, SEEN_SPEED, SUM = range(8)
GONE = 1e-12  # of a mode after a sample: nothing of it is left


@dataclass(frozen=True)
class LoopValues:
    """Winding, body and gains, for the shaft of the load, SI. ``emf``: voltage per speed on the q axis [V s/rad].

    ``friction_slope``: of the friction over speed where it moves, below zero where standstill friction fades. With
    ``waits`` the integral of the speed loop stands still, as at rest within its dead band.
    """

    period: float
    resistance: float
    inductance: float
    emf: float
    torque_constant: float
    inertia: float
    current_gains: tuple[float, float]
    speed_gain: float
    speed_integral: float
    position_gain: float
    observer: float
    viscous: float = 0.0
    friction_slope: float = 0.0
    delay: float = 0.0
    waits: bool = False

    @property
    def stiffness(self) -> float:
        """Torque per error of the angle, before the integral acts [N m/rad]."""
        return self.speed_gain * self.position_gain

    @property
    def integral_time(self) -> float:
        """Time in which the integral of a standing error grows as large as the error's own torque [s]."""
        return self.speed_gain / self.speed_integral if self.speed_integral else float("inf")

    def waiting(self) -> LoopValues:
        """The same with the integral of the speed loop standing still."""
        return replace(self, waits=True)


def sampled_loops(values: LoopValues) -> tuple[FloatArray, FloatArray]:
    """One sample of the closed loops as a matrix, and what each disturbance adds.

    values: of the loops [SI]. Returns (8, 8) and (8, 6) [SI], the disturbances in the order of INPUTS. States: angle,
    speed, current, voltage under way, integral of the current loop, the observer's angle and speed, integral of the
    speed loop. Source: derived here from the steps of ``control.py``, the winding exact for a held voltage.

    >>> loops = LoopValues(1e-4, 1.0, 1e-3, 0.04, 0.06, 1e-4, (0.6, 600.0), 0.02, 0.8, 20.0, 800.0)
    >>> bool(max(abs(np.linalg.eigvals(sampled_loops(loops)[0]))) < 1)
    True
    """
    c, h = values, values.period
    fade = exp(-h * c.resistance / c.inductance)
    mean = (1 - fade) / (h * c.resistance / c.inductance)
    unit = np.eye(14)  # states, then disturbances
    torque = np.zeros(14)  # asked for, over states and disturbances
    torque[[SEEN, SEEN_SPEED, SUM]] = -c.stiffness, -c.speed_gain, 1.0
    torque[8 + 4] = c.inertia
    end = np.zeros(14)  # current to which the winding tends
    end[[VOLTAGE, SPEED, 8 + 3]] = 1 / c.resistance, -c.emf / c.resistance, 1 / c.resistance
    current = unit[CURRENT]
    wrong = torque / c.torque_constant - current - unit[8 + 2]
    speed = unit[SPEED]
    push = c.torque_constant * (mean * current + (1 - mean) * end) - c.friction_slope * speed + unit[8]
    push[8 + 4] -= c.inertia
    after = (c.inertia * speed + h * push) / (c.inertia + h * c.viscous)
    measured = unit[ANGLE] - c.delay * speed + unit[8 + 1]
    missed = measured - unit[SEEN]
    rows = np.zeros((8, 14))
    rows[ANGLE] = unit[ANGLE] + h / 2 * (speed + after)
    rows[SPEED] = after
    rows[CURRENT] = fade * current + (1 - fade) * end
    rows[CURRENT, 8 + 4] -= (1 - fade) / c.resistance * c.emf * h  # the EMF fed forward is a sample old
    rows[VOLTAGE] = c.current_gains[0] * wrong + unit[CURRENT_SUM] + c.emf * unit[SEEN_SPEED]
    rows[CURRENT_SUM] = unit[CURRENT_SUM] + h * c.current_gains[1] * wrong
    rows[SEEN] = unit[SEEN] + h * (unit[SEEN_SPEED] + 2 * c.observer * missed)
    rows[SEEN, 8 + 4] -= h**2 / 2
    rows[SEEN_SPEED] = unit[SEEN_SPEED] + h * c.observer**2 * missed
    rows[SUM] = unit[SUM]
    if not c.waits:
        rows[SUM, [SEEN, SEEN_SPEED]] -= h * c.speed_integral * np.array([c.position_gain, 1.0])
    rows[[SPEED, SEEN_SPEED], 8 + 5] -= h**2 / 2  # the speed asked for, within a sample
    return rows[:, :8], rows[:, 8:]


@dataclass(frozen=True, eq=False)
class Loops:
    """The closed loops in modes: ``poles`` per sample, what goes in ``enters`` (modes, inputs), what comes out."""

    values: LoopValues
    poles: ComplexArray
    enters: ComplexArray
    leaves: ComplexArray

    @cached_property
    def stable(self) -> bool:
        """Whether every mode fades."""
        return bool(np.all(np.abs(self.poles) < 1))

    @property
    def slowest(self) -> float:
        """Time constant of the slowest mode [s]."""
        return -self.values.period / float(np.log(np.abs(self.poles).max()))

    def entering(self, source: str) -> ComplexArray:
        """What a disturbance adds to every mode in a sample."""
        return np.asarray(self.enters[:, INPUTS.index(source)])

    def parts(self, source: str, out: int = ANGLE) -> ComplexArray:
        """Part of every mode in the answer of a state to an impulse of a disturbance."""
        return np.asarray(self.leaves[out] * self.entering(source))

    def answer(self, rates: ArrayLike, source: str, out: int = ANGLE) -> ComplexArray:
        """A state per disturbance that swings at rates [rad/s]; (...) complex."""
        z = np.exp(1j * np.asarray(rates, dtype=float) * self.values.period)
        return np.asarray((1 / (z[..., None] - self.poles)) @ self.parts(source, out))

    def noise(self, source: str, out: int = ANGLE) -> float:
        """Rms of a state over that of a disturbance that is drawn anew in every sample."""
        return float(np.sqrt(self._correlation(source, out, 0.0)))

    def noise_of_speed(self, source: str, window: float, out: int = ANGLE) -> float:
        """Rms [1/s] of the mean speed over a window [s], over that of a disturbance drawn anew in every sample."""
        apart = self._correlation(source, out, 0.0) - self._correlation(source, out, window)
        return float(np.sqrt(max(0.0, 2 * apart))) / window

    def swings_of_speed(self, source: str, window: float) -> float:
        """How often in a second [Hz] the mean speed over a window [s] rises through its mean by noise (Rice)."""
        return self.noise_of_speed(source, window, SPEED) / self.noise_of_speed(source, window) / (2 * pi)

    def _correlation(self, source: str, out: int, apart: float) -> float:
        parts = self.parts(source, out)
        left = np.exp(apart / self.values.period * self._rates)
        return float(((left * parts) @ self._pairs @ parts).real)

    @cached_property
    def _pairs(self) -> ComplexArray:
        return np.asarray(1 / (1 - self.poles[:, None] * self.poles))

    def faded(self, times: FloatArray) -> ComplexArray:
        """What is left of every mode after times [s]: (times, modes)."""
        return np.asarray(np.exp(np.asarray(times)[:, None] / self.values.period * self._rates))

    @cached_property
    def _rates(self) -> ComplexArray:
        return np.asarray(np.log(self.poles))

    def after_step(self, times: FloatArray, source: str, out: int = ANGLE) -> FloatArray:
        """A state at times [s] after a disturbance of one set in and stayed."""
        return np.asarray(((1 - self.faded(times)) @ (self.parts(source, out) / (1 - self.poles))).real)


def closed_loops(values: LoopValues) -> Loops:
    """The closed loops in modes.

    values: of the loops [SI]. Returns modes [SI]. LawRangeError where a mode grows: the loops swing up.
    Source: derived here; eigenvectors of one sample.

    >>> loops = closed_loops(LoopValues(1e-4, 1.0, 1e-3, 0.04, 0.06, 1e-4, (0.6, 600.0), 0.02, 0.8, 20.0, 800.0))
    >>> round(abs(complex(loops.answer(1e-3, "reading"))), 4)  # slowly, the load follows what the sensor says
    1.0
    """
    matrix, enters = sampled_loops(values)
    if values.waits:  # the integral is no state then
        matrix, enters = matrix[:SUM, :SUM], enters[:SUM]
    poles, modes = np.linalg.eig(matrix)
    if np.abs(poles).max() >= 1:
        raise LawRangeError("the loops swing up; softer gains (speed_bandwidth_hz) or a faster control rate")
    poles = np.where(np.abs(poles) < GONE, GONE, poles)
    return Loops(values, poles.astype(complex), np.linalg.solve(modes, enters), modes.astype(complex))


def second_order_answer(rates: ArrayLike, inertia: float, stiffness: float, damping: float) -> ComplexArray:
    """Angle per torque of a body on a spring and a damper: what ideal loops without integral come to.

    rates: [rad/s]; inertia: [kg m2]; stiffness: speed_gain times position_gain [N m/rad]; damping: speed_gain
    [N m s/rad]. Returns (...) [rad/(N m)]. Source: textbook.

    >>> abs(second_order_answer([0.0, 10.0], 0.01, 1.0, 0.1)).tolist()
    [1.0, 1.0]
    """
    s = 1j * np.asarray(rates, dtype=float)
    return np.asarray(1 / (inertia * s**2 + damping * s + stiffness))


def observer_noise(bandwidth: float, period: float) -> float:
    """Rms of the angle of a critically damped observer over that of readings drawn anew in every sample.

    bandwidth: f [rad/s]; period: of sampling, well below 1/f [s]. Returns [-]. Source: derived here: white noise
    through (2 f s + f²)/(s + f)² has the power 5 f/4 times its density.

    >>> round(observer_noise(200.0, 5e-5), 4)
    0.1118
    """
    return float(np.sqrt(1.25 * bandwidth * period))


def rate_of_order(order: float, speed: float) -> float:
    """Rate of what repeats so many times per turn.

    order: [-]; speed: [rad/s]. Returns [rad/s]. Source: definition.

    >>> round(rate_of_order(12, pi), 3)
    37.699
    """
    return abs(order * speed)
