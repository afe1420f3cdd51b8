"""Loss in a steel plate that stands in the turning field of magnets: eddy currents and hysteresis.

Harmonic n enters the plate as a wave B_n·cos(k·x − w·t), k = n·p/r, w = n·p times the speed, and turns into its plane.
With gamma² = k² + i·w·mu/rho and hardly any field behind, B ~ sinh(gamma·depth from behind): B_n·coth(gamma·t)·gamma/k
along the plate, so that its field strength and the induced one, w·B_n/k, feed per area

    P = w·B_n²/(2·k²·mu)·|Im(gamma·coth(gamma·t))|.

In a thin plate that is w²·B_n²·t/(6·k²·rho), in a thick one it grows as the speed to 1.5. A quarter of it is the loss
that sheet has by a field in its plane (no net current); the rest flows as net current across the plate and back within
its width: the share of Russell and Norsworthy. mu is that of the steel at the field strength of its face.
"""

from __future__ import annotations

from math import pi
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from pcbstator.constants import MU_0
from pcbstator.errors import LawRangeError
from pcbstator.materials import MagnetisationCurve
from pcbstator.physics.magnetics.steel_plate import relative_permeabilities

FloatArray = NDArray[np.float64]

HALVINGS = 60  # of the logarithm of the permeability
NET = 0.75  # of the loss, by current across the whole plate, in the thin limit


class PlateLoss(NamedTuple):
    """Loss of a plate [W]: by eddy currents and by hysteresis."""

    eddy: float
    hysteresis: float


class LossySteel(NamedTuple):
    """Steel that loses: its curve, resistivity [ohm m], hysteresis loss per volume and cycle at 1 T [J/m3], and the
    exponent with which that grows.
    """

    curve: MagnetisationCurve
    resistivity: float
    loop: float
    exponent: float


def steinmetz_loss_density(frequency: FloatArray, peak_field: FloatArray, loop: float, exponent: float) -> FloatArray:
    """Hysteresis loss per volume.

    frequency: (...) 0 or more [Hz]. peak_field: (...) 0 or more [T]. loop: loss per volume and cycle at 1 T [J/m3].
    exponent: of the peak field [-]. Returns (...) [W/m3]. Range: peaks up to about 1.5 T; above, the loops grow less,
    and the result is too high. Source: Steinmetz 1892, from memory: f·eta·B^1.6.

    >>> float(steinmetz_loss_density(np.array(50.0), np.array(1.0), 750.0, 1.6))
    37500.0
    """
    if np.any(np.asarray(frequency) < 0.0) or np.any(np.asarray(peak_field) < 0.0):
        raise LawRangeError("frequency and peak field must not be negative")
    return np.asarray(loop * frequency * np.power(peak_field, exponent))


def wide_plate_eddy_loss(
    frequency: FloatArray, peak_field: FloatArray, wave_number: FloatArray, thickness: float, permeability: FloatArray,
    resistivity: float,
) -> FloatArray:  # fmt: skip
    """Eddy loss per area of a wide plate that a travelling field enters on one face.

    frequency: (...) above 0 [Hz]. peak_field: (...) entering the face [T]. wave_number: (...) of the wave [1/m].
    thickness: above 0 [m]. permeability: (...) relative, so high that little leaves behind [-]. resistivity: above 0
    [ohm m]. Returns (...) [W/m2]. Range: linear steel; the eddies' own field in the gap is left out. Derived here:
    diffusion into a slab.

    >>> args = np.array(1.0), np.array(0.5), np.array(100.0), 0.001, np.array(1000.0), 1.4e-7
    >>> round(float(wide_plate_eddy_loss(*args)), 2)  # thin: (2·pi·0.5/100)²·0.001/(6·1.4e-7)
    1.17
    """
    w, mu = 2.0 * pi * frequency, MU_0 * permeability
    turned = _turned(wave_number, w * mu / resistivity, thickness)
    return np.asarray(w * peak_field**2 / (2.0 * wave_number**2 * mu) * np.abs(turned.imag))


