"""What a supply and a bridge can do with a machine: voltage limit, torque and speed, ripple of the current.

A machine is taken as its equivalent star: resistance R, inductance L, linkage psi of a phase, pole pairs p.
Speeds are mechanical.
"""

from __future__ import annotations

from math import cos, pi, sin, sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pcbstator.errors import LawRangeError
from pcbstator.physics.conductors.resistance import require_positive

FloatArray = NDArray[np.float64]


def star_voltage_limit(supply: float, phases: int) -> float:
    """Largest peak phase voltage of undistorted sine waves that a bridge with one leg per phase gives a star.

    supply: [V]; phases: [-], 2 for two phases whose common point has a leg of its own. Returns [V]. Source: derived
    here: between any two legs at most the supply; supply/sqrt(3) for three phases (textbook, the space-vector limit).

    >>> round(star_voltage_limit(24.0, 3), 4)
    13.8564
    """
    require_positive(supply=supply)
    if phases == 2:
        return supply / sqrt(2)
    return supply / (2 * cos(pi / (2 * phases))) if phases % 2 else supply / 2


def hexagon_voltage(supply: float, angle: ArrayLike) -> FloatArray:
    """Longest phase-voltage vector of a three-phase bridge in a direction: the edge of the hexagon.

    supply: [V]; angle: of the vector from phase A [rad]. Returns (...) [V]: from supply/sqrt(3), all round, which is
    what sine waves can use, to 2/3 supply at the corners. Source: textbook, from memory; derived here.

    >>> hexagon_voltage(24.0, [0.0, np.pi / 6]).round(4).tolist()
    [16.0, 13.8564]
    """
    require_positive(supply=supply)
    within = np.mod(np.asarray(angle, dtype=float), pi / 3) - pi / 6
    return np.asarray(supply / sqrt(3) / np.cos(within))


def no_load_speed(voltage_limit: float, pole_pairs: int, psi: float) -> float:
    """Speed at which the phase EMF equals the voltage limit.

    voltage_limit: peak phase voltage [V]; pole_pairs: [-]; psi: peak linkage [Wb]. Returns [rad/s] mechanical. Nothing
    turned, no field weakening. Source: derived here.

    >>> no_load_speed(12.0, 4, 0.01)
    300.0
    """
    require_positive(voltage_limit=voltage_limit, pole_pairs=pole_pairs, psi=psi)
    return voltage_limit / (pole_pairs * psi)


def voltage_needed(
    speed: ArrayLike,
    current: ArrayLike,
    resistance: float,
    inductance: float,
    pole_pairs: int,
    psi: float,
    lost: float = 0.0,
) -> FloatArray:
    """Peak phase voltage for a current on the q axis, steady.

    speed: [rad/s]; current: peak [A]; resistance: [ohm]; inductance: [H]; pole_pairs: [-]; psi: [Wb]; lost: what legs
    take from a phase against its current [V].
    Returns (...) [V]. Source: textbook, |R i + lost + j w L i + w psi|.

    >>> float(voltage_needed(100.0, 2.0, 0.5, 0.0, 4, 0.01))
    5.0
    """
    electrical = pole_pairs * np.asarray(speed, dtype=float)
    i = np.asarray(current, dtype=float)
    against = resistance * i + lost * np.sign(i) if lost else resistance * i
    return np.asarray(np.hypot(against + electrical * psi, electrical * inductance * i))


def current_at_voltage_limit(
    speed: ArrayLike,
    voltage_limit: float,
    resistance: float,
    inductance: float,
    pole_pairs: int,
    psi: float,
    lost: float = 0.0,
) -> FloatArray:
    """Largest driving current on the q axis that the voltage allows; negative where the machine is driven faster.

    speed: 0 or more [rad/s]; voltage_limit: peak phase [V]; resistance: [ohm]; inductance: [H]; pole_pairs: [-];
    psi: [Wb]; lost: what legs take from a phase against its current [V]. Returns (...) peak [A]; −infinity where no
    current on the q axis keeps within the limit.
    Source: derived here: (R i + lost + w psi)² + (w L i)² = V², its larger root.

    >>> float(current_at_voltage_limit(0.0, 12.0, 2.0, 1e-3, 4, 0.01))
    6.0
    """
    require_positive(voltage_limit=voltage_limit, resistance=resistance)
    electrical = pole_pairs * np.asarray(speed, dtype=float)
    square = resistance**2 + (electrical * inductance) ** 2
    emf = electrical * psi + lost
    root = (resistance * emf) ** 2 - square * (emf**2 - voltage_limit**2)
    found = (np.sqrt(np.maximum(root, 0.0)) - resistance * emf) / square
    return np.asarray(np.where(root >= 0, found, -np.inf))


def short_circuit_current(speed: float, resistance: float, inductance: float, pole_pairs: int, psi: float) -> float:
    """Peak current of a phase while the rotor turns and all terminals are joined, steady.

    speed: [rad/s]; resistance: [ohm]; inductance: [H]; pole_pairs: [-]; psi: [Wb]. Returns [A]. Source: textbook.

    >>> round(short_circuit_current(100.0, 3.0, 0.01, 4, 0.5), 6)  # 200 V on 3 + 4j ohm
    40.0
    """
    electrical = pole_pairs * speed
    return float(electrical * psi / np.hypot(resistance, electrical * inductance))


