"""Torque that there is at each speed, and what limits it: current, voltage, heat; magnets as warm as they get."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

import numpy as np
from numpy.typing import NDArray

from pcbstator.analysis.drive.equivalent_machine import Machine
from pcbstator.design.sections.job import Drive
from pcbstator.physics.conductors.resistance import COPPER_TEMPERATURE_COEFFICIENT
from pcbstator.physics.drive.supply import current_at_voltage_limit

FloatArray = NDArray[np.float64]
NAMES = ("current", "voltage", "heat")


@dataclass(frozen=True)
class Limits:
    """What the motor gives at its shaft, what brakes it taken off, at the load's side of a gear.

    heat_current: peak terminal current [A] in continuous duty at the job's top speed. job_strength,
    continuous_strength: torque constant with the magnets as warm as the job and as continuous duty make them, over that
    of the design. continuous_c: mean temperature of the copper then [C], which counts where it is more than that of
    ``Machine.hot_resistance``.
    """

    machine: Machine
    drive: Drive | None
    ratio: float
    heat_current: float | None = None
    job_strength: float = 1.0
    continuous_strength: float = 1.0
    continuous_c: float = 20.0

    @property
    def torque_constant(self) -> float:
        """Torque at the load per peak ampere [N m/A], magnets as the design has them."""
        return self.machine.torque_constant * self.ratio

    @property
    def job_torque_constant(self) -> float:
        """Torque at the load per peak ampere [N m/A], magnets as warm as in the job."""
        return self.torque_constant * self.job_strength

    def drag(self, speed: FloatArray | float) -> FloatArray:
        """Torque [N m] that eddies, circulating currents and that around a delta take at speeds [rad/s] of the load."""
        return np.asarray(self.machine.braking_torque(np.asarray(speed) * self.ratio) * self.ratio)

    def peak(self, speed: FloatArray | float) -> FloatArray:
        """Intermittent torque [N m] at speeds [rad/s] of the load, 0 or more."""
        return self.peak_by(speed)[0]

    def continuous(self, speed: FloatArray | float) -> FloatArray | None:
        """Torque [N m] for any length of time; never above the intermittent one, from which it begins when cold."""
        found = self.continuous_by(speed)
        return None if found is None else found[0]

    def peak_by(self, speed: FloatArray | float) -> tuple[FloatArray, NDArray[np.int64]]:
        """Intermittent torque [N m], and the number in NAMES of what limits it."""
        return self._least(speed, inf, (1.0, self.job_strength))

    def continuous_by(self, speed: FloatArray | float) -> tuple[FloatArray, NDArray[np.int64]] | None:
        """Torque [N m] for any length of time, and the number in NAMES of what limits it."""
        if self.heat_current is None:
            return None
        strengths = 1.0, self.job_strength, self.continuous_strength
        return self._least(speed, self.heat_current, strengths, self.continuous_c)

    def _least(
        self, speed: FloatArray | float, heat: float, strengths: tuple[float, ...], copper_c: float = 20.0
    ) -> tuple[FloatArray, NDArray[np.int64]]:
        """Least torque [N m] on the way from cold to warm magnets, and the number of what limits it.

        Near the speed without load warm magnets give more, since their EMF is less; but a motor starts cold.
        """
        limit = inf if self.drive is None else self.drive.current_limit
        each = np.stack(np.broadcast_arrays(limit, self.voltage_current(speed, 1.0, copper_c), heat))
        torque, by = np.full(each.shape[1:], inf), np.zeros(each.shape[1:], dtype=np.int64)
        for strength in sorted(set(strengths)):
            each[1] = self.voltage_current(speed, strength, copper_c)
            driving = self.torque_constant * strength * np.maximum(each.min(axis=0), 0.0)
            less = driving < torque
            torque, by = np.where(less, driving, torque), np.where(less, each.argmin(axis=0), by)
        return np.maximum(torque - self.drag(speed), 0.0), by

    def voltage_current(self, speed: FloatArray | float, strength: float = 1.0, copper_c: float = 20.0) -> FloatArray:
        """Peak current [A] that the sagging supply drives at speeds [rad/s] of the load."""
        if self.drive is None:
            return np.full_like(np.asarray(speed, dtype=float), inf)
        m = self.machine
        warm = m.resistance * (1 + COPPER_TEMPERATURE_COEFFICIENT * (copper_c - 20.0))
        limit, motor = m.voltage_limit(self.drive.supply - self.drive.sag), np.abs(speed) * self.ratio
        resistance = max(m.hot_resistance, warm)
        psi, lost = m.psi * strength, m.driver.lost
        return current_at_voltage_limit(motor, limit, resistance, m.inductance, m.pole_pairs, psi, lost)