def _turned(k: FloatArray, diffusion: FloatArray, thickness: float) -> NDArray[np.complex128]:
    """gamma·coth(gamma·t) with gamma² = k² + i·diffusion."""
    gamma = np.sqrt(k**2 + 1j * diffusion)
    fall = np.exp(-2.0 * gamma * thickness)
    return np.asarray(gamma * (1.0 + fall) / (1.0 - fall))


def net_current_share(wave_number: FloatArray, width: float) -> FloatArray:
    """What of the loss of net currents is left where they must turn round within the plate's width.

    wave_number: (...) of the wave, above 0 [1/m]. width: of the plate across the wave, above 0 [m].
    Returns (...) 0 … 1 [-].
    Source: Russell and Norsworthy 1958, no overhang, from memory: 1 − tanh(k·b/2)/(k·b/2).

    >>> net_current_share(np.array([10.0, 1000.0]), 0.02).round(3).tolist()
    [0.003, 0.9]
    """
    half = wave_number * width / 2.0
    return np.asarray(1.0 - np.tanh(half) / half)


def turning_field_loss(
    speed: float, pole_pairs: int, orders: NDArray[np.integer], radii: FloatArray, entering: FloatArray,
    thickness: float, steel: LossySteel,
) -> PlateLoss:  # fmt: skip
    """Loss of a standing ring of steel plate under a turning rotor.

    speed: of the rotor, 0 or more [rad/s]. pole_pairs: p [-]. orders: (n,) fundamental first [-]. radii: (R,) middles
    of as many even rings of the plate [m]. entering: (n, R) amplitudes of what enters its face, standing [T].
    thickness: [m]. steel: of the plate [T, A/m, ohm m, J/m3]. Returns PlateLoss [W].
    Range: solid plate, whose eddies do not push the field of the magnets back (on the safe side); permeability of the
    fundamental; hysteresis of the fundamental, in the depth that it reaches. Steel differs: a third more or less.
    Derived here.

    >>> from pcbstator.materials import mild_steel
    >>> radii = np.linspace(0.031, 0.049, 10)
    >>> steel = LossySteel(mild_steel(), 1.4e-7, 750.0, 1.6)
    >>> loss = turning_field_loss(100.0, 12, np.array([1]), radii, np.full((1, 10), 0.5), 0.002, steel)
    >>> round(loss.eddy, 1), round(loss.hysteresis, 2)
    (31.5, 1.75)
    """
    if speed == 0.0:
        return PlateLoss(0.0, 0.0)
    k, ring = np.multiply.outer(orders * pole_pairs, 1.0 / radii), float(radii[1] - radii[0])
    frequency = orders[:, None] * pole_pairs * speed / (2.0 * pi)
    peak = np.abs(entering)
    mu = _permeability(frequency[0], peak[0], k[0], thickness, steel)
    share = 1.0 - NET + NET * net_current_share(k, ring * len(radii))
    eddy = np.asarray(share) * wide_plate_eddy_loss(np.asarray(frequency), peak, k, thickness, mu, steel.resistivity)
    reach = 1.0 / np.abs(_turned(k[0], 2.0 * pi * frequency[0] * MU_0 * mu / steel.resistivity, thickness))
    loop = steinmetz_loss_density(frequency[0], peak[0] / (k[0] * reach), steel.loop, steel.exponent) * reach
    return PlateLoss(*(float(2.0 * pi * ring * (each @ radii)) for each in (eddy.sum(axis=0), loop)))


def _permeability(
    frequency: FloatArray, peak: FloatArray, k: FloatArray, thickness: float, steel: LossySteel
) -> FloatArray:
    """Relative permeability (R,) at the field strength of the face, which the wave has with just that permeability."""
    low, high = np.zeros_like(peak), np.full_like(peak, np.log(5e3))
    # The library's finder for many roots at once takes a fifth of the rounds and, with its own work, no less time.
    for _ in range(HALVINGS):
        middle = (low + high) / 2.0
        mu = np.exp(middle)
        turned = _turned(k, 2.0 * pi * frequency * MU_0 * mu / steel.resistivity, thickness)
        strength = peak * np.abs(turned) / (k * mu)  # mu_0·H
        higher = relative_permeabilities(strength, steel.curve)[0] > mu
        low, high = np.where(higher, middle, low), np.where(higher, high, middle)
    return np.exp((low + high) / 2.0)
