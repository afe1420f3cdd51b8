"""Waves over one electrical turn, from the linkage harmonics of the phases.

Linkage of phase k: psi_k(angle) = Re Σ L_kn·exp(−j·n·angle), angle the electrical rotor angle [rad].
"""

from __future__ import annotations

from dataclasses import dataclass
from math import pi
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pcbstator.analysis.electrical.conductors import phase_angle

FloatArray = NDArray[np.float64]
Harmonics = NDArray[np.complex128]
Integers = NDArray[np.integer]

SAMPLES = 720  # over one electrical turn; 25 orders need 50


@dataclass(frozen=True, eq=False)
class Waves:
    """Sampled waves of one machine.

    angles: (samples,) electrical rotor angle [rad], both ends of the turn included. phase_emf: (phases, samples) and
    line_emf: (lines, samples) [V per mechanical rad/s], no lines where phases have nothing in common. torque:
    (samples,) [N·m] per peak ampere, sine drive; six_step: per ampere, in six-step commutation.
    """

    angles: FloatArray
    phase_emf: FloatArray
    line_emf: FloatArray
    torque: FloatArray
    six_step: FloatArray

    def to_dict(self) -> dict[str, Any]:
        """Plain values every 5 electrical degrees: EMF per mechanical rad/s, torque per ampere."""
        coarse = slice(None, None, SAMPLES // 72)
        return {
            "electrical_angle_deg": np.degrees(self.angles[coarse]).round(9).tolist(),
            "phase_emf_v_s_per_rad": self.phase_emf[:, coarse].tolist(),
            "line_emf_v_s_per_rad": self.line_emf[:, coarse].tolist(),
            "sine_torque_n_m_per_a": self.torque[coarse].tolist(),
            "six_step_torque_n_m_per_a": self.six_step[coarse].tolist(),
        }


def linkage_slopes(linkages: Harmonics, orders: Integers, pole_pairs: int, angles: FloatArray) -> FloatArray:
    """Slope of every phase's linkage over the mechanical rotor angle.

    linkages: (phases, orders) [Wb]; orders: (orders,) [-]; pole_pairs: [-]; angles: (angles,) electrical [rad].
    Returns (phases, angles) [Wb/rad], which is also the EMF [V] at 1 mechanical rad/s. Any angle. Derived here.

    >>> linkage_slopes(np.array([[0.01 + 0j]]), np.array([1]), 4, np.array([-pi / 2]))
    array([[0.04]])
    """
    rate = -1j * pole_pairs * orders * linkages
    return np.asarray((rate @ np.exp(-1j * np.multiply.outer(orders, angles))).real)


def sine_torque(linkages: Harmonics, orders: Integers, pole_pairs: int, angles: FloatArray) -> FloatArray:
    """Torque per peak ampere of sine currents in phase with the fundamental EMF of phase A.

    linkages: (phases, orders) [Wb]; orders: (orders,) [-]; pole_pairs: [-]; angles: (angles,) electrical [rad].
    Returns (angles,) [N·m/A]. Any angle. Derived here: the sum of current times slope of linkage.

    >>> two = np.array([[0.01], [0.01j]])  # two phases, a quarter turn apart
    >>> sine_torque(two, np.array([1]), 4, np.array([0.3])).round(6)
    array([0.04])
    """
    count = len(linkages)
    start = np.angle(linkages[0, 0])
    delays = np.array([phase_angle(index, count) for index in range(count)])
    currents = -np.sin(angles - start - delays[:, None])
    return np.asarray((currents * linkage_slopes(linkages, orders, pole_pairs, angles)).sum(axis=0))


def six_step_torque(linkages: Harmonics, orders: Integers, pole_pairs: int, angles: FloatArray) -> FloatArray:
    """Torque per ampere in six-step commutation, each phase conducting around the peaks of its fundamental EMF.

    linkages: (phases, orders) [Wb]; orders: (orders,) [-]; pole_pairs: [-]; angles: (angles,) electrical [rad].
    Returns (angles,) [N·m/A]. Each phase conducts for the part 1 − 1/phases of a turn, 120 degrees per half wave for
    three phases, so that one phase is always idle; without commutation overlap. Derived here.

    >>> three = 0.01 * np.exp(2j * np.pi * np.arange(3) / 3)[:, None]
    >>> torque = six_step_torque(three, np.array([1]), 4, np.linspace(0, 2 * pi, 721))
    >>> bool(abs(np.ptp(torque) / torque.mean() - (1 - np.sqrt(3) / 2) * np.pi / 3) < 1e-3)  # textbook, 14 %
    True
    """
    count = len(linkages)
    start = np.angle(linkages[0, 0])
    delays = np.array([phase_angle(index, count) for index in range(count)])
    fundamental = -np.sin(angles - start - delays[:, None])
    edge = np.cos(np.pi / 2 * (1 - 1 / count))
    # At the very instant of commutation the two phases share the current.
    currents = (
        np.sign(fundamental) * ((np.abs(fundamental) > edge - 1e-9) + 1.0 * (np.abs(fundamental) > edge + 1e-9)) / 2
    )
    return np.asarray((currents * linkage_slopes(linkages, orders, pole_pairs, angles)).sum(axis=0))


def distortion(wave: FloatArray) -> float:
    """Total harmonic distortion of a wave sampled over one turn: rms of all harmonics over that of the fundamental.

    wave: (samples,) both ends of the turn included [any]. Returns [-]. Source: IEC 61000-4-7 (from memory), THD.

    >>> turn = np.linspace(0, 2 * pi, 721)
    >>> round(distortion(np.sin(turn) + 0.1 * np.sin(5 * turn)), 6)
    0.1
    """
    spectrum = np.abs(np.fft.rfft(wave[:-1]))[1:]
    return float(np.sqrt((spectrum[1:] ** 2).sum()) / spectrum[0])


def ripple(torque: FloatArray) -> float:
    """Peak to peak over mean of a wave (samples,) over one turn, both ends included [-].

    >>> round(ripple(np.array([0.9, 1.1, 0.9])), 9)
    0.2
    """
    return float(np.ptp(torque) / torque[:-1].mean())


def line_emf(phase_emf: FloatArray, connection: str) -> FloatArray:
    """EMF between neighbouring terminals, nothing connected to them.

    phase_emf: (phases, angles) [V]; connection: star, delta or open. Returns (lines, angles) [V]: in star phase less
    the next phase; in delta the phase less what all have in common, which drives a current around the delta instead;
    open phases have no lines. Derived here.

    >>> line_emf(np.array([[2.0], [0.0], [1.0]]), "delta").ravel().tolist()
    [1.0, -1.0, 0.0]
    """
    if connection == "star":
        return phase_emf[:1] - phase_emf[1:] if len(phase_emf) == 2 else phase_emf - np.roll(phase_emf, -1, axis=0)
    return phase_emf - phase_emf.mean(axis=0) if connection == "delta" else phase_emf[:0]


def sampled_waves(linkages: Harmonics, orders: Integers, pole_pairs: int, connection: str) -> Waves:
    """All waves from the linkage harmonics (phases, orders) [Wb]."""
    angles = np.linspace(0, 2 * pi, SAMPLES + 1)
    phase = linkage_slopes(linkages, orders, pole_pairs, angles)
    return Waves(
        angles,
        phase,
        line_emf(phase, connection),
        sine_torque(linkages, orders, pole_pairs, angles),
        six_step_torque(linkages, orders, pole_pairs, angles),
    )
