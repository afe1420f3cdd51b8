"""A recorded wave of EMF: its frequency and its crest, by least squares on its harmonics."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

WHOLE_PERIODS = 2.0
HARMONICS = 15
MOST_SAMPLES = 20_000  # of the fit; more change nothing


class ShortWaveError(ValueError):
    """A wave with fewer than two whole periods."""


def rising_crossings(times: FloatArray, wave: FloatArray) -> FloatArray:
    """Times [s] at which a wave about zero rises through it, those of noise left out.

    times: (samples,) [s]; wave: (samples,) [any]. Returns (crossings,) [s]. A crossing counts once the wave has been
    below a quarter of its size and then comes above it. Derived here.

    >>> times = np.linspace(0.0, 1.0, 1001)
    >>> rising_crossings(times, -np.cos(2 * np.pi * 3 * times)).round(3).tolist()
    [0.083, 0.417, 0.75]
    """
    level = 0.25 * float(np.abs(wave).max())
    sense = np.where(wave > level, 1, np.where(wave < -level, -1, 0))
    known = np.flatnonzero(sense)
    turns = known[:-1][np.diff(sense[known]) > 0], known[1:][np.diff(sense[known]) > 0]
    found = []
    for below, above in zip(*turns, strict=True):
        part = slice(below, above + 1)
        slope, offset = np.polyfit(times[part] - times[below], wave[part], 1)
        found.append(times[below] - offset / slope)
    return np.array(found)


def wave_size(times: FloatArray, wave: FloatArray) -> dict[str, float]:
    """Frequency [Hz], crest [V], rms [V] and number of periods of a recorded wave.

    times: (samples,) rising [s]; wave: (samples,) [V]. Returns keys frequency, peak, rms, periods. Raises
    ShortWaveError for fewer than two whole periods. A steady speed is assumed. Derived here: crossings give the
    frequency, least squares on 15 harmonics the crest, so that noise does not raise it.

    >>> times = np.linspace(0.0, 1.0, 2001)
    >>> found = wave_size(times, 2.0 * np.sin(2 * np.pi * 5.3 * times + 1.0))
    >>> round(found["frequency"], 2), round(found["peak"], 3)
    (5.3, 2.0)
    """
    wave = wave - (wave.max() + wave.min()) / 2
    crossings = rising_crossings(times, wave)
    if len(crossings) < WHOLE_PERIODS + 1:
        raise ShortWaveError(f"{len(crossings)} rising crossings of zero")
    period = float(np.polyfit(np.arange(len(crossings)), crossings, 1)[0])
    every = max(1, len(times) // MOST_SAMPLES)
    angles = 2 * np.pi * times[::every] / period
    orders = np.arange(1, min(HARMONICS, max(1, len(angles) // 6)) + 1)
    basis = np.hstack([np.ones((len(angles), 1)), np.cos(np.outer(angles, orders)), np.sin(np.outer(angles, orders))])
    fitted = np.linalg.lstsq(basis, wave[::every], rcond=None)[0]
    turn = np.linspace(0, 2 * np.pi, 721)
    whole = (
        np.cos(np.outer(turn, orders)) @ fitted[1 : len(orders) + 1]
        + np.sin(np.outer(turn, orders)) @ fitted[len(orders) + 1 :]
    )
    periods = float((times[-1] - times[0]) / period)
    return {"frequency": 1 / period, "peak": float(np.ptp(whole)) / 2, "rms": float(np.std(whole)), "periods": periods}