def space_vector_ripple(supply: float, inductance: float, frequency: float) -> float:
    """Largest peak-to-peak ripple of a phase current, three-phase two-level bridge, star, centred pulses.

    supply: [V]; inductance: synchronous [H]; frequency: of switching [Hz]. Returns [A], the worst over all rotor
    angles and modulations up to the space-vector limit, where it is reached. Source: derived here, by enumeration
    (``pulse_ripple``): supply/(6 L f).

    >>> round(space_vector_ripple(24.0, 20e-6, 50e3), 9)
    4.0
    """
    require_positive(supply=supply, inductance=inductance, frequency=frequency)
    return supply / (6 * inductance * frequency)


def pulse_ripple(
    supply: float,
    inductance: float,
    frequency: float,
    modulation: float,
    phases: int = 3,
    h_bridges: bool = False,
    resistance: float = 0.0,
    samples: int = 720,
) -> tuple[float, float]:
    """Ripple of the current of phase A over a turn of the voltage, centred pulses, by enumeration.

    supply: [V]; inductance: [H]; frequency: of switching [Hz]; modulation: phase voltage over its largest, 0 to 1 [-];
    phases: [-]; h_bridges: true where each phase has a full bridge of its own; resistance: of a phase [ohm], which
    makes the ripple smaller where L/R is short beside a period; samples: angles of the turn, a multiple of 24 [-].
    Returns peak-to-peak [A], the largest of the turn, and rms [A], over the turn. The EMF hardly changes within a
    period. Source: derived here.

    >>> round(pulse_ripple(24.0, 20e-6, 50e3, 1.0)[0], 6), round(pulse_ripple(24.0, 20e-6, 50e3, 0.0)[0], 6)
    (4.0, 0.0)
    """
    if not 0 <= modulation <= 1 + 1e-9:
        raise LawRangeError(f"modulation must lie in 0 to 1; got {modulation:g}")
    require_positive(supply=supply, inductance=inductance, frequency=frequency)
    angles = np.linspace(0, 2 * pi, samples, endpoint=False)
    legs, mixing = _legs(modulation, phases, h_bridges, angles)
    # In half a period leg k is high from half·(1 − duty) on; the other half is its mirror.
    half = 1 / (2 * frequency)
    edges = half * (1 - legs)
    order = np.sort(np.concatenate([np.zeros((1, len(angles))), edges, np.full((1, len(angles)), half)]), axis=0)
    middles = (order[1:] + order[:-1]) / 2
    high = middles[:, None, :] > edges[None, :, :]
    excess = supply * (np.einsum("l,slt->st", mixing, high.astype(float)) - mixing @ legs)
    steps = np.diff(order, axis=0)
    excess, steps = np.concatenate([excess, excess[::-1]]), np.concatenate([steps, steps[::-1]])
    course, square = _course(excess, steps, inductance, resistance)
    mean_square = max(0.0, float((square * frequency).mean()))  # rounding takes it below 0 where there is no ripple
    return float(np.ptp(course, axis=0).max()), sqrt(mean_square)


def _course(
    excess: FloatArray, steps: FloatArray, inductance: float, resistance: float
) -> tuple[FloatArray, FloatArray]:
    """Current at the edges (edges, angles) [A] of a steady period, and the integral of its square (angles,) [A2 s]."""
    if resistance / inductance * steps.sum(axis=0).max() < 1e-3:  # no difference, and rounding would eat it
        course = np.concatenate([np.zeros((1, steps.shape[1])), np.cumsum(excess * steps / inductance, axis=0)])
        low, upper = course[:-1], course[1:]
        return course, np.asarray((steps * (low**2 + low * upper + upper**2) / 3).sum(axis=0))
    rate, level = resistance / inductance, excess / resistance
    fades = np.exp(-rate * steps)
    end = np.zeros(steps.shape[1])  # of a period that begins at zero
    for fade, to in zip(fades, level, strict=True):
        end = to + (end - to) * fade
    now = end / (1 - fades.prod(axis=0))
    kept, square = [now], np.zeros_like(now)
    for fade, to, step in zip(fades, level, steps, strict=True):
        away = now - to
        square += to**2 * step + 2 * to * away * (1 - fade) / rate + away**2 * (1 - fade**2) / (2 * rate)
        now = to + away * fade
        kept.append(now)
    return np.array(kept), square


def _legs(modulation: float, phases: int, h_bridges: bool, angles: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Duty of every leg (legs, angles), and how the legs' voltages make up that of phase A (legs,)."""
    delays = 2 * pi * np.arange(phases) / phases if phases != 2 else np.array([0, pi / 2])
    if h_bridges:
        wave = modulation * np.cos(angles)
        return np.stack([(1 + wave) / 2, (1 - wave) / 2]), np.array([1.0, -1.0])
    waves = modulation * star_voltage_limit(1.0, phases) * np.cos(angles - delays[:, None])
    mixing = -np.ones(phases) / phases
    mixing[0] += 1
    if phases == 2:  # the third leg holds the common point
        waves, mixing = np.concatenate([waves, np.zeros((1, len(angles)))]), np.array([1.0, 0.0, -1.0])
    return waves + (1 - waves.max(axis=0) - waves.min(axis=0)) / 2, mixing


def equivalent_star_factor(phases: int) -> float:
    """Voltage of a polygon's phase over that of the star that the terminals could as well hide.

    phases: [-]. Returns [-], sqrt(3) for a delta. Currents are divided by it, impedances with the square.
    Source: derived here, 2 sin(pi/phases).

    >>> round(equivalent_star_factor(3) ** 2, 9)
    3.0
    """
    return 2 * sin(pi / phases)
