"""Waves against numerical derivative, Fourier analysis and the balance of power."""

from __future__ import annotations

from math import pi, sqrt
from pathlib import Path

import numpy as np
import pytest

from pcbstator.analysis.magnetic.waveforms import SAMPLES, line_emf, linkage_slopes, sampled_waves, sine_torque
from tests.shipped import shipped

DESIGNS = sorted(Path("designs").glob("*.toml"))


@pytest.fixture(scope="module", params=DESIGNS, ids=lambda path: path.stem)
def machine(request):
    design, _, prediction = shipped(request.param.stem)
    return design, prediction


def spectrum(wave):
    """Amplitudes by order, by numpy's FFT over one turn."""
    return 2 * np.abs(np.fft.rfft(wave[..., :-1])) / SAMPLES


def test_emf_is_the_slope_of_the_linkage(machine) -> None:
    """Central differences of psi(angle) = Re sum L_n exp(-j n angle), step 1e-5 rad: error below n^2 step^2 / 6."""
    _, prediction = machine
    magnetic, pole_pairs, step = prediction.magnetic, prediction.winding.poles // 2, 1e-5
    angles = np.linspace(0, 2 * pi, 37)

    def psi(at):
        return (magnetic.linkages @ np.exp(-1j * np.multiply.outer(magnetic.orders, at))).real

    slope = pole_pairs * (psi(angles + step) - psi(angles - step)) / (2 * step)
    got = linkage_slopes(magnetic.linkages, magnetic.orders, pole_pairs, angles)
    assert np.abs(got - slope).max() < 1e-6 * magnetic.emf_constant


def test_fundamental_and_harmonics_of_the_wave(machine) -> None:
    """The sampled wave has the EMF constant as its fundamental, mean of the phases, and the harmonics given."""
    _, prediction = machine
    magnetic = prediction.magnetic
    by_order = spectrum(magnetic.waves.phase_emf)
    assert by_order[:, 1].mean() == pytest.approx(magnetic.emf_constant, rel=1e-9)
    for entry in magnetic.emf_harmonics:
        got = by_order[:, int(entry["order"])].mean() / by_order[:, 1].mean()
        assert got == pytest.approx(entry["ratio"], rel=1e-6, abs=1e-12)


def connected(prediction, connection):
    """The machine's waves with another connection."""
    magnetic = prediction.magnetic
    return sampled_waves(magnetic.linkages, magnetic.orders, prediction.winding.poles // 2, connection)


def test_star_hides_the_third_harmonic(machine) -> None:
    """Line of a three-phase star: sqrt(3) times the phase, orders of three gone (any machines handbook).

    Tolerance 0.5 % of the fundamental: the drawn inter-coil connections make the phases differ by that little.
    """
    _, prediction = machine
    line = spectrum(connected(prediction, "star").line_emf)
    assert line[:, 1] == pytest.approx(sqrt(3) * prediction.magnetic.emf_constant, rel=5e-3)
    assert line[:, 3].max() < 5e-3 * line[:, 1].max()
    assert 30 / pi / line[:, 1].mean() == pytest.approx(prediction.magnetic.speed_constant, rel=5e-3)


def test_delta_terminals_sum_to_nothing(machine) -> None:
    """Kirchhoff's law around the terminals of a delta."""
    _, prediction = machine
    wave = connected(prediction, "delta").line_emf
    assert np.abs(wave.sum(axis=0)).max() < 1e-12 * np.abs(wave).max()
    assert line_emf(wave, "open").shape == (0, SAMPLES + 1)


def test_torque_balances_the_power(machine) -> None:
    """At 1 rad/s torque is power: the mean over a turn is (phases/2) times EMF constant per ampere (energy).

    1e-3: unequal phases (inter-coil connections) have slightly different angles; the constant is defined by their mean
    magnitude.
    """
    _, prediction = machine
    magnetic = prediction.magnetic
    torque = magnetic.waves.torque[:-1]
    assert torque.mean() == pytest.approx(prediction.winding.phases / 2 * magnetic.emf_constant, rel=1e-3)
    assert np.ptp(torque) / torque.mean() == pytest.approx(magnetic.torque_ripple, rel=1e-9)


def test_ripple_of_fifth_and_seventh() -> None:
    """Three balanced phases, sine current: EMF harmonics 5 and 7 make torque of order 6 only (handbook): (e5 - e7)/e1.

    With flux harmonics that peak with the fundamental, e5 works against e7: amplitude |e5 -+ e7| of the mean; order 3
    makes none.
    """
    orders = np.array([1, 3, 5, 7])
    delay = 2 * pi * np.arange(3)[:, None] / 3
    linkages = np.array([1.0, 0.2, 0.01, 0.004]) * np.exp(1j * orders * delay)
    angles = np.linspace(0, 2 * pi, 720, endpoint=False)
    torque = sine_torque(linkages, orders, 5, angles)
    amplitudes = 2 * np.abs(np.fft.rfft(torque)) / 720 / torque.mean()
    assert amplitudes[6] == pytest.approx(5 * 0.01 - 7 * 0.004, rel=1e-9)
    amplitudes[[0, 6]] = 0
    assert amplitudes.max() < 1e-12
