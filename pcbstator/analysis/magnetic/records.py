"""Results about the magnets' field in the copper."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pcbstator.analysis.fields import inside, result
from pcbstator.analysis.magnetic.waveforms import Waves


@dataclass(frozen=True, kw_only=True)
class MagnetConstants:
    """Field, flux linkage and constants, from the fundamental."""

    gap_field_peak: float = result("gap_field_peak_t", "fundamental peak of B_z at layer 1, mean copper radius")
    flux_linkage_peak: float = result("flux_linkage_peak_wb", "fundamental peak of a phase's flux linkage (psi)")
    emf_constant: float = result("emf_constant_v_s_per_rad", "phase EMF peak per mechanical rad/s")
    torque_constant: float = result("torque_constant_n_m_per_a", "torque per peak ampere of phase current, sine drive")
    motor_constant: float = result("motor_constant_n_m_per_sqrt_w", "torque per square root of copper loss at 20 C")
    speed_constant: float | None = result("speed_constant_rpm_per_v", "speed per volt of line-to-line peak")
    effective_factor: float = result(
        "effective_winding_factor", "winding factor of the copper as drawn, from its flux linkage"
    )


@dataclass(frozen=True, kw_only=True)
class Waveforms:
    """EMF and torque over an electrical turn, from all orders."""

    emf_harmonics: tuple[dict[str, float], ...] = result(
        "emf_harmonics", "harmonics of the phase EMF over its fundamental, by order"
    )
    emf_distortion: float = result("emf_thd_ratio", "total harmonic distortion of the phase EMF")
    line_emf_distortion: float | None = result("line_emf_thd_ratio", "total harmonic distortion of the line EMF")
    torque_ripple: float = result(
        "torque_ripple_ratio",
        "torque ripple of the drawn winding in sine drive, peak to peak over mean, if all magnets are alike and in "
        "their places: a built motor has more",
    )
    six_step_ripple: float = result(
        "six_step_ripple_ratio", "torque ripple in six-step commutation, peak to peak over mean"
    )
    waves: Waves = inside()


@dataclass(frozen=True, kw_only=True)
class MagneticResult(Waveforms, MagnetConstants):
    """What the magnets do in the copper."""

    orders: NDArray[np.integer] = inside()
    linkages: NDArray[np.complex128] = inside()  # (phases, orders) [Wb]
