"""The ripple that switching puts on the current: at the voltage of the job, and the heat that it makes."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pcbstator.analysis.drive.equivalent_machine import Machine
from pcbstator.design.sections.job import Drive
from pcbstator.physics.drive.supply import pulse_ripple

FloatArray = NDArray[np.float64]

KNOTS = np.array([0.25, 0.5, 0.75, 1.0])  # of the largest voltage that is asked about
POWERS = np.arange(2, 6)
ANGLES = 72  # of a turn of the voltage; the mean square to 1e-3
MOST_ROUNDS = 30
CLOSE = 1e-6


def ripple_squares(machine: Machine, drive: Drive, modulation: FloatArray) -> FloatArray:
    """Mean square [A2] of a terminal's ripple where the phase voltage is these parts of its largest (any shape).

    By a polynomial of the powers 2 to 5, exact without resistance, through its values at four of these voltages.
    """
    used = np.minimum(np.asarray(modulation, dtype=float), 1.0)
    most = float(used.max())
    if most <= 0:
        return np.zeros_like(used)
    found = [ripple_square(machine, drive, most * part) for part in KNOTS.tolist()]
    parts = np.linalg.solve(KNOTS[:, None] ** POWERS, found)
    return np.asarray(np.maximum((used[..., None] / most) ** POWERS @ parts, 0.0))


def ripple_square(machine: Machine, drive: Drive, modulation: float) -> float:
    """Mean square [A2] of a terminal's ripple at one voltage, by the pulses one by one."""
    rms = pulse_ripple(
        drive.supply, machine.inductance, drive.pwm, modulation, machine.phases, machine.h_bridges, machine.resistance,
        ANGLES,
    )[1]  # fmt: skip
    return rms**2


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
