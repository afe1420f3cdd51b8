"""Root mean square of the ripple of a phase with a bridge of its own, by the harmonics of its pulses."""

import numpy as np
import pytest

from pcbstator.physics.drive.supply import pulse_ripple

SUPPLY, INDUCTANCE, FREQUENCY = 24.0, 20e-6, 50e3


@pytest.mark.parametrize("resistance", [0.0, 0.5, 5.0])
@pytest.mark.parametrize("modulation", [0.2, 0.7, 1.0])
def test_rms_ripple_is_that_of_the_harmonics(modulation: float, resistance: float) -> None:
    """Two pulses a period, each a part a = m·|cos| of half the period: V_k = 2V/(k pi)·sin(k pi a) at 2k times the
    switching frequency, over |R + jwL| (Fourier series, handbook). The last harmonic kept leaves 1e-4 of the square.
    """
    angles = (np.arange(720) + 0.5) / 720 * 2 * np.pi
    order = np.arange(1, 400)[:, None]
    voltage = 2 * SUPPLY / (order * np.pi) * np.sin(order * np.pi * modulation * np.abs(np.cos(angles)))
    impedance = resistance**2 + (2 * np.pi * 2 * FREQUENCY * order * INDUCTANCE) ** 2
    expected = np.sqrt((voltage**2 / 2 / impedance).sum(axis=0).mean())
    found = pulse_ripple(SUPPLY, INDUCTANCE, FREQUENCY, modulation, h_bridges=True, resistance=resistance)[1]
    assert found == pytest.approx(expected, rel=1e-3)
