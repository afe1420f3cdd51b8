"""What a driver does that was not asked of it: offset and gain of its current sensors, voltage lost in its legs.

Each phase k of m has its own sensor, which gives (1 + g_k) i_k + o_k. With e_k the unit vector of phase k, the
controller puts them together as 2/m · sum of i_k e_k. Of a current vector i that gives (derived here)

    (1 + mean of g) i  +  G i*  +  o,      G = sum of g_k e_k² / m,      o = 2/m · sum of o_k e_k.

In the frame of the rotor, which turns by the electrical angle t, o becomes o exp(−jt): once per electrical turn. G i*
becomes G i* exp(−2jt): twice. The loop makes what it sees right, so that the real current, and the torque, is wrong by
just that, wherever the electrical frequency is far below the bandwidth of the current loop.

Every leg loses the same voltage against its current: a square wave against a sine. It leaves the harmonics of order
2m ± 1 in the phases, which the rotor sees as order 2m: the sixth with three phases.

Worst case, which is also what a simulation takes: sensors whose signs are such that they add up most.
"""

from __future__ import annotations

from math import hypot, pi

import numpy as np
from numpy.typing import NDArray

from pcbstator.errors import LawRangeError
from pcbstator.physics.conductors.resistance import require_positive

TURN_POINTS = 240


def current_offset_vector(offset: float, phases: int) -> complex:
    """Worst vector that equal offsets of either sign make: phase A reads high, those that point away from it read low.

    offset: of every sensor [A]; phases: [-], 2 or odd. Returns the vector in the stator [A], 4/3 of the offset with
    three phases. LawRangeError for other numbers of phases. Source: derived here (head of this file).

    >>> [round(abs(current_offset_vector(0.003, count)), 6) for count in (3, 2)]
    [0.004, 0.004243]
    """
    units = phase_units(phases)
    return complex(2 / phases * offset * (_signs(units) * units).sum())


def current_gain_vector(spread: float, phases: int) -> tuple[float, complex]:
    """Mean of the gain errors, and the vector G that turns a current's image: phase A reads high, those whose doubled
    angle points away from it read low, by half of the spread each.

    spread: largest gain less the least [-]; phases: [-], 2 or odd. Returns the mean [-], and G in the stator [-]:
    a third of the spread with three phases. LawRangeError for other numbers of phases. Source: derived here (head of
    this file).

    >>> mean, turning = current_gain_vector(0.012, 3)
    >>> round(mean, 6), round(abs(turning), 6)
    (-0.002, 0.004)
    """
    doubled = phase_units(phases) ** 2
    errors = spread / 2 * _signs(doubled)
    return float(errors.mean()), complex((errors * doubled).mean())


def current_offset_ripple(offset: float, torque_constant: float, phases: int) -> float:
    """Ripple of the torque from offsets of the current sensors, once per electrical turn, whatever the torque.

    offset: of every sensor [A]; torque_constant: per peak ampere [N m/A]; phases: [-]. Returns its peak to either side
    [N m]. Source: derived here (head of this file).

    >>> round(current_offset_ripple(0.003, 0.5, 3), 6)
    0.002
    """
    return torque_constant * abs(current_offset_vector(offset, phases))


def current_gain_ripple(spread: float, torque: float, phases: int) -> tuple[float, float]:
    """Ripple of the torque from unequal current sensors, twice per electrical turn, and the error of its mean.

    spread: largest gain less the least [-]; torque: asked for [N m]; phases: [-]. Returns the peak of the ripple to
    either side [N m], and the mean torque less that asked for [N m]; both to the first order of the spread. Source:
    derived here (head of this file).

    >>> [round(value, 6) for value in current_gain_ripple(0.012, 0.5, 3)]
    [0.002, 0.001]
    """
    mean, turning = current_gain_vector(spread, phases)
    return abs(turning * torque), -mean * torque


def leg_voltage_loss(supply: float, dead_time: float, frequency: float, drop: float) -> float:
    """Voltage that a leg of the bridge loses against its current, in the mean of a period.

    supply: [V]; dead_time: of a leg, at each change [s]; frequency: of switching [Hz]; drop: of a switch that conducts
    [V]. Returns [V]. Source: derived here: in dead time the current chooses the side, once a period to its own loss.

    >>> round(leg_voltage_loss(24.0, 100e-9, 40e3, 0.05), 6)
    0.146
    """
    if min(dead_time, drop) < 0 or dead_time * frequency > 0.5:
        raise LawRangeError("dead time and drop must be 0 or more, dead time at most half of a period")
    return supply * dead_time * frequency + drop


