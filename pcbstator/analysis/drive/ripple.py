"""The ripple that switching puts on the current: at the voltage of the job, and the heat that it makes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pcbstator.analysis.drive.equivalent_machine import Machine
from pcbstator.design.job import Drive
from pcbstator.physics.drive.supply import pulse_ripple

FloatArray = NDArray[np.float64]

KNOTS = np.array([0.25, 0.5, 0.75, 1.0])  # of the largest voltage
ANGLES = 72  # of a turn of the voltage; the mean square to 1e-3
MOST_ROUNDS = 30
CLOSE = 1e-6


@dataclass(frozen=True, eq=False)
class RippleHeat:
    """Mean square of a terminal's ripple as a polynomial in the voltage used: ``parts`` [A2] of its powers 2 to 5."""

    parts: FloatArray

    def mean_square(self, modulation: FloatArray | float) -> FloatArray:
        """Mean square [A2] where the phase voltage is this part of its largest; not negative."""
        m = np.clip(np.asarray(modulation, dtype=float), 0.0, 1.0)
        return np.asarray(np.maximum((m[..., None] ** np.arange(2, 6)) @ self.parts, 0.0))


def ripple_heat(machine: Machine, drive: Drive) -> RippleHeat:
    """The mean square over the voltage, through its values at four voltages."""
    found = [
        pulse_ripple(
            drive.supply, machine.inductance, drive.pwm, float(part), machine.phases, machine.h_bridges,
            machine.resistance, ANGLES,
        )[1]
        for part in KNOTS
    ]  # fmt: skip
    return RippleHeat(np.linalg.solve(KNOTS[:, None] ** np.arange(2, 6), np.square(found)))


def ripple_at(
    machine: Machine, drive: Drive, modulation: float, frequency: float | None = None, added: float = 0.0
) -> float:
    """Peak-to-peak ripple [A] of a terminal; ``added``: inductance in its wire [H]."""
    return pulse_ripple(
        drive.supply, machine.inductance + added, frequency or drive.pwm, min(1.0, modulation), machine.phases,
        machine.h_bridges, machine.resistance,
    )[0]  # fmt: skip


def cures(machine: Machine, drive: Drive, modulation: float, wanted: float) -> tuple[float, float]:
    """PWM frequency [Hz] and added inductance [H], each of which alone brings the ripple at this voltage down to
    ``wanted`` [A]; as it is, and none, where the ripple is no larger.
    """
    frequency, whole = drive.pwm, machine.inductance
    for _ in range(MOST_ROUNDS):
        over = ripple_at(machine, drive, modulation, frequency) / wanted
        if over <= 1 + CLOSE:
            break
        frequency *= over
    for _ in range(MOST_ROUNDS):
        over = ripple_at(machine, drive, modulation, added=whole - machine.inductance) / wanted
        if over <= 1 + CLOSE:
            break
        whole *= over
    return frequency, whole - machine.inductance