def leg_loss_harmonics(phases: int) -> tuple[float, float, float]:
    """What legs that each lose one volt against their current take from a sine, in the frame of the current.

    phases: [-], 2 (each with two legs of its own) or odd. Returns the mean along the current [V/V], and the amplitudes
    of order twice the phases [V/V]: along the current, and across it. Source: derived here: the lost vector stands
    still for 1/N of a turn, N twice the phases: 4/pi, 8/(pi (N² − 1)), 8 N/(pi (N² − 1)).

    >>> [round(value, 5) for value in leg_loss_harmonics(3)]
    [1.27324, 0.07276, 0.43654]
    """
    phase_units(phases)
    order = 2 * phases
    along = 8 / (pi * (order**2 - 1))
    return 4 / pi, along, order * along


def leg_loss_wave(current: float, soft: float, phases: int) -> NDArray[np.float64]:
    """What legs take that lose one volt, along the current, over an electrical turn; ripple softens it.

    current: peak [A]; soft: current below which a leg loses in proportion [A]; phases: [-]. Returns (240,) [V/V], even
    up to ``soft``; far above it order twice the phases is as ``leg_loss_harmonics`` says. Source: derived here, from
    the clipped sines of the phases.

    >>> wave = leg_loss_wave(1e6, 1.0, 3)
    >>> round(float(wave.mean()), 3), round(float(2 * abs(np.fft.rfft(wave)[6])) / 240, 3)
    (1.273, 0.073)
    """
    units = phase_units(phases)
    turned = (np.arange(TURN_POINTS) + 0.5) * 2 * pi / TURN_POINTS
    lost = np.clip(current / max(soft, 1e-12) * np.cos(turned[:, None] - np.angle(units)), -1.0, 1.0)
    return np.asarray((2 / phases * (lost @ units) * np.exp(-1j * turned)).real)


def leg_loss_ripple(
    loss: float,
    phases: int,
    torque_constant: float,
    resistance: float,
    inductance: float,
    bandwidth: float,
    electrical_speed: float,
) -> float:
    """Ripple of the torque from the voltage that legs lose, of order twice the phases, not compensated.

    loss: of a phase, of all legs that its current runs through [V]; phases: [-]; torque_constant: [N m/A]; resistance:
    [ohm]; inductance: [H]; bandwidth: of the current loop [Hz]; electrical_speed: [rad/s]. Returns its peak [N m]. The
    loop takes the more out the slower it turns. Source: derived here: v/(R + jwL) · jw/(jw + bandwidth), with gains
    that cancel the pole of the winding, and axes that the controller keeps apart.

    >>> round(leg_loss_ripple(0.2, 3, 0.5, 2.0, 1e-4, 500.0, 60.0), 6)
    0.000414
    """
    require_positive(resistance=resistance, inductance=inductance, bandwidth=bandwidth)
    rate = 2 * phases * abs(electrical_speed)
    current = loss * leg_loss_harmonics(phases)[1] / hypot(resistance, rate * inductance)
    return torque_constant * current * rate / hypot(rate, 2 * pi * bandwidth)


def phase_units(phases: int) -> NDArray[np.complex128]:
    """Directions of the phases in the stator, electrical.

    phases: [-], 2 or odd. Returns unit vectors (phases,) [-]. LawRangeError for other numbers of phases. Source:
    definition.

    >>> phase_units(2).round(6).tolist()
    [(1+0j), 1j]
    """
    if phases != 2 and (phases < 3 or phases % 2 == 0):
        raise LawRangeError(f"phases must be 2 or odd; got {phases}")
    angles = np.arange(phases) * (pi / 2 if phases == 2 else 2 * pi / phases)
    return np.asarray(np.exp(1j * angles))


def _signs(units: NDArray[np.complex128]) -> NDArray[np.float64]:
    """+1 for those that point with the first phase or across it, −1 for those that point away."""
    return np.where(units.real > -1e-9, 1.0, -1.0)
